"""Solving for any quantity: roots chosen, relations solved together, answers put back, faults told with their line."""

import math

import pytest

from tutor.base.units import conversion
from tutor.content.errors import ContentError
from tutor.content.library import load
from tutor.content.models import Amount
from tutor.problems.draw import DrawError, draw
from tutor.problems.question import Engine, RequestError

FRAME = """
id: {id}
title: Made for a test
lesson: cold-voltage
skill: made-for-a-test
level: 1
story: ["A test."]
givens: {givens}
relations: {relations}
limits: {limits}
asks: {asks}
why: {why}
mistakes: {{}}
hints: [Look., Look again.]
safety: [local-code-decides]
sources: [nfpa-70-690-7]
"""


@pytest.fixture
def made(tmp_path):
    """An engine over the built-in content and one exercise of the test's own, declared by its givens and relations."""

    def make(givens, relations, asks, limits=()):
        folder = tmp_path / "exercises" / "made"
        folder.mkdir(parents=True)
        text = FRAME.format(
            id="made-up",
            givens=flow(givens),
            relations=flow(relations),
            limits=f"[{', '.join(limits)}]",
            asks=flow(dict.fromkeys(asks, "What is it?")),
            why=flow(dict.fromkeys(relations, "Because.")),
        )
        (folder / "made-up.yaml").write_text(text, encoding="utf-8")
        engine = Engine(load(tmp_path))
        return lambda ask=None: engine.question("made-up", ask)

    return make


def flow(mapping):
    return (
        "{"
        + ", ".join(f"{name}: {value if value[0] in '{[' else repr(value)}" for name, value in mapping.items())
        + "}"
    )


# A source of 100 V behind 2 Ω gives P = I (V - 2 Ω I); 450 W come at 5 A and at 45 A, of which a module's short-circuit
# current can only be the first (the glossary's plausible range ends at 32 A).
QUADRATIC = {"string_power": "module_isc * (string_voc - module_isc * 2 V/A)"}
VOLTS = {"string_voc": "{one_of: [100 V, 110 V, 120 V]}", "module_isc": "{lowest: 2 A, highest: 10 A, step: 0.5 A}"}


def test_of_two_roots_the_plausible_one_is_taken(made):
    question = made(VOLTS, QUADRATIC, ["string_power", "module_isc"])
    own = {"string_voc": Amount(value=100, unit="V"), "string_power": Amount(value=450, unit="W")}
    problem = draw(question("module_isc"), 1, own)
    assert problem.values["module_isc"] == pytest.approx(5, rel=1e-12)
    for number in range(50):
        forwards, turned = draw(question(), number), draw(question("module_isc"), number)
        volts, amperes = forwards.known["string_voc"], forwards.known["module_isc"]
        assert forwards.values["string_power"] == pytest.approx(amperes * (volts - 2 * amperes), rel=1e-12)
        told = turned.known["string_power"]
        right = (turned.known["string_voc"] - math.sqrt(turned.known["string_voc"] ** 2 - 8 * told)) / 4
        assert turned.values["module_isc"] == pytest.approx(right, rel=1e-9)


def test_where_two_roots_are_plausible_there_is_no_one_answer(made):
    question = made(VOLTS, QUADRATIC, ["string_power", "module_isc"])
    own = {"string_voc": Amount(value=60, unit="V"), "string_power": Amount(value=400, unit="W")}  # 10 A and 20 A
    with pytest.raises(RequestError, match="no value that could exist"):
        draw(question("module_isc"), 1, own)


def test_where_no_root_is_real_there_is_no_answer(made):
    question = made(VOLTS, QUADRATIC, ["string_power", "module_isc"])
    own = {"string_voc": Amount(value=60, unit="V"), "string_power": Amount(value=500, unit="W")}  # at most 450 W
    with pytest.raises(RequestError, match="no value that could exist"):
        draw(question("module_isc"), 1, own)


JOINT = {
    "voc_at_temperature": "module_voc + voc_per_kelvin * (cell_temperature - 25 degC)",
    "isc_at_temperature": "module_isc * (1 + isc_coefficient * (cell_temperature - 25 degC))",
    "string_power": "voc_at_temperature * isc_at_temperature",
}
LABEL = {
    "module_voc": "module",
    "module_isc": "module",
    "isc_coefficient": "module",
    "voc_per_kelvin": "{one_of: [-0.12 V/K]}",
    "cell_temperature": "{lowest: -30 degC, highest: 75 degC, step: 1 degC}",
}


def test_a_given_that_two_relations_hold_is_found_from_both(made):
    question = made(LABEL, JOINT, ["string_power", "cell_temperature"])("cell_temperature")
    assert [step.name for step in question.right.steps] == ["cell_temperature"]
    for number in range(50):
        problem = draw(question, number)
        known, warmer = problem.known, problem.values["cell_temperature"] - 25
        volts = known["module_voc"] - 0.12 * warmer
        amperes = known["module_isc"] * (1 + known["isc_coefficient"] * warmer)
        assert volts * amperes == pytest.approx(known["string_power"], rel=1e-9)
        assert -60 <= problem.values["cell_temperature"] <= 110


FAULTS = {
    "circle": (
        {"cold_voltage": "hot_voltage * 2", "hot_voltage": "cold_voltage / 2"},
        ["cold_voltage"],
        "the relations go round in a circle at cold_voltage",
    ),
    "circle of one": ({"cold_voltage": "cold_voltage + module_voc"}, ["cold_voltage"], "go round in a circle"),
    "nothing to start from": ({"cold_voltage": "hot_voltage * 2"}, ["cold_voltage"], "hot_voltage is neither a given"),
    "given in no relation": (
        {"cold_voltage": "module_voc * 2"},
        ["cold_voltage", "module_vmp"],
        "turned round to module_vmp",
    ),
    "least cannot be undone": (
        {"cold_voltage": "least(module_voc, module_vmp)"},
        ["cold_voltage", "module_voc"],
        "a limit is needed to turn the question round to module_voc",
    ),
    "no closed form": (
        {"string_power": "module_power * (module_voc / 40 V + (module_voc / 30 V) ^ 5)"},
        ["string_power", "module_voc"],
        "asks.module_voc: ",
    ),
}
PARTS = {"module_voc": "module", "module_vmp": "module", "module_power": "module"}


@pytest.mark.parametrize(("relations", "asks", "words"), FAULTS.values(), ids=FAULTS)
def test_a_question_without_a_way_is_told_with_its_line(made, relations, asks, words):
    question = made(PARTS, relations, asks)
    with pytest.raises(ContentError) as caught:
        question(asks[-1])
    assert words in caught.value.fault
    assert caught.value.line == 11  # the line of `asks`


# Each of these fails one check whatever is drawn; the ranges are those of the glossary, the agreement is that the
# operating voltage lies below the open-circuit voltage.
LOW, HIGH = {"module_voc": "{one_of: [30 V]}", "module_vmp": "{one_of: [40 V]}"}, {"module_isc": "{one_of: [10 A]}"}
NEVER = {
    "bounds": (PARTS, "cold_voltage", "module_voc * 50", "'cold_voltage: module_voc * 50' comes to"),
    "values": (PARTS, "cold_voltage", "module_voc * 1 V / (module_voc - module_voc)", "has no value: "),
    "agreements": (LOW, "cold_voltage", "module_voc + 0.1 * module_vmp", "(module_vmp ≤ module_voc)"),
    "rounding": (HIGH, "most_modules", "round_down(module_isc * 0.30004 / 1 A)", "'most_modules: round_down("),
}


@pytest.mark.parametrize(("givens", "ask", "relation", "words"), NEVER.values(), ids=NEVER)
def test_a_draw_that_can_never_pass_ends_with_the_check_and_the_relation(request, made, givens, ask, relation, words):
    question = made(givens, {ask: relation}, [ask])
    check = request.node.callspec.id
    with pytest.raises(DrawError, match=f"passes its screening. 600 of 600 fail the check of {check}: ") as refused:
        draw(question(), 1)
    assert words in str(refused.value)
    assert "made-up.yaml, line 9: " in str(refused.value)  # the line of `relations`


def test_every_declared_question_is_solved(question):
    for number in range(30):
        problem = draw(question, number)
        assert math.isfinite(problem.values[question.ask])
        assert question.right.steps[-1].name == question.ask
        assert set(problem.values) == {step.name for step in question.right.steps}
        assert not set(problem.values) & set(problem.known)


def test_an_answer_put_back_as_a_given_leads_to_what_was_told(turned_question, engine):
    """A question turned round: its answer, set as a given of the usual question, gives back the count or the value."""
    question = turned_question
    usual = engine.question(question.exercise.id, rulebook_id=question.rulebook.id)
    for number in range(60):
        problem = draw(question, number)
        own = {name: amount for name, amount in problem.shown.items() if name != question.final}
        own[question.ask] = in_glossary_unit(question, question.ask, problem.values[question.ask])
        back = draw(usual, number, own).values[question.final]
        assert back == pytest.approx(problem.known[question.final], rel=1e-9), number


def in_glossary_unit(question, name, value):
    unit = question.library.quantities[name].unit
    return Amount(value=conversion(unit).to_shown(value), unit=unit)


def test_a_step_past_the_answer_of_a_turned_question_changes_the_count(turned_question, engine):
    """The answer is the boundary: a hair on one side of it keeps the count, a hair on the other side does not."""
    question = turned_question
    count = question.library.quantities[question.final].kind == "count"
    if not (count and question.exercise.limits):
        return
    usual = engine.question(question.exercise.id, rulebook_id=question.rulebook.id)
    for number in range(30):
        problem = draw(question, number)
        own = {name: amount for name, amount in problem.shown.items() if name != question.final}
        found = []
        for side in (-1e-4, 1e-4):
            value = problem.values[question.ask]
            own[question.ask] = in_glossary_unit(question, question.ask, value + side * max(1e-3, abs(value)))
            found.append(draw(usual, number, own).values[question.final])
        assert len(set(found)) == 2, number
        assert problem.known[question.final] in found

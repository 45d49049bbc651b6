"""What is printed is right when typed, leads to the same count when put back, and its checks are true as they stand."""

import re

import pytest

from tutor.answers.marking import mark
from tutor.base.units import conversion
from tutor.content.library import load
from tutor.content.models import Amount
from tutor.problems.draw import draw
from tutor.problems.solution import worked_solution
from tutor.trade.rulebooks import RULEBOOKS

NUMBERS = range(1, 21)
CHECK = re.compile(r"^(?:not )?(−?[\d.]+)(?:\u00a0\S+)? ([≤≥=]) (−?[\d.]+)(?:\u00a0\S+)?: ")


def number(text):
    """The number that a printed text begins with."""
    return float(re.match(r"−?[\d.]+", text)[0].replace("−", "-"))


def kind_of(problem, name):
    return problem.question.library.quantities[name].kind


def problems_of(engine, id_):
    """Problem 1 to 20 of every question of an exercise under both rulebooks."""
    exercise = engine.library.declared[id_].exercise
    for book in exercise.rulebooks:
        for ask in engine.library.declared[id_].under(book).exercise.asks:
            question = engine.question(id_, ask, book)
            yield from (draw(question, at) for at in NUMBERS)


def pytest_generate_tests(metafunc):
    if "exercise" in metafunc.fixturenames:
        metafunc.parametrize("exercise", list(load().declared))


@pytest.mark.one_in(4)
def test_typed_as_printed_it_is_right(engine, exercise):
    for problem in problems_of(engine, exercise):
        typed = {name: problem.text_of(name) for name in problem.step_names}
        answer = typed.pop(problem.ask)
        marking = mark(problem, answer, typed)
        assert marking.verdict == "right", (problem.number, answer, marking.feedback)
        assert {one.verdict for one in marking.steps.values()} <= {"right"}, (problem.number, typed)


@pytest.mark.one_in(4)
def test_a_printed_boundary_put_back_gives_the_count_or_rating_again(engine, exercise):
    for problem in problems_of(engine, exercise):
        question = problem.question
        final = question.forward.steps[-1]
        if not question.reversed or final.kind not in ("round", "choose", "look up", "compare"):
            continue
        text = problem.text_of(problem.ask)
        told = problem.values[problem.ask]
        if kind_of(problem, problem.ask) == "number":
            told = conversion(problem.unit).to_working(number(text))
        back = question.forward.values({**problem.known, problem.ask: told})
        assert back[question.final] == problem.known[question.final], (problem.number, text)


@pytest.mark.one_in(4)
def test_a_result_has_three_figures_and_a_step_four_unless_more_are_needed(engine, exercise):
    for problem in problems_of(engine, exercise):
        for name in problem.step_names:
            if kind_of(problem, name) != "number":
                continue
            text = problem.text_of(name)
            shown = conversion(problem.unit_of(name)).to_shown(problem.values[name])
            if number(text) == pytest.approx(shown, rel=1e-9) and number(text) == round(number(text)):
                continue  # a whole number, in full
            assert not re.match(r"−?\d+\.\d*0(?!\d)", text), text
            figures = len(re.match(r"−?[\d.]+", text)[0].strip("−").replace(".", "").lstrip("0").rstrip("0"))
            least = 3 if name == problem.ask else 4
            if figures > least:
                assert name != problem.ask or not accepted_with_three_figures(problem)
                assert name == problem.ask or problem.step_figures >= figures


def accepted_with_three_figures(problem):
    """Whether a number of three figures next to the answer would be right, and safe."""
    shown = problem.answer.value
    low = shown // third_place(shown) * third_place(shown)
    safe = {"above": [low + third_place(shown)], "below": [low]}
    side = None if problem.question.limits else problem.question.library.quantities[problem.ask].safe_side
    scale = conversion(problem.unit)
    return any(
        mark(problem, f"{value:.10g}").verdict == "right" and problem.leads_back(scale.to_working(value))
        for value in safe.get(side, [low, low + third_place(shown)])
    )


@pytest.mark.one_in(4)
def test_what_must_be_carried_or_withstood_is_printed_from_above_and_what_may_be_from_below(engine, exercise):
    for problem in problems_of(engine, exercise):
        side = problem.question.library.quantities[problem.ask].safe_side
        if side and not problem.question.limits:
            apart = (number(problem.text_of(problem.ask)) - problem.answer.value) * (1 if side == "above" else -1)
            assert apart >= -1e-9 * abs(problem.answer.value), (problem.number, problem.text_of(problem.ask))


def third_place(shown):
    """The place of the third figure of a number: 10 for 1374."""
    return 10.0 ** (int(f"{shown:.2e}".partition("e")[2]) - 2)


@pytest.mark.one_in(4)
def test_every_check_is_true_as_it_is_printed(engine, exercise):
    for problem in problems_of(engine, exercise):
        for line in worked_solution(problem):
            if line.name != "limit":
                continue
            assert line.value is True, (problem.number, line.text)
            if check := CHECK.match(line.text):
                left, sign, right = number(check[1]), check[2], number(check[3])
                assert {"≤": left < right, "≥": left > right, "=": left == right}[sign], line.text
            else:
                assert {kind_of(problem, side) for side in line.relation.split()[::2]} & {"size", "choice"}, line.text


def set_up(engine, exercise, ask=None, **own):
    return draw(engine.question(exercise, ask), 1, {name: Amount.model_validate(text) for name, text in own.items()})


@pytest.fixture
def least_limit(engine):
    """Seven modules of 41.3 V at −8 °C, −0.27 %/K: 7 · 41.3 V · (1 + 0.0027 · 33) = 314.859 V at the least."""
    return set_up(
        engine,
        "most-modules-in-series",
        "input_voltage_max",
        module_voc="41.3 V",
        voc_coefficient="-0.27 %/K",
        record_low="-8 degC",
        modules_in_series="7",
    )


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("314.859 V", "right"),
        ("314.86 V", "right"),
        ("314.9", "right"),
        ("315 V", "right"),
        ("316 V", "right"),
        ("316.5 V", "wrong"),
        ("314.8 V", "unclear"),
        ("314 V", "wrong"),
        ("310 V", "wrong"),
    ],
)
def test_fewer_figures_are_right_on_the_safe_side_alone(least_limit, answer, verdict):
    assert least_limit.answer.value == pytest.approx(314.859, abs=1e-3)
    assert mark(least_limit, answer).verdict == verdict


def test_a_least_value_is_printed_upwards_and_its_check_with_the_figures_that_it_needs(least_limit):
    assert least_limit.text_of("input_voltage_max") == "315\u00a0V"
    check = worked_solution(least_limit)[-1]
    assert check.text.startswith("314.9\u00a0V ≤ 315\u00a0V: respected")
    assert "314.859\u00a0V ≤ 314.86\u00a0V" in mark(least_limit, "314.86 V").feedback


@pytest.mark.parametrize(
    ("answer", "echo"),
    [
        ("314.9 V", "314.9 V"),
        ("314.90", "314.90\u00a0V"),
        ("315", "315\u00a0V"),
        ("0.31490 kV", "0.31490 kV"),
        ("630/2", "315\u00a0V"),
    ],
)
def test_an_entry_is_echoed_as_it_was_typed(least_limit, answer, echo):
    assert f"is {echo}." in mark(least_limit, answer).feedback


@pytest.mark.parametrize(("answer", "echo"), [("310.50 V", "310.50 V"), ("290", "290\u00a0V")])
def test_a_consequence_echoes_the_entry_as_it_was_typed(least_limit, answer, echo):
    assert echo in mark(least_limit, answer).feedback


def test_a_published_answer_of_three_figures_is_right_on_the_safe_side(bounded_questions):
    """A published 13.7 A for 13.776 A at most is 0.55 % away, and safe; 13.8 A is nearer, and is not."""
    seen = 0
    for question in bounded_questions:
        for at in NUMBERS:
            problem = draw(question, at)
            quantity = question.library.quantities[problem.ask]
            shown = problem.answer.value
            if quantity.kind != "number" or quantity.tolerance is not None or problem.ask in question.discrete:
                continue  # a standard rating is one of a list, a temperature has a tolerance of its own
            place = third_place(shown)
            low, high = shown // place * place, (shown // place + 1) * place
            scale = conversion(problem.unit)
            broken = [problem.breaks_limit(scale.to_working(value)) for value in (low * (1 - 1e-6), high * (1 + 1e-6))]
            if broken == [True, False]:
                seen += 1
                assert mark(problem, f"{high:.10g}").verdict == "right", (question.exercise.id, at, high)
            if broken == [False, True]:
                seen += 1
                assert mark(problem, f"{low:.10g}").verdict == "right", (question.exercise.id, at, low)
    assert seen > 50


LABEL = {"module_voc": "41.30 V", "voc_coefficient": "-0.30 %/K", "record_low": "-24 degC"}


def test_a_label_keeps_its_zeros(engine):
    problem = set_up(engine, "most-modules-in-series", **LABEL)
    assert problem.text_of("voc_coefficient") == "−0.30\u00a0%/K"
    assert "open-circuit voltage of 41.30\u00a0V" in " ".join(problem.story)
    first = worked_solution(problem)[0]
    assert first.numbers.startswith("41.30\u00a0V × (1 + (−0.30\u00a0%/K) × ")


def room(engine, **own):
    """How much room ten modules of 45.13 V at 25 °C leave below 450 V: 450 V − 451.3 V = −1.3 V."""
    modules = {"module_voc": "45.13 V", "record_low": "25 degC", "modules_in_series": "10"}
    return set_up(engine, "room-below-the-limit", **{**modules, "input_voltage_max": "450 V", **own})


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("-1.3 V", "right"),
        ("-1.30", "right"),
        ("-1.2 V", "right"),
        ("-2 V", "wrong"),
        ("0 V", "wrong"),
        ("1.3 V", "wrong"),
    ],
)
def test_a_small_margin_has_a_small_tolerance(engine, answer, verdict):
    problem = room(engine)
    assert problem.answer.value == pytest.approx(-1.3)
    assert mark(problem, answer).verdict == verdict


def test_a_margin_is_missed_by_no_more_than_half_a_per_cent_of_what_it_is_taken_from(engine):
    problem = room(engine, module_voc="4.13 V", input_voltage_max="60 V")  # 60 V − 41.3 V = 18.7 V; 0.3 V of 60 V
    assert mark(problem, "18.95 V").verdict == "right"
    assert mark(problem, "19.1 V").verdict == "wrong"


def test_no_margin_of_another_sign_is_right(engine):
    seen = 0
    for id_, declared in engine.library.declared.items():
        for book in declared.exercise.rulebooks:
            question = engine.question(id_, None, book)
            for name in question.margins.keys() & {*question.right.names}:
                for at in NUMBERS:
                    problem = draw(question, at)
                    seen += 1
                    assert not problem.is_near(name, -1e-6 * problem.values[name]), (id_, at)
    assert seen > 40
    assert len(RULEBOOKS) == 2

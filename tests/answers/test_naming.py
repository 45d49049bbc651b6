"""Naming the mistake: claimed only where one way explains the entry and is far likelier than the others and chance."""

import pytest

from tutor.answers.marking import mark
from tutor.answers.naming import CLAIM, candidates
from tutor.answers.verdicts import claimed
from tutor.content.models import Amount
from tutor.problems.draw import draw


def cold_problem(engine, ask=None, **own):
    texts = {"module_voc": "41.3 V", "module_vmp": "34.4 V", "voc_coefficient": "-0.27 %/K", "record_low": "-24 degC"}
    texts |= {"input_voltage_max": "450 V"} | own
    amounts = {name: Amount.model_validate(text) for name, text in texts.items()}
    return draw(engine.question("most-modules-in-series", ask), 1, amounts)


# What each wrong way gives, by plain arithmetic on the label (41.3 V and 34.4 V at 25 °C, 49 K colder).
WAYS = {
    "cold-left-out": 41.3,
    "operating-voltage-used": 34.4 * (1 + 0.0027 * 49),
    "sign-turned": 41.3 * (1 - 0.0027 * 49),
    "flat-quarter-added": 41.3 * 1.25,
}


@pytest.mark.parametrize(("mistake", "value"), WAYS.items())
@pytest.mark.parametrize("figures", [3, 4, 7])
def test_a_value_names_the_way_that_led_to_it(engine, mistake, value, figures):
    problem = cold_problem(engine, "cold_voltage")
    marking = mark(problem, f"{value:.{figures}g} V")
    assert marking.verdict == "wrong"
    assert marking.named is not None
    assert marking.named.id == mistake
    assert problem.question.exercise.mistakes[mistake].says in marking.feedback


@pytest.mark.parametrize("text", ["40 V", "44.2 V", "52.9 V", "100 V", "1 V"])
def test_a_value_that_no_way_leads_to_names_none(engine, text):
    marking = mark(cold_problem(engine, "cold_voltage"), text)
    assert (marking.named, marking.candidates) == (None, ())
    assert "not identified" in marking.feedback or "factor" in marking.feedback


@pytest.mark.one_in(4)
def test_probabilities_leave_room_for_chance(question, drawn):
    for number in range(20):
        problem = drawn(question, number)
        for _, values in problem.predictions:
            entries = {problem.ask: read(problem, values[problem.ask])}
            found = candidates(problem, entries, problem.ask)
            assert sum(candidate.probability for candidate in found) <= 1.0002  # each rounded to four decimals
            assert [one.probability for one in found] == sorted((one.probability for one in found), reverse=True)
            assert len({one.id for one in found}) == len(found)


def read(problem, value):
    from tutor.base.units import conversion
    from tutor.entries.entry import Entry

    return Entry(conversion(problem.unit).to_shown(value), 0.0, problem.unit, "", 15)


@pytest.mark.parametrize(
    "draws",
    [5, pytest.param(25, marks=pytest.mark.long), pytest.param(200, marks=pytest.mark.million)],
)
def test_a_mistakes_own_answer_lists_that_mistake_and_claims_no_other(question, drawn, mark_values, draws):
    for number in range(draws):
        problem = drawn(question, number)
        for mistake, values in problem.predictions:
            marking = mark_values(problem, values, figures=6)
            if marking.verdict != "wrong":
                continue
            same = {
                other.id
                for other, others in problem.predictions
                if others[problem.ask] == pytest.approx(values[problem.ask], rel=1e-9)
            }
            assert same & {one.id for one in marking.candidates}, number
            if marking.named is not None and marking.named.id not in same:
                weights = question.exercise.mistakes
                assert weights[marking.named.id].weight > 3 * weights[mistake.id].weight


@pytest.mark.one_in(4)
def test_a_claim_is_the_likeliest_and_likely(question, drawn, mark_values):
    for number in range(20):
        problem = drawn(question, number)
        for _, values in problem.predictions:
            marking = mark_values(problem, values, figures=6)
            assert marking.named == claimed(list(marking.candidates))
            assert marking.named is None or marking.named.probability >= CLAIM


def test_a_typed_precision_of_two_figures_does_not_claim_what_three_would_tell_apart(engine):
    problem = cold_problem(engine, "cold_voltage", module_vmp="34.4 V")
    assert {one.id for one in mark(problem, "39 V").candidates} == {"operating-voltage-used"}  # 38.95 V
    assert mark(problem, "39.3 V").named is None


def test_a_mistake_that_changes_nothing_for_these_numbers_is_no_candidate(engine):
    mild = cold_problem(engine, record_low="25 degC")
    assert "cold-left-out" not in {one.id for one in mark(mild, "11").candidates}


def test_a_lost_kilo_is_named_without_being_declared(engine):
    marking = mark(cold_problem(engine, "cold_voltage"), "46764 V")
    assert marking.named.words == "a thousand times too much"
    assert marking.named.method.origin == "derived"

"""A handed problem stands by what was kept: shown, marked and limited by it, whatever becomes of the content."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tutor.answers.marking import mark
from tutor.classroom.keeping import accepted_range, handed_from, kept_as_json, kept_from_json, rebuild_problem
from tutor.classroom.marking import StepError, mark_by_kept, mark_handed
from tutor.classroom.models import Member
from tutor.engine.order import OrderProblem
from tutor.engine.problem_factory import make_problem
from tutor.units import conversion

ANA = Member(id=1, name="Ana")
EXERCISES = [
    "string-voltage-at-record-low",
    "most-modules-in-series",
    "does-the-string-survive",
    "conductor-for-current",
    "source-at-a-moment",
    "switching-on",
    "battery-fuse",
    "drop-on-a-run",
]


def questions(engine):
    for id_, exercise in engine.library.exercises.items():
        for ask in exercise.asks:
            yield id_, ask, getattr(exercise, "rulebooks", ["us"])[0]


def right_steps(handed, problem):
    evidence = handed.kept.evidence
    return {evidence: problem.text_of(evidence, figures=8)} if evidence else {}


def test_every_problem_is_set_again_just_as_it_was(engine):
    for id_, ask, book in questions(engine):
        problem = make_problem(engine, id_, ask, 7, book)
        handed = handed_from(problem, ANA, 1, "7KQ4-2P")
        again = rebuild_problem(engine, handed)
        assert again is not None, (id_, ask)
        assert again == replace(problem, question=again.question) or again.values == pytest.approx(problem.values)
        assert (again.story, again.task, again.shown) == (problem.story, problem.task, problem.shown)


def test_the_right_answer_is_right_by_both_ways(engine):
    for id_, ask, book in questions(engine):
        problem = make_problem(engine, id_, ask, 11, book)
        handed = handed_from(problem, ANA, 1)
        order = isinstance(problem, OrderProblem)
        entry = problem.answer_text if order else problem.text_of(ask)
        if handed.kept.kinds[ask] == "number":
            entry = repr(problem.answer.value)  # at a limit, fewer figures could carry it over
        steps = {} if order else right_steps(handed, problem)
        assert mark_handed(engine, handed, entry, steps).verdict == "right", (id_, ask)
        assert mark_by_kept(handed, entry, steps).verdict == "right", (id_, ask)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(EXERCISES[:5] + EXERCISES[6:]), st.integers(1, 10**6), st.floats(-0.012, 0.012))
def test_by_kept_values_an_answer_is_right_only_where_the_marking_of_the_day_says_so(engine, exercise, number, apart):
    """Near the right value, on both sides of the tolerance and of the limit."""
    problem = make_problem(engine, exercise, None, number)
    handed = handed_from(problem, ANA, 1)
    kind = handed.kept.kinds[handed.ask]
    value = problem.answer.value * (1 + apart)
    entry = f"{value:.9g}" if kind == "number" else problem.text_of(problem.ask)
    steps = right_steps(handed, problem)
    by_kept, of_the_day = (
        marking.verdict == "right" for marking in (mark_by_kept(handed, entry, steps), mark(problem, entry, steps))
    )
    assert by_kept == of_the_day


def test_no_accepted_value_breaks_a_limit(bounded_questions, engine):
    for question in bounded_questions:
        for number in range(1, 6):
            problem = make_problem(engine, question.exercise.id, question.ask, number, question.rulebook.id)
            lowest, highest = accepted_range(problem)
            assert lowest <= problem.values[problem.ask] <= highest
            assert not problem.breaks_limit(lowest)
            assert not problem.breaks_limit(highest)


def test_a_limit_cuts_the_accepted_range_off(bounded_questions, engine):
    cut = 0
    for question in bounded_questions:
        problem = make_problem(engine, question.exercise.id, question.ask, 1, question.rulebook.id)
        lowest, highest = accepted_range(problem)
        reach = question.tolerance(problem.ask, problem.values[problem.ask])
        cut += reach > 0 and highest - lowest < 1.9 * reach
    assert cut > 0


@pytest.mark.parametrize(
    "change",
    [{"exercise": "quux"}, {"ask": "quux"}, {"exercise": "string-voltage-at-hottest-cell"}],
    ids=["exercise gone", "ask gone", "another exercise"],
)
def test_with_other_content_the_kept_values_decide(engine, change):
    problem = make_problem(engine, "string-voltage-at-record-low", None, 3)
    handed = handed_from(problem, ANA, 1)
    ask = change.get("ask", handed.ask)
    kept = replace(
        handed.kept, kinds={**handed.kept.kinds, ask: "number"}, units={**handed.kept.units, ask: problem.unit}
    )
    stale = replace(handed, kept=kept, expected={**handed.expected, ask: handed.expected[handed.ask]}, **change)
    assert rebuild_problem(engine, stale) is None
    assert mark_handed(engine, stale, f"{problem.answer.value:.6g}").verdict == "right"
    wrong = mark_handed(engine, stale, f"{problem.answer.value * 1.02:.6g}")
    assert wrong.verdict == "wrong"
    assert problem.text_of(problem.ask) not in wrong.feedback
    assert mark_handed(engine, stale, f"{problem.answer.value:.1e}").verdict == "unclear"
    assert mark_handed(engine, stale, "1,234").verdict == "unclear"
    assert mark_handed(engine, stale, "").verdict == "refused"
    assert mark_handed(engine, stale, "12 A").verdict == "wrong"


def test_a_change_that_makes_no_difference_to_a_problem_still_names_mistakes(engine):
    """As when another module is added to the parts: every version changes, this problem does not."""
    problem = make_problem(engine, "string-voltage-at-record-low", None, 3)
    handed = replace(handed_from(problem, ANA, 1), version="00000000")
    _, values = problem.predictions[0]
    wrong = f"{conversion(problem.unit).to_shown(values[problem.ask]):.6g}"
    assert mark_handed(engine, handed, wrong) == mark(problem, wrong)
    assert mark_handed(engine, handed, wrong).candidates
    assert mark_handed(engine, handed, f"{problem.answer.value:.6g}").verdict == "right"


def test_a_corrected_expected_value_decides_over_the_content(engine):
    problem = make_problem(engine, "string-voltage-at-record-low", None, 3)
    handed = handed_from(problem, ANA, 1)
    value = handed.expected[handed.ask] + 10
    kept = replace(handed.kept, accepted=(value - 0.1, value + 0.1))
    corrected = replace(handed, expected={**handed.expected, handed.ask: value}, kept=kept)
    shown = conversion(problem.unit).to_shown(value)
    assert mark_handed(engine, corrected, f"{shown:.8g}").verdict == "right"
    assert mark_handed(engine, corrected, f"{problem.answer.value:.8g}").verdict == "wrong"


def test_a_stale_order_accepts_every_right_order_and_no_other(engine):
    """Against the marking of the day, over all orders of a short list of letters."""
    from itertools import permutations

    problem = make_problem(engine, "replacing-a-module", None, 2)
    stale = handed_from(problem, ANA, 1)
    letters = list(problem.letters)[:6]
    rest = [letter for letter in problem.letters if letter not in letters]
    for some in permutations(letters, min(5, len(letters))):
        for text in (" ".join(some), " ".join([*some, *rest])):
            assert mark_by_kept(stale, text, {}).verdict == mark(problem, text).verdict, text
    assert mark_by_kept(stale, problem.answer_text, {}).verdict == "right"


def test_a_yes_or_no_wants_its_evidence_by_kept_values_too(engine):
    problem = make_problem(engine, "does-the-string-survive", None, 5)
    handed = handed_from(problem, ANA, 1)
    evidence = handed.kept.evidence
    answer, number = problem.text_of(problem.ask), problem.text_of(evidence, figures=8)
    assert mark_by_kept(handed, answer, {}).verdict == "unclear"
    assert mark_by_kept(handed, answer, {evidence: number}).verdict == "right"
    assert mark_by_kept(handed, answer, {evidence: "1 V"}).verdict == "wrong"
    assert mark_by_kept(handed, "no" if answer == "yes" else "yes", {evidence: number}).verdict == "wrong"


def test_a_step_that_is_not_there_is_told(engine):
    handed = handed_from(make_problem(engine, "most-modules-in-series", None, 1), ANA, 1, "7KQ4-2P")
    with pytest.raises(StepError, match=r"7KQ4-2P has no step 'quux'\. It has: cold_voltage"):
        mark_handed(engine, handed, "9", {"quux": "1"})


@pytest.mark.parametrize("exercise", EXERCISES)
def test_what_is_kept_comes_back_from_the_store_as_it_was(engine, exercise):
    import json

    kept = handed_from(make_problem(engine, exercise, None, 1), ANA, 1).kept
    back = kept_from_json(json.loads(json.dumps(kept_as_json(kept))))
    assert back == kept

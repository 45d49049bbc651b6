"""A handed problem stands by its snapshot: shown, marked and limited by it, whatever becomes of the content."""

import json
from dataclasses import replace
from itertools import permutations
from types import MappingProxyType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tutor.answers.marking import mark
from tutor.base.units import conversion
from tutor.classroom.marking.assigned import StepError, mark_assigned
from tutor.classroom.models import Member
from tutor.classroom.sets.recorded import is_recorded
from tutor.classroom.sets.snapshots import (
    accepted_range,
    assigned_from,
    declaration_hash,
    frozen,
    order_rules,
    problem_of,
    question_from,
    snapshot_as_json,
    snapshot_from_json,
)
from tutor.content.library import Declared
from tutor.problems.order import OrderProblem
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine
from tutor.problems.solution import worked_solution

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


def right_steps(assigned, problem):
    return {assigned.evidence: problem.text_of(assigned.evidence, figures=8)} if assigned.evidence else {}


def right_entry(assigned, problem):
    if isinstance(problem, OrderProblem):
        return problem.answer_text
    if assigned.snapshot.kind(assigned.ask) == "number":
        return repr(problem.answer.value)  # at a limit, fewer figures could carry it over
    return problem.text_of(assigned.ask)


@pytest.fixture(scope="module")
def later(engine):
    """Content in which every exercise, quantity and table of today is gone or another one."""
    library = engine.library
    quantities = {name: one.model_copy(update={"words": "another"}) for name, one in library.quantities.items()}
    return Engine(replace(library, declared=MappingProxyType({}), orders={}, quantities=quantities))


def recorded(problem, place=1, code="7KQ4-2P"):
    """What version 0.1.0 kept of a problem, as it wrote it into the store."""
    assigned = assigned_from(problem, ANA, place, code)
    is_order = isinstance(problem, OrderProblem)
    quantities, steps = problem.question.library.quantities, problem.step_names
    before, traps = order_rules(problem) if is_order else ((), ())
    order = {"letters": dict(problem.letters), "done": list(problem.done)} if is_order else None
    kept = {
        "title": problem.question.exercise.title,
        "story": problem.story,
        "listed": problem.listed if is_order else [],
        "task": problem.task,
        "parts": {} if is_order else dict(problem.parts),
        "words": {name: quantities[name].words for name in [*problem.shown, *steps]},
        "units": {name: problem.unit_of(name) for name in steps},
        "kinds": {problem.ask: problem.ask} if is_order else {name: quantities[name].kind for name in steps},
        "tolerances": {name: problem.tolerance(name) for name in steps},
        "choices": [] if is_order else list(quantities[problem.ask].choices),
        "accepted": [0.0, 0.0] if is_order else list(accepted_range(problem)),
        "evidence": problem.question.evidence,
        "tabled": False,
        "bounded": not is_order and bool(problem.question.limits),
        "said": False,
        "order": order and {**order, "before": [list(pair) for pair in before], "traps": list(traps)},
        "profile": list(assigned.snapshot.profile),
    }
    return replace(assigned, snapshot=snapshot_from_json(json.loads(json.dumps(kept)), problem.ask, {}))


def test_every_problem_is_rebuilt_just_as_it_was(engine):
    for id_, ask, book in questions(engine):
        problem = make_problem(engine, id_, ask, 7, book)
        assigned = assigned_from(problem, ANA, 1, "7KQ4-2P")
        for again in (problem_of(engine, assigned), problem_of(engine, recorded(problem))):
            assert again == replace(problem, question=again.question) or again.values == pytest.approx(problem.values)
            assert (again.story, again.task, again.shown) == (problem.story, problem.task, problem.shown)
            assert not is_recorded(again)


def test_without_the_content_of_today_every_problem_is_still_the_same(engine, later):
    """Its words, diagram's declaration, values, marking, named mistakes and worked solution."""
    for id_, ask, book in questions(engine):
        problem = make_problem(engine, id_, ask, 7, book)
        assigned = assigned_from(problem, ANA, 1, "7KQ4-2P")
        again = problem_of(later, assigned)
        assert again.question is not problem.question
        assert (again.story, again.task, again.shown) == (problem.story, problem.task, problem.shown), id_
        assert worked_solution(again) == worked_solution(problem), id_
        assert (assigned.task, assigned.snapshot.title) == (problem.task, problem.question.exercise.title)
        assert assigned.evidence == problem.question.evidence
        entry, steps = right_entry(assigned, problem), right_steps(assigned, problem)
        assert mark_assigned(later, assigned, entry, steps).verdict == "right", (id_, ask)
        if isinstance(problem, OrderProblem):
            assert order_rules(again) == order_rules(problem)
        else:
            assert accepted_range(again) == accepted_range(problem)


@pytest.mark.parametrize("exercise", EXERCISES)
def test_without_the_content_of_today_mistakes_are_named_alike(engine, later, exercise):
    problem = make_problem(engine, exercise, None, 3)
    assigned = assigned_from(problem, ANA, 1)
    steps = right_steps(assigned, problem)
    if isinstance(problem, OrderProblem):
        entries = [" ".join(reversed(problem.answer_text.split()))]
    else:
        shown = conversion(problem.unit).to_shown
        entries = [f"{shown(values[problem.ask]):.6g}" for _, values in problem.predictions[:3]]
    for entry in entries:
        now, then = mark_assigned(later, assigned, entry, steps), mark_assigned(engine, assigned, entry, steps)
        told = [(one.verdict, one.feedback, [(c.id, c.probability) for c in one.candidates]) for one in (now, then)]
        assert told[0] == told[1]


def test_the_right_answer_is_right_by_what_earlier_versions_kept(engine, later):
    for id_, ask, book in questions(engine):
        problem = make_problem(engine, id_, ask, 11, book)
        assigned = recorded(problem)
        entry, steps = right_entry(assigned, problem), right_steps(assigned, problem)
        assert is_recorded(problem_of(later, assigned))
        for content in (engine, later):
            assert mark_assigned(content, assigned, entry, steps).verdict == "right", (id_, ask)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.sampled_from(EXERCISES[:5] + EXERCISES[6:]), st.integers(1, 10**6), st.floats(-0.012, 0.012))
def test_by_recorded_values_an_answer_is_right_only_where_the_marking_of_the_day_says_so(
    engine, later, exercise, number, apart
):
    """Near the right value, on both sides of the tolerance and of the limit."""
    problem = make_problem(engine, exercise, None, number)
    assigned = recorded(problem)
    value = problem.answer.value * (1 + apart)
    is_number = assigned.snapshot.kind(assigned.ask) == "number"
    entry = f"{value:.9g}" if is_number else problem.text_of(problem.ask)
    steps = right_steps(assigned, problem)
    by_record = mark_assigned(later, assigned, entry, steps).verdict == "right"
    assert by_record == (mark(problem, entry, steps).verdict == "right")


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


@pytest.mark.parametrize("change", [{"exercise": "quux"}, {"exercise": "string-voltage-at-hottest-cell"}])
def test_with_other_content_the_recorded_values_decide(engine, change):
    problem = make_problem(engine, "string-voltage-at-record-low", None, 3)
    stale = replace(recorded(problem), **change)
    assert is_recorded(problem_of(engine, stale))
    assert mark_assigned(engine, stale, f"{problem.answer.value:.6g}").verdict == "right"
    wrong = mark_assigned(engine, stale, f"{problem.answer.value * 1.02:.6g}")
    assert (wrong.verdict, wrong.candidates) == ("wrong", ())
    assert problem.text_of(problem.ask) not in wrong.feedback
    assert mark_assigned(engine, stale, f"{problem.answer.value:.1e}").verdict == "unclear"
    assert mark_assigned(engine, stale, "1,234").verdict == "unclear"
    assert mark_assigned(engine, stale, "").verdict == "refused"
    assert mark_assigned(engine, stale, "12 A").verdict in ("wrong", "refused")


def test_a_change_that_makes_no_difference_to_a_recorded_problem_still_names_mistakes(engine):
    """As when another module is added to the parts: every version changes, this problem does not."""
    problem = make_problem(engine, "string-voltage-at-record-low", None, 3)
    assigned = replace(recorded(problem), version="00000000")
    _, values = problem.predictions[0]
    wrong = f"{conversion(problem.unit).to_shown(values[problem.ask]):.6g}"
    assert mark_assigned(engine, assigned, wrong) == mark(problem, wrong, closed_book=True)
    assert mark_assigned(engine, assigned, wrong).candidates


def test_a_right_answer_of_the_instructor_decides_over_the_relations(engine):
    problem = make_problem(engine, "string-voltage-at-record-low", None, 3)
    assigned = assigned_from(problem, ANA, 1)
    value = assigned.expected[assigned.ask] + 10
    said = replace(assigned.snapshot, said=True)
    corrected = replace(assigned, expected={**assigned.expected, assigned.ask: value}, snapshot=said)
    shown = conversion(problem.unit).to_shown(value)
    assert mark_assigned(engine, corrected, f"{shown:.8g}").verdict == "right"
    assert mark_assigned(engine, corrected, f"{problem.answer.value:.8g}").verdict == "wrong"


def test_a_recorded_order_accepts_every_right_order_and_no_other(engine, later):
    """Against the marking of the day, over all orders of a short list of letters."""
    problem = make_problem(engine, "replacing-a-module", None, 2)
    stale = recorded(problem)
    letters = list(problem.letters)[:6]
    rest = [letter for letter in problem.letters if letter not in letters]
    for some in permutations(letters, min(5, len(letters))):
        for text in (" ".join(some), " ".join([*some, *rest])):
            assert mark_assigned(later, stale, text).verdict == mark(problem, text).verdict, text
    assert mark_assigned(later, stale, problem.answer_text).verdict == "right"


def test_a_yes_or_no_wants_its_evidence_by_recorded_values_too(engine, later):
    problem = make_problem(engine, "does-the-string-survive", None, 5)
    assigned = recorded(problem)
    evidence = assigned.evidence
    answer, number = problem.text_of(problem.ask), problem.text_of(evidence, figures=8)

    def verdict(*typed):
        return mark_assigned(later, assigned, *typed).verdict

    assert verdict(answer, {}) == "unclear"
    assert verdict(answer, {evidence: number}) == "right"
    assert verdict(answer, {evidence: "1 V"}) == "wrong"
    assert verdict("no" if answer == "yes" else "yes", {evidence: number}) == "wrong"


def test_a_step_that_is_not_there_is_told(engine):
    assigned = assigned_from(make_problem(engine, "most-modules-in-series", None, 1), ANA, 1, "7KQ4-2P")
    with pytest.raises(StepError, match=r"7KQ4-2P has no step 'quux'\. It has: cold_voltage"):
        mark_assigned(engine, assigned, "9", {"quux": "1"})


@pytest.mark.parametrize("exercise", EXERCISES)
def test_a_snapshot_comes_back_from_the_store_as_it_was(engine, exercise):
    problem = make_problem(engine, exercise, None, 1)
    for snapshot in (assigned_from(problem, ANA, 1).snapshot, recorded(problem).snapshot):
        declarations = {declaration_hash(snapshot.declaration): snapshot.declaration}
        held = json.loads(json.dumps(snapshot_as_json(snapshot)))
        assert snapshot_from_json(held, problem.ask, declarations) == snapshot
        assert snapshot.declaration == "" or snapshot.declaration not in json.dumps(held)


def test_what_stands_beside_each_problem_in_the_store_is_short(engine):
    """The declaration is kept once, so the rows of a class do not grow with it."""
    problem = make_problem(engine, "conductor-in-a-hot-conduit", None, 1)
    held = json.dumps(snapshot_as_json(assigned_from(problem, ANA, 1).snapshot))
    assert len(held) < 600 < len(frozen(problem.question))


def test_a_question_that_is_declared_as_today_is_todays_own(engine):
    question = engine.question("most-modules-in-series", None, "us")
    assert question_from(engine, frozen(question), question.ask, "us") is question
    old = engine.library.declared["most-modules-in-series"]
    new = Declared(old.exercise.model_copy(update={"title": "Another title"}), old.document)
    declared = MappingProxyType({**engine.library.declared, "most-modules-in-series": new})
    retitled = Engine(replace(engine.library, declared=declared))
    assert question_from(retitled, frozen(question), question.ask, "us").exercise.title == old.exercise.title

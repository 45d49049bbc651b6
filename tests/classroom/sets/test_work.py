"""A learner's work: counted once, kept for good, refused when late, and nothing of the key in what is given back."""

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tutor.base.units import conversion
from tutor.classroom.errors import ClassError
from tutor.classroom.marking.assigned import StepError
from tutor.classroom.models import Item, Outcome
from tutor.classroom.reports.results import Results
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.sets.views import SAVED

HOUR = timedelta(hours=1)
VOLTAGE, COUNT, SURVIVES, ORDER = 1, 2, 4, 5  # places of the set


def outcome(school, at, place) -> Outcome:
    found = Results(school.store, school.of).outcomes()
    return next(one for one in found if one.handed.member == school.members[at] and one.handed.place == place)


def test_a_right_answer_is_right_and_kept(school, noon):
    for handed in school.handed[0]:
        entry, steps = school.right(handed)
        reply = school.work[0].answer(handed.place, entry, steps, key="a", moment=noon)
        assert (reply.answer.verdict, reply.answer.counted, reply.problem.solved) == ("right", True, True), handed
        kept = outcome(school, 0, handed.place)
        assert (kept.state, len(kept.answers), kept.answers[0].entry) == ("right", 1, entry)
        assert (kept.answers[0].at, kept.answers[0].source, kept.answers[0].steps) == (noon, "screen", steps)
    assert [one.state for one in school.work[0].begin()] == ["right"] * 5
    assert [one.state for one in school.work[1].begin()] == ["open"] * 5


def test_a_wrong_answer_takes_an_attempt_and_the_last_one_ends_it(school):
    work, handed = school.work[0], school.handed[0][COUNT - 1]
    first = work.answer(COUNT, "77", key="a")
    assert (first.answer.verdict, first.problem.attempts_left, first.problem.solved) == ("wrong", 1, False)
    second = work.answer(COUNT, "78", key="b")
    assert (second.problem.attempts_left, second.problem.why_not) == (0, "You have used all attempts at this problem.")
    third = work.answer(COUNT, school.right(handed)[0], key="c")
    assert (third.answer.verdict, third.answer.counted) == ("", False)
    assert "kept, but not counted" in third.answer.feedback
    assert outcome(school, 0, COUNT).state == "wrong"
    assert [answer.counted for answer in outcome(school, 0, COUNT).answers] == [True, True, False]


@pytest.mark.parametrize("entry", ["", "   ", "1,234", "hello", "9" * 3000])
def test_what_cannot_be_read_takes_no_attempt(school, entry):
    reply = school.work[0].answer(VOLTAGE, entry, key="a")
    assert reply.answer.verdict in ("refused", "unclear")
    assert not reply.answer.counted
    assert reply.problem.attempts_left == 2
    assert len(reply.answer.entry) <= 2000


def test_the_same_key_counts_once_and_the_first_stands(school):
    handed = school.handed[0][COUNT - 1]
    first = school.work[0].answer(COUNT, "77", key="a")
    assert school.work[0].answer(COUNT, school.right(handed)[0], key="a") == first
    assert len(outcome(school, 0, COUNT).answers) == 1
    assert school.work[1].answer(COUNT, "76", key="a").answer.entry == "76"


def test_many_at_once_never_get_more_attempts_than_there_are(school):
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda at: school.work[0].answer(COUNT, "77", key=f"k{at % 6}"), range(24)))
    answers = outcome(school, 0, COUNT).answers
    assert sum(answer.counted for answer in answers) == 2
    assert len(answers) == 6


def test_answers_to_one_problem_are_not_kept_without_end(school):
    for at in range(100):
        school.work[0].answer(ORDER, "", key=str(at))
    with pytest.raises(ClassError, match="No more answers"):
        school.work[0].answer(ORDER, "A", key="100")


def test_before_it_opens_nothing_is_shown_or_taken(make_class, noon):
    school = make_class(opens=noon, zone="Europe/Lisbon")
    early = noon - HOUR
    with pytest.raises(ClassError, match=r"opens on Monday 2 March 2026 at 12:00 \(Europe/Lisbon\)"):
        school.work[0].begin(early)
    with pytest.raises(ClassError, match="opens on Monday"):
        school.work[0].view(1, early)
    with pytest.raises(ClassError, match="opens on Monday"):
        school.work[0].answer(1, "7", key="a", moment=early)
    with pytest.raises(ClassError, match="opens on Monday"):
        school.work[0].see_hint(1, early)
    with pytest.raises(ClassError, match="opens on Monday"):
        school.work[0].solution(1, early)
    assert outcome(school, 0, 1).answers == []
    assert school.work[0].answer(1, "7.77", key="a", moment=noon).answer.counted


def test_a_late_answer_is_kept_and_not_counted(make_class, noon):
    school = make_class(closes=noon)
    handed = school.handed[0][0]
    entry, steps = school.right(handed)
    reply = school.work[0].answer(1, entry, steps, key="a", moment=noon)
    assert (reply.answer.verdict, reply.answer.counted) == ("", False)
    assert "closed on Monday 2 March 2026 at 12:00 (UTC)" in reply.answer.feedback
    assert outcome(school, 0, 1).state == "open"
    assert outcome(school, 0, 1).answers[0].entry == entry


def test_a_set_closed_by_hand_takes_no_more_until_it_is_reopened(school, register, noon):
    register.close(school.of.id, noon)
    assert not school.work[0].answer(1, "7.77", key="a", moment=noon + HOUR).answer.counted
    register.reopen(school.of.id)
    assert school.work[0].answer(1, "7.77", key="b", moment=noon + HOUR).answer.counted


def test_an_excused_problem_takes_no_answer(school):
    results = Results(school.store, school.of)
    results.excuse(school.handed[0][0].id)
    assert not school.work[0].answer(1, "7.77", key="a").answer.counted
    assert outcome(school, 0, 1).state == "excused"
    assert school.work[0].begin()[0].state == "excused"
    results.excuse(school.handed[0][0].id, excused=False)
    assert outcome(school, 0, 1).state == "open"


def test_a_comment_reaches_the_learner_and_a_withdrawn_answer_counts_no_more(school):
    results = Results(school.store, school.of)
    school.work[0].answer(COUNT, "77", key="a")
    answer = outcome(school, 0, COUNT).answers[0]
    results.comment(answer.id, " Mind the cold. ")
    assert school.work[0].view(COUNT).answers[0].comment == "Mind the cold."
    results.withdraw(answer.id)
    assert school.work[0].view(COUNT).attempts_left == 2
    with pytest.raises(ClassError):
        results.comment(10**6, "x")


def test_drafts_are_kept_until_the_answer_is_sent(school):
    work, ask = school.work[0], school.handed[0][0].ask
    work.keep_draft(1, ask, "46")
    work.keep_draft(1, ask, "46.8")
    assert work.view(1).drafts == {ask: "46.8"}
    assert school.work[1].view(1).drafts == {}
    work.keep_draft(1, ask, "")
    assert work.view(1).drafts == {}
    work.keep_draft(1, ask, "46.8")
    work.answer(1, "46.8", key="a")
    assert work.view(1).drafts == {}
    with pytest.raises(ClassError, match="no such field"):
        work.keep_draft(1, "quux", "1")


def test_the_desk_sees_who_is_where(school, noon):
    school.work[1].arrive(3, noon)
    school.work[1].arrive(3, noon + timedelta(seconds=5))
    school.work[1].arrive(2, noon + HOUR)
    school.work[1].answer(2, "77", key="a", moment=noon + 2 * HOUR)
    found = Results(school.store, school.of).who_is_where()
    assert [(one.member, one.place, one.last_at) for one in found] == [
        (school.members[0], None, None),
        (school.members[1], 2, noon + HOUR),
        (school.members[2], None, None),
    ]
    assert [one.last_answer for one in found] == [None, noon + 2 * HOUR, None]
    assert school.work[1].last_place() == 2
    assert outcome(school, 1, 2).answers[0].seconds == 3600


def test_a_place_that_is_not_there_and_a_step_that_is_not_there_are_told(school):
    for place in (0, 6, -1):
        with pytest.raises(ClassError, match=f"no problem {place}"):
            school.work[0].view(place)
    with pytest.raises(StepError, match="has no step 'quux'"):
        school.work[0].answer(1, "7", {"quux": "1"}, key="a")


def test_hints_come_one_by_one_where_the_set_allows_them(make_class):
    school = make_class()
    before = school.work[0].view(1)
    assert (before.hints, before.hints_left > 0) == ([], True)
    for seen in range(1, before.hints_left + 1):
        assert len(school.work[0].see_hint(1).hints) == seen
    with pytest.raises(ClassError, match="no further hint"):
        school.work[0].see_hint(1)
    school.work[0].answer(1, "7.77", key="a")
    assert outcome(school, 0, 1).answers[0].help == "hints"


def test_no_help_means_no_hints_and_only_the_step_that_has_to_be_there(make_class):
    school = make_class(help="nothing")
    with pytest.raises(ClassError, match="no further hint"):
        school.work[0].see_hint(1)
    assert school.work[0].view(COUNT).steps == []
    assert list(school.work[0].view(SURVIVES).steps) == [school.handed[0][3].evidence]


@pytest.mark.parametrize(
    ("solutions", "open_", "solved", "closed"),
    [("when solved", False, True, True), ("when closed", False, False, True), ("never", False, False, False)],
)
def test_the_worked_solution_is_shown_when_the_set_says(make_class, noon, solutions, open_, solved, closed):
    school = make_class(solutions=solutions, closes=noon)
    work = school.work[0]

    def shown(now):
        assert work.view(1, now).solution_may_be_seen == (allowed(now))
        return allowed(now)

    def allowed(now):
        try:
            return bool(work.solution(1, now))
        except ClassError:
            return False

    assert work.view(1, noon - HOUR).solution_may_be_seen is open_
    if not open_:
        assert not shown(noon - HOUR)
    entry, steps = school.right(school.handed[0][0])
    work.answer(1, entry, steps, key="a", moment=noon - HOUR)
    assert shown(noon - HOUR) is solved
    assert shown(noon) is closed


def test_after_the_worked_solution_nothing_counts(make_class):
    school = make_class(help="solution", solutions="when solved")
    assert school.work[0].solution(1)[-1].text
    entry, steps = school.right(school.handed[0][0])
    reply = school.work[0].answer(1, entry, steps, key="a")
    assert (reply.answer.counted, reply.problem.attempts_left) == (False, 0)
    assert "seen the worked solution" in reply.answer.feedback
    assert outcome(school, 0, 1).state == "open"


def test_after_closing_and_reopening_who_saw_the_solution_cannot_use_it(school, register, noon):
    register.close(school.of.id, noon)
    school.work[0].solution(1, noon)
    register.reopen(school.of.id)
    entry, steps = school.right(school.handed[0][0])
    assert not school.work[0].answer(1, entry, steps, key="a").answer.counted
    assert school.work[1].answer(1, *school.right(school.handed[1][0]), key="a").answer.counted


def told(view):
    return json.dumps(asdict(view), default=str, ensure_ascii=False)


def test_while_verdicts_are_kept_back_right_and_wrong_look_the_same(make_class, register, noon):
    """Everything that is given back after a right and a wrong answer is equal, but for what was typed."""
    school = make_class(marked="when closed", closes=noon)
    before = noon - HOUR
    for handed in school.handed[0]:
        replies = {}
        for at in (0, 1):
            mine = school.handed[at][handed.place - 1]
            typed, with_steps = school.right(mine) if at == 0 else (school.wrong(mine), school.right(mine)[1])
            reply = school.work[at].answer(handed.place, typed, with_steps, key="a", moment=before)
            assert (reply.answer.verdict, reply.answer.feedback) == ("", SAVED)
            assert (reply.problem.solved, reply.problem.attempts_left) == (None, 1)
            assert reply.answer.step_verdicts == {}
            assert not reply.problem.solution_may_be_seen
            replies[at] = {**asdict(reply.answer), "entry": "", "steps": {}}
        assert replies[0] == replies[1]
        states = [work.begin(before)[handed.place - 1].state for work in school.work[:2]]
        assert states == ["answered", "answered"]
    assert [one.state for one in school.work[0].begin(noon)] == ["right"] * 5
    shown = school.work[0].view(1, noon)
    assert (shown.solved, shown.answers[0].verdict) == (True, "right")
    assert shown.answers[0].feedback.startswith("Right")


def test_while_verdicts_are_kept_back_too_few_figures_are_sent_back_right_or_wrong(make_class, noon):
    school = make_class(marked="when closed", closes=noon)
    value = float(school.right(school.handed[0][0])[0])
    for at, entry in enumerate((f"{value:.1e}", "77", "0.5")):
        reply = school.work[0].answer(1, entry, key=str(at), moment=noon - HOUR)
        assert (reply.answer.verdict, reply.answer.counted) == ("refused", False)
        assert "three significant figures" in reply.answer.feedback
        assert reply.problem.attempts_left == 2


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(apart=st.floats(-0.02, 0.02), figures=st.integers(1, 9))
def test_while_verdicts_are_kept_back_nothing_tells_how_near_an_answer_is(make_class, noon, apart, figures):
    school = make_class(id=f"set-{abs(hash((apart, figures)))}", marked="when closed", closes=noon, attempts=20)
    for place in (VOLTAGE, COUNT):
        replies = []
        for at, factor in enumerate((1 + apart, 1.5)):
            handed = school.handed[0][place - 1]
            shown = conversion(handed.snapshot.unit).to_shown(handed.expected[handed.ask]) * factor
            typed = f"{shown:.{figures - 1}e}" if place == VOLTAGE else f"{shown:.0f}"
            reply = school.work[0].answer(place, typed, key=str(at), moment=noon - HOUR)
            replies.append((reply.answer.verdict, reply.answer.feedback, reply.answer.counted, reply.problem.solved))
        assert replies[0] == replies[1]


def test_nothing_of_the_key_is_in_what_a_learner_is_given(school):
    """Neither the problem's number, which any copy of the program could solve, nor a value, nor a field for one."""
    for at, work in enumerate(school.work):
        for handed in school.handed[at]:
            text = told(work.view(handed.place)) + told(
                work.answer(handed.place, school.wrong(handed), key="w").problem
            )
            assert str(handed.number) not in text
            assert handed.version not in text
            assert "expected" not in text
            assert "accepted" not in text
            value = handed.expected.get(handed.ask)
            if value is not None and handed.snapshot.kind(handed.ask) == "number":
                assert f"{value:.6g}" not in text
                assert handed.answer not in text


def test_a_broken_limit_is_told_without_a_number_to_work_back_from(school):
    said = school.work[0].answer(COUNT, "1000", key="a").answer
    assert "breaks a limit" in said.feedback
    assert "1000" not in said.feedback.partition("breaks a limit")[2]
    assert not any(character.isdigit() for character in said.feedback.partition("breaks a limit")[2].split(".")[0])


@pytest.mark.parametrize("typed", ["{:.0f}+1e6*0e-4", "{:.2g}", "{:.6g}+1.00*1000000-1.00*1000000"])
def test_an_answer_typed_so_coarsely_that_it_covers_many_is_sent_back_unseen(school, typed):
    """Else the reply tells for nothing whether the right value lies in an interval of the learner's choosing."""
    handed = school.handed[0][VOLTAGE - 1]
    right = conversion(handed.snapshot.unit).to_shown(handed.expected[handed.ask])
    replies = [school.work[0].answer(VOLTAGE, typed.format(value), key=f"{value}") for value in (right, 3 * right)]
    assert len({(reply.answer.verdict, reply.answer.feedback) for reply in replies}) == 1
    assert replies[0].answer.verdict == "refused"
    assert replies[1].problem.attempts_left == 2


def test_steps_are_not_told_right_beside_an_answer_that_costs_nothing(school):
    handed = school.handed[0][SURVIVES - 1]
    step = handed.evidence
    right = f"{conversion(problem_of(school.engine, handed).unit_of(step)).to_shown(handed.expected[step]):.6g}"
    for at, entry in enumerate(("?", "maybe")):
        said = school.work[0].answer(SURVIVES, entry, {step: right}, key=str(at)).answer
        assert (said.counted, dict(said.step_verdicts)) == (False, {})


def test_a_withdrawn_answer_of_a_set_that_keeps_verdicts_back_tells_none(make_class):
    school = make_class(marked="when closed")
    school.work[0].answer(COUNT, "77", key="a")
    Results(school.store, school.of).withdraw(outcome(school, 0, COUNT).answers[0].id)
    (answer,) = school.work[0].view(COUNT).answers
    assert (answer.verdict, answer.feedback, answer.counted) == ("", SAVED, False)


@pytest.mark.parametrize(
    ("place", "entry", "why"),
    [
        (SURVIVES, "yes", "A yes or no alone may be luck"),
        (COUNT, "1,234", "can be read as"),
        (COUNT, "hello", "not a number"),
    ],
)
def test_a_set_that_keeps_verdicts_back_says_why_an_answer_was_not_looked_at(make_class, place, entry, why):
    reply = make_class(marked="when closed").work[0].answer(place, entry, key="a")
    assert (reply.answer.verdict, reply.answer.counted, reply.problem.attempts_left) == ("refused", False, 2)
    assert why in reply.answer.feedback
    assert reply.problem.answers[0] == reply.answer


def test_who_was_erased_meanwhile_leaves_no_trace_on_arriving(school, register):
    register.erase(school.members[0].id)
    with pytest.raises(ClassError):
        school.work[0].arrive(1)
    assert Results(school.store, school.of).who_is_where()[0].member.name == "Bo"


def test_a_tables_value_of_two_figures_is_taken_and_a_rounded_one_is_wrong(make_class, engine):
    school = make_class(
        id="tables", items=[Item(exercise="correction-factor", ask="ambient_factor"), Item(exercise="battery-fuse")]
    )
    factor = school.handed[0][0]
    assert engine.question(factor.exercise, factor.ask).right.steps[-1].kind == "look up"
    right = factor.expected[factor.ask]
    wide = school.work[0].answer(1, f"{right:.2g}+1e6*0e-4", key="a").answer
    assert (wide.verdict, wide.counted) in (("wrong", True), ("right", True))
    other = school.handed[1][0]
    assert school.work[1].answer(1, f"{other.expected[other.ask]:g}", key="a").answer.verdict == "right"
    fuse = school.handed[0][1]
    assert fuse.ask in engine.question(fuse.exercise, fuse.ask).discrete
    assert school.work[0].answer(2, "9 A", key="a").answer.verdict == "wrong"

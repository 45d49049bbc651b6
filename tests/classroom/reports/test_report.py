"""The report of classes whose mistakes are known, because their answers are what those mistakes lead to."""

import csv
import io
import json
import zipfile
from datetime import UTC, datetime

import pytest

from tutor.answers.marking import Harm, harm_of, mark
from tutor.classroom.exports.gradebook import gradebook
from tutor.classroom.exports.oneroster import SchoolIds, oneroster
from tutor.classroom.exports.xapi import statements
from tutor.classroom.models import Member, PracticeSet
from tutor.classroom.reports.mistakes import WEIGHT, mistakes_of
from tutor.classroom.reports.report import class_report, learner_lines
from tutor.classroom.reports.report_words import report_lines
from tutor.problems.draw import draw
from tutor.problems.problem_factory import make_problem
from tutor.problems.wrong_method import declared_mistakes

SET = PracticeSet(id="strings-in-the-cold", title="Strings in the cold", items=[{"exercise": "most-modules-in-series"}])
SUPPOSED = ("cold-left-out", "rounded-up")


def typed_with(problem, mistake):
    """What somebody types who makes a mistake and no other."""
    return next(f"{values[problem.ask]:.6g}" for way, values in problem.predictions if way.id == mistake)


@pytest.fixture(scope="module")
def handed_out(engine, make):
    """handed_out(member, place, exercise, typed, ...): a problem handed out, answered and marked."""

    def outcome(member, place, typed, exercise="most-modules-in-series", ask=None):
        problem = make_problem(engine, exercise, ask, 10 * member.id + place)
        answers = []
        for text in [typed(problem)] if callable(typed) else typed:
            marking = mark(problem, text)
            answers.append(
                {
                    "entry": text,
                    "verdict": marking.verdict,
                    "named": marking.named.id if marking.named else None,
                    "mistakes": {one.id: one.probability for one in marking.candidates},
                    "counted": marking.counts,
                }
            )
        return make["outcome"](member, place, *answers, problem=problem)

    return outcome


def members(count):
    return [Member(id=at, name=f"Learner {at}", number=f"n{at}") for at in range(1, count + 1)]


def test_the_mistake_that_most_make_is_told_with_examples_and_its_lesson(engine, handed_out):
    """Six type the voltage that comes out without the cold, two the one with the sign turned."""
    class_ = members(8)
    made = ["cold-left-out"] * 6 + ["sign-turned"] * 2
    outcomes = [
        handed_out(member, 1, lambda problem, mistake=mistake: f"{typed_with(problem, mistake)} V", ask="cold_voltage")
        for member, mistake in zip(class_, made, strict=True)
    ]
    first, second = mistakes_of(outcomes, engine, "us")
    assert (first.id, first.learners, second.id, second.learners) == ("cold-left-out", 6, "sign-turned", 2)
    assert first.words == "the cold left out"
    assert first.lesson == "cold-voltage"
    assert first.lesson_title == engine.library.lessons["cold-voltage"].header.title
    assert 1 <= len(first.examples) <= 3
    assert all(example.endswith("V") for example in first.examples)
    assert "cold-overvoltage" in first.safety


def test_no_name_and_no_number_of_a_learner_is_in_the_mistakes(engine, handed_out):
    outcomes = [handed_out(member, 1, lambda p: typed_with(p, "cold-left-out")) for member in members(5)]
    told = json.dumps([mistake.as_json() for mistake in mistakes_of(outcomes, engine, "us")])
    assert "Learner" not in told
    assert not any(f'"n{at}"' in told for at in range(1, 6))


def test_a_dangerous_mistake_comes_before_a_more_frequent_milder_one(engine, make):
    """Two whose strings would destroy the charger against five who leave a module out: 2 x 6 > 5 x 2."""
    problem = draw(engine.question("most-modules-in-series"), 4)
    right = round(problem.answer.value)

    def typed(member, entry, named):
        return make["outcome"](member, 1, {"entry": entry, "verdict": "wrong", "named": named}, problem=problem)

    class_ = members(7)
    outcomes = [typed(member, str(right + 1), "rounded-up") for member in class_[:2]]
    outcomes += [typed(member, str(right - 1), "one-off-for-safety") for member in class_[2:]]
    first, second = mistakes_of(outcomes, engine, "us")
    assert (first.id, first.broke_limit, first.answers) == ("rounded-up", 2, 2)
    assert (second.id, second.broke_limit, second.did_harm) == ("one-off-for-safety", 0, 5)
    assert first.rank == 2 * WEIGHT[Harm.LIMIT_BROKEN]
    assert second.rank == 5 * WEIGHT[Harm.SOME]


def test_what_is_not_named_counts_by_its_probability(engine, make):
    answer = {"entry": "14", "verdict": "wrong", "mistakes": {"cold-left-out": 0.6, "rounded-up": 0.3}}
    outcomes = [make["outcome"](member, 1, answer) for member in members(4)]
    found = {one.id: one for one in mistakes_of(outcomes, engine, "us")}
    assert found["cold-left-out"].learners == 0
    assert found["cold-left-out"].perhaps == pytest.approx(2.4)
    assert found["rounded-up"].perhaps == pytest.approx(1.2)


def test_a_learner_who_repeats_a_mistake_counts_once(engine, make):
    answer = {"entry": "14", "verdict": "wrong", "named": "cold-left-out"}
    (found,) = mistakes_of([make["outcome"](members(1)[0], 1, answer, answer, answer)], engine, "us")
    assert (found.learners, found.perhaps, found.answers) == (1, 0, 3)


def test_right_unclear_and_excused_answers_show_no_mistake(engine, make):
    one = members(1)[0]
    named = {"entry": "14", "named": "cold-left-out"}
    outcomes = [
        make["outcome"](one, 1, {**named, "verdict": "unclear", "counted": False}),
        make["outcome"](one, 2, {**named, "verdict": "wrong"}, excused=True),
        make["outcome"](one, 3, "right"),
    ]
    assert mistakes_of(outcomes, engine, "us") == []


def test_a_pair_counts_for_both_mistakes(engine, make):
    answer = {"entry": "15", "verdict": "wrong", "named": "cold-left-out+rounded-up"}
    found = mistakes_of([make["outcome"](members(1)[0], 1, answer)], engine, "us")
    assert {one.id: one.learners for one in found} == {"cold-left-out": 1, "rounded-up": 1}


def test_the_follow_up_sets_problems_in_which_the_mistake_shows(engine, make):
    answer = {"entry": "14", "verdict": "wrong", "named": "cold-left-out"}
    (found,) = mistakes_of([make["outcome"](members(1)[0], 1, answer)], engine, "us")
    assert found.follow_up.id == "again-cold-left-out"
    for item in found.follow_up.items:
        question = engine.question(item.exercise, item.ask, found.follow_up.rulebook)
        assert "cold-left-out" in {mistake.id for mistake in declared_mistakes(question)}
    lessons = [engine.library.exercises[item.exercise].lesson for item in found.follow_up.items]
    assert lessons[0] == "cold-voltage"
    declaring = {id_ for id_, one in engine.library.exercises.items() if "cold-left-out" in one.mistakes}
    assert {item.exercise for item in found.follow_up.items} <= declaring


@pytest.mark.parametrize("book", ["us", "iec"])
def test_every_declared_mistake_has_a_follow_up_that_is_a_sound_set(engine, make, book):
    for id_, exercise in engine.library.exercises.items():
        if book not in getattr(exercise, "rulebooks", [book]):
            continue
        for mistake in list(exercise.mistakes)[:3]:
            answer = {"entry": "1", "verdict": "wrong", "named": mistake}
            ask = next(iter(exercise.asks))
            outcome = make["outcome"](members(1)[0], 1, answer, exercise=id_, ask=ask, rulebook=book)
            (found,) = mistakes_of([outcome], engine, book)
            again = PracticeSet.model_validate(found.as_json()["follow_up"])
            assert again == found.follow_up
            assert again.rulebook == book
            assert all(item.exercise in engine.library.exercises for item in again.items)


def test_an_exercise_that_is_gone_or_changed_is_still_counted(engine, make):
    gone = make["outcome"](
        members(1)[0], 1, {"entry": "1", "verdict": "wrong", "named": "some-mistake"}, exercise="no-longer-there"
    )
    (found,) = mistakes_of([gone], engine, "us")
    assert (found.words, found.learners, found.broke_limit) == ("some mistake", 1, 0)


def test_a_report_in_lines_tells_where_a_mistake_was_seen(engine, handed_out):
    outcomes = [handed_out(members(1)[0], 1, lambda p: typed_with(p, "cold-left-out"))]
    lines = list(report_lines(class_report(SET, outcomes, engine, closed=True)))
    (first,) = [at for at, line in enumerate(lines) if line.endswith(": 1 learner")]
    assert f"      seen in: {outcomes[0].handed.exercise}" in lines[first : first + 3]


def test_a_trap_of_an_order_is_as_bad_as_a_broken_limit(engine):
    problem = make_problem(engine, "switching-on", number=1)
    trap = next(id_ for id_ in problem.letters.values() if id_ in problem.question.exercise.traps)
    answer = problem.letter_of(trap)
    assert harm_of(problem, answer, frozenset({mark(problem, answer).named.id})) is Harm.LIMIT_BROKEN
    assert harm_of(problem, problem.answer_text) is Harm.NONE


def test_harm_follows_the_limit_and_the_glossary(engine):
    problem = draw(engine.question("most-modules-in-series"), 4)
    right = round(problem.answer.value)
    assert harm_of(problem, str(right + 1)) is Harm.LIMIT_BROKEN
    assert harm_of(problem, str(right - 1)) is Harm.SOME
    assert harm_of(problem, "what?") is Harm.NONE
    label = draw(engine.question("fill-factor", "module_voc"), 4)
    assert not label.question.library.quantities["module_voc"].too_low
    assert harm_of(label, f"{label.answer.value * 0.8:.2f}") is Harm.NONE


def test_learners_lines_add_up(make):
    one, other = members(2)
    outcomes = [
        make["outcome"](one, 1, {"verdict": "wrong", "named": "rounded-up", "seconds": 10}, "right"),
        make["outcome"](other, 1),
        make["outcome"](one, 2, excused=True),
        make["outcome"](other, 2, "wrong"),
    ]
    first, second = learner_lines(outcomes)
    assert (first.right, first.wrong, first.open, first.excused, first.share) == (1, 0, 0, 1, 1.0)
    assert first.seconds == 30
    assert first.mistakes == ("rounded-up",)
    assert (second.right, second.wrong, second.open, second.share) == (0, 1, 1, 0.0)


@pytest.mark.parametrize("closed", [False, True])
def test_the_report_and_every_export_say_the_same_of_who_never_answered(engine, make, closed):
    one, absent = members(2)
    outcomes = [make["outcome"](one, 1, "wrong"), make["outcome"](absent, 1)]
    lines = learner_lines(outcomes)
    assert [(line.submitted, line.share, line.decided(closed=closed)) for line in lines] == [
        (True, 0.0, True),
        (False, None, False),
    ]
    report = class_report(SET, outcomes, engine, closed=closed)
    assert [line["share"] for line in report.as_json()["learners"]] == [0.0, None]
    told = list(report_lines(report))
    assert told[0] == f"{SET.title}: 2 learners, {'closed' if closed else 'still open'}; not submitted: 1"
    assert told[-1].endswith(": not submitted, 1 open")
    rows = gradebook(outcomes, closed=closed).decode().splitlines()[1:]
    assert [row.rsplit(",")[-1] for row in rows] == ["0.0", "not submitted"]
    ids = SchoolIds(school="s", class_="c", category="h", session="t")
    archive = oneroster(SET, outcomes, ids, moment=datetime(2026, 3, 9, tzinfo=UTC), closed=closed)
    with zipfile.ZipFile(io.BytesIO(archive)) as files:
        rows = list(csv.DictReader(io.StringIO(files.read("results.csv").decode(), newline="")))
    assert [(row["scoreStatus"], row["score"]) for row in rows] == [("fully graded", "0.00"), ("not submitted", "")]
    told = [json.dumps(one.statement) for one in statements(SET, outcomes, "https://school.example", closed=closed)]
    assert len([one for one in told if "completed" in one]) == 1


def test_a_whole_report_is_ready_for_json(engine, handed_out):
    outcomes = [
        handed_out(member, place, lambda p: typed_with(p, "cold-left-out") if p.number % 2 else f"{p.answer.value:g}")
        for member in members(6)
        for place in (1, 2, 3)
    ]
    report = class_report(SET, outcomes, engine, closed=True)
    told = json.loads(json.dumps(report.as_json(), allow_nan=False))
    assert told["title"] == SET.title
    assert len(told["learners"]) == 6
    assert len(told["statistics"]["places"]) == 3
    assert "cold-left-out" in {one["id"] for one in told["mistakes"]}
    assert told["statistics"]["enough_learners_for_verdicts"] is False

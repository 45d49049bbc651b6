"""Marking again: the difference first, then the change; history kept, nothing else touched."""

from dataclasses import replace
from types import MappingProxyType

import pytest
from sqlalchemy import select

from tutor.base.units import conversion
from tutor.classroom.errors import ClassError
from tutor.classroom.marking.regrade import apply, preview_answer, preview_content, told_changes
from tutor.classroom.models import Item
from tutor.classroom.reports.results import Results
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.work import ClassWork
from tutor.content.library import Declared
from tutor.problems.question import Engine
from tutor.store.tables import correction, handed, verdict_change

EXERCISE = "string-voltage-at-record-low"
ITEMS = [Item(exercise=EXERCISE), Item(exercise="most-modules-in-series")]


def changed(engine, exercise=EXERCISE, **fields):
    """The engine with one exercise declared otherwise."""
    old = engine.library.declared[exercise]
    new = Declared(old.exercise.model_copy(update=fields), old.document)
    return Engine(replace(engine.library, declared=MappingProxyType({**engine.library.declared, exercise: new})))


@pytest.fixture
def mended(engine):
    """The exercise as if its cold voltage had been one per cent too low."""
    relations = dict(engine.library.declared[EXERCISE].exercise.relations)
    last = list(relations)[-1]
    relations[last] = f"1.01 * ({relations[last]})"
    return changed(engine, relations=relations)


@pytest.fixture
def answered(make_class):
    """Ana is right, Bo has 1 % more (wrong, and right once the exercise is mended), Čeda is far off."""
    school = make_class(items=ITEMS)
    for at, factor in enumerate((1.0, 1.01, 1.5)):
        one = school.handed[at][0]
        school.work[at].answer(1, f"{value_of(one) * factor:.7g}", key="a")
        school.work[at].answer(2, school.wrong(school.handed[at][1]), key="a")
    return school


def value_of(one):
    return conversion(one.snapshot.unit).to_shown(one.expected[one.ask])


def outcomes(school):
    return Results(school.store, school.of).outcomes()


def rows(school, table):
    with school.store.reading() as connection:
        return connection.execute(select(table)).mappings().all()


def verdicts(school):
    return [[answer.verdict for answer in one.answers] for one in outcomes(school)]


def test_the_difference_is_shown_before_anything_changes(answered, mended):
    before = outcomes(answered)
    remark = preview_content(answered.store, mended, answered.of)
    assert [(one.handed.member.name, one.before, one.after) for one in remark.changes] == [
        ("Ana", "right", "wrong"),
        ("Bo", "wrong", "right"),
    ]
    assert [(old.place, old.exercise) for old, _ in remark.corrected] == [(1, EXERCISE)] * 3
    first = next(iter(told_changes(remark)))
    assert first.startswith(f"{answered.handed[0][0].code} Ana: '")
    assert first.endswith("' right -> wrong")
    assert outcomes(answered) == before


def test_what_was_shown_is_done_kept_and_nothing_else_is_touched(answered, mended, noon):
    before = outcomes(answered)
    made = apply(answered.store, mended, preview_content(answered.store, mended, answered.of), "the mend", noon)
    assert [(one.before, one.after) for one in made] == [("right", "wrong"), ("wrong", "right")]
    after = outcomes(answered)
    assert verdicts(answered) == [["wrong"], ["wrong"], ["right"], ["wrong"], ["wrong"], ["wrong"]]
    for old, new in zip(before, after, strict=True):
        assert (new.handed.givens, new.handed.snapshot.words(new.handed.ask), new.handed.number) == (
            old.handed.givens, old.handed.snapshot.words(old.handed.ask), old.handed.number,
        )  # fmt: skip
        same = [one.answer.id for one in made]
        assert [a for a in new.answers if a.id not in same] == [a for a in old.answers if a.id not in same]
        if old.handed.exercise != EXERCISE:
            assert new == old
        else:
            assert new.handed.expected[new.handed.ask] == pytest.approx(1.01 * old.handed.expected[old.handed.ask])
    history = rows(answered, verdict_change)
    assert [(row["before"]["verdict"], row["after"]["verdict"], row["reason"], row["at"]) for row in history] == [
        ("right", "wrong", "the mend", noon),
        ("wrong", "right", "the mend", noon),
    ]
    assert history[0]["before"]["feedback"] == before[0].answers[0].feedback
    assert [row["before"]["expected"] for row in rows(answered, correction)] == [
        dict(one.handed.expected) for one in before if one.handed.exercise == EXERCISE
    ]


def test_doing_it_again_changes_nothing(answered, mended):
    apply(answered.store, mended, preview_content(answered.store, mended, answered.of), "the mend")
    before = outcomes(answered)
    again = preview_content(answered.store, mended, answered.of)
    assert (again.corrected, again.changes) == ([], [])
    assert apply(answered.store, mended, again, "again") == []
    assert outcomes(answered) == before
    assert len(rows(answered, verdict_change)) == 2


def test_without_a_correction_there_is_no_difference(answered, engine):
    remark = preview_content(answered.store, engine, answered.of)
    assert (remark.corrected, remark.changes, remark.unfit) == ([], [], [])


def test_later_answers_are_marked_by_the_corrected_values(answered, mended):
    apply(answered.store, mended, preview_content(answered.store, mended, answered.of), "the mend")
    one = answered.handed[2][0]
    for engine in (mended, answered.engine):
        work = ClassWork(answered.store, engine, answered.of, answered.members[2])
        reply = work.answer(1, f"{value_of(one) * 1.01:.7g}", key="late")
        assert reply.answer.verdict == "right"


def test_until_it_is_applied_a_changed_exercise_marks_by_what_was_handed_out(answered, mended):
    one = answered.handed[2][0]
    work = ClassWork(answered.store, mended, answered.of, answered.members[2])
    assert work.answer(1, f"{value_of(one):.7g}", key="b").answer.verdict == "right"
    assert hand_out(answered.store, mended, answered.of) == [p for of in answered.handed for p in of]


def test_an_answer_that_came_in_since_the_preview_is_marked_again_too(answered, mended):
    remark = preview_content(answered.store, mended, answered.of)
    answered.work[2].answer(1, f"{value_of(answered.handed[2][0]) * 1.01:.7g}", key="since")
    made = apply(answered.store, mended, remark, "the mend")
    assert [(one.handed.member.name, one.after) for one in made] == [
        ("Ana", "wrong"),
        ("Bo", "right"),
        ("Čeda", "right"),
    ]


def test_two_at_the_desk_do_not_correct_over_each_other(answered, mended):
    remark = preview_content(answered.store, mended, answered.of)
    apply(answered.store, mended, remark, "first")
    with pytest.raises(ClassError, match="has been corrected meanwhile"):
        apply(answered.store, mended, remark, "second")
    with pytest.raises(ClassError, match="Say in a few words why"):
        apply(answered.store, mended, remark, " ")


def test_givens_that_do_not_fit_any_more_are_told(answered, engine):
    declared = engine.library.declared[EXERCISE].exercise
    name = next(iter(declared.givens))
    relations = {key: text.replace(name, "input_voltage_max") for key, text in declared.relations.items()}
    givens = {other: given for other, given in declared.givens.items() if other != name}
    other = changed(engine, givens={**givens, "input_voltage_max": "charger"}, relations=relations)
    remark = preview_content(answered.store, other, answered.of)
    assert remark.corrected == []
    assert [reason for _, reason in remark.unfit] == [
        "its givens do not fit the exercise any more. Excuse its learner, or say its right answer."
    ] * 3


def test_only_the_exercise_that_is_named_is_looked_at(answered, mended):
    assert preview_content(answered.store, mended, answered.of, "most-modules-in-series").corrected == []
    assert len(preview_content(answered.store, mended, answered.of, EXERCISE).corrected) == 3


def test_the_instructor_can_say_the_right_answer_of_one_problem(answered, engine):
    one = answered.handed[1][0]
    right = f"{value_of(one) * 1.01:.7g} V"
    remark = preview_answer(answered.store, engine, one.id, right)
    assert [(change.before, change.after) for change in remark.changes] == [("wrong", "right")]
    apply(answered.store, engine, remark, "the sheet had a misprint")
    assert verdicts(answered)[2] == ["right"]
    assert answered.work[1].answer(1, f"{value_of(one):.7g}", key="b").answer.counted is False
    there = outcomes(answered)[2].handed
    assert (there.answer, there.version) == (right, one.version)
    assert preview_content(answered.store, engine, answered.of).corrected == []


@pytest.mark.parametrize(
    ("place", "right", "told"),
    [
        (1, "1,234", "cannot be the right answer"),
        (1, "12 A", "cannot be the right answer"),
        (2, "77", "would break the problem's limit"),
    ],
)
def test_what_cannot_be_the_right_answer_is_refused(answered, engine, place, right, told):
    with pytest.raises(ClassError, match=told):
        preview_answer(answered.store, engine, answered.handed[0][place - 1].id, right)


def test_no_correction_makes_an_answer_right_that_breaks_a_limit(answered, engine):
    """A smaller count of modules keeps to the limit and may be said to be right; one more than fit never."""
    one = answered.handed[0][1]
    fits = int(one.expected[one.ask])
    remark = preview_answer(answered.store, engine, one.id, str(fits - 1))
    apply(answered.store, engine, remark, "house rule: one to spare")
    again = ClassWork(answered.store, engine, answered.of, answered.members[0])
    wrong = again.answer(2, str(fits + 1), key="x").answer
    assert wrong.verdict == "wrong"
    assert "the right answer that your instructor gave" in wrong.feedback
    assert "has changed" not in wrong.feedback
    with pytest.raises(ClassError, match="break the problem's limit"):
        preview_answer(answered.store, engine, one.id, str(fits + 1))


def test_withdrawn_late_and_unread_answers(answered, mended, register):
    """What the desk withdrew stays so; what was never marked stays so; what was unread is read again."""
    results = Results(answered.store, answered.of)
    bo = next(one for one in outcomes(answered) if one.handed.member.name == "Bo" and one.handed.place == 1)
    results.withdraw(bo.answers[0].id)
    register.close(answered.of.id)
    answered.work[0].answer(1, "99.9", key="late")
    apply(answered.store, mended, preview_content(answered.store, mended, answered.of), "the mend")
    found = {one.handed.member.name: one for one in outcomes(answered) if one.handed.place == 1}
    assert [(a.verdict, a.counted) for a in found["Bo"].answers] == [("right", False)]
    assert [(a.verdict, a.counted) for a in found["Ana"].answers] == [("wrong", True), ("", False)]
    assert found["Bo"].state == "open"


def test_an_order_has_no_single_right_answer_to_be_said(school, engine):
    with pytest.raises(ClassError, match="more than one right answer"):
        preview_answer(school.store, engine, school.handed[0][4].id, "A B")
    with pytest.raises(ClassError, match="not in the store"):
        preview_answer(school.store, engine, 10**6, "A B")


def test_the_store_keeps_what_the_problem_was_marked_by(answered, mended):
    apply(answered.store, mended, preview_content(answered.store, mended, answered.of), "the mend")
    row = next(row for row in rows(answered, correction) if row["handed_id"] == answered.handed[0][0].id)
    kept = next(row for row in rows(answered, handed) if row["id"] == answered.handed[0][0].id)
    assert row["after"]["kept"] == kept["kept"]
    assert row["before"]["version"] != row["after"]["version"] == kept["version"]

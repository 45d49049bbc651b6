"""Sheets of problems whose exercise has changed or gone since they were handed out: what was handed out is printed."""

from dataclasses import replace
from datetime import date
from types import MappingProxyType

import pytest

from tutor.classroom.models import Item
from tutor.classroom.sheets.build import handed_by_member, learner_key, learner_sheet, style_of
from tutor.classroom.sheets.changed import WHY
from tutor.classroom.sheets.page import key_page, sheets_page
from tutor.classroom.sheets.pdf import key_pdf, sheets_pdf
from tutor.classroom.work import ClassWork
from tutor.content.library import Declared
from tutor.content.models import FOR_ALL
from tutor.engine.question import Engine

EXERCISE = "string-voltage-at-record-low"
ITEMS = [Item(exercise=EXERCISE), Item(exercise="does-the-string-survive"), Item(exercise="switching-on")]


def with_declared(engine, declared, orders):
    changed = {"declared": MappingProxyType(declared), "orders": MappingProxyType(orders)}
    return Engine(replace(engine.library, **changed))


@pytest.fixture
def mended(engine):
    """The first exercise as if its voltage had been one per cent too low."""
    old = engine.library.declared[EXERCISE]
    relations = dict(old.exercise.relations)
    last = list(relations)[-1]
    relations[last] = f"1.01 * ({relations[last]})"
    new = Declared(old.exercise.model_copy(update={"relations": relations}), old.document)
    return with_declared(engine, {**engine.library.declared, EXERCISE: new}, engine.library.orders)


@pytest.fixture
def emptied(engine):
    """The catalogue without the exercises of the set."""
    gone = {item.exercise for item in ITEMS}
    kept = [
        {id_: one for id_, one in whole.items() if id_ not in gone}
        for whole in (engine.library.declared, engine.library.orders)
    ]
    return with_declared(engine, *kept)


@pytest.fixture
def school(make_class):
    return make_class(items=ITEMS)


def printed(school, engine, **how):
    """Sheet and key of each member, by name."""
    everyone = handed_by_member(school.store, engine, school.of)
    return {one.name: (learner_sheet(one, coded, **how), learner_key(one, coded)) for one, coded in everyone.items()}


def told(problem):
    """What a learner is told and asked: all but the diagram, symbols and room to work."""
    givens = [(row.words, row.value) for row in problem.givens]
    return (
        problem.code,
        problem.title,
        problem.story,
        problem.question,
        givens,
        problem.actions,
        problem.answers,
        problem.steps,
    )


@pytest.mark.parametrize("later", ["mended", "emptied"])
def test_a_sheet_prints_what_was_handed_out(school, engine, later, request):
    now = request.getfixturevalue(later)
    before, after = printed(school, engine, steps=True), printed(school, now, steps=True)
    for name, (sheet, key) in before.items():
        again, key_again = after[name]
        assert [told(one) for one in again.problems] == [told(one) for one in sheet.problems]
        answers = [[one.answer.partition(" (")[0] for one in whose.problems] for whose in (key_again, key)]
        assert answers[0] == answers[1]


def test_only_what_has_changed_is_printed_without_its_diagram(school, mended):
    sheet, key = printed(school, mended)["Ana"]
    assert [one.picture is None for one in sheet.problems] == [True, False, True]
    assert [one.lines[0].why == WHY for one in key.problems] == [True, False, False]


def test_the_key_has_the_values_kept_of_the_steps(school, engine, emptied):
    first, again = (printed(school, of)["Bo"][1].problems[0] for of in (engine, emptied))
    *steps, _ = [line.value for line in first.lines if line.title != "Check"]
    assert [line.numbers for line in again.lines[1:]] == steps
    assert steps


def test_an_exercise_that_is_gone_is_printed_with_every_caution(school, emptied):
    hazards = {id_: hazard.text for id_, hazard in emptied.library.hazards.items()}
    sheet, _ = printed(school, emptied)["Ana"]
    assert set(sheet.problems[0].cautions) == {text for id_, text in hazards.items() if id_ != FOR_ALL}


def test_both_kinds_of_files_are_made(school, emptied):
    sheets, keys = zip(*printed(school, emptied, steps=True).values(), strict=True)
    style = style_of(school.of.declaration, emptied.library, date(2026, 3, 2))
    for made in (sheets_pdf(style, sheets), key_pdf(style, keys)):
        assert made.startswith(b"%PDF")
    codes = [one.code for sheet in sheets for one in sheet.problems]
    assert all(code in page for page in (sheets_page(style, sheets), key_page(style, keys)) for code in codes)


def test_the_screen_has_every_caution_of_an_exercise_that_is_gone(school, emptied):
    work = ClassWork(school.store, emptied, school.of, school.members[0])
    assert set(work.view(1).cautions) == {hazard.text for hazard in emptied.library.hazards.values()}

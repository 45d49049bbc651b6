"""Sheets of problems whose exercise has changed or gone since they were handed out: what was handed out is printed."""

from dataclasses import replace
from datetime import date
from types import MappingProxyType

import pytest

from tutor.classroom.models import Item
from tutor.classroom.sets.work import ClassWork
from tutor.classroom.sheets.build import handed_by_member, learner_key, learner_sheet, style_of
from tutor.classroom.sheets.page import key_page, sheets_page
from tutor.classroom.sheets.pdf import key_pdf, sheets_pdf
from tutor.content.library import Declared
from tutor.content.models import FOR_ALL
from tutor.problems.question import Engine

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


@pytest.mark.parametrize("later", ["mended", "emptied"])
def test_sheets_and_keys_are_printed_as_they_were_handed_out(school, engine, later, request):
    """With their diagrams and worked solutions; a caution that today's exercise has is printed beside."""
    now = request.getfixturevalue(later)
    before, after = printed(school, engine, steps=True), printed(school, now, steps=True)
    assert after == before


def test_an_exercise_that_is_gone_is_printed_with_every_caution_if_one_of_its_own_is_gone_too(school, emptied):
    library = emptied.library
    exercise = school.engine.library.exercises[EXERCISE]
    gone = next(id_ for id_ in exercise.safety if id_ != FOR_ALL)
    hazards = {id_: hazard for id_, hazard in library.hazards.items() if id_ != gone}
    poorer = Engine(replace(library, hazards=hazards))
    sheet, _ = printed(school, poorer)["Ana"]
    assert set(sheet.problems[0].cautions) == {one.text for id_, one in hazards.items() if id_ != FOR_ALL}
    work = ClassWork(school.store, poorer, school.of, school.members[0])
    exercise = work.problem(1).question.exercise
    assert set(exercise.safety) == {*hazards}


def test_both_kinds_of_files_are_made(school, emptied):
    sheets, keys = zip(*printed(school, emptied, steps=True).values(), strict=True)
    style = style_of(school.of.declaration, emptied.library, date(2026, 3, 2))
    for made in (sheets_pdf(style, sheets), key_pdf(style, keys)):
        assert made.startswith(b"%PDF")
    codes = [one.code for sheet in sheets for one in sheet.problems]
    assert all(code in page for page in (sheets_page(style, sheets), key_page(style, keys)) for code in codes)

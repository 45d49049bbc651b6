"""A class with a set: what the tests of the class start from."""

from contextlib import closing
from datetime import UTC, datetime

import pytest
from sqlalchemy import MetaData, select

from tutor.base.units import conversion
from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.roster.claims import Claims
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.sets.work import ClassWork
from tutor.store.database import Store

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
ITEMS = [
    Item(exercise="string-voltage-at-record-low"),
    Item(exercise="most-modules-in-series", problems=2),
    Item(exercise="does-the-string-survive"),
    Item(exercise="switching-on"),
]


def declared(**changes):
    fields = {"id": "cold-strings", "title": "Strings on a cold morning", "items": ITEMS, "attempts": 2}
    fields["claim_with"] = "name alone"
    return PracticeSet(**{**fields, **changes})


@pytest.fixture
def store(store_address):
    with closing(Store.open(store_address)) as store:
        yield store


@pytest.fixture
def held(store, tmp_path):
    """held(): all that the database holds, as bytes; of SQLite the files themselves, deleted text and all."""

    def held():
        files = list(tmp_path.glob("store.sqlite3*"))
        if files:
            return b"".join(file.read_bytes() for file in files)
        with store.reading() as connection:
            tables = MetaData()
            tables.reflect(connection)
            found = [connection.execute(select(table)).all() for table in tables.tables.values()]
        return repr(found).encode()

    return held


@pytest.fixture
def register(store):
    return Register(store)


@pytest.fixture
def make_set(register):
    """make_set(**changes): a set opened for the class; changes are fields of its declaration."""
    return lambda **changes: register.open_set(declared(**changes))


@pytest.fixture
def members(register):
    """Three members of the usual class."""
    roster = [Member(id=0, name=name, number=number) for name, number in (("Ana", "7"), ("Bo", "8"), ("Čeda", ""))]
    return register.enter(roster).new


class Class:
    """A set handed out to the three members; `work[at]` is the work of one, `handed[at]` their problems."""

    def __init__(self, store, engine, of, members):
        self.store, self.engine, self.of, self.members = store, engine, of, members
        self.work = [ClassWork(store, engine, of, member) for member in members]
        problems = hand_out(store, engine, of)
        self.handed = [[one for one in problems if one.member == member] for member in members]

    def claims(self):
        return Claims(self.store, self.of)

    def right(self, handed):
        """The right answer as it may be typed, and the step that it has to come with."""
        steps = {}
        if handed.evidence:
            evidence = handed.evidence
            shown = conversion(problem_of(self.engine, handed).unit_of(evidence)).to_shown(handed.expected[evidence])
            steps = {evidence: f"{shown:.8g}"}
        if handed.snapshot.kind(handed.ask) == "number":
            return f"{conversion(handed.snapshot.unit).to_shown(handed.expected[handed.ask]):.8g}", steps
        return handed.answer, steps

    def wrong(self, handed):
        """A wrong answer that can be read."""
        return {"number": "1.234", "count": "77", "answer": "yes", "order": " ".join(reversed(handed.answer.split()))}[
            handed.snapshot.kind(handed.ask)
        ]


@pytest.fixture
def make_class(store, engine, make_set, members):
    """make_class(**changes): the same with a set whose declaration differs."""
    return lambda **changes: Class(store, engine, make_set(**changes), members)


@pytest.fixture
def school(make_class):
    return make_class()


@pytest.fixture
def noon():
    return NOON

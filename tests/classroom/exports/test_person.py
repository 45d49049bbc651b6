"""What a person is given is what erasing takes away, and it holds nothing of anybody else."""

import json

import pytest
from sqlalchemy import func, select

from tutor.classroom.errors import ClassError
from tutor.classroom.exports.outbox import Outbox
from tutor.classroom.exports.person import person, tables_about_a_member
from tutor.classroom.exports.xapi import statements
from tutor.classroom.reports.results import Results
from tutor.classroom.roster.register import Register
from tutor.store import tables


def counted(store):
    """How many rows each table has."""
    with store.reading() as connection:
        return {
            name: connection.scalar(select(func.count()).select_from(tables.metadata.tables[name]))
            for name in tables_about_a_member()
        }


def test_everything_about_one_member_and_nothing_of_the_others(worked):
    ana, bo, _ = worked.members
    told = json.loads(json.dumps(person(worked.store, bo.id), allow_nan=False))
    assert told["member"]["name"] == "Bo"
    assert told["class"] == "class"
    assert [row["entry"] for row in told["class_answer"]] == ["77"]
    assert [row["text"] for row in told["class_draft"]] == ["half a thought of Bo"]
    assert [row["place"] for row in told["whereabouts"]] == [3]
    assert len(told["handed"]) == len(worked.handed[1])
    text = json.dumps(told)
    assert "Ana" not in text
    assert "Look at the cold again." in json.dumps(person(worked.store, ana.id))


def test_the_sets_key_and_no_secret_is_in_it(worked):
    told = person(worked.store, worked.members[1].id)
    text = json.dumps(told)
    for handed in worked.handed[1]:
        assert "expected" not in told["handed"][0]
        if handed.snapshot.kind(handed.ask) == "number":
            assert repr(handed.expected[handed.ask]) not in text
    assert worked.of.secret not in text
    assert worked.of.class_secret not in text
    assert not {"secret", "number"} & (told["member"].keys() - {"number"} | told["handed"][0].keys())


def test_marks_that_the_learner_may_not_see_yet_are_left_out(make_class, register):
    school = make_class(marked="when closed", attempts=3)
    school.work[0].answer(2, "77", key="a")
    (answer,) = person(school.store, school.members[0].id)["class_answer"]
    assert (answer["entry"], answer["verdict"], answer["feedback"], answer["named"]) == ("77", None, None, None)
    register.close(school.of.id)
    (answer,) = person(school.store, school.members[0].id)["class_answer"]
    assert answer["verdict"] == "wrong"


def test_erasing_removes_just_what_was_told(worked):
    outbox = Outbox(worked.store)
    outbox.keep_statements(
        statements(worked.of.declaration, Results(worked.store, worked.of).outcomes(), "https://school.example")
    )
    before, told = counted(worked.store), person(worked.store, worked.members[1].id)
    theirs = {name: 1 if name == "member" else len(told[name]) for name in tables_about_a_member()}
    assert theirs["outbox"] > 0
    others = [json.dumps(person(worked.store, one.id)) for one in (worked.members[0], worked.members[2])]
    Register(worked.store).erase(worked.members[1].id)
    after = counted(worked.store)
    assert after == {name: before[name] - theirs[name] for name in before}
    assert [json.dumps(person(worked.store, one.id)) for one in (worked.members[0], worked.members[2])] == others
    with pytest.raises(ClassError, match="no such member"):
        person(worked.store, worked.members[1].id)


def test_every_table_with_something_of_a_member_is_told():
    """Each table that leads to a member, a handed problem, an answer or a browser; the rest is the school's or ours."""
    ours = {"school_class", "practice_set", "desk", "desk_session", "exam_switch", "token_secret", "tries"}
    ours |= {"frozen_declaration"}
    assert set(tables.metadata.tables) - set(tables_about_a_member()) == ours

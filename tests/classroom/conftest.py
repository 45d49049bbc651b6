"""Invented classes: members, problems handed out and answers, made from a table of what happened."""

from datetime import UTC, datetime, timedelta

import pytest

from tutor.classroom.models import Answer, Handed, Member, Outcome

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def an_answer(id_, handed, verdict="right", **more):
    """A counted answer, typed on the screen half a minute after the one before."""
    at = START + timedelta(seconds=30 * id_)
    kept = {"key": f"key-{id_}", "source": "screen", "entry": "13", "seconds": 30.0}
    return Answer(id=id_, handed=handed.id, at=at, verdict=verdict, **{**kept, **more})


def an_outcome(member, place, *answers, exercise="most-modules-in-series", **more):
    """An outcome; each of `answers` is a verdict or the fields of an answer."""
    kept = {"version": "0", "number": place, "ask": "modules_in_series", "rulebook": "us", "answer": "13"}
    id_ = 1000 * member.id + place
    handed = Handed(
        id=id_, member=member, place=place, code=f"C{member.id:03}-{place}", exercise=exercise, **{**kept, **more}
    )
    told = [one if isinstance(one, dict) else {"verdict": one} for one in answers]
    return Outcome(handed=handed, answers=[an_answer(100 * id_ + at, handed, **one) for at, one in enumerate(told)])


def a_class(table):
    """Outcomes from rows of 1 (right), 0 (wrong), None (open) and 'excused', a row a member."""
    outcomes = []
    for at, row in enumerate(table, start=1):
        member = Member(id=at, name=f"Learner {at}", number=f"n{at}")
        for place, score in enumerate(row, start=1):
            answers = [{1: "right", 0: "wrong"}[score]] if score in (0, 1) else []
            outcomes.append(an_outcome(member, place, *answers, excused=score == "excused"))
    return outcomes


@pytest.fixture(scope="session")
def make():
    """The makers above, by name."""
    return {"answer": an_answer, "outcome": an_outcome, "class": a_class, "start": START}

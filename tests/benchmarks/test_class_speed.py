"""Marking a class set of paper answers: linear in the answers, and ten thousand of them within ten seconds."""

import random
import time
from contextlib import closing

import pytest

from tutor.classroom.marking.paper import mark_paper
from tutor.classroom.models import Item, Member, PracticeSet
from tutor.classroom.roster.register import Register
from tutor.classroom.sets.handing import hand_out
from tutor.store.database import Store

pytestmark = pytest.mark.long

LEARNERS, PLACES = 500, 20


@pytest.fixture(scope="module")
def answers(engine, tmp_path_factory):
    """A store with 500 learners' sets of twenty exercises, and ten thousand answers, half of them right."""
    fitting = [id_ for id_, one in engine.library.declared.items() if "us" in one.exercise.rulebooks]
    items = [Item(exercise=id_) for id_ in fitting[:: len(fitting) // PLACES][:PLACES]]
    with closing(Store.open(str(tmp_path_factory.mktemp("speed") / "store.sqlite3"))) as store:
        register = Register(store)
        of = register.open_set(PracticeSet(id="speed", title="Speed", items=items))
        register.enter([Member(id=0, name=f"Learner {at}") for at in range(LEARNERS)])
        chance = random.Random(20)
        rows = [
            (one.code, one.answer if chance.random() < 0.5 else chance.choice(["7", "12.5", "yes", "46.8 V", "3 A"]))
            for one in hand_out(store, engine, of)
        ]
        yield store, rows


def seconds(store, engine, rows):
    """The processor's seconds: other work on the machine does not count."""
    data = "code,answer\n" + "".join(f'{code},"{answer}"\n' for code, answer in rows)
    began = time.process_time()
    report = mark_paper(store, engine, data.encode())
    return time.process_time() - began, report


def test_ten_thousand_answers_take_ten_times_a_thousand_and_ten_seconds(answers, engine, record_property):
    store, rows = answers
    assert len(rows) == LEARNERS * PLACES
    first, _ = seconds(store, engine, rows[:1000])
    rest, report = seconds(store, engine, rows[1000:])
    whole = (first + rest) / first
    print(f"\n{len(rows)} paper answers in {first + rest:.1f} s")
    record_property("marking 10,000 paper answers, to 1,000: ratio", whole)
    assert report.new == len(rows) - 1000
    assert whole <= 12
    assert first + rest <= 10

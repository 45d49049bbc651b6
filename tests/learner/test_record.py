"""A learner's record: what goes in comes out, once, for this learner only, and goes when it is told to."""

import json
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select
from sqlalchemy.engine import make_url

from tutor.learner.record import Attempt, Record, new_token
from tutor.store.database import Store
from tutor.store.tables import learner, metadata

TOKEN = new_token()


@pytest.fixture
def store(store_address):
    with closing(Store.open(store_address)) as store:
        yield store


@pytest.fixture
def record(store):
    return Record(store, TOKEN)


def attempt(**changes):
    values = {"exercise": "modules-in-series", "version": "1", "number": 7, "ask": "modules_in_series"}
    return Attempt(**{**values, "rulebook": "us", "entry": "9", "verdict": "right", **changes})


def learners(store):
    with store.reading() as connection:
        return connection.scalar(select(func.count()).select_from(learner))


def held(store, store_address):
    """All that the store holds: SQLite's bytes on the disk, or the text of each row of the server's tables."""
    if store_address.startswith("sqlite"):
        folder = Path(make_url(store_address).database).parent
        return b"".join(file.read_bytes() for file in folder.iterdir())
    with store.reading() as connection:
        rows = [row for table in metadata.tables.values() for row in connection.execute(select(table))]
    return repr(rows).encode()


def test_a_full_attempt_comes_back_as_it_went_in(record):
    full = attempt(
        givens={"record_low": "−24 °C"},
        entry="9 módulos ☀ 模块",
        steps={"cold_voltage": "46,76 V"},
        verdict="wrong",
        named="cold-left-out",
        mistakes={"rounded-up": 0.7, "cold-left-out": 0.3},
        help="hint",
        hints_seen=2,
        seconds=41.5,
        number=2**63 - 1,
    )
    assert record.add(full) == full
    (back,) = record.attempts()
    assert back == full
    assert list(back.mistakes) == ["rounded-up", "cold-left-out"]


def test_a_look_at_a_hint_has_no_entry(record):
    look = attempt(entry=None, verdict="", help="hint", hints_seen=1)
    assert record.add(look).entry is None


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(entry=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")))
def test_any_text_comes_back(store, entry):
    anyone = Record(store, new_token())
    assert anyone.add(attempt(entry=entry, steps={"step": entry})).entry == entry
    assert anyone.attempts()[0].steps == {"step": entry}


def test_what_json_can_hold_comes_back_in_steps(record):
    odd = {"step": "4\0 \ud83d \U0001f602 V"}
    assert record.add(attempt(steps=odd)).steps == odd


def test_64_kilobytes_come_back(record):
    entry = "(" * 65_535 + "Ω"
    record.add(attempt(entry=entry))
    record.keep_draft("problem", "answer", entry)
    assert record.attempts()[0].entry == entry
    assert record.draft("problem") == {"answer": entry}


def test_what_no_database_can_hold_is_shown_as_such(record):
    assert record.add(attempt(entry="4\0 \ud83d V")).entry == "4\ufffd \ufffd V"


def test_times_come_back_in_utc(record):
    there = datetime(2026, 1, 2, 3, 4, 5, 678901, tzinfo=timezone(timedelta(hours=-7)))
    record.add(attempt(at=there))
    back = record.attempts()[0].at
    assert back == there
    assert back.tzinfo is UTC


@pytest.mark.parametrize("seconds", [-1.0, float("nan"), float("inf")])
def test_a_time_taken_is_a_time(seconds):
    with pytest.raises(ValueError, match="zero or more"):
        attempt(seconds=seconds)


def test_the_same_submit_counts_once_and_the_first_stands(record):
    first = record.add(attempt(key="submit", entry="9"))
    assert record.add(attempt(key="submit", entry="10", verdict="wrong")) == first
    assert record.attempts() == [first]


def test_a_key_is_the_learners_own(store, record):
    record.add(attempt(key="submit", entry="9"))
    other = Record(store, new_token())
    assert other.add(attempt(key="submit", entry="10")).entry == "10"
    assert [a.entry for a in record.attempts()] == ["9"]


def test_two_tabs_append(store):
    for entry in ("8", "9"):
        Record(store, TOKEN).add(attempt(entry=entry))
    assert [a.entry for a in Record(store, TOKEN).attempts()] == ["8", "9"]


def test_attempts_by_exercise_number_and_ask_oldest_first(record):
    for exercise, number, ask in [("a", 0, "x"), ("b", 0, "x"), ("a", 1, "x"), ("a", 0, "y"), ("a", 0, "x")]:
        record.add(attempt(exercise=exercise, number=number, ask=ask, at=datetime(2026, 1, 1, tzinfo=UTC)))
    every = record.attempts()
    assert [a.exercise for a in every] == list("abaaa")
    assert record.attempts("a") == [every[0], *every[2:]]
    assert record.attempts("a", 0) == [every[0], *every[3:]]
    assert record.attempts("a", 0, "x") == [every[0], every[4]]
    assert record.attempts(ask="y") == [every[3]]


def test_a_visit_leaves_no_trace(store, record):
    assert record.attempts() == []
    assert record.place() is None
    assert record.draft("problem") == {}
    assert record.setting("rulebook", "us") == "us"
    record.keep_draft("problem", "answer", "")
    record.erase()
    assert learners(store) == 0
    assert record.export() == {"since": None, "attempts": [], "place": None, "settings": {}, "drafts": []}


def test_the_last_place_wins(record):
    record.keep_place({"page": "practice", "number": "7"})
    record.keep_place({"page": "lessons"})
    assert record.place() == {"page": "lessons"}


def test_the_last_draft_wins_in_each_field(record):
    record.keep_draft("one", "answer", "4")
    record.keep_draft("one", "answer", "46")
    record.keep_draft("one", "step", "1.1")
    record.keep_draft("two", "answer", "9")
    assert record.draft("one") == {"answer": "46", "step": "1.1"}
    record.keep_draft("one", "step", "")
    assert record.draft("one") == {"answer": "46"}
    record.keep_draft("one", "answer", "")
    assert record.draft("one") == {}
    assert record.draft("two") == {"answer": "9"}


@pytest.mark.parametrize("value", ["iec", 3, True, None, ["degF", "ft"], {"length": "ft"}])
def test_a_setting_is_anything_json_holds(record, value):
    record.keep_setting("units", "metric")
    record.keep_setting("units", value)
    assert record.setting("units", "default") == value


def test_learners_see_only_their_own(store, record):
    record.add(attempt())
    record.keep_place({"page": "practice"})
    record.keep_setting("rulebook", "iec")
    record.keep_draft("problem", "answer", "9")
    other = Record(store, new_token())
    for _ in "before", "after it has a row of its own":
        assert other.attempts() == []
        assert other.draft("problem") == {}
        assert other.setting("rulebook") is None
        other.keep_place({"page": "lessons"})
    assert record.place() == {"page": "practice"}


def test_the_export_is_json_and_holds_everything(record):
    record.add(attempt(seconds=3.5))
    record.keep_place({"page": "practice"})
    record.keep_setting("rulebook", "iec")
    record.keep_draft("problem", "answer", "9")
    export = json.loads(json.dumps(record.export(), allow_nan=False))
    assert export["settings"] == {"rulebook": "iec"}
    assert export["place"]["where"] == {"page": "practice"}
    assert [(d["problem"], d["field"], d["text"]) for d in export["drafts"]] == [("problem", "answer", "9")]
    (kept,) = export["attempts"]
    assert Attempt(**{**kept, "at": datetime.fromisoformat(kept["at"])}) == record.attempts()[0]
    assert datetime.fromisoformat(export["since"]).tzinfo is not None


def test_erasing_leaves_the_others_and_no_byte(store, store_address, record):
    other = Record(store, new_token())
    for each, word in (record, "ERASED-WORD"), (other, "OTHER-WORD"):
        each.add(attempt(entry=word * 500, steps={"step": word}))
        each.keep_place({"page": word})
        each.keep_setting("rulebook", word)
        each.keep_draft("problem", "answer", word)
    kept = other.export()
    record.erase()
    assert record.export() == {"since": None, "attempts": [], "place": None, "settings": {}, "drafts": []}
    assert other.export() == kept
    assert b"OTHER-WORD" in held(store, store_address)
    assert b"ERASED-WORD" not in held(store, store_address)
    record.add(attempt(entry="again"))
    assert [a.entry for a in record.attempts()] == ["again"]


def test_the_token_is_not_kept(store, store_address, record):
    record.add(attempt(entry="A-WORD"))
    assert b"A-WORD" in held(store, store_address)
    assert TOKEN.encode() not in held(store, store_address)


def test_tokens_are_long_and_never_the_same():
    """RFC 4648: base64 without padding carries 6 bits a character, so 256 bits take 43."""
    tokens = {new_token() for _ in range(1000)}
    assert len(tokens) == 1000
    assert {len(token) for token in tokens} == {43}


def test_nothing_else_is_kept_about_a_learner():
    """Answers with what they were given to, times, and what brings the learner back; no name, address or browser."""
    answers = {"exercise", "version", "number", "ask", "rulebook", "givens", "entry", "steps", "key"}
    marks = {"verdict", "named", "mistakes", "help", "hints_seen"}
    times = {"at", "seconds", "made_at"}
    back = {"where", "name", "value", "problem", "field", "text"}
    keys = {"id", "learner_id", "token_hash", "earlier_hash", "fetched"}
    own = {"learner", "attempt", "place_kept", "setting", "draft", "renewal"}
    kept = {column.name for name in own for column in metadata.tables[name].columns}
    assert kept == answers | marks | times | back | keys
    assert {name for name, table in metadata.tables.items() if "learner_id" in table.c} | {"learner"} == own | {
        "binding",
        "class_browser",
    }


def test_nothing_else_is_kept_about_a_member_of_a_class():
    """The name and number on the roster, what was handed out, answers, what the instructor said to them, times."""
    member = {"name", "number", "secret", "claimed_at", "made_at"}
    handed = {"place", "code", "exercise", "version", "ask", "rulebook", "givens", "expected", "answer", "tolerance"}
    handed |= {"kept", "excused", "shown_at", "help", "hints_seen"}
    answers = {"key", "at", "source", "entry", "steps", "step_verdicts", "verdict", "named", "mistakes", "feedback"}
    answers |= {"counted", "seconds", "comment", "field", "text", "reason", "before", "after", "statement", "sent_at"}
    tables = ("member", "binding", "whereabouts", "handed", "class_answer", "class_draft", "correction")
    kept = {column.name for name in (*tables, "verdict_change", "outbox") for column in metadata.tables[name].columns}
    keys = {name for name in kept if name.endswith("_id")} | {"id"}
    assert kept - keys == member | handed | answers

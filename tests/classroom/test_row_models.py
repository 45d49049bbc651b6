"""A class's backup passes its models; a row that means nothing to the program is named, and the store stays."""

import hashlib
import json
import zipfile
from contextlib import closing

import pytest
from click.testing import CliRunner
from sqlalchemy import select

from tutor.classroom.desk import InstructorAuth
from tutor.classroom.exports.outbox import Outbox
from tutor.classroom.exports.xapi import statements
from tutor.classroom.marking.regrade import apply, preview_answer
from tutor.classroom.reports.results import Results
from tutor.classroom.row_models import ROW_MODELS
from tutor.cli import main
from tutor.learner.record import Attempt, Record
from tutor.store.backup import BackupError, back_up, restore
from tutor.store.database import Store
from tutor.store.tables import metadata


@pytest.fixture
def worked(school, noon, engine, tmp_path):
    """A class with something in most tables, and its backup."""
    store = school.store
    school.work[0].answer(2, "1", key="a", moment=noon)
    school.work[1].answer(5, "\ud83d", key="b", moment=noon)
    found = preview_answer(store, engine, school.handed[0][1].id, "1")
    apply(store, engine, found, "as an example")
    Outbox(store).keep_statements(
        statements(school.of.declaration, Results(store, school.of).outcomes(), "https://a.example")
    )
    InstructorAuth(store).set_passphrase("four words make one")
    record = Record(store, "a learner")
    record.add(Attempt(exercise="e", version="1", number=1, ask="a", rulebook="us", entry="9", verdict="right"))
    record.keep_place({"page": "practice", "query": "exercise=e"})
    file = tmp_path / "class.backup"
    back_up(store, file)
    return store, file


def everything(store):
    with store.reading() as connection:
        tables = metadata.sorted_tables
        return {one.name: connection.execute(select(one).order_by(*one.primary_key)).all() for one in tables}


def test_a_class_passes_its_models(worked, tmp_path):
    store, file = worked
    there = everything(store)
    assert {name for name, rows in there.items() if rows} >= {
        "correction",
        "verdict_change",
        "outbox",
        "desk",
        "attempt",
    }
    other = tmp_path / "other.sqlite3"
    done = CliRunner().invoke(main, ["restore", str(file), "--store", str(other)])
    assert done.exit_code == 0, done.stderr
    with closing(Store.open(str(other))) as restored:
        assert everything(restored) == there


FAULTS = [
    ("attempt", {"verdict": "perfect"}, "verdict: Input should be 'right', 'refused', 'unclear', 'wrong' or ''"),
    ("attempt", {"mistakes": {"slip": "likely"}}, "mistakes.slip: Input should be a valid number"),
    ("attempt", {"givens": ["24 V"]}, "givens: Input should be an object"),
    ("attempt", {"seconds": -1}, "seconds is -1.0"),
    ("place_kept", {"where": {"page": 1}}, "page: Input should be a valid string"),
    ("school_class", {"secret": "quux"}, "String should match pattern"),
    ("practice_set", {"declaration": {}}, "id: Field required"),
    ("practice_set", {"name": "another"}, "its name is not that of its declaration"),
    ("practice_set", {"code": "0OI"}, "'0OI' is no code"),
    ("practice_set", {"declaration": None}, "Input should be an object"),
    ("handed", {"kept": {}}, "title: Field required"),
    ("handed", {"kept": {"declaration": "00", "said": "yes"}}, "said: Input should be a valid boolean"),
    ("frozen_declaration", {"text": "{}"}, "its hash is not that of its text"),
    ("handed", {"kept": []}, "Input should be an object"),
    ("handed", {"givens": {"x": {"value": 1, "run": "this"}}}, "x.run: Extra inputs are not permitted"),
    ("handed", {"expected": {"x": "1"}}, "expected.x: Input should be a valid number"),
    ("handed", {"rulebook": "quux"}, "rulebook: Input should be 'us' or 'iec'"),
    ("handed", {"help": "all"}, "'all' is no help"),
    ("handed", {"hints_seen": -1}, "Input should be greater than or equal to 0"),
    ("class_answer", {"source": "the air"}, "source: Input should be 'screen' or 'paper'"),
    ("class_answer", {"steps": {"x": 1}}, "steps.x: Input should be a valid string"),
    ("class_answer", {"handed_id": 999_999}, "'handed_id' refers to no row of 'handed'"),
    ("correction", {"before": 1}, "Input should be an object"),
    ("outbox", {"statement": "quux"}, "Input should be an object"),
    ("desk", {"salt": "quux"}, "String should match pattern"),
    ("desk", {"passphrase_hash": "30-8-2:" + "00" * 32}, "no passphrase was hashed at a cost of '30-8-2'"),
    ("desk", {"passphrase_hash": None}, "a salt and a hash belong together"),
]


def test_a_row_that_means_nothing_is_named_and_nothing_is_changed(worked, tmp_path):
    _, file = worked
    whole = file.read_bytes()
    with closing(Store.open(str(tmp_path / "other.sqlite3"))) as other:
        Record(other, "somebody").keep_setting("units", "us")
        before = everything(other)
        for table, change, reason in FAULTS:
            file.write_bytes(whole)
            forge(file, table, change)
            with pytest.raises(BackupError) as caught:
                restore(other, file, replace=True, models=ROW_MODELS)
            assert str(caught.value).startswith(f"Row 1 of the table '{table}' in {file} is faulty: "), change
            assert reason in str(caught.value)
            assert everything(other) == before


def forge(file, table, change):
    """Change the first row of a table, and the sum that belongs to it."""
    with zipfile.ZipFile(file) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    first, _, others = members[f"{table}.jsonl"].partition(b"\n")
    lines = json.dumps(json.loads(first) | change).encode() + b"\n" + others
    contents = json.loads(members["contents.json"])
    contents["tables"][table]["sha256"] = hashlib.sha256(lines).hexdigest()
    members |= {f"{table}.jsonl": lines, "contents.json": json.dumps(contents).encode()}
    with zipfile.ZipFile(file, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)

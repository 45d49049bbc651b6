"""Statements against the standard's rules, by a validator of another maker and by the rules themselves.

ADL xAPI 1.0.3, part two (statements); the validator is @learninglocker/xapi-validation, which its makers test for
conformance with that.
"""

import json
import re
import shutil
import subprocess
from datetime import datetime
from uuid import UUID

import pytest

from tutor.classroom.exports.xapi import HomeError, account, lines, statements, voiding
from tutor.classroom.models import Member, PracticeSet

HOME = "https://school.example/cold"
SET = PracticeSet(id="cold-strings", title="Cold strings", items=[{"exercise": "most-modules-in-series"}])
VALIDATOR = "@learninglocker/xapi-validation@3.0.0"
JUDGE = """
const validate = require('@learninglocker/xapi-validation').default;
const lines = require('fs').readFileSync(0, 'utf8').trim().split('\\n');
console.log(JSON.stringify(lines.map(line => validate(JSON.parse(line)).map(String))));
"""


@pytest.fixture(scope="module")
def told(make):
    one, other = Member(id=1, name="Ann Quill", number="s-17"), Member(id=2, name="Bo Farr")
    outcomes = [
        make["outcome"](one, 1, {"verdict": "wrong", "named": "cold-left-out", "entry": "14 “modules”"}, "right"),
        make["outcome"](one, 2, {"verdict": "right", "source": "paper", "seconds": None}),
        make["outcome"](one, 3, excused=True),
        make["outcome"](other, 1, {"verdict": "unclear", "counted": False}, {"verdict": "right", "seconds": 0.004}),
        make["outcome"](other, 2),
    ]
    return statements(SET, outcomes, f" {HOME}/ ")


def said(told):
    return [json.loads(line) for line in lines(told)]


@pytest.fixture(scope="session")
def judge(tmp_path_factory):
    """judge(lines): the validator's complaints about each statement; skips where there is no npm to get it by."""
    if shutil.which("npm") is None or shutil.which("node") is None:
        pytest.skip("the validator comes by npm, which is not installed here")
    folder = tmp_path_factory.mktemp("validator")
    (folder / "package.json").write_text('{"private": true}')
    install = ["npm", "install", "--silent", "--ignore-scripts", "--no-audit", "--no-fund", VALIDATOR]
    if subprocess.run(install, cwd=folder, capture_output=True, timeout=300, check=False).returncode:
        pytest.skip("npm cannot reach its registry")

    def judged(texts):
        command = ["node", "-e", JUDGE]
        run = subprocess.run(command, cwd=folder, input="\n".join(texts), capture_output=True, text=True, check=True)
        return json.loads(run.stdout)

    return judged


def test_the_validator_accepts_every_statement(told, judge):
    void = voiding(told[0], told[1].id)
    judged = judge(list(lines([*told, void])))
    assert judged == [[]] * (len(told) + 1)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda one: one["actor"]["account"].pop("homePage"),
        lambda one: one["verb"].update(id="answered"),
        lambda one: one["object"].update(id="no IRI"),
        lambda one: one["result"].update(duration="12 s"),
        lambda one: one["result"]["score"].update(scaled=1.5),
        lambda one: one.update(timestamp="yesterday"),
        lambda one: one.update(id="17"),
    ],
)
def test_the_validator_would_find_what_is_wrong(told, judge, spoil):
    one = json.loads(next(lines(told)))
    spoil(one)
    assert judge([json.dumps(one)])[0]


def test_counted_answers_and_what_is_complete_are_told(told):
    found = said(told)
    verbs = [one["verb"]["id"].rsplit("/", 1)[-1] for one in found]
    # Three counted answers of Ann, one of Bo; Ann's set is complete (place 3 is excused), Bo's is not.
    assert verbs == ["answered"] * 4 + ["completed"]
    assert all(one["verb"]["id"].startswith("http://adlnet.gov/expapi/verbs/") for one in found)
    assert found[-1]["result"]["score"] == {"scaled": 1.0, "raw": 2, "min": 0, "max": 2}
    assert [one["result"]["success"] for one in found[:4]] == [False, True, True, True]
    assert found[0]["result"]["response"] == "14 “modules”"


def test_a_closed_set_is_complete_for_all_who_answered(make):
    outcomes = make["class"]([[1, None], [None, None]])
    completed = [one for one in said(statements(SET, outcomes, HOME, closed=True)) if "completed" in one["verb"]["id"]]
    assert [(one["actor"]["account"]["name"], one["result"]["score"]["scaled"]) for one in completed] == [("n1", 0.5)]


def test_required_properties_and_forms(told):
    for one in said(told):
        assert {"id", "actor", "verb", "object", "timestamp"} <= set(one)
        assert UUID(one["id"]).version == 5
        assert set(one["actor"]) == {"objectType", "account"}
        assert datetime.fromisoformat(one["timestamp"]).utcoffset().total_seconds() == 0
        assert re.fullmatch(r"PT\d+\.\d\dS", one["result"].get("duration", "PT0.00S"))
        assert -1 <= one["result"]["score"]["scaled"] <= 1
        assert one["object"]["definition"]["type"].startswith("http://adlnet.gov/expapi/activities/")


def test_no_name_and_no_right_answer_leaves(told):
    text = "\n".join(lines(told))
    for private in ("Ann", "Quill", "Bo Farr", "correctResponsesPattern"):
        assert private not in text
    assert account(Member(id=2, name="Bo"), HOME)["account"] == {"homePage": HOME, "name": "member-2"}


def test_made_again_the_same_statements_have_the_same_ids(make):
    table = [[1, 0], [0, None]]
    first, again = (statements(SET, make["class"](table), HOME) for _ in range(2))
    assert [one.id for one in first] == [one.id for one in again]
    assert len({one.id for one in first}) == len(first)
    changed = statements(SET, make["class"]([[1, 1], [0, None]]), HOME)
    same = {one.subject for one in first} & {one.subject for one in changed}
    assert {one.id for one in first} != {one.id for one in changed}
    assert same


@pytest.mark.parametrize("home", ["", "school", "ftp://school.example", "https://", "https://a b"])
def test_a_home_that_is_no_address_is_refused(home):
    with pytest.raises(HomeError, match="no web address"):
        statements(SET, [], home)

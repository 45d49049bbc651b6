"""The archive against the columns that OneRoster 1.2 demands.

Column names, their order and which of them are required: 1EdTech OneRoster 1.2, CSV Binding (2022), the tables of
manifest.csv, lineItems.csv and results.csv; scoreStatus: its enumeration of the same name.
"""

import csv
import io
import zipfile
from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest

from tutor.classroom.exports.oneroster import OneRosterError, SchoolIds, oneroster
from tutor.classroom.models import Member, PracticeSet

NOW = datetime(2026, 3, 9, 12, 30, tzinfo=UTC)
IDS = SchoolIds(school="school-1", class_="class-7b", category="homework", session="spring")
SET = PracticeSet(
    id="cold-strings", title='Cold strings, "part 1"', items=[{"exercise": "most-modules-in-series"}],
    opens=NOW - timedelta(days=7), closes=NOW - timedelta(days=1),
)  # fmt: skip
FILES = {
    "academicSessions", "categories", "classes", "classResources", "courses", "courseResources", "demographics",
    "enrollments", "lineItemLearningObjectiveIds", "lineItems", "lineItemScoreScales", "orgs", "resources",
    "resultLearningObjectiveIds", "results", "resultScoreScales", "roles", "scoreScales", "userProfiles",
    "userResources", "users",
}  # fmt: skip
LINE_ITEM_REQUIRED = [
    "sourcedId", "status", "dateLastModified", "title", "assignDate", "dueDate", "classSourcedId", "categorySourcedId",
    "academicSessionSourcedId", "schoolSourcedId",
]  # fmt: skip
LINE_ITEM_COLUMNS = [
    "sourcedId",
    "status",
    "dateLastModified",
    "title",
    "description",
    "assignDate",
    "dueDate",
    "classSourcedId",
    "categorySourcedId",
    "academicSessionSourcedId",
    "resultValueMin",
    "resultValueMax",
    "schoolSourcedId",
]
RESULT_REQUIRED = [
    "sourcedId", "status", "dateLastModified", "lineItemSourcedId", "studentSourcedId", "scoreStatus", "scoreDate",
]  # fmt: skip
RESULT_COLUMNS = [
    "sourcedId",
    "status",
    "dateLastModified",
    "lineItemSourcedId",
    "studentSourcedId",
    "scoreStatus",
    "score",
    "scoreDate",
    "comment",
    "textScore",
    "classSourcedId",
    "inProgress",
    "incomplete",
    "late",
    "missing",
]
SCORE_STATUS = {"exempt", "fully graded", "not submitted", "partially graded", "submitted"}


def read(data):
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        texts = {name: archive.read(name).decode("utf-8") for name in archive.namelist()}
    return {name: list(csv.DictReader(io.StringIO(text, newline=""))) for name, text in texts.items()}


@pytest.fixture(scope="module")
def files(make):
    table = [[1, 1, 0, 1], [1, None, None, None], [None] * 4, ["excused"] * 4, [1, "excused", 0, 1]]
    return read(oneroster(SET, make["class"](table), IDS, moment=NOW))


def test_the_manifest_names_every_file_and_those_that_come(files):
    manifest = {row["propertyName"]: row["value"] for row in files["manifest.csv"]}
    assert (manifest["manifest.version"], manifest["oneroster.version"]) == ("1.0", "1.2")
    told = {name.removeprefix("file."): value for name, value in manifest.items() if name.startswith("file.")}
    assert set(told) == FILES
    assert {f"{name}.csv" for name, value in told.items() if value != "absent"} == set(files) - {"manifest.csv"}
    assert set(told.values()) == {"absent", "delta"}


def test_required_columns_are_there_in_order_and_filled(files):
    (line_item,) = files["lineItems.csv"]
    assert list(line_item) == LINE_ITEM_COLUMNS
    assert all(line_item[column] for column in LINE_ITEM_REQUIRED)
    for row in files["results.csv"]:
        assert list(row) == RESULT_COLUMNS
        assert all(row[column] for column in RESULT_REQUIRED)
        assert row["scoreStatus"] in SCORE_STATUS
        assert row["status"] == "active"
        assert {row[flag] for flag in ("inProgress", "incomplete", "late", "missing")} <= {"true", "false"}
        datetime.strptime(row["dateLastModified"], "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
        datetime.strptime(row["scoreDate"], "%Y-%m-%d").replace(tzinfo=UTC)


def test_the_line_item_holds_the_schools_ids(files):
    (line_item,) = files["lineItems.csv"]
    assert line_item["title"] == 'Cold strings, "part 1"'
    assert (line_item["assignDate"], line_item["dueDate"]) == ("2026-03-02", "2026-03-08")
    assert [line_item[f"{name}SourcedId"] for name in ("school", "class", "category", "academicSession")] == [
        "school-1", "class-7b", "homework", "spring",
    ]  # fmt: skip
    assert (line_item["resultValueMin"], line_item["resultValueMax"]) == ("0", "100")


def test_scores_are_percentages_under_the_instructors_numbers(files):
    results = files["results.csv"]
    assert [row["studentSourcedId"] for row in results] == ["n1", "n2", "n3", "n4", "n5"]
    # Learner 2 has answered one of four; learner 5 has two of the three that are not excused.
    assert [(row["scoreStatus"], row["score"]) for row in results] == [
        ("fully graded", "75.00"),
        ("partially graded", "25.00"),
        ("not submitted", ""),
        ("exempt", ""),
        ("fully graded", "66.67"),
    ]
    (line_item,) = files["lineItems.csv"]
    assert {row["lineItemSourcedId"] for row in results} == {line_item["sourcedId"]}
    assert len({UUID(row["sourcedId"]) for row in results}) == len(results)


def test_what_is_open_in_a_closed_set_is_graded_and_missing(make):
    results = read(oneroster(SET, make["class"]([[1, None], [None, None]]), IDS, moment=NOW, closed=True))[
        "results.csv"
    ]
    assert [(row["scoreStatus"], row["score"], row["missing"]) for row in results] == [
        ("fully graded", "50.00", "false"),
        ("not submitted", "", "true"),
    ]


def test_sent_again_the_ids_are_the_same(make):
    earlier = read(oneroster(SET, make["class"]([[None], [1]]), IDS, moment=NOW))
    later = read(oneroster(SET, make["class"]([[1], [0]]), IDS, moment=NOW + timedelta(days=1)))
    for name in ("lineItems.csv", "results.csv"):
        assert [row["sourcedId"] for row in earlier[name]] == [row["sourcedId"] for row in later[name]]


@pytest.mark.parametrize(
    ("members", "ids", "words"),
    [
        ([Member(id=1, name="Ann", number="")], IDS, "'Ann' has no number"),
        ([Member(id=1, name="A", number="7"), Member(id=2, name="B", number="7")], IDS, "Two learners have the number"),
        (
            [Member(id=1, name="A", number="7")],
            SchoolIds(school="s", class_=" ", category="c", session="t"),
            "id of the class is missing",
        ),
    ],
)
def test_what_is_missing_is_said(make, members, ids, words):
    with pytest.raises(OneRosterError, match=words):
        oneroster(SET, [make["outcome"](member, 1, "right") for member in members], ids, moment=NOW)

"""The gradebook read back by the csv module and by pandas, and what hostile names become in it."""

import csv
import io

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.classroom.exports.gradebook import gradebook
from tutor.classroom.exports.tables import csv_bytes, harmless, zip_bytes
from tutor.classroom.models import Member

# Cells that begin so are run by spreadsheets (OWASP, CSV Injection), full-width forms among them.
LEADS = ["=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20"]


def rows_of(data, separator=","):
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), delimiter=separator))


def test_a_class_reads_back(make):
    rows = rows_of(gradebook(make["class"]([[1, 0, None], ["excused", 1, 1]])))
    exercise = "most-modules-in-series"
    assert rows[0] == ["number", "name", f"1 {exercise}", f"2 {exercise}", f"3 {exercise}", "right", "of", "percent"]
    assert rows[1] == ["n1", "Learner 1", "1", "0", "", "1", "3", ""]
    assert rows[2] == ["n2", "Learner 2", "excused", "1", "1", "2", "2", "100.0"]


def test_open_is_zero_once_the_set_is_closed(make):
    rows = rows_of(gradebook(make["class"]([[1, None]]), closed=True))
    assert rows[1][2:] == ["1", "0", "1", "2", "50.0"]


@pytest.mark.parametrize("closed", [False, True])
def test_who_never_answered_has_not_submitted_and_has_no_score(make, closed):
    rows = rows_of(gradebook(make["class"]([[0, 0], [None, None], ["excused", None], ["excused"] * 2]), closed=closed))
    assert [row[2:] for row in rows[1:]] == [
        ["0", "0", "0", "2", "0.0"],
        ["", "", "", "2", "not submitted"],
        ["excused", "", "", "1", "not submitted"],
        ["excused", "excused", "", "0", ""],
    ]


@pytest.mark.parametrize("bom", [True, False])
def test_the_byte_order_mark_is_there_when_asked_for(make, bom):
    data = gradebook([make["outcome"](Member(id=1, name="Zoë Øyer", number="7"), 1, "right")], bom=bom)
    assert data.startswith(b"\xef\xbb\xbf") is bom
    assert pd.read_csv(io.BytesIO(data), encoding="utf-8-sig")["name"].tolist() == ["Zoë Øyer"]


def test_semicolons_for_spreadsheets_that_want_them(make):
    assert rows_of(gradebook(make["class"]([[1]]), separator=";"), ";")[1][:2] == ["n1", "Learner 1"]


@pytest.mark.parametrize("lead", LEADS)
@pytest.mark.parametrize("before", ["", " ", "\u00a0", '"', "x;", "x, ", "x|"])
def test_no_cell_is_taken_for_a_formula(make, lead, before):
    """Neither as the comma file that it is nor by a program that splits at semicolons."""
    text = f'{before}{lead}cmd|"/c calc"!A1'
    data = gradebook([make["outcome"](Member(id=1, name=text, number=text), 1, "right")])
    for separator in ",;|":
        for row in data.decode("utf-8-sig").split("\r\n")[1:2]:
            for cell in [*next(csv.reader([row], delimiter=separator)), *row.split(separator)]:
                assert not cell.strip().strip("\"' ").startswith(tuple("=+-@\uff1d\uff0b\uff0d\uff20")) or (
                    cell.lstrip('" \u00a0').startswith("'")
                )


@pytest.mark.parametrize("text", ["\u200b=1", "\ufeff@x", "\u2060 +1", "\ufe66 1", "\ufe62 1", "\ufe63 1", "\ufe6bx"])
def test_a_sign_behind_what_cannot_be_seen_or_in_a_small_form_is_no_formula_either(text):
    assert harmless(text) == f"'{text}"
    assert harmless(harmless(text)) == harmless(text)


@given(st.text())
def test_harmless_text_has_no_controls_and_no_formula_and_stays_so(text):
    made = harmless(text)
    assert not made.startswith(tuple(LEADS))
    assert not any(ord(character) < 32 for character in made)
    assert harmless(made) == made


@pytest.mark.parametrize("name", ["Anne-Marie", "O'Neill", "María José, Jr.", "Łukasz", "عمر", "a=b", "4+4"])
def test_ordinary_names_stay_as_they_are(name):
    assert harmless(name) == name


@given(st.lists(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=2, max_size=4), min_size=1))
def test_any_text_reads_back_from_csv(rows):
    assert rows_of(csv_bytes(rows, bom=True)) == [list(row) for row in rows]


def test_an_archive_is_the_same_each_time():
    files = {"a.csv": b"1\r\n", "b/c.xml": b"<c/>"}
    assert zip_bytes(files) == zip_bytes(dict(files))

"""Rosters as spreadsheet programs save them, and as people spoil them."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.classroom.errors import ClassError
from tutor.classroom.roster.tables import read_roster

PEOPLE = [("Zoë Ærø", "17"), ("O'Neil, Pat", "18"), ("Åsa", "0019")]


def table(separator, header=("Name", "Number"), people=PEOPLE, end="\r\n"):
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=separator, lineterminator=end)
    writer.writerows([header, *people])
    return text.getvalue()


def people(roster):
    return [(one.name, one.number) for one in roster.members]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_every_usual_way_of_saving_reads_the_same(separator, encoding, end):
    assert people(read_roster(table(separator, end=end).encode(encoding))) == PEOPLE


def test_a_line_that_names_the_separator_is_skipped():
    assert people(read_roster(("sep=;\r\n" + table(";")).encode())) == PEOPLE


@pytest.mark.parametrize(
    ("header", "row", "expected"),
    [
        ("NAME", "Ana", ("Ana", "")),
        ("No.", "7", ("", "7")),
        ("student number;Full Name;class", "7;Ana;3b", ("Ana", "7")),
        ("Last name;First name;ID", "Silva;Ana;7", ("Ana Silva", "7")),
        ("first name;last name", "Ana;", ("Ana", "")),
        (" name ;number", "  Ana\u00a0  Maria ;7", ("Ana Maria", "7")),
    ],
)
def test_trade_words_name_the_columns(header, row, expected):
    assert people(read_roster(f"{header}\n{row}\n".encode())) == [expected]


def test_what_cannot_be_used_is_told_by_line_and_the_rest_is_read():
    text = 'name;number\nAna;1\n;\n;;\n"Bo;2\nx";3\n' + "y" * 201 + ";4\nCleo;5;too;many\n ; \nDan;6\n"
    roster = read_roster(text.encode())
    assert people(roster) == [("Ana", "1"), ("Bo;2 x", "3"), ("Dan", "6")]
    assert [(fault.line, fault.reason.split(".")[0]) for fault in roster.faults] == [
        (7, "a name longer than 200 characters"),
        (8, "the row has 4 cells, the header 2"),
    ]


def test_a_row_with_neither_name_nor_number_is_told():
    (fault,) = read_roster(b"name,number,class\n,,3b\n").faults
    assert str(fault) == "line 2: neither a name nor a number. Fill in one of the two."


def test_duplicates_are_told_with_the_line_of_the_first():
    roster = read_roster(b"name,number\nAna,1\nBo,2\nana,1\nANA,\nAna,3\nBo,2\n")
    assert people(roster) == [("Ana", "1"), ("Bo", "2"), ("Ana", "3")]
    assert [str(one) for one in roster.duplicates] == [
        "line 4: 'ana' stands on line 2 already; it was left out.",
        "line 5: 'ANA' stands on line 2 already; it was left out.",
        "line 7: 'Bo' stands on line 3 already; it was left out.",
    ]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "The table is empty"),
        (b"\n\n", "The table is empty"),
        (b"colour,size\nred,1\n", "No column is called 'name' or 'number'; there are 'colour', 'size'"),
        (b"name,Name\nA,B\n", "Two columns are named 'name'"),
        (b"PK\x03\x04" + bytes(range(256)) * 40, "The file is no text"),
        (b"\xff\xfea", "breaks off"),
    ],
)
def test_what_is_no_roster_is_told(data, told):
    with pytest.raises(ClassError, match=told):
        read_roster(data)


def test_a_cell_of_a_megabyte_is_a_fault_of_its_line():
    roster = read_roster(b"name\n" + b"x" * 10**6 + b"\nAna\n")
    assert people(roster) == [("Ana", "")]
    assert [fault.line for fault in roster.faults] == [2]


def test_too_many_members_are_refused():
    with pytest.raises(ClassError, match="more than 5000"):
        read_roster(("number\n" + "\n".join(map(str, range(5001)))).encode())


NAMES = st.text(st.characters(categories=["L", "M", "P", "S", "Zs"]), max_size=30).map(lambda text: text.strip())


@settings(max_examples=200, deadline=None)
@given(st.lists(NAMES.filter(bool), max_size=20), st.sampled_from(",;\t"))
def test_names_of_any_script_come_through(names, separator):
    """Each comes back but for spacing and composition, which are tidied, and for repeats."""
    text = table(separator, people=[(name, str(at)) for at, name in enumerate(names)])
    roster = read_roster(text.encode("utf-8-sig"))
    assert roster.faults == []
    assert [one.number for one in roster.members] == [str(at) for at in range(len(names))]


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused_in_words(data):
    try:
        roster = read_roster(data)
    except ClassError as error:
        assert str(error).endswith(".")  # noqa: PT017
    else:
        assert all(one.name or one.number for one in roster.members)


def test_a_table_of_very_many_columns_is_refused_at_once():
    with pytest.raises(ClassError, match="20000 columns; at most 200"):
        read_roster((";".join(f"c{at}" for at in range(20_000)) + "\n").encode())


def test_a_cell_that_is_too_long_is_a_fault_and_the_limit_is_the_tables_own():
    limit = csv.field_size_limit()
    long = "x" * 10_001
    roster = read_roster(f"name\nAna\n{long}\nBo\n".encode())
    assert [member.name for member in roster.members] == ["Ana", "Bo"]
    assert [(fault.line, "field larger than field limit (10000)" in fault.reason) for fault in roster.faults] == [
        (3, True)
    ]
    assert csv.field_size_limit() == limit

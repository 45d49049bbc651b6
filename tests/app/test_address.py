"""Addresses of problems: there and back, and what strangers may have typed."""

from urllib.parse import parse_qs, urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.app.address import HIGHEST_NUMBER, Address, read
from tutor.problems.question import RequestError

NAMES = st.text(st.characters(min_codepoint=97, max_codepoint=122), min_size=1, max_size=30)
VALUES = st.text(st.characters(exclude_categories=["Cs", "Cc", "Z"]), min_size=1, max_size=40)


def read_query(query: dict[str, list[str]]) -> Address | None:
    return read({name: values[-1] for name, values in query.items()}, query.get("given", []))


@given(
    st.builds(
        Address,
        exercise=NAMES,
        number=st.integers(1, HIGHEST_NUMBER),
        ask=st.none() | NAMES,
        rulebook=st.sampled_from(["us", "iec"]),
        own=st.lists(st.tuples(NAMES, VALUES), max_size=5).map(tuple),
    )
)
def test_an_address_comes_back_from_its_query(address):
    query = parse_qs(urlencode(address.query(), doseq=True), keep_blank_values=True)
    assert read_query(query) == address


def test_without_an_exercise_there_is_no_problem():
    assert read({}, []) is None
    assert read({"exercise": "", "number": "x"}, []) is None


def test_the_usual_is_left_out_of_the_address():
    assert Address("e").query() == {"exercise": "e", "number": "1"}


@pytest.mark.parametrize(
    "number",
    [
        "",
        "0",
        "-1",
        "1.0",
        "1e3",
        "1e9999",
        "²",
        "٣",
        " 1",
        "nan",
        str(HIGHEST_NUMBER + 1),
        "0" * 13 + "1",
        "9" * 10_000,
    ],
)
def test_a_number_that_is_none_is_said(number):
    with pytest.raises(RequestError, match=f"whole number from 1 to {HIGHEST_NUMBER}"):
        read({"exercise": "e", "number": number}, [])


def test_the_highest_number_is_one():
    assert read({"exercise": "e", "number": str(HIGHEST_NUMBER)}, []).number == HIGHEST_NUMBER


def test_a_given_without_a_value_is_said():
    with pytest.raises(RequestError, match="given=NAME=VALUE"):
        read({"exercise": "e"}, ["module_voc"])


def test_a_value_may_hold_an_equals_sign():
    assert read({"exercise": "e"}, ["a=b=c"]).own == (("a", "b=c"),)


def test_nothing_long_comes_through():
    long = "x" * 10_000
    address = read({"exercise": long, "ask": long, "rulebook": long}, [f"{long}={long}"] * 1000)
    parts = [address.exercise, address.ask, address.rulebook, *(part for pair in address.own for part in pair)]
    assert max(map(len, parts)) <= 120
    assert len(address.own) <= 20

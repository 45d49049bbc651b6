"""Codes on paper: read back however they are typed, slips of the pen caught, none to be guessed from another."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.classroom.roster.codes import (
    ALPHABET,
    is_personal_code,
    new_problem_code,
    new_secret,
    new_set_code,
    personal_code,
    plain,
    problem_code,
    set_code,
)

SECRET = "0a" * 32
CODES = st.builds(new_problem_code)


def test_no_two_characters_look_alike():
    assert len(set(ALPHABET)) == 31
    assert not set("01ILO") & set(ALPHABET)


@given(CODES, st.sampled_from(["", " ", "-", " - ", "."]), st.booleans())
def test_a_code_is_read_however_it_is_typed(code, between, small):
    typed = between.join(plain(code))
    assert problem_code(typed.lower() if small else typed) == code


@given(CODES, st.integers(0, 5), st.sampled_from(ALPHABET))
def test_a_single_wrong_character_is_caught(code, at, character):
    typed = plain(code)
    changed = typed[:at] + character + typed[at + 1 :]
    assert (problem_code(changed) is None) == (changed != typed)


@given(CODES, st.integers(0, 3))
def test_two_neighbours_turned_round_are_caught(code, at):
    typed = plain(code)
    changed = typed[:at] + typed[at + 1] + typed[at] + typed[at + 2 :]
    assert (problem_code(changed) is None) == (changed != typed)


@pytest.mark.parametrize("text", ["", "7KQ4", "7KQ4-2P9", "IIII-II", "=1+1", "ß" * 6, "７ＫＱ４２Ｐ"])
def test_what_is_no_code_is_none(text):
    assert problem_code(text) is None


def test_codes_are_seldom_the_same():
    assert len({new_problem_code() for _ in range(1000)}) >= 999
    assert len({new_set_code() for _ in range(1000)}) >= 999
    assert set_code(new_set_code().lower()) is not None


def test_a_personal_code_is_the_members_and_the_classs_own():
    own = [new_secret() for _ in range(500)]
    codes = {personal_code(secret, one) for secret in (SECRET, "0b" * 32) for one in own}
    assert len(codes) == 1000
    assert is_personal_code(personal_code(SECRET, own[3]).lower(), SECRET, own[3])
    for text in ("", personal_code(SECRET, own[4]), personal_code("0b" * 32, own[3]), "ß"):
        assert not is_personal_code(text, SECRET, own[3])

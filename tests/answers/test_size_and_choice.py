"""Answers that are no numbers: standard conductor sizes by their trade names, and one of a few words."""

import pytest

from tutor.entries.entry import EntryError
from tutor.entries.kinds import read_choice, read_size
from tutor.trade.rulebooks import rulebook

FEEDERS = ["array", "battery", "supply", "array and battery"]


@pytest.mark.parametrize(
    ("text", "book", "name"),
    [
        ("10 AWG", "us", "10 AWG"),
        ("AWG 10", "us", "10 AWG"),
        ("#10", "us", "10 AWG"),
        ("10", "us", "10 AWG"),
        ("2/0", "us", "2/0 AWG"),
        ("AWG 2/0", "us", "2/0 AWG"),
        ("00", "us", "2/0 AWG"),
        ("250 kcmil", "us", "250 kcmil"),
        ("6 mm2", "iec", "6 mm²"),
        ("6 mm²", "iec", "6 mm²"),
        ("6", "iec", "6 mm²"),
    ],
)
def test_a_size_is_read_by_its_trade_name(text, book, name):
    read = read_size(text, rulebook(book))
    assert rulebook(book).size_of(read.value * 1e-6).name == name


@pytest.mark.parametrize(
    ("text", "book"), [("11 AWG", "us"), ("6 mm2", "us"), ("10 AWG", "iec"), ("5", "iec"), ("", "us"), ("thick", "us")]
)
def test_what_is_no_standard_size_of_the_rulebook_is_refused_with_the_range(text, book):
    with pytest.raises(EntryError) as refused:
        read_size(text, rulebook(book))
    assert refused.value.verdict == "refused"
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize(
    ("text", "place"), [("battery", 1), ("The Battery.", 1), (" supply ", 2), ("array and battery", 3)]
)
def test_a_choice_is_read_by_its_words(text, place):
    assert read_choice(text, FEEDERS).value == place


@pytest.mark.parametrize("text", ["grid", "arrays", "1"])
def test_what_is_none_of_the_choices_is_refused_and_they_are_named(text):
    with pytest.raises(EntryError, match="array, battery, supply"):
        read_choice(text, FEEDERS)

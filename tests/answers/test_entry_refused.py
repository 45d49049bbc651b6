"""Answers that are not marked, and answers in a unit of another dimension, each with a fragment of its sentence."""

import pickle

import pytest

from tutor.entries.entry import EntryError, WrongUnit, read_entry

REFUSED = [
    # text, asked unit, a fragment of the sentence
    ("", "V", "is empty"),
    (" \u00a0\t\n", "V", "is empty"),
    ("1" * 121, "V", "longer than 120 characters"),
    ("9" * 10_000, "V", "longer than 120 characters"),
    ("(" * 100_000, "V", "longer than 120 characters"),
    ("(" * 120, "V", "at its end, where something is missing"),
    ("(1+2", "V", "at its end, where something is missing"),
    ("1+2)", "V", "from “)” on: type one value, as 12.3 V"),
    ("NaN", "V", "not finite"),
    ("inf", "V", "not finite"),
    ("-∞ V", "V", "not finite"),
    ("1e400", "V", "too large"),
    ("1e" + "9" * 100, "V", "too large"),
    ("1e-400", "V", "too small"),
    ("1e308 kV", "mV", "too large"),
    ("9e300*9e300", "V", "too large"),
    ("1/(9e300*9e300)", "V", "too large"),
    ("(9^99)^99", "", "too large"),
    ("9^9^9^9", "", "power"),
    ("9^999", "", "power"),
    ("9^(9^9)", "", "power"),
    ("9^(99^99^99)", "", "power"),
    ("2^0.5", "", "power"),
    ("2^(1/2)", "", "power"),
    ("2^x", "", "power"),
    ("2/0", "", "divides by zero"),
    ("1/(3-3)", "", "divides by zero"),
    ("0^-1", "", "divides by zero"),
    ("13-ish", "", "is vague"),
    ("13ish", "", "is vague"),
    ("13 or 14", "", "more than one value"),
    ("13 to 14", "", "more than one value"),
    ("12..14", "", "more than one value"),
    ("12–14", "", "more than one value"),
    ("12-14 V", "V", "more than one value"),
    ("13; 14", "", "more than one value"),
    ("13 14", "", "from “14” on"),
    ("38.9 ± 0.1 V", "V", "tolerance"),
    ("< 14", "", "without an end"),
    ("9*46.76 = 420.84", "V", "line of working"),
    ("[13]", "", "round ones"),
    ("5 6/4 in", "m", "type it with decimals"),
    ("32 - 1/4 ft", "ft", "type it with decimals"),
    ("32-1/4 V", "V", "type it with decimals"),
    ("14-12", "", "more than one value"),
    ("39-38 V", "V", "more than one value"),
    ("39.5-38.9 V", "V", "more than one value"),
    ("five-six", "", "more than one value"),
    ("62A?", "A", "decide on one value"),
    ("2 x 9 = 18", "", "line of working"),
    ("64 ft (round trip)", "ft", "type one value, as 12.3 ft"),
    ("90m", "h", "type min for minutes"),
    ("1.47m", "mohm", "type mΩ"),
    ("211.5 VA", "W", "type the power in W"),
    ("one twenty", "V", "from “20” on"),
    ("0x10", "", "digits 0 to 9"),
    ("450 V / 46.76 V", "", "once, at the end"),
    ("5 * V", "V", "“V” is not a number"),
    ("abc", "V", "“abc” is not a number"),
    ("twentyone", "", "“twentyone” is not a number"),
    ("2,5,3", "V", "one decimal mark"),
    ("01,234,567", "V", "one decimal mark"),
    ("1,23,456", "V", "one decimal mark"),
    ("12 foo", "V", "“foo” is not a unit that is known here: type the value as 12.3 V"),
    ("12 V/foo", "V", "“foo” is not a unit"),
    ("10 k", "ohm", "“k” is not a unit"),
    ("10 M", "ohm", "“M” is not a unit"),
    ("12°", "", "“°” is not a unit"),
    ("10 AWG", "mm^2", "“AWG” is not a unit"),
    ("5 ft 13 in", "m", "do not add up to one value"),
    ("5.5 ft 3 in", "m", "do not add up to one value"),
    ("5 ft 3 V", "m", "do not add up to one value"),
    ("5 °C 3 °C", "degC", "do not add up to one value"),
    ("5 ft 3", "m", "something is missing"),
    ("38.9\x00", "V", "cannot be seen"),
    ("38\x07.9", "V", "cannot be seen"),
    ("38\n.9", "V", "cannot be seen"),
    ("\u202e38.9", "V", "cannot be seen"),
    ("38\u200b.9", "V", "cannot be seen"),
    ("\ud800", "V", "cannot be seen"),
    ("38.9 V 🙂", "V", "from “🙂” on"),
    ("🙂", "V", "from “🙂” on"),
    ("$5", "V", "from “$5” on"),
    ("__import__('os')", "V", "cannot be read"),
]

UNCLEAR = [
    # text, asked unit, the readings, a fragment of the sentence
    ("1,234", "V", (1.234, 1234), "can be read as 1.234 or as 1234"),
    ("-1,234 V", "V", (-1.234, -1234), "as -1.234 V or as -1234 V"),
    ("12,345", "V", (12.345, 12345), "as 12.345 or as 12345"),
    ("123,456 mV", "V", (0.123456, 123.456), "as 123.456 mV or as 123456 mV"),
    ("2*1,234", "", (2.468, 2468), "as 2.468 or as 2468"),
    ("38·9", "V", (38.9, 342), "as 38.9 V or as 342 V"),
    (".018", "%", (0.018, 1.8), "as 0.018 % or as 1.8 %"),
    ("2.5/100", "%", (0.025, 2.5), "as 0.025 % or as 2.5 %"),
    ("0.0015", "mohm", (0.0015, 1.5), "as 0.0015 mΩ or as 1.5 mΩ"),
    ("-0.0027", "%/K", (-0.0027, -0.27), "as -0.0027 %/K or as -0.27 %/K"),
]

WRONG = [
    ("38.9 V", "A", "“38.9 V” gives a voltage, but the question asks for a current, in A."),
    ("38.9 V", "", "a voltage, but the question asks for a plain number"),
    ("13 panels", "V", "a number of things, but the question asks for a voltage, in V"),
    ("13 panels", "%", "a number of things"),
    ("38.9 m", "degC", "a length, but the question asks for a temperature, in °C"),
    ("-18 °C", "V", "a temperature"),
    ("-111 mV/K", "%/K", "a voltage per degree, but the question asks for a share per degree, in %/K"),
    ("-0.27 %", "%/K", "a share per degree"),
    ("-0.27 %/K", "degC", "a temperature, in °C"),
    ("100 Ah", "Wh", "a charge, but the question asks for an energy"),
    ("25 mm", "mm^2", "a length, but the question asks for an area, in mm²"),
    ("1 V^4", "V", "another kind of quantity"),
]


@pytest.mark.parametrize(("text", "asked", "fragment"), REFUSED)
@pytest.mark.parametrize("form", ["number", "count"])
def test_a_bad_entry_is_refused_with_its_sentence(text, asked, fragment, form):
    with pytest.raises(EntryError) as caught:
        read_entry(text, asked, form)
    assert (caught.value.verdict, caught.value.readings) == ("refused", ())
    assert fragment in str(caught.value)
    assert str(caught.value).endswith(".")
    assert len(str(caught.value)) < 250


@pytest.mark.parametrize(("text", "asked", "values", "fragment"), UNCLEAR)
def test_an_ambiguous_entry_is_echoed_with_both_readings(text, asked, values, fragment):
    with pytest.raises(EntryError) as caught:
        read_entry(text, asked)
    assert caught.value.verdict == "unclear"
    assert [reading.value for reading in caught.value.readings] == pytest.approx(list(values))
    assert f"“{text}” can be read" in str(caught.value)
    assert fragment in str(caught.value)


def test_the_readings_of_an_ambiguous_entry_differ_in_precision_too():
    with pytest.raises(EntryError) as caught:
        read_entry("1,234 V", "mV")
    assert [reading.half_width for reading in caught.value.readings] == pytest.approx([0.5, 500])
    assert {reading.unit for reading in caught.value.readings} == {"V"}


@pytest.mark.parametrize(("text", "asked", "fragment"), WRONG)
def test_a_unit_of_another_dimension_is_a_wrong_answer(text, asked, fragment):
    with pytest.raises(WrongUnit) as caught:
        read_entry(text, asked)
    assert caught.value.verdict == "wrong"
    assert fragment in str(caught.value)


def test_seconds_are_asked_about_where_a_plain_number_is_wanted():
    with pytest.raises(EntryError, match="type the number alone") as caught:
        read_entry("13 s", "")
    assert caught.value.verdict == "refused"


@pytest.mark.parametrize("text", ["13%", "13 %", "1/2 %"])
def test_a_share_is_no_number_of_things_and_costs_nothing(text):
    with pytest.raises(EntryError, match="type a whole number") as caught:
        read_entry(text, "", "count")
    assert caught.value.verdict == "refused"


def test_an_error_survives_a_trip_between_processes():
    with pytest.raises(EntryError) as caught:
        read_entry("1,234", "V")
    copy = pickle.loads(pickle.dumps(caught.value))
    assert (str(copy), copy.verdict, copy.readings) == (str(caught.value), "unclear", caught.value.readings)

"""A learner's own numbers for the givens."""

import pytest

from tutor.answers.own import own_amounts
from tutor.engine.question import RequestError


@pytest.fixture
def usual(engine):
    return engine.question("most-modules-in-series")


@pytest.mark.parametrize(
    ("name", "text", "value", "unit", "shown"),
    [
        ("module_voc", "41.3 V", 41.3, "V", "41.3\u00a0V"),
        ("module_voc", "41,3", 41.3, "V", "41.3\u00a0V"),
        ("module_voc", "0.0413 kV", 0.0413, "kV", "0.0413\u00a0kV"),
        ("voc_coefficient", "-0.27 %/K", -0.27, "%/K", "−0.27\u00a0%/K"),
        ("voc_coefficient", "-0.27 %/°C", -0.27, "%/K", "−0.27\u00a0%/K"),
        ("voc_coefficient", "-0.15 %/°F", -0.15, "%/delta_degF", "−0.15\u00a0%/°F"),
        ("voc_coefficient", "-0.0027/K", -0.0027, "K^-1", "−0.0027\u00a0K⁻¹"),
        ("record_low", "-24", -24, "degC", "−24\u00a0°C"),
        ("record_low", "-11.2 °F", -11.2, "degF", "−11.2\u00a0°F"),
        ("record_low", "249 K", -24.15, "degC", "−24.15\u00a0°C"),
        ("modules_in_series", "9 panels", 9, "", "9"),
    ],
)
def test_own_numbers_are_kept_as_typed(usual, name, text, value, unit, shown):
    amount = own_amounts(usual, {name: text})[name]
    assert (amount.value, amount.unit, amount.text) == (pytest.approx(value), unit, shown)


def test_a_unit_too_long_for_a_label_gives_way_to_the_glossarys(usual):
    amount = own_amounts(usual, {"module_voc": "41.3 V*km*km*km*km/km/km/km/km"})["module_voc"]
    assert (amount.value, amount.unit) == (pytest.approx(41.3), "V")


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("colour", "3", "'colour' is not a given here"),
        ("module_voc", "", "Module's open-circuit voltage: The entry is empty"),
        ("module_voc", "41.3 A", "gives a current"),
        ("module_voc", "1,234 V", "can be read as"),
        ("record_low", "-24 V", "gives a voltage"),
        ("modules_in_series", "nine-ish", "module"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_name(usual, name, text, words):
    with pytest.raises(RequestError, match=words):
        own_amounts(usual, {name: text})

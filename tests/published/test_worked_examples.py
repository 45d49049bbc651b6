"""Worked examples of string voltage that others published, by kind of source; their mistakes reproduced as mistakes."""

import math

import pytest

from tutor.trade.counts import round_down, round_up
from tutor.trade.site import cell_temperature, voltage_at


def volts_per_kelvin(slope, voltage):
    return slope / voltage


def test_public_question_thread_on_string_design(cold_factors):
    """15 modules of 35 V (525 V), record low in the band 4 to −4 °F: factor 1.18, 619 V, above 600 V."""
    factor = next(float(r["factor"]) for r in cold_factors if r["rulebook"] == "us" and r["coldest_degC"] == "-20")
    assert factor == 1.18
    assert 525 * factor == pytest.approx(619, abs=0.6)
    assert round_down(600 / (35 * factor)) == 14  # follows from the thread's own factor and limit


def test_training_hand_out_2011_cold():
    """Voc 45.8 V, 0.13 V/K, 0 °C: 49.05 V."""
    assert voltage_at(45.8, volts_per_kelvin(-0.13, 45.8), 0.0) == pytest.approx(49.05, abs=0.005)


def test_training_hand_out_2011_hot():
    """Vmp 36.4 V, 0.17 V/K, cells at 70 °C: 28.75 V."""
    assert voltage_at(36.4, volts_per_kelvin(-0.17, 36.4), 70.0) == pytest.approx(28.75, abs=0.005)


def test_electricity_training_page_hot_string():
    """Vmp 41.2 V, −0.28 %/K, 45 °C: 38.9 V, 18 modules about 700 V (it takes the air's temperature for the cells')."""
    hot = voltage_at(41.2, -0.0028, 45.0)
    assert hot == pytest.approx(38.9, abs=0.05)
    assert 18 * hot == pytest.approx(700, abs=0.5)


class TestAnonymousWorksheetMostModules:
    """Voc 50.8 V, −0.26 %/K, −12 °C, 600 V.  Published: 55.03 V and 10.90, rounded UP to 11.  Both are mistakes."""

    def test_published_figures_come_from_a_reference_of_20_degrees(self):
        shifted = voltage_at(50.8, -0.0026, -12.0 + 5.0)
        assert shifted == pytest.approx(55.03, abs=0.005)
        assert 600 / shifted == pytest.approx(10.90, abs=0.005)
        assert math.ceil(600 / shifted) == 11

    def test_right_figures(self, relations):
        known = {"module_voc": 50.8, "voc_coefficient": -0.0026, "record_low": -12.0, "input_voltage_max": 600.0}
        values = relations("most-modules-in-series", **known)
        cold = values["cold_voltage"]
        assert cold == pytest.approx(55.69, abs=0.005)
        assert values["modules_in_series"] == 10
        assert 11 * cold > 600


class TestAnonymousWorksheetFewestModules:
    """Vmp 42.0 V, −0.36 %/K, 45 °C + 32 K, factor 0.88, 120 V.  Published: 33.38 V, 29.38 V, 4; two mistakes."""

    def test_published_figures_come_from_a_reference_of_20_degrees_and_rounding_down(self):
        shifted = voltage_at(42.0, -0.0036, 45.0 + 32.0 + 5.0)
        assert shifted == pytest.approx(33.38, abs=0.005)
        assert 0.88 * shifted == pytest.approx(29.38, abs=0.005)
        assert math.floor(120 / (0.88 * shifted)) == 4
        assert round_up(120 / (0.88 * shifted)) == 5

    def test_right_figures(self, relations):
        known = {
            "module_vmp": 0.88 * 42.0,
            "vmp_coefficient": -0.0036,
            "hottest_cell": 77.0,
            "input_voltage_min": 120.0,
        }
        values = relations("fewest-modules-that-charge", **known)
        hot = values["hot_voltage"] / 0.88
        assert hot == pytest.approx(34.14, abs=0.005)
        assert values["modules_in_series"] == 4


def test_nominal_operating_cell_temperature_by_its_definition():
    """At 800 W/m² and 20 °C air the cells are at NOCT (IEC 61215, from memory)."""
    assert cell_temperature(20.0, 45.0, 800.0) == 45.0

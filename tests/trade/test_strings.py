import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.trade.site import voltage_at

VOLTS = st.floats(2.0, 120.0)
LIMITS = st.floats(10.0, 1600.0)


def test_at_25_degrees_the_label_holds():
    assert voltage_at(40.0, -0.003, 25.0) == 40.0


def test_ten_degrees_colder():
    assert voltage_at(40.0, -0.0025, 15.0) == pytest.approx(41.0)


def test_without_a_coefficient_temperature_does_nothing():
    assert voltage_at(40.0, 0.0, -40.0) == 40.0


def test_moving_there_and_back():
    cold = voltage_at(40.0, -0.003, -20.0)
    assert cold / voltage_at(1.0, -0.003, -20.0) == pytest.approx(40.0)


def test_an_array_equals_its_values_one_by_one():
    temperatures = np.array([-40.0, 0.0, 25.0, 70.0])
    expected = [voltage_at(37.5, -0.0031, one) for one in temperatures.tolist()]
    np.testing.assert_array_equal(voltage_at(37.5, -0.0031, temperatures), expected)


@pytest.fixture(scope="session")
def most_in_series(relations):
    """How many modules of a voltage (V) stay at or below a limit (V), by the relations."""

    def most_in_series(limit, voltage):
        known = {"module_voc": voltage, "voc_coefficient": -0.003, "record_low": 25.0, "input_voltage_max": limit}
        return relations("most-modules-in-series", **known)["modules_in_series"]

    return most_in_series


@pytest.fixture(scope="session")
def fewest_in_series(relations):
    """How many modules of a voltage (V) reach a target (V), by the relations."""

    def fewest_in_series(target, voltage):
        known = {"module_vmp": voltage, "vmp_coefficient": -0.003, "hottest_cell": 25.0, "input_voltage_min": target}
        return relations("fewest-modules-that-charge", **known)["modules_in_series"]

    return fewest_in_series


@pytest.mark.parametrize(("limit", "voltage", "most"), [(100, 50, 2), (100, 51, 1), (99.9, 50, 1), (40, 50, 0)])
def test_most_in_series(most_in_series, limit, voltage, most):
    assert most_in_series(limit, voltage) == most


@pytest.mark.parametrize(("target", "voltage", "fewest"), [(100, 50, 2), (100, 49, 3), (100.1, 50, 3), (1, 50, 1)])
def test_fewest_in_series(fewest_in_series, target, voltage, fewest):
    assert fewest_in_series(target, voltage) == fewest


@pytest.mark.parametrize("number", range(1, 30))
def test_an_exact_fit_counts_in_spite_of_binary_rounding(most_in_series, fewest_in_series, number):
    """number × 0.1 V divided by 0.1 V misses the whole number now and then, as 0.3 / 0.1 does."""
    assert most_in_series(number * 0.1, 0.1) == number
    assert fewest_in_series(number * 0.1, 0.1) == number


@given(LIMITS, VOLTS)
def test_the_longest_string_holds_the_limit_and_one_more_breaks_it(most_in_series, limit, voltage):
    most = most_in_series(limit, voltage)
    assert most * voltage <= limit * (1 + 1e-9)
    assert (most + 1) * voltage > limit


@given(LIMITS, VOLTS)
def test_the_shortest_string_reaches_the_target_and_one_fewer_does_not(fewest_in_series, target, voltage):
    fewest = fewest_in_series(target, voltage)
    assert fewest * voltage >= target * (1 - 1e-9)
    assert (fewest - 1) * voltage < target


@pytest.mark.parametrize(("limit", "voltage"), [(450.0, 0.0), (float("nan"), 40.0)])
def test_voltages_that_make_no_string_have_no_count(relations, limit, voltage):
    cold = {"module_voc": voltage, "voc_coefficient": 0.0, "record_low": 0.0, "input_voltage_max": limit}
    hot = {"module_vmp": voltage, "vmp_coefficient": 0.0, "hottest_cell": 0.0, "input_voltage_min": limit}
    assert "modules_in_series" not in relations("most-modules-in-series", **cold)
    assert "modules_in_series" not in relations("fewest-modules-that-charge", **hot)

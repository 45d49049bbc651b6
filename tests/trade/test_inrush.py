"""Charging a capacitor through a resistance, against an integration of its equation and published values."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from tutor.trade.inrush import Charging, PreCharge

volts = st.floats(6.0, 800.0)
ohms = st.floats(0.001, 1000.0)
farads = st.floats(1e-5, 0.5)


def test_a_published_example():
    # A public lesson on RC circuits (learn.padho.ai, "RC circuits", read): a flash lamp's 100 µF behind 4 kΩ have a
    # time constant of 0.4 s and reach 99.3 % of 300 V in 2 s.
    flash = Charging(voltage=300.0, resistance=4000.0, capacitance=100e-6)
    assert flash.time_constant == pytest.approx(0.4)
    assert flash.capacitor_voltage(2.0) / 300.0 == pytest.approx(0.993, abs=0.0005)


def test_one_time_constant():
    # The same lesson: 63 % of the final charge after one time constant.
    one = Charging(48.0, 0.02, 0.02)
    assert one.capacitor_voltage(one.time_constant) / 48.0 == pytest.approx(0.63, abs=0.005)


def test_the_first_current_is_the_voltage_over_the_resistance():
    # Ohm's law, by hand: 48 V / 20 mΩ = 2,400 A; with 25 Ω instead: 1.92 A.
    assert Charging(48.0, 0.02, 0.02).peak_current == pytest.approx(2400.0)
    assert Charging(48.0, 25.0, 0.02).peak_current == pytest.approx(1.92)


@settings(deadline=None)
@given(volts, ohms, farads, st.floats(0.0, 1.0))
def test_the_closed_form_agrees_with_an_integration(voltage, resistance, capacitance, share):
    charging = Charging(voltage, resistance, capacitance, share * voltage)
    times = np.linspace(0.0, 6.0 * resistance * capacitance, 13)
    integrated = solve_ivp(
        lambda _, charged: (voltage - charged) / (resistance * capacitance),
        (0.0, times[-1]),
        [share * voltage],
        t_eval=times,
        rtol=1e-10,
        atol=1e-10 * voltage,
    )
    ours = [charging.capacitor_voltage(time) for time in times]
    assert ours == pytest.approx(integrated.y[0], abs=1e-7 * voltage)


@settings(deadline=None)
@given(volts, ohms, farads)
def test_half_of_the_energy_turns_into_heat_whatever_the_resistance(voltage, resistance, capacitance):
    # The same lesson: half of C·V² is stored, the other half is heat, independent of R.
    charging = Charging(voltage, resistance, capacitance)
    scale = charging.time_constant
    heat, _ = quad(lambda x: scale * charging.current(x * scale) ** 2 * resistance, 0.0, 40.0)
    assert charging.heat == pytest.approx(heat, rel=1e-6)
    assert charging.heat == pytest.approx(capacitance * voltage**2 / 2)


def test_after_a_long_pre_charge_the_main_switch_has_nothing_left_to_do():
    # By hand: R·C = 25.02 Ω · 0.02 F = 0.5004 s; after 5 of them exp(−5) = 0.674 % of 48 V is left: 0.3234 V over
    # 0.02 Ω is 16.2 A instead of 2,400 A.
    plan = PreCharge(48.0, 0.02, 0.02, resistor=25.0, time=5 * 0.5004)
    assert plan.after_closing.peak_current == pytest.approx(16.17, abs=0.01)
    assert plan.peak_current == plan.after_closing.peak_current


def test_a_pre_charge_that_is_cut_short_leaves_a_peak():
    # By hand: after one time constant 1/e of the 2,400 A is left: 882.9 A.
    plan = PreCharge(48.0, 0.02, 0.02, resistor=25.0, time=0.5004)
    assert plan.peak_current == pytest.approx(2400.0 / math.e)
    assert PreCharge(48.0, 0.02, 0.02, 25.0, 0.0).peak_current == pytest.approx(2400.0)
    assert PreCharge(48.0, 0.02, 0.02, 25.0, 60.0).peak_current == pytest.approx(48.0 / 25.02)


@pytest.mark.parametrize(
    ("values", "words"),
    [((48.0, 0.0, 0.02), "above 0"), ((48.0, 0.02, 0.0), "above 0"), ((48.0, 0.02, 0.02, 49.0), "between 0")],
)
def test_values_that_make_no_circuit_are_refused(values, words):
    with pytest.raises(ValueError, match=words):
        Charging(*values)

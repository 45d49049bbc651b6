"""Rules of the trade as published, each worked by the exercise that teaches it; the kind of source stands beside it."""

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.problem_factory import make_problem
from tutor.trade.rulebooks import rulebook

TWO_VOLTS_A_CELL = {"battery_voltage": "12 V", "battery_capacity": "100 Ah", "low_cutoff": "0 %"}
MODULE = {"module_voc": "22.3 V", "module_vmp": "18.2 V", "module_isc": "6.7 A", "module_imp": "6.3 A"}
CURRENTS = {name: MODULE[name] for name in ("module_isc", "module_imp", "module_vmp")}
ON_TWELVE_VOLTS = {
    "appliance_output": "60 W",
    "appliance_efficiency": "100 %",
    "inverter_efficiency": "100 %",
    "battery_voltage": "12 V",
}
WARM = {"module_vmp": "36 V", "vmp_coefficient": "-0.35 %/K", "module_voc": "43 V", "hottest_cell": "70 degC"}
STRINGS = {"module_isc": "9.5 A", "module_imp": "9.0 A", "module_fuse_max": "15 A", "cable_ampacity": "30 A"}
WINDOW = {
    **{name: MODULE[name] for name in ("module_voc", "module_vmp")},
    "voc_coefficient": "-0.35 %/K",
    "vmp_coefficient": "-0.45 %/K",
    "record_low": "25 degC",
    "hottest_cell": "25 degC",
    "input_voltage_max": "45 V",
    "input_voltage_min": "30 V",
}

RULES = [
    # Physics: power is voltage times current.
    ("power-from-the-label", "module_power", {"module_vmp": "36.67 V", "module_imp": "8.18 A"}, "300 W", []),
    # Physics: energy is ampere-hours times the voltage they flow at.
    ("runtime-after-outage", "usable_energy", TWO_VOLTS_A_CELL, "1200 Wh", []),
    # Arithmetic: minutes are divided by 60 before use; 15 min are 0.25 h, not 0.15 h.
    (
        "charge-taken-by-an-appliance",
        "charge_used",
        ON_TWELVE_VOLTS | {"running_time": "15 min"},
        "1.25 Ah",
        ["0.75 Ah"],
    ),
    # Distributor's questionnaire page, which writes 2 h 15 min as 2.15 h and 45 min as 0.45 h.
    (
        "charge-taken-by-an-appliance",
        "running_time",
        ON_TWELVE_VOLTS | {"charge_used": "11.25 Ah"},
        "2 h 15 min",
        ["2.15 h"],
    ),
    (
        "charge-taken-by-an-appliance",
        "running_time",
        ON_TWELVE_VOLTS | {"charge_used": "3.75 Ah"},
        "45 min",
        ["0.45 h"],
    ),
    # Cruising journal, 2007, which prints 118 A for 1,400 W from 12 V without loss.
    (
        "inverter-input-current",
        "inverter_input_current",
        {"inverter_power": "1400 W", "inverter_efficiency": "100 %", "battery_voltage_low": "12 V"},
        "116.7 A",
        ["118 A"],
    ),
    # Inverter manufacturers' pages, twice: the idle watts come on top of the conversion loss.
    (
        "runtime-after-outage",
        "inverter_demand",
        {"load_power": "200 W", "inverter_efficiency": "80 %", "idle_power": "10 W"},
        "260 W",
        ["250 W", "210 W"],
    ),
    # NFPA 70-2017 690.8(A)(4), 706.20(A)(3) (third-party transcription): the current at the lowest battery voltage.
    (
        "inverter-input-current",
        "inverter_input_current",
        {"inverter_power": "3000 W", "inverter_efficiency": "90 %", "battery_voltage": "48 V"}
        | {"battery_voltage_low": "46 V"},
        "72.5 A",
        ["69.4 A"],
    ),
    # Physics: series adds volts, parallel adds amperes.
    ("string-on-the-label", "string_voc", MODULE | {"modules_in_series": "2"}, "44.6 V", ["22.3 V"]),
    (
        "array-current",
        "array_isc",
        CURRENTS | {"strings_in_parallel": "2", "modules_in_series": "1"},
        "13.4 A",
        ["6.7 A"],
    ),
    # Physics, from memory: a shaded section of three takes a third of its module's voltage with it.
    (
        "shaded-part-bypassed",
        "shaded_string_vmp",
        {"module_vmp": "18.2 V", "modules_in_series": "5", "sections_shaded": "3"},
        "72.8 V",
        ["91 V", "36.4 V"],
    ),
    # Web page on tracking chargers: at the hot end at least 5 V above the battery's 57.6 V.
    ("fewest-modules-that-charge", "modules_in_series", WARM | {"input_voltage_min": "62.6 V"}, "3", ["2"]),
    # Controller manual: for a 24 V battery at least 30 V of operating and at most 45 V of open-circuit voltage.
    ("string-lengths-in-the-window", "lengths_that_fit", WINDOW, "1", ["2"]),
    # NFPA 70-2017 690.9(A) exception with the customary 1.25: two strings are spared, the third one calls for fuses.
    ("do-the-strings-need-fuses", "backfeed_current", STRINGS | {"strings_in_parallel": "2"}, "11.9 A", ["23.8 A"]),
    ("do-the-strings-need-fuses", "backfeed_current", STRINGS | {"strings_in_parallel": "3"}, "23.8 A", ["35.6 A"]),
    # Public forum thread: three strings of 5 A, at most 15 A for the module; 2 × 1.25 × 5 A.
    (
        "do-the-strings-need-fuses",
        "backfeed_current",
        STRINGS | {"module_isc": "5 A", "module_imp": "4.7 A", "strings_in_parallel": "3"},
        "12.5 A",
        ["18.75 A"],
    ),
    # NFPA 70-2017 690.9(B) (third-party transcription): 1.25 × 1.25 × 9.5 A = 14.84 A, the next standard rating.
    ("string-fuse-rating", "string_fuse", {"module_isc": "9.5 A", "module_fuse_max": "20 A"}, "15 A", ["10 A", "25 A"]),
    # NFPA 70-2017 250.24(A)(5), 250.30(A) (third-party transcription): one bond for the source in use.
    (
        "neutral-bonds-in-force",
        "bonds_to_lift",
        {"bonds_at_panels": "1", "bonds_at_inverters": "2", "bonds_at_generators": "2"},
        "2",
        ["3"],
    ),
]


@pytest.mark.parametrize(("exercise", "ask", "givens", "right", "wrong"), RULES, ids=lambda one: str(one)[:30])
def test_the_rule_decides_the_exercise(engine, exercise, ask, givens, right, wrong):
    own = own_amounts(engine.question(exercise, ask, "us"), givens)
    problem = make_problem(engine, exercise, ask, 1, "us", own)
    assert mark(problem, right).verdict == "right", problem.text_of(ask)
    for answer in wrong:
        assert mark(problem, answer).verdict == "wrong", answer


@pytest.mark.parametrize(("strings", "spared"), [("2", "yes"), ("3", "no")])
def test_fuses_are_usually_needed_from_the_third_string_on(engine, strings, spared):
    """Common practice; public forum thread."""
    own = own_amounts(
        engine.question("do-the-strings-need-fuses", None, "us"), STRINGS | {"strings_in_parallel": strings}
    )
    assert make_problem(engine, "do-the-strings-need-fuses", None, 1, "us", own).text_of("strings_spared") == spared


def test_flexible_copper_tinned_and_plain():
    """IEC 60228:2004, class 5 (one cable manufacturer's handbook for tinned), Ω/km."""
    iec = rulebook("iec").tables
    printed = {
        4: (5.09, 4.95),
        6: (3.39, 3.30),
        10: (1.95, 1.91),
        16: (1.24, 1.21),
        25: (0.795, 0.780),
        35: (0.565, 0.554),
        50: (0.393, 0.386),
    }
    for area, (tinned, plain) in printed.items():
        assert iec["resistance_tinned"].look_up(area * 1e-6) * 1e3 == pytest.approx(tinned, rel=1e-9)
        assert iec["resistance_flexible"].look_up(area * 1e-6) * 1e3 == pytest.approx(plain, rel=1e-9)
        assert 1.018 <= round(tinned / plain, 3) <= 1.028


def test_the_small_conductor_limits_and_the_end_of_the_next_size_up():
    """NFPA 70-2017 240.4(B) and (D) (third-party transcription): 15, 20 and 30 A; the next size up to 800 A."""
    us = rulebook("us")
    limits = us.tables["small_conductor_limit"]
    sizes = ("14 AWG", "12 AWG", "10 AWG")
    assert [limits.look_up(us.size_named(name).area) for name in sizes] == [15, 20, 30]
    assert us.number("next_size_up_limit") == 800

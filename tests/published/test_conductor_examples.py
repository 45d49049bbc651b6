"""Published examples on ampacity, conductors, drop and fuses, worked by our relations; published mistakes named.

Most sources are training pages, trade articles, makers' manuals and public threads, not standards: each example says
which kind.  What a source rounded, truncated or printed a digit off is written as it printed it, with that tolerance.
"""

import pytest

from tutor.base.units import conversion, convert
from tutor.trade.conductors import (
    Laid,
    carries,
    conditions_factor,
    corrected_ampacity,
    current_drawn,
    table_ampacity,
)
from tutor.trade.protection import conductor_and_device, largest_device
from tutor.trade.rulebooks import rulebook

US, IEC = rulebook("us"), rulebook("iec")
FOOT = 0.3048


def awg(name):
    return US.size_named(name).area


# Ampacity


@pytest.mark.parametrize(("size", "published"), [("10", 18.37), ("14", 11.48)])
def test_largest_short_circuit_current_of_a_module(relations, size, published):
    """State PV training chart: 90 °C copper, 47 °C, nine conductors together; 0.82 and 0.70, and one 1.25."""
    assert conditions_factor(US, Laid(90.0, 47.0, 9)) == pytest.approx(0.82 * 0.70)
    laid = {"insulation_rating": 90.0, "terminal_rating": 90.0, "ambient": 47.0, "conductors_grouped": 9.0}
    values = relations("largest-module-for-a-conductor", conductor_size=awg(size), **laid)
    assert values["isc_allowed"] == pytest.approx(published, abs=0.005)


@pytest.mark.parametrize(
    ("size", "conductors", "published"),
    [
        *[("10", 1, 23.2), ("12", 1, 17.4)],
        *[("10", 10, 11.6), ("10", 20, 11.6), ("10", 7, 16.24), ("10", 9, 16.24), ("10", 4, 18.56), ("10", 6, 18.56)],
    ],
)
@pytest.mark.parametrize("air", [61.0, 70.0])
def test_ninety_degree_copper_at_61_to_70_degrees(size, conductors, air, published):
    """Hobby page quoting the code's tables for PV cable: factor 0.58, alone and bundled."""
    laid = Laid(90.0, air, conductors, ambient_factor="ambient_factor_solar_cable")
    assert corrected_ampacity(US, awg(size), laid) == pytest.approx(published, abs=0.005)


def test_ten_gauge_at_120_fahrenheit():
    """Electrical training page: 10 AWG of 90 °C insulation at 120 °F carries 32.8 A."""
    laid = Laid(90.0, convert(120.0, "degF", "degC"))
    assert corrected_ampacity(US, awg("10"), laid) == pytest.approx(32.8)


def test_four_conductors_of_twelve_gauge():
    """Public questions and answers: four 12 AWG of 90 °C insulation together carry 24 A; the breaker is still 20 A."""
    laid = Laid(90.0, conductors=4)
    assert corrected_ampacity(US, awg("12"), laid) == pytest.approx(24.0)
    assert largest_device(US, awg("12"), 24.0) == 20.0


def test_the_factor_at_55_degrees_and_the_wrong_table():
    """Public questions and answers: 12 AWG at 55 °C has 0.76 and 22.8 A; 0.84 belongs to the table for 40 °C."""
    right, wrong = Laid(90.0, 55.0), Laid(90.0, 55.0, ambient_factor="ambient_factor_40")
    assert conditions_factor(US, right) == 0.76
    assert corrected_ampacity(US, awg("12"), right) == pytest.approx(22.8)
    assert conditions_factor(US, wrong) == 0.84
    assert corrected_ampacity(US, awg("12"), wrong) > corrected_ampacity(US, awg("12"), right)


def test_which_test_governs(relations):
    """Advanced-course questions and answers: with factors of 0.82 in all, the test before correction governs."""
    factor = conditions_factor(US, Laid(90.0, 50.0))
    assert factor == 0.82
    assert 1 / factor == pytest.approx(1.220, abs=5e-4)
    for conductors, insulation in ((3.0, 1 / 0.82), (9.0, 1 / (0.82 * 0.7))):
        laid = {"insulation_rating": 90.0, "ambient": 50.0, "conductors_grouped": conductors}
        values = relations("conductor-for-current", run_current=1.0, terminal_rating=75.0, **laid)
        assert values["current_for_terminals"] == 1.25
        assert values["current_for_insulation"] == pytest.approx(insulation)


def test_sixteen_strings_in_a_permit_record_use_a_factor_of_another_table(relations):
    """Municipal permit record: 16 · 1 A · 1.25 = 20 A; 40 A · 0.70 · 0.77 = 21.56 A.

    The 0.77 equals that of 105 °C cable, and that of the table at 40 °C, for 56 to 60 °C: from the table at 30 °C the
    10 AWG of 90 °C insulation has 0.71 and does not carry the 20 A.
    """
    assert relations("pv-circuit-current", strings_in_parallel=16.0, module_isc=1.0)["pv_current"] == 20.0
    as_printed = Laid(90.0, 60.0, 9, ambient_factor="ambient_factor_40")
    assert corrected_ampacity(US, awg("10"), as_printed) == pytest.approx(21.56)
    assert corrected_ampacity(US, awg("10"), Laid(90.0, 60.0, 9)) == pytest.approx(40 * 0.70 * 0.71)
    assert not carries(US, awg("10"), Laid(90.0, 60.0, 9), 20.0)


# Array currents and string fuses


def test_string_fuses_by_the_iec(relations):
    """Trade article on IEC 62548: 12.28 A, 20 A module fuse, four strings: 36.84 A; 18.42 to 29.47 A, so 20 A."""
    known = {"module_isc": 12.28, "module_fuse_max": 20.0, "cable_ampacity": 40.0, "strings_in_parallel": 4.0}
    test = relations("do-the-strings-need-fuses", "iec", **known)
    assert not test["strings_spared"]
    assert test["backfeed_current"] == pytest.approx(36.84)
    fuse = relations("string-fuse-rating", "iec", **known)
    assert fuse["string_fuse_least"] == pytest.approx(18.42, abs=0.005)
    assert IEC.number("string_fuse_high") * 12.28 == pytest.approx(29.47, abs=0.005)
    assert fuse["string_fuse"] == 20.0


def test_string_fuse_of_an_inverter_makers_manual(relations):
    """Inverter maker's installation manual: 1.5 · 5.75 A = 8.625 A, so a fuse of 10 A."""
    values = relations("string-fuse-rating", "iec", module_isc=5.75, module_fuse_max=15.0, cable_ampacity=40.0)
    assert values["string_fuse_least"] == pytest.approx(8.625)
    assert values["string_fuse"] == 10.0


@pytest.mark.parametrize(
    ("fuse", "others", "published", "allowed"), [(3.81, 1, 5.34, True), (5.7, 2, 8.75, False)], ids=["two", "three"]
)
def test_one_fuse_for_several_modules(relations, fuse, others, published, allowed):
    """Public forum thread: modules of 1.22 A with a largest fuse of 7 A; 5.34 A is printed where 5.335 A is meant."""
    known = {"device_rating": fuse, "shared_modules": others + 1.0, "module_isc": 1.22, "module_fuse_max": 7.0}
    values = relations("shared-fuse", **known)
    assert values["shared_current"] == pytest.approx(published, abs=0.006)
    assert values["shared_fuse_allowed"] == allowed


def test_array_current_of_an_inverter_makers_manual(relations):
    """Inverter maker's installation manual: 9.2 A; 11.5 A after 125 %; 14.4 A after 156 % (14.375 A, rounded)."""
    values = relations("pv-circuit-current", strings_in_parallel=1.0, module_isc=9.2)
    assert values["pv_current"] == pytest.approx(11.5)
    assert values["design_current"] == pytest.approx(14.4, abs=0.05)
    fuse = relations("string-fuse-rating", module_isc=9.2, module_fuse_max=20.0, cable_ampacity=40.0)
    assert fuse["string_fuse_least"] == pytest.approx(14.375)


def test_continuous_factor_on_the_largest_current(relations):
    """Hobby page: 10.585 A times 1.25 is 13.23 A."""
    values = relations("device-for-mixed-loads", continuous_current=10.585, other_current=0.0)
    assert values["design_current"] == pytest.approx(13.23, abs=0.005)


# Inverter current


def test_inverter_current_and_the_factors_that_the_source_stacks(relations):
    """Blog using a national laboratory's guide: 2,500 W, 85 %, 22 V: 134 A, then 167 A, then 235 A and 300 kcmil.

    The source multiplies by 1.25 and divides by 0.71: a mistake since the code has two tests, of which the larger wins:
    188 A, and 4/0 AWG of 60 °C insulation.
    """
    current = current_drawn(2500.0, 22.0, 0.85)
    assert current == pytest.approx(134.0, abs=0.5)
    assert 1.25 * current == pytest.approx(167.0, abs=0.5)
    laid = Laid(60.0, 45.0)
    assert conditions_factor(US, laid) == 0.71
    stacked = 1.25 * current / 0.71
    assert stacked == pytest.approx(235.0, abs=0.5)
    table = US.tables["ampacity"]
    assert US.size_of(table.first_size(stacked, 60.0)).name == "300 kcmil"
    assert table_ampacity(US, awg("300"), 60.0) == 240.0
    rated = {"insulation_rating": 60.0, "terminal_rating": 60.0, "ambient": 45.0, "conductors_grouped": 2.0}
    needed = relations("conductor-for-current", run_current=current, **rated)
    assert needed["current_for_terminals"] < needed["current_for_insulation"] == pytest.approx(188.3, abs=0.05)
    assert carries(US, awg("4/0"), laid, current)
    assert not carries(US, awg("3/0"), laid, current)
    # 4/0 AWG keeps 138 A there: 150 A may protect it by 240.4(B), but this load needs 175 A, and so one size more.
    size, device = conductor_and_device(US, laid, current)
    assert (size.name, device) == ("250 kcmil", 175.0)


@pytest.mark.parametrize(("voltage", "published", "right"), [(12.0, 288.0, 294.1), (24.0, 144.0, 147.1)])
def test_multiplying_by_one_and_the_losses_is_not_dividing_by_the_efficiency(voltage, published, right):
    """Public fuse-selection guide, a mistake: 3,000 W · 1.15 = 3,450 W, where 85 % means 3,000 W / 0.85 = 3,529 W."""
    assert current_drawn(3000.0, voltage, 0.85) == pytest.approx(right, abs=0.05)
    assert current_drawn(3000.0 * 1.15, voltage) == pytest.approx(published, abs=0.501)  # 287.5 A
    assert current_drawn(3000.0 * 1.15, voltage) < current_drawn(3000.0, voltage, 0.85)


# Drop


def test_drop_of_sixteen_gauge(relations):
    """Electrical training page: 16 AWG, 4.99 Ω per 1,000 ft, 100 ft one way, 4 A, 24 V: 4.0 V and 16.7 % (of 4.0 V)."""
    run = {"conductor_size": awg("16"), "run_length": 100 * FOOT, "run_current": 4.0, "battery_voltage": 24.0}
    values = relations("drop-on-a-run", **run)
    assert values["conductor_resistance"] == pytest.approx(4.99 / (1000 * FOOT))
    assert values["drop"] == pytest.approx(3.992)
    assert values["drop_percent"] == pytest.approx(0.1663, abs=5e-5)
    assert round(values["drop"], 1) / 24 == pytest.approx(0.167, abs=5e-4)
    assert values["drop"] / 2 == pytest.approx(1.996)  # the one-way mistake


def test_drop_by_the_trades_constant(relations):
    """Public homework answers: K = 12, 12 AWG of 6,530 circular mils, 20 A, 100 ft, 120 V: 7.35 V, 6.125 %.

    Chapter 9 Table 8 gives 12.93 for stranded copper at 75 °C, so 7.92 V.
    """
    run = {"run_length": 100 * FOOT, "run_current": 20.0, "conductor_size": awg("12")}
    constant = conversion("ohm*cmil/ft").to_working(12.0)
    by_constant = relations("drop-by-circular-mils", warm_constant=constant, supply_voltage=120.0, **run)
    assert by_constant["drop"] == pytest.approx(7.35, abs=0.005)
    assert by_constant["drop_percent"] == pytest.approx(0.06125, abs=2e-5)
    assert relations("drop-on-a-run", battery_voltage=120.0, **run)["drop"] == pytest.approx(7.92)


def test_the_index_of_a_wire_chart_is_a_resistance(relations):
    """Public wire chart: index = A · ft / (V · %); 10 A, 100 ft, 24 V, 2 % give 20.83, for which it prints 4 AWG.

    The index times the most that the wire may resist, in Ω per 1,000 ft, is 5; by Chapter 9 Table 8 2 AWG is needed:
    the chart's size rests on its own, colder, resistance.
    """
    index = 10 * 100 / (24 * 2)
    assert index == pytest.approx(20.83, abs=0.005)
    run = {"drop_percent": 0.02, "battery_voltage": 24.0, "run_current": 10.0, "run_length": 100 * FOOT}
    values = relations("conductor-for-drop", terminal_rating=75.0, **run)
    assert values["resistance_allowed"] * 1000 * FOOT * index == pytest.approx(5.0)
    assert US.size_of(values["size_for_drop"]).name == "2 AWG"


# Practice figures whose sources are the code's tables


def test_a_branch_circuit_and_its_conductor(relations):
    """NFPA 70-2017 Table 210.24, third-party transcription: the smallest copper conductor of a branch circuit."""
    for rating, name in ((15.0, "14 AWG"), (20.0, "12 AWG"), (30.0, "10 AWG"), (40.0, "8 AWG"), (50.0, "6 AWG")):
        load = relations("load-on-a-fixed-circuit", branch_rating=rating, supply_voltage=1.0)["continuous_power"]
        size, device = conductor_and_device(US, Laid(60.0, terminals=60.0), load, next_size_up=False)
        assert (size.name, device) == (name, rating)

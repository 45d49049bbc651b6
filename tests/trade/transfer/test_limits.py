"""What stops or slows the flow of power: the supply's limit, overload, transfer time, faulty input."""

import math
import re

import pytest

from tutor.base.paths import content_root
from tutor.trade.rulebooks import rulebook
from tutor.trade.transfer import (
    Kind,
    Load,
    LoadState,
    Mode,
    Point,
    Reason,
    Source,
    System,
    simulate,
)

H = 3600.0
WH = 3600.0
LESSON = content_root() / "lessons" / "transfer" / "lesson.md"
EXERCISE = content_root() / "exercises" / "transfer" / "does-the-load-ride-through.yaml"
SUPPLY_FIRST = (Source.SUPPLY, Source.ARRAY, Source.BATTERY)
BATTERY_SECOND = (Source.ARRAY, Source.BATTERY, Source.SUPPLY)


REFRIGERATOR = (Load("refrigerator", 1.0),)


def system(loads=REFRIGERATOR, **changes):
    values = {
        "inverter_power": 3000.0,
        "battery_capacity": 3000 * WH,
        "inverter_efficiency": 0.9,
        "low_cutoff": 0.2,
        "return_threshold": 0.4,
        "load_priority": SUPPLY_FIRST,
    }
    return System(loads, **(values | changes))


def kinds(trace):
    return [event.kind for event in trace.events]


# ---- the supply's limit


def test_charging_gives_way_to_the_loads():
    """10 A at 220 V are 2,200 W: 1,750 W of load leave 450 W, that is 405 W at the battery through 90 %."""
    plant = system(pass_through_max=10, supply_voltage=220, charge_power=1000, charger_efficiency=0.9)
    trace = simulate(plant, [Point(0, (1750,), supply_available=True)], 60, 1500 * WH)
    assert trace.at(0).flow.charge_from_supply == pytest.approx(405)
    assert trace.supply_current_at(0) == pytest.approx(10)


@pytest.mark.parametrize(("limit", "power"), [(10, 2200), (20, 4400)])
def test_a_limit_in_amperes_is_a_power_at_its_voltage(limit, power):
    """A question from a public thread: a limit of 10 A or 20 A at 220 V (arithmetic)."""
    plant = system(pass_through_max=limit, supply_voltage=220, charge_power=20_000)
    flow = simulate(plant, [Point(0, (1000,), supply_available=True)], 1, 1500 * WH).at(0).flow
    assert flow.supply_power == pytest.approx(power)


@pytest.mark.parametrize(
    ("load", "charge", "efficiency", "voltage", "amperes"),
    [
        (700 / 0.64, 100 * 14.4, 0.85 * 0.70, 120, 29.3),  # power factor and efficiency of an old charger assumed
        (3000, 60 * 52, 0.90, 120, 53.9),
        (5000, 10_000, 1.0, 230, 65.2),
    ],
)
def test_pass_through_and_charging_add(load, charge, efficiency, voltage, amperes):
    """Questions from public threads, recomputed: I = (P_load + P_charge / efficiency) / V."""
    plant = system(charge_power=charge, charger_efficiency=efficiency, supply_voltage=voltage)
    trace = simulate(plant, [Point(0, (load,), supply_available=True)], 1, 1500 * WH)
    assert trace.supply_current_at(0) == pytest.approx(amperes, abs=0.05)


def test_loads_above_the_limit_go_to_the_inverter():
    plant = system(pass_through_max=10, supply_voltage=200)
    day = [Point(0, (1000,), supply_available=True), Point(H, (2500,), supply_available=True)]
    trace = simulate(plant, day, 1.5 * H, 3000 * WH)
    assert trace.source_at(0.5 * H) == {Source.SUPPLY: 1000}
    assert trace.source_at(1.2 * H) == {Source.BATTERY: 2500}
    assert trace.at(1.2 * H).why == (Reason.SUPPLY_TOO_SMALL,)


def test_loads_above_both_limits_are_not_fed_but_the_battery_is_charged():
    plant = system(pass_through_max=10, supply_voltage=200, charge_power=1000)
    trace = simulate(plant, [Point(0, (3500,), supply_available=True)], H, 1500 * WH)
    assert trace.at(H / 2).mode is Mode.OFF
    assert trace.at(H / 2).why == (Reason.SUPPLY_TOO_SMALL, Reason.OVERLOAD)
    assert trace.at(H / 2).flow.charge_from_supply == 1000


# ---- overload


def outage(load, plant, end=60.0):
    return simulate(plant, [Point(0, (load,), supply_available=True), Point(10, (load,))], end, 3000 * WH)


@pytest.mark.parametrize(("load", "lasts"), [(3000, None), (3001, 5.0), (6000, 5.0), (6001, 0.0)])
def test_a_load_that_the_supply_carried_may_be_too_much_for_the_inverter(load, lasts):
    """3,000 W, twice that for 5 s: exactly as much passes, more is stopped at its time or at once."""
    trace = outage(load, system(overload_power=6000, overload_time=5))
    assert trace.outage_runtime() == lasts
    assert (Kind.OVERLOAD_SHUTDOWN in kinds(trace)) == (lasts is not None)


def test_without_a_declared_overload_the_rated_power_is_the_limit():
    assert outage(3000, system()).outage_runtime() is None
    assert outage(3001, system()).outage_runtime() == 0


def test_an_overload_that_ends_in_time_does_no_harm():
    day = [Point(0, (2000,)), Point(10, (5000,)), Point(14.9, (2000,)), Point(20, (5000,)), Point(25, (2000,))]
    trace = simulate(system(overload_power=6000, overload_time=5), day, 60, 3000 * WH)
    assert kinds(trace).count(Kind.OVERLOAD_ENDED) == 2
    assert Kind.OVERLOAD_SHUTDOWN not in kinds(trace)


def test_the_inverter_starts_again_once_the_load_is_within_its_power():
    day = [Point(0, (2000,)), Point(10, (5000,)), Point(30, (2900,))]
    trace = simulate(system(overload_power=6000, overload_time=5), day, 60, 3000 * WH)
    assert trace.at(20).why == (Reason.SUPPLY_ABSENT, Reason.OVERLOAD)
    assert [(one.start, one.end) for one in trace.unserved()] == [(15, 30)]


def test_with_the_battery_first_an_overload_goes_to_the_supply():
    plant = system(load_priority=BATTERY_SECOND, overload_power=6000, overload_time=5, transfer_time=0.02)
    day = [Point(0, (5000,), supply_available=True), Point(60, (1000,), supply_available=True)]
    trace = simulate(plant, day, 120, 3000 * WH)
    assert trace.source_at(4) == {Source.BATTERY: 5000}
    assert trace.source_at(30) == {Source.SUPPLY: 5000}
    assert trace.source_at(90) == {Source.BATTERY: 1000}


def test_when_the_supply_fails_a_stopped_inverter_tries_again():
    """Too much for the inverter after 5 s, so the supply takes over; it fails at 30 s, and 5 s more are possible."""
    plant = system(load_priority=BATTERY_SECOND, overload_power=6000, overload_time=5)
    trace = simulate(plant, [Point(0, (5000,), supply_available=True), Point(30, (5000,))], 60, 3000 * WH)
    assert trace.source_at(29) == {Source.SUPPLY: 5000}
    assert trace.source_at(34) == {Source.BATTERY: 5000}
    assert trace.at(36).mode is Mode.OFF
    assert trace.outage_runtime() == 5


# ---- transfer time and ride-through


def test_a_load_rides_through_a_transfer_that_lasts_no_longer():
    """Transfer unseen where its time is at most the ride-through: derived from the ITI points below."""
    loads = (Load("lamp", 0.02), Load("computer", 0.016, restarts=False), Load("pump", 0.005))
    day = [Point(0, (100, 200, 300), supply_available=True), Point(50_400, (100, 200, 300))]
    trace = simulate(system(loads, transfer_time=0.02), day, 50_500, 3000 * WH)
    assert [trace.rides_through(load.name) for load in loads] == [True, False, False]
    assert trace.at(50_450).loads == (LoadState.FED, LoadState.DROPPED, LoadState.FED)
    assert trace.at(50_450).flow.served == 400
    assert trace.unserved()[0].energy == pytest.approx(600 * 0.02 + 200 * 99.98)


@pytest.mark.parametrize("time", [0.0, 3600.0, 50_400.0, 86_399.0])
def test_equal_times_are_equal_at_any_time_of_day(time):
    day = [Point(-1, (100,), supply_available=True), Point(time, (100,))]
    trace = simulate(system((Load("lamp", 0.02),), transfer_time=0.02), day, time + 60, 3000 * WH)
    assert trace.rides_through("lamp")


def test_without_a_gap_even_the_weakest_load_stays_on():
    day = [Point(0, (100,), supply_available=True), Point(10, (100,))]
    trace = simulate(system((Load("lamp", 0.0),)), day, 60, 3000 * WH)
    assert trace.rides_through("lamp")
    assert trace.unserved() == []


def test_a_supply_that_is_back_is_watched_first():
    day = [Point(0, (100,)), Point(100, (100,), supply_available=True)]
    trace = simulate(system(qualification_delay=60, transfer_time=0.02), day, 300, 3000 * WH)
    assert trace.at(150).why == (Reason.SUPPLY_WAITING,)
    assert trace.source_at(159.9) == {Source.BATTERY: 100}
    assert trace.source_at(160.01) == {}
    assert trace.source_at(160.02) == {Source.SUPPLY: 100}


def test_a_supply_that_flickers_is_not_accepted():
    day = [Point(float(at), (100,), supply_available=at % 100 == 0) for at in range(50, 1000, 50)]
    trace = simulate(system(qualification_delay=60), day, 1000, 3000 * WH)
    assert Kind.SUPPLY_ACCEPTED not in kinds(trace)
    assert trace.totals.from_supply == 0


def test_a_load_that_does_not_restart_frees_the_inverter_of_its_power():
    """4,000 W stop the inverter; the computer's 1,500 W drop out for good, and the other 2,500 W are fed again."""
    loads = (Load("heater"), Load("computer", 0.016, restarts=False))
    day = [Point(0, (2500, 1500), supply_available=True), Point(10, (2500, 1500))]
    trace = simulate(system(loads), day, 60, 3000 * WH)
    assert trace.at(10.01).mode is Mode.OFF
    assert trace.source_at(10.016) == {Source.BATTERY: 2500}


def test_points_of_the_published_ride_through_table():
    """ITI (CBEMA) application note, 2000 revision (textbook figure; instrument-maker note): 20 ms, 0.5 s, 10 s.

    Desktop computers: ATX design guide, revision 2.01 (16 ms and 1 ms of warning) and 2.1 (at full load 11 and 1).
    """
    us, iec = (rulebook(id_).tables["ride_through"].rows for id_ in ("us", "iec"))
    points = {row["name"]: float(row["value"]) for row in us}
    atx = {"atx_warning": 0.016, "atx_output": 0.017, "atx_warning_full_load": 0.011, "atx_output_full_load": 0.012}
    assert points == {"iti_no_voltage": 0.02, "iti_at_70_percent": 0.5, "iti_at_80_percent": 10} | atx
    assert {row["name"]: float(row["value"]) for row in iec} == atx  # the curve is for 120 V, 60 Hz


def test_a_ride_through_time_is_told_with_its_edition_and_that_it_is_no_law():
    for row in rulebook("us").tables["ride_through"].rows:
        assert re.search(r"20\d\d", row["edition"])
        assert row["force"].endswith("not law")
    for text in (LESSON.read_text(encoding="utf-8"), EXERCISE.read_text(encoding="utf-8")):
        told = re.sub(r"\s+", " ", text)
        editions = ("ATX", "2.1", "2023", "ITI curve", "2000", "20 ms", "voluntary", "data sheet")
        assert not [words for words in editions if words not in told]
        assert re.search(r"[Nn]either is law|no law", told)


# ---- what makes no system


@pytest.mark.parametrize(
    "changes",
    [
        {"inverter_power": 0.0},
        {"inverter_power": math.nan},
        {"battery_capacity": math.inf},
        {"inverter_efficiency": 1.1},
        {"charger_efficiency": 0.0},
        {"charge_power": -1.0},
        {"overload_time": -1.0},
        {"low_cutoff": 0.4, "return_threshold": 0.405},
        {"return_threshold": 1.01},
        {"load_priority": (Source.ARRAY, Source.BATTERY)},
        {"charger_priority": (Source.BATTERY,)},
        {"charger_priority": (Source.ARRAY, Source.ARRAY)},
        {"loads": (Load("lamp"), Load("lamp"))},
    ],
)
def test_faulty_systems_are_refused(changes):
    with pytest.raises(ValueError, match=r"has to|have|may|between"):
        system(**changes)


@pytest.mark.parametrize(
    ("points", "end", "stored"),
    [
        ([], 10, 0),
        ([Point(0, (1, 2))], 10, 0),
        ([Point(0, (1,)), Point(0, (2,))], 10, 0),
        ([Point(0, (1,))], 0, 0),
        ([Point(0, (1,))], math.inf, 0),
        ([Point(0, (1,))], 10, -1),
        ([Point(0, (1,))], 10, 4000 * WH),
    ],
)
def test_faulty_days_are_refused(points, end, stored):
    with pytest.raises(ValueError, match=r"has to|have to|needs|empty"):
        simulate(system(), points, end, stored)


def test_faulty_points_and_questions_are_refused():
    with pytest.raises(ValueError, match="negative or not finite"):
        Point(0, (-1.0,))
    with pytest.raises(ValueError, match="ride-through"):
        Load("lamp", math.nan)
    trace = simulate(system(), [Point(0, (1,))], 10, 0)
    with pytest.raises(ValueError, match="outside the trace"):
        trace.at(11)
    with pytest.raises(ValueError, match="no load called"):
        trace.rides_through("kettle")

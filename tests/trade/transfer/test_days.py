"""Days whose answers one can work out in the head, and people's own questions recomputed."""

import pytest

from tutor.trade.transfer import (
    Kind,
    Load,
    Mode,
    Point,
    Reason,
    Source,
    System,
    simulate,
    tell,
)

H = 3600.0
WH = 3600.0
SUPPLY_FIRST = (Source.SUPPLY, Source.ARRAY, Source.BATTERY)
ARRAY_THEN_SUPPLY = (Source.ARRAY, Source.SUPPLY, Source.BATTERY)
BATTERY_SECOND = (Source.ARRAY, Source.BATTERY, Source.SUPPLY)
BATTERY_BEFORE_SUPPLY_BEFORE_ARRAY = (Source.BATTERY, Source.SUPPLY, Source.ARRAY)


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


def time_of(trace, kind):
    return next(event.time for event in trace.events if event.kind is kind)


# ---- batteries that empty


def test_runtime_after_an_outage():
    """2,400 Wh above the cut-off, 480 W through 90 %: 2,400 × 0.9 / 480 = 4.5 h."""
    day = [Point(0, (480,), supply_available=True), Point(2 * H, (480,))]
    trace = simulate(system(), day, 24 * H, 3000 * WH)
    assert trace.outage_runtime() == pytest.approx(4.5 * H, rel=1e-12)
    assert trace.at(2 * H).flow.battery_power == pytest.approx(-480 / 0.9)
    assert trace.at(7 * H).why == (Reason.SUPPLY_ABSENT, Reason.BATTERY_LOW)
    assert trace.unserved()[0].energy == pytest.approx(480 * (24 - 6.5) * H)


def test_the_inverters_own_draw_shortens_the_runtime():
    """450 W / 0.9 + 100 W = 600 W: 2,400 Wh last 4 h."""
    day = [Point(0, (450,), supply_available=True), Point(H, (450,))]
    assert simulate(system(idle_power=100), day, 24 * H, 3000 * WH).outage_runtime() == pytest.approx(4 * H)


def test_an_idle_inverter_empties_the_battery_too():
    trace = simulate(system(idle_power=100), [Point(0, (0,))], 48 * H, 3000 * WH)
    assert time_of(trace, Kind.BATTERY_LOW) == pytest.approx(24 * H)
    assert trace.totals.losses == pytest.approx(2400 * WH)
    assert trace.source_at(H) == {}


def test_a_battery_gives_less_than_its_store_loses():
    """450 W / 0.9 = 500 W at the battery, 500 / 0.8 = 625 W out of the store: 2,400 Wh last 3.84 h."""
    day = [Point(0, (450,), supply_available=True), Point(H, (450,))]
    trace = simulate(system(battery_discharge_efficiency=0.8), day, 24 * H, 3000 * WH)
    assert trace.outage_runtime() == pytest.approx(3.84 * H)
    assert trace.totals.storage_losses == pytest.approx(3.84 * 125 * WH)


def test_a_battery_stores_less_than_it_is_charged_with():
    """1,000 W from the array, 0.9 of them stored: 1,800 Wh from 40 % to full take 2 h, and 200 Wh are lost."""
    changes = {"charge_power": 1000.0, "battery_charge_efficiency": 0.9}
    trace = simulate(system(**changes), [Point(0, (0,), 1000.0, True)], 5 * H, 1200 * WH)
    assert time_of(trace, Kind.BATTERY_FULL) == pytest.approx(2 * H)
    assert trace.totals.storage_losses == pytest.approx(200 * WH)


def test_what_is_charged_and_drawn_again_is_less_by_both_efficiencies():
    """600 Wh into the store at 0.9, then out again at 0.8 through no inverter loss: 600 × 0.9 × 0.8 = 432 Wh served."""
    losses = {"battery_charge_efficiency": 0.9, "battery_discharge_efficiency": 0.8, "inverter_efficiency": 1.0}
    plant = system(charge_power=600.0, charger_priority=(Source.ARRAY,), **losses)
    day = [Point(0, (0,), 600.0, True), Point(H, (432,), 0.0, True), Point(2 * H, (432,))]
    trace = simulate(plant, day, 3 * H, 1200 * WH)
    assert trace.intervals[-1].stored_end == pytest.approx(1200 * WH)
    assert trace.totals.from_battery == pytest.approx(432 * WH)


def test_pass_through_costs_what_the_device_draws_itself():
    """120 V, 1,100 W of load, 500 W of charging at the supply, 20 W of its own: 1,620 / 120 = 13.5 A."""
    plant = system(
        supply_voltage=120.0, standby_power=20.0, charge_power=450.0, charger_efficiency=0.9, pass_through_max=30.0
    )
    trace = simulate(plant, [Point(0, (1100,), supply_available=True)], H, 1500 * WH)
    assert trace.supply_current_at(60) == pytest.approx(13.5)
    assert trace.totals.losses == pytest.approx((20 + 50) * WH)
    assert "the supply gives the inverter-charger itself 20" in tell(trace)[0]


def test_its_own_draw_counts_within_the_input_limit():
    """10 A × 120 V leave 1,200 W: 1,100 W of load and 20 W of its own leave 80 W for charging."""
    plant = system(supply_voltage=120.0, standby_power=20.0, charge_power=450.0, pass_through_max=10.0)
    flow = simulate(plant, [Point(0, (1100,), supply_available=True)], H, 1500 * WH).at(60).flow
    assert flow.supply_power == pytest.approx(1200)
    assert flow.supply_charge == pytest.approx(80)


def test_an_overloaded_inverter_that_has_shut_down_still_draws_for_itself():
    """3,500 W trip the inverter at once; 60 W for 24 h take 1,440 Wh of the store and go no lower than the cut-off."""
    trace = simulate(system(standby_power=60.0), [Point(0, (3500,))], 24 * H, 3000 * WH)
    assert trace.at(H).mode is Mode.OFF
    assert trace.intervals[-1].stored_end == pytest.approx(1560 * WH)
    assert "the inverter-charger itself draws 60" in tell(trace)[0]
    longer = simulate(system(standby_power=60.0), [Point(0, (3500,))], 96 * H, 3000 * WH)
    assert longer.intervals[-1].stored_end == 600 * WH


def test_the_array_stretches_the_battery():
    """533.3 W less 333.3 W of the array leave 200 W: 2,400 Wh last 12 h."""
    day = [Point(0, (480,), 1000 / 3, True), Point(H, (480,), 1000 / 3)]
    trace = simulate(system(), day, 24 * H, 3000 * WH)
    assert trace.outage_runtime() == pytest.approx(12 * H)
    assert trace.source_at(2 * H) == pytest.approx({Source.ARRAY: 300, Source.BATTERY: 180})


@pytest.mark.parametrize(
    ("stored_wh", "load", "efficiency", "hours"),
    [
        (34.680, 9.299, 1.0, 3.729),  # 34,680 mWh at 9,299 mW
        (2.55 * 9.6, 0.3 * 5, 0.85, 13.87),  # eight small cells in series, a 5 V board at 300 mA
        (6.5 * 3.7, 1.9, 0.85, 10.76),  # a 6,500 mAh pack and a box of 1.9 W
        (2200, 1870, 0.85, 1.0),  # 2,200 Wh and an oven of 1,870 W at the plug
        (2200, 900 / 0.64, 0.85, 1.33),  # the same oven by its label, 64 % from plug to food
    ],
)
def test_runtimes_that_people_asked_for(stored_wh, load, efficiency, hours):
    """Questions of people in public threads, recomputed as E·efficiency / P: arithmetic, no further source."""
    plain = system(
        battery_capacity=stored_wh * WH, inverter_efficiency=efficiency, low_cutoff=0.0, return_threshold=0.1
    )
    day = [Point(0, (load,), supply_available=True), Point(60, (load,))]
    assert simulate(plain, day, 48 * H, stored_wh * WH).outage_runtime() / H == pytest.approx(hours, rel=3e-3)


@pytest.mark.parametrize(
    ("power", "efficiency", "voltage", "amperes"),
    [(1000, 0.85, 12.8, 91.9), (2000, 0.90, 25.6, 86.8), (2000, 0.90, 24.0, 92.6), (2500, 0.85, 22.0, 133.7)],
)
def test_what_the_inverter_draws(power, efficiency, voltage, amperes):
    """I = P / (efficiency·V), NFPA 70-2017 690.8(A)(4) and 706.20(A)(3) (third-party transcription)."""
    trace = simulate(system(inverter_efficiency=efficiency), [Point(0, (power,))], 60, 3000 * WH)
    assert -trace.at(0).flow.battery_power / voltage == pytest.approx(amperes, abs=0.05)


# ---- cut-off and return


def test_the_array_brings_the_battery_back():
    """Empty to the cut-off at 4.5 h; from 6 h on 1,000 W charge 600 Wh (20 to 40 %) in 36 min; then 667 W are left."""
    day = [Point(0, (480,)), Point(6 * H, (480,), 1200)]
    trace = simulate(system(charge_power=1000), day, 9 * H, 3000 * WH)
    assert trace.at(6 * H).flow.battery_power == 1000
    assert trace.at(6 * H).flow.array_curtailed == 200
    assert trace.at(6 * H).mode is Mode.OFF
    assert time_of(trace, Kind.BATTERY_RETURNED) == pytest.approx(6.6 * H)
    assert trace.source_at(6.7 * H) == {Source.ARRAY: 480}
    assert trace.at(6.7 * H).flow.battery_power == pytest.approx(1200 - 480 / 0.9)


def test_battery_before_supply_swings_between_cut_off_and_return():
    """600 Wh between them: 1 h down at 540 W through 90 %, 1 h up at 600 W, over and over, and no faster."""
    plant = system(load_priority=BATTERY_SECOND, charge_power=600, return_threshold=0.4)
    trace = simulate(plant, [Point(0, (540,), supply_available=True)], 10.5 * H, 1200 * WH)
    low = [event.time / H for event in trace.events if event.kind is Kind.BATTERY_LOW]
    back = [event.time / H for event in trace.events if event.kind is Kind.BATTERY_RETURNED]
    assert low == pytest.approx([1, 3, 5, 7, 9])
    assert back == pytest.approx([2, 4, 6, 8, 10])
    assert trace.source_at(0.5 * H) == {Source.BATTERY: 540}
    assert trace.source_at(1.5 * H) == {Source.SUPPLY: 540}
    assert trace.at(1.5 * H).why == (Reason.BATTERY_LOW,)


def test_below_its_return_threshold_the_battery_helps_in_no_outage():
    day = [Point(0, (480,), supply_available=True), Point(H, (480,))]
    trace = simulate(system(charge_power=100), day, 3 * H, 500 * WH)
    assert trace.at(2 * H).mode is Mode.OFF
    assert trace.outage_runtime() == 0


def test_loads_still_on_when_the_supply_returns_have_no_runtime():
    day = [Point(0, (480,), supply_available=True), Point(H, (480,)), Point(2 * H, (480,), supply_available=True)]
    assert simulate(system(), day, 24 * H, 3000 * WH).outage_runtime() is None
    assert simulate(system(), day[:1], 24 * H, 3000 * WH).outage_runtime() is None


def test_a_runtime_that_ends_with_the_trace():
    day = [Point(0, (480,), supply_available=True), Point(H, (480,))]
    end = time_of(simulate(system(), day, 24 * H, 3000 * WH), Kind.LOADS_OFF)
    assert simulate(system(), day, end, 3000 * WH).outage_runtime() == end - H


# ---- priorities


@pytest.mark.parametrize(
    ("priority", "sources"),
    [
        (BATTERY_SECOND, {Source.ARRAY: 270, Source.BATTERY: 210}),
        (ARRAY_THEN_SUPPLY, {Source.ARRAY: 270, Source.SUPPLY: 210}),
        (SUPPLY_FIRST, {Source.SUPPLY: 480}),
        (BATTERY_BEFORE_SUPPLY_BEFORE_ARRAY, {Source.ARRAY: 270, Source.BATTERY: 210}),
    ],
)
def test_who_feeds_the_loads(priority, sources):
    """480 W asked, 300 W of array are 270 W behind an inverter of 90 %."""
    trace = simulate(system(load_priority=priority), [Point(0, (480,), 300, True)], H, 3000 * WH)
    assert trace.source_at(0) == pytest.approx(sources)


@pytest.mark.parametrize(("priority", "array"), [(BATTERY_SECOND, 270), (BATTERY_BEFORE_SUPPLY_BEFORE_ARRAY, 0)])
def test_an_array_ranked_behind_the_supply_only_charges(priority, array):
    """With the battery cut off the supply carries the loads, and the array helps only where it ranks before it."""
    trace = simulate(system(load_priority=priority, charge_power=1000), [Point(0, (480,), 300, True)], 60, 500 * WH)
    assert trace.at(0).flow.from_array == pytest.approx(array)
    assert trace.at(0).flow.charge_from_array == pytest.approx(300 if not array else 0)


@pytest.mark.parametrize(
    ("chargers", "by_array", "by_supply"),
    [
        ((Source.ARRAY, Source.SUPPLY), 400, 600),
        ((Source.SUPPLY, Source.ARRAY), 0, 1000),
        ((Source.ARRAY,), 400, 0),
        ((Source.SUPPLY,), 0, 1000),
        ((), 0, 0),
    ],
)
def test_who_charges_the_battery(chargers, by_array, by_supply):
    plant = system(charger_priority=chargers, charge_power=1000, charger_efficiency=0.8)
    flow = simulate(plant, [Point(0, (480,), 400, True)], 60, 1500 * WH).at(0).flow
    assert (flow.charge_from_array, flow.charge_from_supply) == (by_array, by_supply)
    assert flow.supply_charge == pytest.approx(by_supply / 0.8)
    assert flow.array_curtailed == 400 - by_array


def test_a_full_battery_takes_no_more():
    """1,500 Wh at 1,000 W: full after 1.5 h; the array's power is then not taken."""
    trace = simulate(system(charge_power=1000), [Point(0, (480,), 1000, True)], 4 * H, 1500 * WH)
    assert time_of(trace, Kind.BATTERY_FULL) == pytest.approx(1.5 * H)
    assert trace.at(2 * H).flow.array_curtailed == 1000
    assert kinds(trace).count(Kind.BATTERY_FULL) == 1

"""What holds in every simulated day, over random systems and schedules."""

import itertools
import math
from time import perf_counter

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tutor.trade.transfer import Kind, Load, LoadState, Mode, Point, Reason, Source, System, simulate, tell

DAY = 86_400.0
WH = 3600.0
BATTERY_LEVELS = (Kind.BATTERY_FULL, Kind.BATTERY_LOW, Kind.BATTERY_RETURNED)


def mixed(round_ones, low, high):
    """Round values, which make ties, and others to three decimals."""
    return st.one_of(st.sampled_from(round_ones), st.floats(low, high).map(lambda value: round(value, 3)))


LOADS = st.lists(st.tuples(mixed([0.0, 0.016, 0.02, math.inf], 0.0, 600.0), st.booleans()), min_size=1, max_size=3).map(
    lambda drawn: tuple(Load(f"load {at}", ride, restarts) for at, (ride, restarts) in enumerate(drawn))
)


@st.composite
def systems(draw):
    low = draw(mixed([0.0, 0.2], 0.0, 0.6))
    chargers = draw(st.permutations([Source.ARRAY, Source.SUPPLY]))
    return System(
        draw(LOADS),
        inverter_power=draw(mixed([1000.0, 3000.0], 300.0, 5000.0)),
        battery_capacity=draw(mixed([1000.0, 5000.0], 1000.0, 8000.0)) * WH,
        inverter_efficiency=draw(mixed([0.9, 1.0], 0.3, 1.0)),
        idle_power=draw(mixed([0.0, 50.0], 0.0, 200.0)),
        standby_power=draw(mixed([0.0, 20.0], 0.0, 100.0)),
        battery_charge_efficiency=draw(mixed([0.95, 1.0], 0.3, 1.0)),
        battery_discharge_efficiency=draw(mixed([0.95, 1.0], 0.3, 1.0)),
        overload_power=draw(mixed([0.0, 6000.0], 0.0, 8000.0)),
        overload_time=draw(mixed([0.0, 5.0, math.inf], 0.0, 1800.0)),
        low_cutoff=low,
        return_threshold=draw(mixed([low + 0.05, 1.0], low + 0.05, 1.0)),
        charge_power=draw(mixed([0.0, 1000.0], 0.0, 3000.0)),
        charger_efficiency=draw(mixed([0.9, 1.0], 0.3, 1.0)),
        pass_through_max=draw(mixed([0.0, 10.0, 30.0, math.inf], 0.0, 40.0)),
        supply_voltage=draw(st.sampled_from([120.0, 230.0])),
        transfer_time=draw(mixed([0.0, 0.01, 0.02], 0.0, 60.0)),
        qualification_delay=draw(mixed([0.0, 60.0, 3600.0], 0.0, 7200.0)),
        load_priority=tuple(draw(st.permutations(list(Source)))),
        charger_priority=tuple(chargers[: draw(st.integers(0, 2))]),
    )


@st.composite
def days(draw):
    """A system, a schedule of a day, and the energy stored at first."""
    system = draw(systems())
    times = sorted(draw(st.sets(mixed([3600.0 * hour for hour in range(24)], 0.0, 86_000.0), max_size=12)) | {0.0})
    power = mixed([0.0, 500.0, 1000.0, 3000.0], 0.0, 4000.0)
    loads = st.tuples(*[power] * len(system.loads))
    points = [Point(time, draw(loads), draw(power), draw(st.booleans())) for time in times]
    return system, points, draw(mixed([0.0, 1.0], 0.0, 1.0)) * system.battery_capacity


def over(*drawn):
    """Run a test over so many draws, however busy the machine."""
    return lambda test: settings(max_examples=60, deadline=None)(given(*drawn)(test))


def run(day):
    system, points, stored = day
    return simulate(system, points, DAY, stored)


def inputs_at(points, time):
    return next(point for point in reversed(points) if point.time <= time)


HOLDS = {
    Kind.BATTERY_LOW: ("battery", True),
    Kind.BATTERY_RETURNED: ("battery", False),
    Kind.OVERLOAD_SHUTDOWN: ("overload", True),
    Kind.OVERLOAD_CLEARED: ("overload", False),
}


def with_holds(trace, low):
    """Each interval with what events have said of whether battery or overload keep the inverter off."""
    events = list(reversed(trace.events))
    holds = {"battery": low, "overload": False}
    for one in trace.intervals:
        while events and events[-1].time <= one.start:
            kind = events.pop().kind
            holds |= dict([HOLDS[kind]] if kind in HOLDS else [])
        yield one, dict(holds)


@over(days())
def test_intervals_follow_one_another_without_a_gap(day):
    trace = run(day)
    assert trace.intervals[0].start == 0
    assert trace.intervals[-1].end == DAY
    for before, after in itertools.pairwise(trace.intervals):
        assert before.start < before.end == after.start
        assert before.stored_end == after.stored_start
    assert [event.time for event in trace.events] == sorted(event.time for event in trace.events)


@over(days())
def test_energy_balances_in_every_interval_and_in_all(day):
    trace = run(day)
    for one in trace.intervals:
        flow = one.flow
        given_ = flow.array_used + flow.supply_power
        taken = flow.served + flow.losses + flow.battery_power
        assert given_ == pytest.approx(taken, rel=1e-9, abs=1e-9 * flow.served)
        assert flow.served == pytest.approx(flow.from_array + flow.from_battery + flow.from_supply, rel=1e-12)
        assert flow.losses >= -1e-9 * flow.served
        assert flow.storage_losses >= 0
        change = flow.stored_power * one.duration
        assert one.stored_end - one.stored_start == pytest.approx(change, rel=1e-9, abs=1e-9 * one.stored_start)
    totals = trace.totals
    from_outside = totals.array_used + totals.from_supply + totals.supply_charge + totals.supply_standby
    given_ = from_outside + totals.battery_discharged
    assert given_ == pytest.approx(totals.served + totals.losses + totals.battery_charged, rel=1e-9)
    change = trace.intervals[-1].stored_end - trace.intervals[0].stored_start
    size = from_outside + totals.battery_discharged + trace.system.battery_capacity
    assert change == pytest.approx(
        from_outside - totals.served - totals.losses - totals.storage_losses, abs=1e-9 * size
    )
    assert totals.asked == pytest.approx(totals.served + totals.unserved, rel=1e-9)
    assert math.fsum(one.energy for one in trace.unserved()) == pytest.approx(totals.unserved, rel=1e-9)


@over(days())
def test_what_is_served_is_fed_by_sources_that_have_it(day):
    trace = run(day)
    for one in trace.intervals:
        inputs, flow = inputs_at(day[1], one.start), one.flow
        fed = [power for power, state in zip(inputs.load_power, one.loads, strict=True) if state is LoadState.FED]
        assert flow.served == pytest.approx(math.fsum(fed))
        assert flow.asked == pytest.approx(math.fsum(inputs.load_power))
        assert one.mode.live or (flow.served == 0 and not fed)
        assert flow.array_used <= inputs.array_power * (1 + 1e-12)
        assert flow.array_used + flow.array_curtailed == pytest.approx(inputs.array_power, rel=1e-9)
        assert not flow.supply_power or inputs.supply_available
        assert not flow.from_supply or one.mode is Mode.SUPPLY
        assert not flow.from_battery or (one.mode is Mode.INVERTER and one.stored_start > 0)
        assert not flow.inverter_output or flow.losses >= trace.system.idle_power * (1 - 1e-9)


@over(days())
def test_the_inverter_charger_draws_for_itself_in_every_mode(day):
    """What is left of the losses after both conversions; a battery at its cut-off gives nothing for it."""
    trace, system = run(day), day[0]
    for one, held in with_holds(trace, day[2] < system.low_energy):
        flow = one.flow
        converting = flow.inverter_output * (1 / system.inverter_efficiency - 1)
        own = flow.losses - converting - (flow.supply_charge - flow.charge_from_supply)
        inverting = one.mode is Mode.INVERTER or flow.from_array > 0
        expected = system.idle_power if inverting else system.standby_power
        room = 1e-9 * (1 + flow.losses + flow.supply_charge)
        if one.mode.live or not (held["battery"] or one.stored_start <= system.low_energy):
            assert own == pytest.approx(expected, abs=room)
        else:
            available = inputs_at(day[1], one.start).array_power + flow.supply_power
            assert own == pytest.approx(min(expected, available), abs=room)


@over(days())
def test_no_limit_is_passed(day):
    trace, system = run(day), day[0]
    above = 0.0
    for one in trace.intervals:
        flow = one.flow
        assert flow.supply_power <= system.supply_limit * (1 + 1e-9)
        assert flow.charge_from_array + flow.charge_from_supply <= system.charge_power * (1 + 1e-12)
        assert flow.inverter_output <= max(system.overload_power, system.inverter_power) * (1 + 1e-12)
        above = above + one.duration if flow.inverter_output > system.inverter_power * (1 + 1e-12) else 0.0
        assert above <= system.overload_time + 1e-9
        assert 0 <= one.stored_start <= system.battery_capacity
        assert 0 <= one.stored_end <= system.battery_capacity


@over(days())
def test_the_declared_priority_is_respected(day):
    trace, system = run(day), day[0]
    order = system.load_priority.index
    for one, held in with_holds(trace, day[2] < system.low_energy):
        if one.mode is Mode.TRANSFER:
            continue
        inputs = inputs_at(day[1], one.start)
        if order(Source.BATTERY) < order(Source.SUPPLY):
            assert one.mode is Mode.INVERTER or any(held.values())
        elif one.mode is not Mode.SUPPLY and inputs.supply_available and not system.qualification_delay:
            assert one.flow.asked + system.standby_power > system.supply_limit
        if one.mode is Mode.SUPPLY and one.flow.from_supply > 0 and order(Source.ARRAY) < order(Source.SUPPLY):
            most = (inputs.array_power - system.idle_power) * system.inverter_efficiency
            assert one.flow.from_array == pytest.approx(max(0.0, min(most, system.inverter_power)))
        assert (one.why == (Reason.FIRST_CHOICE,)) == (
            one.mode is (Mode.INVERTER if order(Source.BATTERY) < order(Source.SUPPLY) else Mode.SUPPLY)
        )


@over(days())
def test_the_first_charger_gives_what_it_can_before_the_second_gives_anything(day):
    trace, system = run(day), day[0]
    for one in trace.intervals:
        flow = one.flow
        given_ = {Source.ARRAY: flow.charge_from_array, Source.SUPPLY: flow.charge_from_supply}
        assert {source for source, power in given_.items() if power} <= set(system.charger_priority)
        usable = one.mode is Mode.SUPPLY or (one.mode is Mode.OFF and inputs_at(day[1], one.start).supply_available)
        usable &= Reason.SUPPLY_WAITING not in one.why
        spare = {Source.ARRAY: flow.array_curtailed, Source.SUPPLY: system.supply_limit - flow.supply_power}
        for first, second in itertools.pairwise(system.charger_priority):
            assert not given_[second] or spare[first] <= 1e-6 or (first is Source.SUPPLY and not usable)


@over(days())
def test_below_the_cut_off_nothing_is_drawn_until_the_return_threshold(day):
    trace, system = run(day), day[0]
    held = day[2] < system.low_energy
    changes = {event.time: event.kind for event in trace.events if event.kind in BATTERY_LEVELS[1:]}
    for one in trace.intervals:
        held = changes.get(one.start, Kind.BATTERY_LOW if held else None) is Kind.BATTERY_LOW
        assert not (held and one.flow.battery_power < 0)
        assert held or one.stored_end >= system.low_energy * (1 - 1e-12)


@over(days())
def test_the_number_of_events_is_bounded(day):
    """Each schedule point, acceptance, turn of the battery and load that stays out moves each thing once or twice."""
    trace, (system, points, _) = run(day), day
    hysteresis = system.return_energy - system.low_energy
    turns = 1 + DAY * system.charge_power / hysteresis
    lows = sum(event.kind is Kind.BATTERY_LOW for event in trace.events)
    assert lows <= turns
    causes = 2 * len(points) + 2 * turns + len(system.loads) + 1
    assert len(trace.events) <= causes * (12 + 2 * len(system.loads))


@over(days(), st.lists(st.floats(0.1, DAY - 1), max_size=8))
def test_a_point_that_changes_nothing_changes_nothing(day, extra):
    system, points, stored = day
    doubled = {time: Point(time, *_values(inputs_at(points, time))) for time in extra}
    more = sorted((doubled | {point.time: point for point in points}).values(), key=lambda point: point.time)
    assert simulate(system, more, DAY, stored) == run(day)


def _values(point):
    return point.load_power, point.array_power, point.supply_available


@over(days(), st.sets(st.floats(0.1, DAY - 1), min_size=1, max_size=8))
def test_splitting_an_interval_changes_nothing(day, splits):
    """The array's power falls by its last binary place and rises again: the run stops there, and nothing else."""
    system, points, stored = day
    points = [Point(one.time, one.load_power, max(1.0, one.array_power), one.supply_available) for one in points]
    whole = simulate(system, points, DAY, stored)
    fixed = {point.time for point in points}
    others = [event.time for event in whole.events if event.kind in (Kind.SUPPLY_ACCEPTED, Kind.OVERLOAD_SHUTDOWN)]
    levels = [event.time for event in whole.events if event.kind in BATTERY_LEVELS]
    assume(all(abs(level - time) > 1e-3 for level in levels for time in [*fixed, *others]))  # else rounding decides
    assume(not splits & fixed and stored != system.low_energy)
    split = simulate(system, list(_split(points, splits)), DAY, stored)
    before, after = ([event for event in one.events if event.kind is not Kind.ARRAY_CHANGED] for one in (whole, split))
    assert [event.kind for event in after] == [event.kind for event in before]
    assert [event.time for event in after] == pytest.approx([event.time for event in before], rel=1e-9)
    for one in whole.intervals:
        if one.duration > 1e-3:
            same = split.at(one.start + one.duration / 2)
            assert (same.mode, same.why, same.loads) == (one.mode, one.why, one.loads)
            assert list(same.flow) == pytest.approx(list(one.flow), rel=1e-9, abs=1e-9)
    assert split.intervals[-1].stored_end == pytest.approx(whole.intervals[-1].stored_end, abs=1e-3)


def _split(points, splits):
    for time in sorted(splits | {point.time for point in points}):
        powers, array, supply = _values(inputs_at(points, time))
        lowered = sum(one <= time for one in splits) % 2
        yield Point(time, powers, math.nextafter(array, 0.0) if lowered else array, supply)


@over(days())
def test_every_day_can_be_told(day):
    trace = run(day)
    told = tell(trace, 0.0)
    assert all(sentence.startswith("At ") and sentence.endswith(".") for sentence in told)
    assert len(told) >= sum(one.mode is not Mode.TRANSFER for one in trace.intervals)


def test_the_time_grows_in_step_with_the_events():
    system = System(
        (Load("refrigerator", 1.0), Load("computer", 0.016)),
        inverter_power=3000,
        battery_capacity=3000 * WH,
        low_cutoff=0.2,
        return_threshold=0.4,
        charge_power=1000,
        transfer_time=0.02,
    )

    def fastest(days):
        points = [
            Point(at * 432.0, (100.0 + at % 7 * 300, 50.0), at % 5 * 400.0, at % 11 < 6) for at in range(200 * days)
        ]
        times = []
        for _ in range(5):
            start = perf_counter()
            trace = simulate(system, points, days * DAY, 1500 * WH)
            times.append(perf_counter() - start)
        assert len(trace.events) > 200 * days
        return min(times)

    assert fastest(8) < 3 * 8 * fastest(1)

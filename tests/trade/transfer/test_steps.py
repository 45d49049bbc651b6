"""The exact simulation against one that goes forward second by second and knows nothing of events."""

import itertools

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tutor.trade.transfer import Load, Mode, Point, Source, System, simulate

STEP = 1.0  # s; whatever the schedule or a timer decides falls on whole steps, only the battery's levels do not
SPAN = 7200
WH = 3600.0


class Stepper:
    """The same plant, written as a loop: counters instead of deadlines, one direct-current sum instead of flows."""

    def __init__(self, system, stored):
        self.system, self.stored = system, stored
        self.held = stored < system.low_cutoff * system.battery_capacity
        self.tripped = False
        self.present_for = float("inf")
        self.above_for = 0.0
        self.feeder = None
        self.changing_for = None
        self.dark_for = [0.0] * len(system.loads)
        self.out = [False] * len(system.loads)

    def step(self, point):
        """Take one step and say what fed the loads in it."""
        self._watch(point)
        out = None
        while out != self.out:  # the loads come last: voltage that an overload takes away at once has not fed them
            out, before = list(self.out), None
            while before != (before := (self.held, self.tripped, self.feeder, self.changing_for)):
                self._decide(point)
            self._darken(point)
        feeding = "transfer" if self.changing_for is not None else self.feeder
        self._integrate(point, feeding)
        return feeding

    def _watch(self, point):
        if not point.supply_available:
            if self.present_for >= self.system.qualification_delay:
                self.tripped = False
            self.present_for = -1.0
        elif self.present_for < 0:
            self.present_for = 0.0

    def _wattage(self, point):
        loads = zip(point.load_power, self.system.loads, self.out, strict=True)
        return sum(power * (load.restarts or not out) for power, load, out in loads)

    def _helped(self, point, watts):
        system, order = self.system, self.system.load_priority
        if order.index(Source.ARRAY) > order.index(Source.SUPPLY):
            return 0.0
        behind = max(0.0, point.array_power - system.idle_power) * system.inverter_efficiency
        return min(watts, behind, system.inverter_power)

    def _own(self, helped):
        return 0.0 if helped else self.system.standby_power

    def _decide(self, point):
        system, watts = self.system, self._wattage(point)
        live = self.changing_for is None
        drain = watts / system.inverter_efficiency + system.idle_power - point.array_power
        if watts <= system.inverter_power:
            self.tripped, self.above_for = False, 0.0
        elif live and self.feeder == "inverter":
            peak = max(system.overload_power, system.inverter_power)
            self.tripped |= watts > peak or self.above_for >= system.overload_time
        else:
            self.above_for = 0.0
        if self.stored >= system.return_threshold * system.battery_capacity:
            self.held = False
        elif live and self.feeder == "inverter" and self._is_low() and drain > 0:
            self.held = True
        self._choose(point, watts)

    def _is_low(self):
        return self.stored <= self.system.low_cutoff * self.system.battery_capacity

    def _choose(self, point, watts):
        system, order = self.system, self.system.load_priority
        limit = system.pass_through_max * system.supply_voltage
        ready = point.supply_available and self.present_for >= system.qualification_delay
        may = {
            "supply": ready and watts - self._helped(point, watts) + self._own(self._helped(point, watts)) <= limit,
            "inverter": not self.held and not self.tripped,
        }
        ranking = sorted(may, key=lambda name: order.index("battery" if name == "inverter" else "supply"))
        choice = next((name for name in ranking if may[name]), "off")
        if choice != self.feeder:
            gap = self.feeder not in (None, "off") and choice != "off" and system.transfer_time > 0
            self.feeder, self.changing_for = choice, 0.0 if gap else None
        elif self.changing_for is not None and self.changing_for >= system.transfer_time:
            self.changing_for = None

    def _darken(self, point):
        live = self.changing_for is None and self.feeder != "off"
        for at, load in enumerate(self.system.loads):
            if live:
                self.dark_for[at] = 0.0
                self.out[at] &= not load.restarts
            elif not point.load_power[at]:
                self.dark_for[at] = 0.0
            else:
                self.out[at] |= self.dark_for[at] >= load.ride_through

    def _integrate(self, point, feeding):
        system, watts = self.system, self._wattage(point)
        budget = system.charge_power if self.stored < system.battery_capacity else 0.0
        mains = 0.0
        sun = point.array_power
        if feeding == "supply":
            helped = self._helped(point, watts)
            sun -= helped / system.inverter_efficiency + system.idle_power if helped else 0.0
            mains = system.pass_through_max * system.supply_voltage - (watts - helped) - self._own(helped)
        elif feeding == "off" and point.supply_available and self.present_for >= system.qualification_delay:
            mains = system.pass_through_max * system.supply_voltage - system.standby_power
        elif feeding == "inverter":
            sun -= watts / system.inverter_efficiency + system.idle_power
        elif not self.held and not self._is_low():
            sun -= system.standby_power
        else:
            sun = max(0.0, sun - system.standby_power)
        charge = (sun if Source.ARRAY in system.charger_priority else min(sun, 0.0)) + (
            mains * system.charger_efficiency if Source.SUPPLY in system.charger_priority else 0.0
        )
        power = min(charge, budget)
        into, out = system.battery_charge_efficiency, system.battery_discharge_efficiency
        self._store((power * into if power > 0 else power / out) * STEP)
        self.present_for += STEP if point.supply_available else 0.0
        if feeding == "inverter" and watts > system.inverter_power:
            self.above_for += STEP
        if self.changing_for is not None:
            self.changing_for += STEP
        if feeding in ("transfer", "off"):
            self.dark_for = [dark + STEP * (p > 0) for dark, p in zip(self.dark_for, point.load_power, strict=True)]

    def _store(self, energy):
        """Change the stored energy, but no farther than to a level at which something is decided."""
        full = self.system.battery_capacity
        low, back = self.system.low_cutoff * full, self.system.return_threshold * full
        ceiling = back if self.held and self.stored < back else full
        floor = 0.0 if self.held else low
        self.stored = min(max(self.stored + energy, floor), ceiling)


def seconds(*values):
    return st.sampled_from([float(value) for value in values])


@st.composite
def plants(draw):
    loads = tuple(
        Load(f"load {at}", draw(seconds(0, 5, 10, 60, 900)), draw(st.booleans()))
        for at in range(draw(st.integers(1, 2)))
    )
    chargers = draw(st.permutations([Source.ARRAY, Source.SUPPLY]))
    return System(
        loads,
        inverter_power=draw(st.floats(1000, 3000)),
        battery_capacity=draw(st.floats(300, 1500)) * WH,
        inverter_efficiency=draw(st.floats(0.7, 1.0)),
        idle_power=draw(st.floats(1.0, 60.0)),
        standby_power=draw(st.floats(0.0, 60.0)),
        battery_charge_efficiency=draw(st.floats(0.7, 1.0)),
        battery_discharge_efficiency=draw(st.floats(0.7, 1.0)),
        overload_power=draw(st.floats(2000, 5000)),
        overload_time=draw(seconds(0, 20, 300)),
        low_cutoff=draw(st.floats(0.05, 0.4)),
        return_threshold=draw(st.floats(0.5, 1.0)),
        charge_power=draw(st.floats(300, 2000)),
        charger_efficiency=draw(st.floats(0.7, 1.0)),
        pass_through_max=draw(st.floats(5, 25)),
        supply_voltage=230.0,
        transfer_time=draw(seconds(0, 5, 10, 30)),
        qualification_delay=draw(seconds(0, 60, 600)),
        load_priority=tuple(draw(st.permutations(list(Source)))),
        charger_priority=tuple(chargers[: draw(st.integers(1, 2))]),
    )


@st.composite
def hours(draw):
    plant = draw(plants())
    times = sorted(draw(st.sets(st.integers(1, SPAN // 60 - 1), min_size=2, max_size=6)) | {0})
    power = st.one_of(st.just(0.0), st.floats(200, 3500))
    schedule = [
        Point(60.0 * time, draw(st.tuples(*[power] * len(plant.loads))), draw(power), draw(st.booleans()))
        for time in times
    ]
    return plant, schedule, draw(st.floats(0.1, 0.9)) * plant.battery_capacity


def course(plant, schedule, stored):
    """What fed the loads in each step, and the energy stored at its end."""
    stepper = Stepper(plant, stored)
    points = iter(schedule)
    point, coming = next(points), next(points, None)
    feeding, energies = [], []
    for at in range(SPAN):
        if coming is not None and coming.time <= at * STEP:
            point, coming = coming, next(points, None)
        feeding.append(stepper.step(point))
        energies.append(stepper.stored)
    return feeding, energies


def kinds(trace):
    return [(event.kind, event.load) for event in trace.events]


def _later(schedule, off):
    first, *others = schedule
    return [first, *(Point(one.time + off, one.load_power, one.array_power, one.supply_available) for one in others)]


@given(hours())
@settings(max_examples=40, deadline=None)
def test_events_and_state_agree_with_steps_of_a_second(case):
    plant, schedule, stored = case
    trace = simulate(plant, schedule, float(SPAN), stored)
    changes = sum(before.mode is not after.mode for before, after in itertools.pairwise(trace.intervals))
    late = STEP * (changes + 2)  # s: so late the steps may be, one at each change
    assume(late < 20)
    slip = late * 5000.0  # J: so much energy they may be off thereby
    shifted = [simulate(plant, schedule, float(SPAN), stored + off) for off in (-slip, slip)]
    shifted += [simulate(plant, _later(schedule, off), float(SPAN), stored) for off in (-late, late)]
    assume(all(kinds(one) == kinds(trace) for one in shifted))  # else a slip of a step decides what comes first
    feeding, energies = course(plant, schedule, stored)
    for one, *others in zip(trace.intervals, *(one.intervals for one in shifted), strict=False):
        start = max(other.start for other in (one, *others)) + late
        end = min(other.end for other in (one, *others)) - late
        for at in range(int(start) + 1, int(end)):
            assert feeding[at] == one.mode
            exact = one.stored_start + one.flow.stored_power * (at + STEP - one.start)
            assert abs(energies[at] - exact) <= slip


def test_a_day_with_everything_in_it_agrees_step_by_step():
    """Outage, overload at the transfer, cut-off, return by the array, restoration: the modes' order and times."""
    plant = System(
        (Load("refrigerator", 60.0), Load("computer", 5.0, restarts=False)),
        inverter_power=1500.0,
        battery_capacity=500 * WH,
        inverter_efficiency=0.9,
        idle_power=20.0,
        standby_power=12.0,
        battery_charge_efficiency=0.95,
        battery_discharge_efficiency=0.96,
        overload_power=3000.0,
        overload_time=20.0,
        low_cutoff=0.2,
        return_threshold=0.5,
        charge_power=900.0,
        transfer_time=10.0,
        qualification_delay=60.0,
        load_priority=(Source.SUPPLY, Source.ARRAY, Source.BATTERY),
    )
    schedule = [
        Point(0.0, (1400.0, 300.0), 0.0, True),
        Point(600.0, (1600.0, 300.0), 0.0, False),
        Point(900.0, (700.0, 300.0), 0.0, False),
        Point(3000.0, (700.0, 300.0), 1200.0, False),
        Point(5400.0, (700.0, 300.0), 1200.0, True),
    ]
    trace = simulate(plant, schedule, float(SPAN), 400 * WH)
    feeding, energies = course(plant, schedule, 400 * WH)
    stepped = [(name, len(list(run))) for name, run in itertools.groupby(feeding)]
    exact = [
        (mode, sum(one.duration for one in run))
        for mode, run in itertools.groupby(trace.intervals, lambda one: one.mode)
    ]
    assert [name for name, _ in stepped] == [mode for mode, _ in exact]
    assert [mode for mode, _ in exact] == [
        Mode.SUPPLY,
        Mode.TRANSFER,
        Mode.INVERTER,
        Mode.OFF,
        Mode.INVERTER,
        Mode.OFF,
        Mode.INVERTER,
        Mode.TRANSFER,
        Mode.SUPPLY,
    ]
    assert all(abs(steps * STEP - lasts) <= 3 * STEP for (_, steps), (_, lasts) in zip(stepped, exact, strict=True))
    assert abs(energies[-1] - trace.intervals[-1].stored_end) < 3 * STEP * 2000.0

"""The exact simulation of an inverter-charger: from event to event in closed form, without a time step.

Between two events every power is constant, so that the next event's time follows by one division.  What falls on the
same instant is taken in this order: the battery reaches a level; the schedule's inputs change; a supply that is back
is accepted; overload begins, ends or stops the inverter; the battery's cut-off falls or is lifted; what feeds the
loads changes; loads start again or drop out.  After each change the last four are gone through anew.

The number of events is bounded.  The schedule and a supply's acceptance act once for each of its points.  Once the
battery has stopped the inverter, it has to gain the whole way to the return threshold first, at `charge_power` at the
most, which takes time.  An overload that has stopped the inverter is forgotten only when the loads ask for no more
than the rated power or when the supply fails.  Each of these moves what feeds the loads a few times at the most.
"""

import math
from collections.abc import Sequence

from tutor.trade.transfer import flows
from tutor.trade.transfer.flows import Flow, Mode
from tutor.trade.transfer.system import Point, System, checked_schedule
from tutor.trade.transfer.trace import Event, Interval, Kind, LoadState, Reason, Trace
from tutor.trade.transfer.words import Situation, event_words

MOST_STEPS, MOST_STEPS_OF_A_POINT = 1000, 100  # far above what the reasons above leave
_NEVER = math.inf
_FULL = 1 - 1e-12  # the share from which a battery is full: a balance that only binary rounding misses changes less


def simulate(system: System, schedule: Sequence[Point], end: float, stored: float) -> Trace:
    """Simulate a system from the schedule's first point to `end` (s), with `stored` energy (J) in the battery at first.

    A supply that is there at the start counts as accepted; a battery below its low cut-off as cut off.
    Raises ValueError for a faulty schedule, end or stored energy, and for values so unlike in size that binary rounding
    lets no time pass between two events.
    """
    points = checked_schedule(schedule, len(system.loads), end)
    if not 0 <= stored <= system.battery_capacity:
        raise ValueError("the stored energy has to lie between 0 and the battery's capacity")
    return _Run(system, points, end, stored).trace()


class _Run:
    """The state of a run.  Whatever waits for its time is kept as the time itself, never as a remainder."""

    def __init__(self, system: System, points: list[Point], end: float, stored: float) -> None:
        self.system, self.points, self.end = system, points, end
        self.now, self.index, self.point = points[0].time, 0, points[0]
        self.stored = stored
        self.cut_off = stored < system.low_energy
        self.shut_down = False
        self.accepted = self.point.supply_available
        self.accept_at = self.transfer_at = self.overload_at = _NEVER
        self.drop_at = [_NEVER] * len(system.loads)
        self.dropped = [False] * len(system.loads)
        self.intervals: list[Interval] = []
        self.events: list[Event] = []
        self.mode = self.target = self._wanted()

    def trace(self) -> Trace:
        """Run to the end."""
        self._settle()
        for _ in range(MOST_STEPS + MOST_STEPS_OF_A_POINT * len(self.points)):
            if self.now >= self.end:
                break
            self._advance()
            self._take_inputs()
            self._settle()
        else:
            raise ValueError("more happens in this day than can be followed")
        return Trace(self.system, tuple(self.intervals), tuple(self.events))

    # ---- time

    def _advance(self) -> None:
        """Go on to the next event and note the interval up to it."""
        flow = self._flow()
        level, level_at = self._next_level(flow.stored_power)
        coming = self.points[self.index + 1].time if self.index + 1 < len(self.points) else _NEVER
        until = min(self.end, coming, self.accept_at, self.transfer_at, self.overload_at, level_at, *self.drop_at)
        before = self.stored
        self.stored = level if until == level_at else self._charged(flow.stored_power * (until - self.now))
        if until > self.now:
            states = self._load_states()
            mode = (self.mode, self.target, self._why())
            self.intervals.append(Interval(self.now, until, *mode, flow, before, self.stored, states))
        self.now = until
        if until == level_at and level == self.system.battery_capacity:
            self._note(Kind.BATTERY_FULL)

    def _next_level(self, power: float) -> tuple[float, float]:
        """The next level of stored energy (J) at which something happens, and when it is reached (s)."""
        if power > 0:
            returning = self.cut_off and self.stored < self.system.return_energy
            level = self.system.return_energy if returning else self.system.battery_capacity
        else:
            level = self.system.low_energy
        return level, self.now + max(0.0, (level - self.stored) / power) if power else _NEVER

    def _charged(self, energy: float) -> float:
        return min(max(self.stored + energy, 0.0), self.system.battery_capacity)

    # ---- inputs

    def _take_inputs(self) -> None:
        """Take the schedule's new inputs, and accept a supply that has been back for long enough."""
        if self.index + 1 < len(self.points) and self.points[self.index + 1].time <= self.now:
            before, self.point = self.point, self.points[self.index + 1]
            self.index += 1
            self._compare_inputs(before, self.point)
        if self.accept_at <= self.now:
            self.accept_at, self.accepted = _NEVER, True
            self._note(Kind.SUPPLY_ACCEPTED)

    def _compare_inputs(self, before: Point, after: Point) -> None:
        if before.supply_available and not after.supply_available:
            self.shut_down &= not self.accepted
            self.accepted, self.accept_at = False, _NEVER
            self._note(Kind.SUPPLY_LOST)
        if after.supply_available and not before.supply_available:
            self.accept_at = self.now + self.system.qualification_delay
            self._note(Kind.SUPPLY_BACK)
        if before.load_power != after.load_power:
            self._note(Kind.LOAD_CHANGED)
        if before.array_power != after.array_power:
            self._note(Kind.ARRAY_CHANGED)

    # ---- decisions

    def _settle(self) -> None:
        """Let everything that follows at this instant happen."""
        while self._heed_overload() or self._heed_battery() or self._change_mode() or self._heed_loads():
            pass

    def _heed_overload(self) -> bool:
        load, rated = self._load(), self.system.inverter_power
        if load <= rated:
            if self.shut_down:
                self.shut_down = False
                return self._note(Kind.OVERLOAD_CLEARED)
            if self.overload_at < _NEVER:
                self.overload_at = _NEVER
                return self._note(Kind.OVERLOAD_ENDED)
            return False
        if self.mode is not Mode.INVERTER or self.shut_down:
            self.overload_at = _NEVER
            return False
        if load > self.system.overload_limit or not self.system.overload_time or self.overload_at <= self.now:
            self.overload_at, self.shut_down = _NEVER, True
            return self._note(Kind.OVERLOAD_SHUTDOWN)
        if self.overload_at == _NEVER and self.system.overload_time < _NEVER:
            self.overload_at = self.now + self.system.overload_time
            return self._note(Kind.OVERLOAD_STARTED)
        return False

    def _heed_battery(self) -> bool:
        if self.cut_off and self.stored >= self.system.return_energy:
            self.cut_off = False
            return self._note(Kind.BATTERY_RETURNED)
        if self.mode is not Mode.INVERTER or self.cut_off or self.stored > self.system.low_energy:
            return False
        if self.point.array_power >= flows.inverter_demand(self.system, self._load()):
            return False
        self.cut_off = True
        return self._note(Kind.BATTERY_LOW)

    def _change_mode(self) -> bool:
        wanted = self._wanted()
        if self.mode is Mode.TRANSFER and wanted is self.target:
            if self.transfer_at > self.now:
                return False
            self.mode, self.transfer_at = wanted, _NEVER
            return self._note(Kind.TRANSFER_ENDED)
        if wanted is self.mode:
            return False
        before, self.mode, self.target, self.transfer_at = self.mode, wanted, wanted, _NEVER
        if wanted is Mode.OFF:
            return self._note(Kind.LOADS_OFF)
        if before is Mode.OFF:
            return self._note(Kind.LOADS_ON)
        self.mode, self.transfer_at = Mode.TRANSFER, self.now + self.system.transfer_time
        return self._note(Kind.TRANSFER_STARTED)

    def _heed_loads(self) -> bool:
        """Let loads start again or drop out; only a load that stays out for good changes what is asked for."""
        out_for_good = False
        for index, load in enumerate(self.system.loads):
            asks = self.point.load_power[index] > 0
            if self.mode.live or self.dropped[index] or not asks:
                self.drop_at[index] = _NEVER
            elif self.drop_at[index] == _NEVER:
                self.drop_at[index] = self.now + load.ride_through
            if self.mode.live and self.dropped[index] and load.restarts:
                self.dropped[index] = False
                if asks:
                    self._note(Kind.LOAD_RESTARTED, load.name)
            if self.drop_at[index] <= self.now:
                self.drop_at[index], self.dropped[index] = _NEVER, True
                self._note(Kind.LOAD_DROPPED, load.name)
                out_for_good |= not load.restarts
        return out_for_good

    def _wanted(self) -> Mode:
        """What the declared priority wants to feed the loads now."""
        choices = [(Mode.SUPPLY, self._against_supply()), (Mode.INVERTER, self._against_inverter())]
        if self.system.battery_first:
            choices.reverse()
        return next((mode for mode, against in choices if against is None), Mode.OFF)

    def _why(self) -> tuple[Reason, ...]:
        first, second = self._against_supply(), self._against_inverter()
        if self.system.battery_first:
            first, second = second, first
        if first is None:
            return (Reason.FIRST_CHOICE,)
        return (first,) if second is None else (first, second)

    def _against_supply(self) -> Reason | None:
        if not self.point.supply_available:
            return Reason.SUPPLY_ABSENT
        if not self.accepted:
            return Reason.SUPPLY_WAITING
        fits = flows.supply_fits(self.system, self._load(), self.point.array_power)
        return None if fits else Reason.SUPPLY_TOO_SMALL

    def _against_inverter(self) -> Reason | None:
        if self.cut_off:
            return Reason.BATTERY_LOW
        return Reason.OVERLOAD if self.shut_down else None

    # ---- powers

    def _load(self) -> float:
        """What the loads draw as soon as they are fed (W)."""
        asking = zip(self.point.load_power, self.system.loads, self.dropped, strict=True)
        return math.fsum(power for power, load, dropped in asking if load.restarts or not dropped)

    def _flow(self) -> Flow:
        demand, array = math.fsum(self.point.load_power), self.point.array_power
        room = self.system.charge_power if self.stored < _FULL * self.system.battery_capacity else 0.0
        match self.mode:
            case Mode.SUPPLY:
                return flows.flow_on_supply(self.system, demand, self._load(), array, room)
            case Mode.INVERTER:
                return flows.flow_on_inverter(self.system, demand, self._load(), array, room)
        charging = self.mode is Mode.OFF and self.accepted
        spare = not self.cut_off and self.stored > self.system.low_energy
        return flows.flow_without_loads(self.system, demand, array, room, supply=charging, from_battery=spare)

    def _load_states(self) -> tuple[LoadState, ...]:
        return tuple(self._load_state(index) for index in range(len(self.dropped)))

    def _load_state(self, index: int) -> LoadState:
        if not self.point.load_power[index]:
            return LoadState.OFF
        if self.dropped[index]:
            return LoadState.DROPPED
        return LoadState.FED if self.mode.live else LoadState.RIDING

    def _note(self, kind: Kind, load: str = "") -> bool:
        """Note an event at this instant; True, since something has changed."""
        words = event_words(self.system, kind, Situation(load, self._load(), self.point.array_power, self.target))
        self.events.append(Event(self.now, kind, words, load))
        return True

"""What a simulated day came to: its intervals, its events, and what one may ask of them.  Units: s, W, J, A."""

import math
from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, fields
from enum import StrEnum
from functools import cached_property
from operator import attrgetter
from typing import NamedTuple

from tutor.trade.transfer.flows import Flow, Mode
from tutor.trade.transfer.system import Source, System

FACT_UNITS = {"source_at": "", "supply_current_at": "A", "outage_runtime": "s", "rides_through": ""}  # of what it tells


class Reason(StrEnum):
    """Why the loads are fed as they are: the declared first choice, or what keeps supply or inverter from it."""

    FIRST_CHOICE = "first-choice"
    SUPPLY_ABSENT = "supply-absent"
    SUPPLY_WAITING = "supply-waiting"
    SUPPLY_TOO_SMALL = "supply-too-small"
    BATTERY_LOW = "battery-low"
    OVERLOAD = "overload"


class Kind(StrEnum):
    """What can happen."""

    BATTERY_FULL = "battery-full"
    LOAD_CHANGED = "load-changed"
    ARRAY_CHANGED = "array-changed"
    SUPPLY_LOST = "supply-lost"
    SUPPLY_BACK = "supply-back"
    SUPPLY_ACCEPTED = "supply-accepted"
    OVERLOAD_STARTED = "overload-started"
    OVERLOAD_ENDED = "overload-ended"
    OVERLOAD_SHUTDOWN = "overload-shutdown"
    OVERLOAD_CLEARED = "overload-cleared"
    BATTERY_LOW = "battery-low"
    BATTERY_RETURNED = "battery-returned"
    TRANSFER_STARTED = "transfer-started"
    TRANSFER_ENDED = "transfer-ended"
    LOADS_OFF = "loads-off"
    LOADS_ON = "loads-on"
    LOAD_DROPPED = "load-dropped"
    LOAD_RESTARTED = "load-restarted"


class LoadState(StrEnum):
    """How a load fares: it asks for nothing; is fed; runs on without power for the moment; or has dropped out."""

    OFF = "off"
    FED = "fed"
    RIDING = "riding"
    DROPPED = "dropped"


class Event(NamedTuple):
    """Something that happened at a time (s), in words; `load` names the load that it happened to, if it was one."""

    time: float
    kind: Kind
    words: str
    load: str = ""


class Interval(NamedTuple):
    """A stretch of time (s) in which nothing changes; `target` is where a transfer leads, else the mode itself."""

    start: float
    end: float
    mode: Mode
    target: Mode
    why: tuple[Reason, ...]
    flow: Flow
    stored_start: float
    stored_end: float
    loads: tuple[LoadState, ...]

    @property
    def duration(self) -> float:
        """How long it lasts (s)."""
        return self.end - self.start


class Stretch(NamedTuple):
    """A stretch of time (s) in which loads are not served, and the energy (J) that they missed."""

    start: float
    end: float
    energy: float


@dataclass(frozen=True)
class Totals:
    """Energies over the whole trace (J); names as in `Flow`."""

    asked: float
    served: float
    unserved: float
    from_array: float
    from_battery: float
    from_supply: float
    charge_from_array: float
    charge_from_supply: float
    supply_charge: float
    battery_charged: float
    battery_discharged: float
    array_used: float
    array_curtailed: float
    losses: float
    supply_standby: float
    storage_losses: float


@dataclass(frozen=True)
class Trace:
    """The simulated day of a system.  At the instant of a change, what holds from then on is what counts."""

    system: System
    intervals: tuple[Interval, ...]
    events: tuple[Event, ...]

    def at(self, time: float) -> Interval:
        """The interval that holds a time (s).

        Raises ValueError outside the trace.
        """
        if not self.intervals[0].start <= time <= self.intervals[-1].end:
            raise ValueError(
                f"{time:g} s lies outside the trace, which runs from {self.intervals[0].start:g} s "
                f"to {self.intervals[-1].end:g} s"
            )
        return self.intervals[max(0, bisect_right(self.intervals, time, key=attrgetter("start")) - 1)]

    def source_at(self, time: float) -> dict[Source, float]:
        """Which sources feed the loads at a time (s), and how much each (W); empty where nothing is fed."""
        return self.at(time).flow.sources

    def supply_current_at(self, time: float) -> float:
        """The current taken from the supply (A), loads and charging together: I = P / V."""
        return self.at(time).flow.supply_power / self.system.supply_voltage

    def outage_runtime(self, lost: float | None = None) -> float | None:
        """Time (s) from a loss of the supply, the first one unless its time is given, until the loads go off.

        None if they are still fed when the supply takes over again or the trace ends, or if no supply was lost.
        0 if nothing feeds them from the loss on.
        """
        if lost is None:
            lost = next((event.time for event in self.events if event.kind is Kind.SUPPLY_LOST), None)
        if lost is None:
            return None
        off = 0.0
        for interval in self.intervals[self.intervals.index(self.at(lost)) :]:
            if interval.mode is Mode.OFF:
                return off
            if interval.mode is Mode.SUPPLY:
                return None
            off = interval.end - lost if interval.mode.live else off
        off_at_the_end = any(event.kind is Kind.LOADS_OFF and event.time == lost + off for event in self.events)
        return off if off_at_the_end else None

    def rides_through(self, load: str) -> bool:
        """Tell whether a load never drops out.

        Raises ValueError if there is no such load.
        """
        if load not in {declared.name for declared in self.system.loads}:
            raise ValueError(f"there is no load called '{load}' here")
        return not any(event.kind is Kind.LOAD_DROPPED and event.load == load for event in self.events)

    def unserved(self) -> list[Stretch]:
        """The stretches in which loads ask for more than they get, neighbours joined."""
        stretches: list[Stretch] = []
        for interval in self.intervals:
            if interval.flow.unserved <= 0:
                continue
            missed = interval.flow.unserved * interval.duration
            if stretches and stretches[-1].end == interval.start:
                start, _, before = stretches.pop()
                stretches.append(Stretch(start, interval.end, before + missed))
            else:
                stretches.append(Stretch(interval.start, interval.end, missed))
        return stretches

    @cached_property
    def totals(self) -> Totals:
        """The energies over the whole trace (J)."""
        names = [field.name for field in fields(Totals) if not field.name.startswith("battery")]
        sums = {name: self._energy(getattr(interval.flow, name) for interval in self.intervals) for name in names}
        return Totals(
            battery_charged=self._energy(max(0.0, interval.flow.battery_power) for interval in self.intervals),
            battery_discharged=self._energy(max(0.0, -interval.flow.battery_power) for interval in self.intervals),
            **sums,
        )

    def _energy(self, powers: Iterable[float]) -> float:
        return math.fsum(power * interval.duration for power, interval in zip(powers, self.intervals, strict=True))

"""What a simulated day is made of: the inverter-charger, its battery, its loads, and the schedule of its inputs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

LEAST_HYSTERESIS = 0.01  # of the capacity, between low cut-off and return threshold: the reason that nothing chatters


class Source(StrEnum):
    """What can feed the loads or charge the battery."""

    ARRAY = "array"
    BATTERY = "battery"
    SUPPLY = "supply"


@dataclass(frozen=True)
class Load:
    """A load by name, how long (s) it runs on without power, and whether it starts again by itself afterwards."""

    name: str
    ride_through: float = 0.0
    restarts: bool = True

    def __post_init__(self) -> None:
        if not self.ride_through >= 0:
            raise ValueError(f"the ride-through of {self.name} has to be 0 s or more")


@dataclass(frozen=True)
class Point:
    """The inputs from a time (s) on: power asked by each load (W), power the array could give (W), supply there or not.

    The array's power is what its charge controller could deliver on the battery's side.
    """

    time: float
    load_power: tuple[float, ...]
    array_power: float = 0.0
    supply_available: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.time):
            raise ValueError("a time of the schedule has to be a finite number of seconds")
        if not all(0 <= power < math.inf for power in (*self.load_power, self.array_power)):
            raise ValueError(f"at {self.time:g} s a power of the schedule is negative or not finite")

    def same_inputs(self, other: "Point") -> bool:
        """Tell whether nothing but the time differs."""
        return (self.load_power, self.array_power, self.supply_available) == (
            other.load_power,
            other.array_power,
            other.supply_available,
        )


@dataclass(frozen=True)
class System:
    """An inverter-charger with battery, array, alternating-current supply and loads.  Units: W, J, s, A, V and shares.

    Of `load_priority` the supply's place decides.  Battery before supply: the inverter carries the loads as long as
    the battery allows it.  Array before supply: while the supply carries the loads, the array gives what it can through
    the inverter and the supply only the rest.  Array and battery share the direct-current side, where the battery
    carries the difference whatever their order.  `charger_priority` names who may charge the battery, first one first.

    `charge_power` is counted at the battery, for all chargers together.  `idle_power` is what the inverter itself draws
    while it feeds loads or stands ready to; `standby_power` is the own draw in all other modes, from the supply, else
    from the array, else from a battery above its low cut-off.  Of the power that charges the battery
    `battery_charge_efficiency` is stored; of what is taken from the store `battery_discharge_efficiency` comes out.
    `low_cutoff` and `return_threshold` are shares of `battery_capacity` (J):
    down at the first the inverter stops, and it does not start before the second is reached.  `overload_power` may be
    drawn for `overload_time`, anything above it not at all.  A supply that is back is used after `qualification_delay`.

    Raises ValueError, saying what to mend, for values that make no such system.
    """

    loads: tuple[Load, ...]
    inverter_power: float
    battery_capacity: float
    inverter_efficiency: float = 1.0
    idle_power: float = 0.0
    standby_power: float = 0.0
    battery_charge_efficiency: float = 1.0
    battery_discharge_efficiency: float = 1.0
    overload_power: float = 0.0
    overload_time: float = 0.0
    low_cutoff: float = 0.0
    return_threshold: float = 0.1
    charge_power: float = 0.0
    charger_efficiency: float = 1.0
    pass_through_max: float = math.inf
    supply_voltage: float = 230.0
    transfer_time: float = 0.0
    qualification_delay: float = 0.0
    load_priority: tuple[Source, ...] = (Source.ARRAY, Source.BATTERY, Source.SUPPLY)
    charger_priority: tuple[Source, ...] = (Source.ARRAY, Source.SUPPLY)

    def __post_init__(self) -> None:
        self._check_numbers()
        if sorted(self.load_priority) != sorted(Source):
            raise ValueError("the loads' priority has to name array, battery and supply once each")
        if Source.BATTERY in self.charger_priority or len(set(self.charger_priority)) < len(self.charger_priority):
            raise ValueError("the charger's priority may name array and supply, each once")
        if len({load.name for load in self.loads}) < len(self.loads):
            raise ValueError("two loads have the same name: give each its own")

    def _check_numbers(self) -> None:
        for name in ("inverter_power", "battery_capacity", "supply_voltage"):
            if not 0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name} has to be above 0 and finite")
        powers = ("idle_power", "standby_power", "charge_power", "overload_power")
        for name in (*powers, "transfer_time", "qualification_delay"):
            if not 0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name} has to be 0 or more and finite")
        for name in ("overload_time", "pass_through_max"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name} has to be 0 or more")
        stores = ("battery_charge_efficiency", "battery_discharge_efficiency")
        for name in ("inverter_efficiency", "charger_efficiency", *stores):
            if not 0 < getattr(self, name) <= 1:
                raise ValueError(f"{name} has to be above 0 and at most 1")
        if not 0 <= self.low_cutoff <= self.return_threshold - LEAST_HYSTERESIS or not self.return_threshold <= 1:
            raise ValueError(
                "low_cutoff has to be 0 or more and return_threshold at most 1, with at least "
                f"{LEAST_HYSTERESIS:.0%} of the capacity between them, or the inverter would switch on and off at once"
            )

    @cached_property
    def battery_first(self) -> bool:
        """Whether the inverter carries the loads although the supply is there."""
        return self.load_priority.index(Source.BATTERY) < self.load_priority.index(Source.SUPPLY)

    @cached_property
    def array_assists(self) -> bool:
        """Whether the array gives what it can to loads that the supply carries."""
        return self.load_priority.index(Source.ARRAY) < self.load_priority.index(Source.SUPPLY)

    @cached_property
    def supply_limit(self) -> float:
        """The most that may be taken from the supply (W), for loads and charging together."""
        return self.pass_through_max * self.supply_voltage

    @cached_property
    def overload_limit(self) -> float:
        """The most that the inverter gives even for a moment (W)."""
        return max(self.overload_power, self.inverter_power)

    @cached_property
    def low_energy(self) -> float:
        """The stored energy at which the inverter stops (J)."""
        return self.low_cutoff * self.battery_capacity

    @cached_property
    def return_energy(self) -> float:
        """The stored energy from which the inverter may start again (J)."""
        return self.return_threshold * self.battery_capacity


def checked_schedule(schedule: Sequence[Point], loads: int, end: float) -> list[Point]:
    """Check a schedule against the number of loads and the end (s), and leave out points that change nothing.

    Raises ValueError, saying what to mend.
    """
    if not schedule:
        raise ValueError("the schedule is empty: give at least the inputs at the start")
    changing: list[Point] = []
    for index, point in enumerate(schedule):
        if len(point.load_power) != loads:
            raise ValueError(f"at {point.time:g} s the schedule needs {loads} load powers, one for each load")
        if index and not schedule[index - 1].time < point.time:
            raise ValueError(f"the schedule's times have to ascend: {point.time:g} s comes too late in it")
        if not changing or not point.same_inputs(changing[-1]):
            changing.append(point)
    if not schedule[-1].time < end < math.inf:
        raise ValueError("the end has to lie after the schedule's last point")
    return changing

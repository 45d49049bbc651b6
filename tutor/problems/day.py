"""Simulated days in relations: trace(outage_runtime) runs the transfer simulation on the problem's own numbers."""

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from operator import itemgetter
from typing import Any

from tutor.base.units import conversion
from tutor.content.models import Amount, Day, DayValue
from tutor.trade.tables import TableError
from tutor.trade.transfer import Load, Point, Source, System, Trace, simulate, tell

FEEDERS = ("array", "battery", "supply", "array and battery", "array and supply", "nothing")


class SimulatedDay:
    """A declared day; `names` are the quantities that it rests on, in the order in which their values are handed in."""

    def __init__(self, day: Day, choices: Mapping[str, list[str]]) -> None:
        self._day, self._choices = day, choices
        values: list[object] = [day.stored, day.end, day.clock, *day.system.values()]
        values += [value for load in day.loads for value in (load.power, load.ride_through)]
        values += [value for event in day.events for value in (event.at, event.array, event.load)]
        self.names = tuple(sorted({value for value in values if isinstance(value, str) and value.isidentifier()}))
        self.trace = lru_cache(maxsize=64)(self._trace)

    def functions(self) -> dict[str, Callable[..., float]]:
        """The facts that relations may ask for, as functions of a time (where one is needed) and of the names."""
        return {
            "trace__source_at": lambda time, *numbers: _feeder(self.trace(*numbers), time),
            "trace__supply_current_at": lambda time, *numbers: self.trace(*numbers).supply_current_at(time),
            "trace__outage_runtime": lambda *numbers: _runtime(self.trace(*numbers)),
            "trace__rides_through": lambda *numbers: float(self.trace(*numbers).rides_through(self._day.loads[0].name)),
        }

    def told(self, values: Mapping[str, float]) -> list[str]:
        """The day in sentences, from the trace alone."""
        numbers = [values[name] for name in self.names]
        return tell(self.trace(*numbers), self._number(self._day.clock, dict(zip(self.names, numbers, strict=True))))

    def _trace(self, *numbers: float) -> Trace:
        """Simulate the day.

        Raises TableError for values that make no day, as a table does for a value outside it.
        """
        values = dict(zip(self.names, numbers, strict=True))
        day = self._day
        try:
            loads = [Load(load.name, self._number(load.ride_through, values), load.restarts) for load in day.loads]
            settings: Any = {name: self._setting(name, value, values) for name, value in day.system.items()}
            end = self._number(day.end, values)
            return simulate(
                System(tuple(loads), **settings), self._schedule(values), end, self._number(day.stored, values)
            )
        except ValueError as error:
            raise TableError(str(error)) from error

    def _schedule(self, values: Mapping[str, float]) -> list[Point]:
        """The events in the order of their times, those at one time together."""
        powers = tuple(self._number(load.power, values) for load in self._day.loads)
        array, supply = 0.0, False
        points: dict[float, Point] = {}
        for time, event in sorted(((self._number(one.at, values), one) for one in self._day.events), key=itemgetter(0)):
            array = array if event.array is None else self._number(event.array, values)
            supply = supply if event.supply is None else event.supply == "on"
            if event.load is not None:
                powers = (self._number(event.load, values), *powers[1:])
            points[time] = Point(time, powers, array, supply)
        return list(points.values())

    def _setting(
        self, name: str, value: DayValue | Sequence[str], values: Mapping[str, float]
    ) -> float | tuple[Source, ...]:
        if not isinstance(value, str | float):
            return tuple(map(Source, value))
        if name.endswith("_priority"):
            chosen = self._choices[str(value)][int(values[str(value)])]
            return tuple(Source(word.strip()) for word in chosen.split(","))
        return self._number(value, values)

    def _number(self, value: DayValue, values: Mapping[str, float]) -> float:
        if isinstance(value, str) and value in values:
            return values[value]
        amount = Amount.model_validate(value)
        return conversion(amount.unit).to_working(amount.value)


def _feeder(trace: Trace, time: float) -> float:
    words = " and ".join(source.value for source in Source if source in trace.source_at(time))
    return float(FEEDERS.index(words or "nothing"))


def _runtime(trace: Trace) -> float:
    """The loads' runtime in the outage (s); to the end of the day if they never go off."""
    runtime = trace.outage_runtime()
    return trace.intervals[-1].end if runtime is None else runtime

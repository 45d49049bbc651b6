"""Whether what a problem has built may be protected: a second route, by the trade's own functions, to its sizes.

The relations of an exercise choose a device and a conductor step by step, for people.  Here the rulebook's tests are
put to what came out, from the load, the place and the terminals alone, whatever the relations say.
"""

from collections.abc import Iterator, Mapping
from functools import cached_property

from tutor.base.units import written
from tutor.content.models import Protection
from tutor.problems.problem import Problem
from tutor.trade.conductors import Laid, carries, usable_ampacity
from tutor.trade.protection import conductor_and_device, largest_device, protects, smallest_device
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.trade.tables import same

RATINGS = {"breakers": "standard_ratings", "fuses": "fuse_ratings"}
A_LITTLE_MORE = 1.001  # the largest load, raised by this, has to fail one of the tests


def unprotected(problem: Problem) -> str:
    """Why what a problem comes to could not be protected; '' if it can, or if nothing has to be."""
    question = problem.question
    protection = question.exercise.protection
    if question.protected is None or not isinstance(protection, Protection):
        return ""
    values = {**problem.known, **problem.values}
    try:
        values |= question.protected.values(values)
        return next(_Circuit(question.rulebook, protection, question.final, values).faults(), "")
    except TableError as error:
        return str(error)


class _Circuit:
    """The device that a problem comes to and the conductors behind it; `final` is what its exercise usually asks."""

    def __init__(self, book: Rulebook, named: Protection, final: str, values: Mapping[str, float]) -> None:
        self._book, self._named, self._final, self._values = book, named, final, values
        self._ratings = RATINGS[named.devices]
        self._load = 0.0 if named.load is None else values[named.load]
        self._other = 0.0 if named.other_load is None else values[named.other_load]
        self._needed = smallest_device(book, self._load, self._other, self._ratings)
        self._device = self._needed if named.device is None else values[named.device]

    def faults(self) -> Iterator[str]:
        """What is wrong: in what it says of the device, or else in the device and the conductors that it chooses."""
        if self._named.verdict is not None:
            if bool(self._values[self._named.verdict]) != all(
                self._protects(*conductor) for conductor in self._conductors
            ):
                yield f"the verdict on the {_amperes(self._device)} device is wrong: {self._told()}"
        elif self._named.largest_device is not None:
            largest = min(self._largest(*conductor) for conductor in self._conductors)
            if largest != self._values[self._named.largest_device]:
                yield f"the largest device that may protect the conductor is one of {_amperes(largest)}"
        else:
            yield from self._faults_of_device()
            yield from self._faults_of_conductors()

    def _faults_of_device(self) -> Iterator[str]:
        if self._device < self._needed:
            needed, device = _amperes(self._needed), _amperes(self._device)
            yield f"the load needs a {needed} device, not one of {device}: take a thicker conductor or a smaller load"
        if self._named.device == self._final and self._named.load and self._device > self._needed:
            yield f"the load needs no more than a device of {_amperes(self._needed)}"

    def _faults_of_conductors(self) -> Iterator[str]:
        for size, ampacity in self._conductors:
            if not self._protects(size, ampacity):
                yield f"a device of {_amperes(self._device)} may not protect this conductor: {self._told()}"
            if size is not None and not self._carries(size, self._load):
                yield f"the conductor does not carry {_amperes(self._load)}: {self._told()}"
        if self._final in self._named.conductors:
            yield from self._fault_of_size()
        if self._final == self._named.load and self._may_be_loaded_with(A_LITTLE_MORE * self._load):
            yield "the conductor could feed a larger load"

    def _fault_of_size(self) -> Iterator[str]:
        """The size asked for is the smallest that will do."""
        laid, up = self._laid, self._named.next_size_up
        size, _ = conductor_and_device(self._book, laid, self._load, self._other, up, self._ratings, self._device)
        smallest = size.area if self._named.larger_for is None else max(size.area, self._values[self._named.larger_for])
        if not same(smallest, self._values[self._final]):
            yield f"the smallest conductor that will do is {self._book.size_of(smallest).name}"

    def _may_be_loaded_with(self, load: float) -> bool:
        try:
            device = smallest_device(self._book, load, self._other, self._ratings)
        except TableError:
            return False
        return all(
            protects(self._book, size, ampacity, device, self._named.next_size_up, self._ratings)
            and (size is None or self._carries(size, load))
            for size, ampacity in self._conductors
        )

    def _carries(self, size: float, load: float) -> bool:
        return carries(self._book, size, self._laid, load, self._other)

    def _protects(self, size: float | None, ampacity: float) -> bool:
        return protects(self._book, size, ampacity, self._device, self._named.next_size_up, self._ratings)

    def _largest(self, size: float | None, ampacity: float) -> float:
        return largest_device(self._book, size, ampacity, self._named.next_size_up, self._ratings)

    @cached_property
    def _laid(self) -> Laid:
        def value(name: str | None, usual: float) -> float:
            return usual if name is None else self._values[name]

        insulation = value(self._named.insulation, 0.0)
        ambient, grouped = value(self._named.ambient, 30.0), value(self._named.grouped, 1.0)
        return Laid(insulation, ambient, int(grouped), value(self._named.terminals, insulation))

    @cached_property
    def _conductors(self) -> list[tuple[float | None, float]]:
        """The size (m²) and the usable ampacity (A) of each conductor behind the device."""
        if self._named.ampacity is not None:
            return [(None, self._values[self._named.ampacity])]
        thickest = self._book.tables[self._laid.ampacity].listed("size")[-1]  # what is thicker carries no less
        sizes = [min(self._values[name], thickest) for name in self._named.conductors]
        return [(size, usable_ampacity(self._book, size, self._laid)) for size in sizes]

    def _told(self) -> str:
        conductors = (
            f"{_amperes(ampacity)} may be used" + (f" of {self._book.size_of(size).name}" if size is not None else "")
            for size, ampacity in self._conductors
        )
        return ", ".join(conductors)


def _amperes(value: float) -> str:
    return written(value, "A")

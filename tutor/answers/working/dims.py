"""What the numbers of a working may measure: sets of dimensions, wide where no unit is typed."""

from collections.abc import Callable, Collection, Sequence
from functools import lru_cache
from typing import Any

from tutor.answers.working.expression import Applied, At, Term
from tutor.entries.unit_names import COUNT
from tutor.units import ABSOLUTE_TEMPERATURES, conversion, registry_unit

Dimension = Any  # pint's container of base dimensions with their powers
Dimensions = frozenset[Dimension] | None  # None: it may be anything
MOST = 64

PURE: Dimension = registry_unit("").dimensionality
_TEMPERATURE: Dimension = registry_unit("K").dimensionality

# The units in which people write one and the same quantity.
FAMILIES = (
    ("V", "mV", "kV"),
    ("A", "mA", "kA"),
    ("W", "kW"),
    ("Wh", "kWh"),
    ("A*h", "mA*h"),
    ("ohm", "mohm"),
    ("m", "ft", "kft", "km"),
    ("s", "ms", "min", "h", "day"),
    ("", "%"),
    ("1/K", "%/K"),
    ("V/K", "mV/K"),
    ("A/K", "mA/K"),
    ("ohm/m", "ohm/km", "ohm/ft", "ohm/kft", "mohm/m", "mohm/ft"),
    ("mm^2", "cmil", "m^2"),
    ("W/m^2", "kW/m^2"),
    ("degC", "degF"),
    ("K", "delta_degF"),
    ("F", "mF"),
)


@lru_cache(maxsize=1024)
def dimension_of(unit: str) -> Dimension:
    """The dimension that a unit measures; a temperature and a difference of temperatures count as the same."""
    if unit in ABSOLUTE_TEMPERATURES:
        return _TEMPERATURE
    return PURE if unit == COUNT else registry_unit(unit).dimensionality


@lru_cache(maxsize=1024)
def units_like(unit: str) -> tuple[str, ...]:
    """The units in which a quantity shown in this one may be written, this one first."""
    dimension = conversion(unit).dimension
    family = next((one for one in FAMILIES if conversion(one[0]).dimension == dimension), ())
    return (unit, *(one for one in family if one != unit))


class MismatchError(ValueError):
    """Unlike things are added."""


def dimensions_of(term: Term, leaves: Sequence[Dimensions], bare: Collection[int] = ()) -> Dimensions:
    """What a term may measure, from what its leaves may; the `bare` ones take the unit of what they are added to.

    Raises MismatchError where only unlike things are added.
    """
    if isinstance(term, At):
        return leaves[term.place]
    parts = [dimensions_of(part, leaves, bare) for part in term.parts]
    match term.operation:
        case "measured" if parts[0] is not None and PURE not in parts[0] and _same(parts):
            return parts[1]
        case "multiply" | "measured":
            return _joined(parts[0], parts[1], _product)
        case "divide":
            return _joined(parts[0], parts[1], _quotient)
        case "square root":
            return _joined(parts[0], frozenset({PURE}), lambda one, _: one**0.5)
        case "raise_to":
            return _raised(parts[0], term.parts[1])
        case "negate" | "round down" | "round up":
            return parts[0]
        case _:
            taking = [isinstance(part, At) and part.place in bare for part in term.parts]
            return _alike([None if takes else part for takes, part in zip(taking, parts, strict=True)])


def _same(parts: Sequence[Dimensions]) -> bool:
    return None not in parts and bool(frozenset.intersection(*(part for part in parts if part is not None)))


@lru_cache(maxsize=4096)
def _product(one: Dimension, other: Dimension) -> Dimension:
    return one * other


@lru_cache(maxsize=4096)
def _quotient(one: Dimension, other: Dimension) -> Dimension:
    return one / other


def _joined(one: Dimensions, other: Dimensions, how: Callable[[Dimension, Dimension], Dimension]) -> Dimensions:
    if one is None or other is None or len(one) * len(other) > MOST:
        return None
    return frozenset(how(a, b) for a in one for b in other)


def _raised(base: Dimensions, _exponent: Term | Applied) -> Dimensions:
    return base if base == frozenset({PURE}) else None


def _alike(parts: Sequence[Dimensions]) -> Dimensions:
    known = [part for part in parts if part is not None]
    if not known:
        return None
    common = frozenset.intersection(*known)
    if not common:
        raise MismatchError
    return common

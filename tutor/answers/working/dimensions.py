"""What the numbers of a working may measure: sets of dimensions, wide where no unit is typed."""

import operator
from collections.abc import Callable, Collection, Sequence
from functools import lru_cache
from typing import Any

from tutor.answers.working.phrases import PHRASES
from tutor.base.unit_registry import registry_unit
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.entries.unit_names import COUNT
from tutor.expression.tree import Call, Name, Negative, Node, Operation, parts

Dimension = Any  # pint's container of base dimensions with their powers
Dimensions = frozenset[Dimension] | None  # None: it may be anything
MOST_DIMENSIONS = 64  # a product of wider sets says nothing, and would grow with every factor

PURE: Dimension = registry_unit("").dimensionality
ONLY_PURE = frozenset({PURE})
_TEMPERATURE: Dimension = registry_unit("K").dimensionality
_product: Callable[[Dimension, Dimension], Dimension] = lru_cache(maxsize=4096)(operator.mul)
_quotient: Callable[[Dimension, Dimension], Dimension] = lru_cache(maxsize=4096)(operator.truediv)


class MismatchError(ValueError):
    """Unlike things are added."""


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
    family: list[str] = next(
        (family for family in PHRASES["alike_units"] if conversion(family[0]).dimension == dimension), []
    )
    return (unit, *(alternative for alternative in family if alternative != unit))


def dimensions_of(node: Node, leaves: Sequence[Dimensions], bare: Collection[int] = ()) -> Dimensions:
    """What a calculation may measure, from what its leaves may; `bare` ones take the unit of what they are added to.

    Raises MismatchError where only unlike things are added.
    """
    if isinstance(node, Name):
        return leaves[int(node.id)]
    inner = [dimensions_of(part, leaves, bare) for part in parts(node)]
    match node:
        case Call("measured") if inner[0] and inner[1] and PURE not in inner[0] and inner[0] & inner[1]:
            return inner[1]
        case Call("measured") | Operation("*"):
            return _joined(inner, _product)
        case Operation("/"):
            return _joined(inner, _quotient)
        case Call("sqrt"):
            return inner[0] and frozenset(dimension**0.5 for dimension in inner[0])
        case Call("power"):
            return inner[0] if inner[0] == ONLY_PURE else None
        case Negative() | Call("round_down" | "round_up"):
            return inner[0]
    taking = [isinstance(part, Name) and int(part.id) in bare for part in parts(node)]
    return _common([dimensions for takes, dimensions in zip(taking, inner, strict=True) if dimensions and not takes])


def _joined(inner: Sequence[Dimensions], how: Callable[[Dimension, Dimension], Dimension]) -> Dimensions:
    left, right = inner
    if left is None or right is None or len(left) * len(right) > MOST_DIMENSIONS:
        return None
    return frozenset(how(dimension, factor) for dimension in left for factor in right)


def _common(terms: Sequence[frozenset[Dimension]]) -> Dimensions:
    if not terms:
        return None
    common = frozenset.intersection(*terms)
    if not common:
        raise MismatchError
    return common

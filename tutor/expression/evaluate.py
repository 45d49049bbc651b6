"""Trees compiled to plain functions: of single relations, and of the steps of a method in a row.

A relation is worked out with many numbers; compiled once, that takes a tenth of the time of folding it afresh.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from tutor.base.units import conversion
from tutor.expression.tree import Arithmetic, Call, Comparison, Literal, Name, Node, Rule, fold, walk
from tutor.trade.counts import ROUNDING_SLACK, round_down, round_up
from tutor.trade.rulebooks import Rulebook

OF_RATINGS = ("first_at_least", "last_at_most", "next_below")  # a standard size for a value of the same kind
READ_RIGHT = ("look_up", *OF_RATINGS, "first_size", "first_size_above", "first_size_at_most")
READ_BESIDE = ("row_before", "row_after", "size_before", "size_after")  # only in wrong ways

NO_VALUE = (ValueError, ZeroDivisionError, OverflowError)  # what a relation raises, TableError among the first

Relation = Callable[[Mapping[str, float]], float]
Numeric = Callable[[Mapping[str, float]], dict[str, float]]
Functions = Mapping[str, Callable[..., float]]


def holds_at_most(left: float, right: float) -> bool:
    """Whether left <= right, up to the noise of floating-point arithmetic."""
    return left <= right + ROUNDING_SLACK * max(1.0, abs(right))


def round_nearest(value: float) -> float:
    """The nearest whole number; halves upwards, as people round."""
    return float(math.floor(value + 0.5))


def _root_within(low: float, high: float, *roots: float) -> float:
    """The one root inside the bounds; not a number if there is none, or more than one and so no single answer."""
    fitting = [root for root in roots if low <= root <= high]
    return fitting[0] if fitting and max(fitting) - min(fitting) <= ROUNDING_SLACK * abs(fitting[0]) else math.nan


def _real_root(value: float) -> float:
    return math.sqrt(value) if value >= 0 else math.nan


_COMPARISONS = {"<=": "at_most", ">=": "at_least"}
ROUND: dict[str, Callable[[float], float]] = {
    "round_down": round_down,
    "round_up": round_up,
    "round_nearest": round_nearest,
}

_FUNCTIONS: dict[str, Callable[..., float]] = {
    **ROUND,
    "least": min,
    "greatest": max,
    "at_most": lambda left, right: float(holds_at_most(left, right)),
    "at_least": lambda left, right: float(holds_at_most(right, left)),
    "root_within": _root_within,
    "sqrt": _real_root,
}


@lru_cache(maxsize=8)
def functions_of(rulebook: Rulebook) -> Functions:
    """What compiled relations may call: roundings, comparisons, and the tables of a rulebook."""
    functions = dict(_FUNCTIONS)
    for name, table in rulebook.tables.items():
        for function in (*READ_RIGHT, *READ_BESIDE):
            functions[f"{function}__{name}"] = getattr(table, function)
    return MappingProxyType(functions)


class _Source(Arithmetic[str]):
    """Python for a tree: names become their places and literals numbers, so that nothing else gets in."""

    def __init__(self, place: Callable[[str], str]) -> None:
        self.place = place

    def leaf(self, leaf: Name | Literal | Rule) -> str:
        match leaf:
            case Name(id_):
                return self.place(id_)
            case Literal():
                return repr(literal_value(leaf))
            case _:
                return super().leaf(leaf)

    def operation(self, sign: str, left: str, right: str) -> str:
        return f"({left} {sign} {right})"

    def negative(self, operand: str) -> str:
        return f"(-{operand})"

    def power(self, base: str, exponent: int) -> str:
        return f"({base} ** {exponent:d})"

    def comparison(self, sign: str, left: str, right: str) -> str:
        return f"{_COMPARISONS[sign]}({left}, {right})"

    def call(self, call: Call, arguments: Sequence[str]) -> str:
        return f"{called_function(call)}({', '.join(arguments)})"


def compiled(node: Node, functions: dict[str, Any]) -> Relation:
    """A relation as a function of its quantities' values by name, all in working units.

    `functions` is the namespace that it is compiled in.  The function raises KeyError for a quantity that is not
    there, TableError where a table has no row, ZeroDivisionError where a divisor vanishes and OverflowError where a
    power grows too large.
    """
    source = fold(node, _Source(lambda name: f"values[{name!r}]"))
    relation: Relation = eval(f"lambda values: {source}", functions)
    return relation


def by_place(node: Node, functions: Functions) -> Callable[[Sequence[float]], float]:
    """The same for a tree whose names are places in a sequence of values."""
    source = fold(node, _Source(lambda name: f"values[{int(name)}]"))
    run: Callable[[Sequence[float]], float] = eval(f"lambda values: {source}", {"__builtins__": {}, **functions})
    return run


def in_a_row(steps: Mapping[str, Node], functions: Functions) -> Numeric:
    """Steps, each of which may use the earlier ones, as one function of what they rest on by name (working units).

    It returns the value of each step by name, and raises what the relations raise, as in `compiled`.
    """
    places = {name: f"value_{index}" for index, name in enumerate(steps)}
    source = _Source(lambda name: places.get(name, f"values[{name!r}]"))
    assignments = (f"{name!r}: ({places[name]} := {fold(tree, source)})" for name, tree in steps.items())
    calls = {called_function(node) for tree in steps.values() for node in walk(tree)} & functions.keys()
    namespace = {"__builtins__": {}, **{name: functions[name] for name in calls}}  # no more is kept than it calls
    run: Numeric = eval(f"lambda values: {{{', '.join(assignments)}}}", namespace)
    return run


def called_function(node: Node) -> str:
    """The name of the function that a node calls; '' if it calls none."""
    match node:
        case Comparison(sign, _, _):
            return _COMPARISONS[sign]
        case Call(function, _, table):
            return f"{function}__{table}" if table else function
        case _:
            return ""


def literal_value(literal: Literal) -> float:
    """What a literal is in working units."""
    return conversion(literal.unit).to_working(float(literal.text))

"""Expressions of a working: their parts, their values, and how far the typed digits leave the value open."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from operator import mul
from typing import Any

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedInput
from lark.lexer import Lexer

from tutor.entries.unit_names import COUNT
from tutor.expression.evaluate import ROUND, Functions, by_place
from tutor.expression.tree import Call, Name, Negative, Node, Operation, walk

HIGHEST_POWER = 12  # above all that a working raises to, and far below what takes long


@dataclass(frozen=True)
class Number:
    """A number as typed: `unit` is None where none was typed, 'count' where things were counted."""

    value: float
    half_width: float
    digits: int
    unit: str | None
    text: str

    @property
    def is_whole(self) -> bool:
        """Whether it was typed without decimals."""
        return self.half_width >= 0.5

    @property
    def measured_in(self) -> str:
        """The unit typed, if it measures something; '' for a bare number and a count."""
        return "" if self.unit in (None, COUNT) else str(self.unit)

    @property
    def bare(self) -> "Number":
        """The same number without its unit."""
        return replace(self, unit=None)


@dataclass(frozen=True)
class Symbol:
    """A quantity by a name of its own: all that it may stand for; none where it is not known."""

    names: tuple[str, ...]
    text: str


Leaf = Number | Symbol
_ONE = Number(1.0, 0.0, 15, None, "1")


@dataclass(frozen=True)
class Expression:
    """One side of an equals sign: a tree whose names are the places of its leaves.

    `remarks` are the words within and behind it that are no part of the calculation.
    """

    tree: Node
    leaves: tuple[Leaf, ...]
    text: str
    remarks: str = ""

    @cached_property
    def run(self) -> Callable[[Sequence[float]], float]:
        """The calculation as a function of its leaves' values."""
        return by_place(self.tree, _FUNCTIONS)

    @property
    def number(self) -> Number | None:
        """The number, signed, if it is nothing but one."""
        match self.tree, self.leaves[0]:
            case Name(), Number() as number:
                return number
            case Negative(Name()), Number(value, text=text) as number:
                return replace(number, value=-value, text=f"−{text}")
        return None

    @property
    def numbers(self) -> list[Number]:
        """The numbers in it."""
        return [leaf for leaf in self.leaves if isinstance(leaf, Number)]

    @property
    def is_symbolic(self) -> bool:
        """Whether a quantity stands in it by its symbol."""
        return any(isinstance(leaf, Symbol) for leaf in self.leaves)

    @property
    def first_leaf(self) -> Leaf | None:
        """The leaf at the very left, if nothing but operations between two stand above it."""
        node = self.tree
        while isinstance(node, Operation) or (isinstance(node, Call) and node.function == "measured"):
            node = node.left if isinstance(node, Operation) else node.arguments[0]
        return self.leaves[int(node.id)] if isinstance(node, Name) else None


class UnreadError(ValueError):
    """A line that cannot be read; the message says why, and what to type instead."""


def _power(base: float, exponent: float) -> float:
    if abs(exponent) > HIGHEST_POWER:
        raise OverflowError
    result = base**exponent
    if isinstance(result, complex):
        raise ValueError("a root of a negative number")
    return float(result)


OF_SEVERAL = frozenset({"least", "greatest"})
_FUNCTIONS: Functions = {
    **ROUND,
    "least": lambda *values: min(values),
    "greatest": lambda *values: max(values),
    "sqrt": math.sqrt,
    "power": _power,
    "measured": mul,  # a bracket with a unit behind it
}


def value_of(expression: Expression, numbers: Sequence[float]) -> float:
    """The value of an expression with these numbers for its leaves.

    Raises ZeroDivisionError, OverflowError or ValueError where there is none.
    """
    value = expression.run(numbers)
    if not math.isfinite(value):
        raise OverflowError
    return value


def spread_of(expression: Expression, numbers: Sequence[float], half_widths: Sequence[float]) -> float:
    """How far the value may lie off because each leaf does, to first order."""
    middle = value_of(expression, numbers)
    spread = 0.0
    for place, half_width in enumerate(half_widths):
        if half_width:
            shifted = [*numbers]
            shifted[place] += half_width
            spread += abs(value_of(expression, shifted) - middle)
    return spread


class _Ready(Lexer):
    """Hands on tokens that are made already."""

    def __init__(self, _conf: Any) -> None:
        pass

    def lex(self, data: Any, _parser_state: Any = None) -> Any:
        """Give the tokens."""
        return iter(data)


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark.open("working.lark", rel_to=__file__, parser="lalr", lexer=_Ready)


def parsed(tokens: Sequence[Token], leaves: Sequence[Leaf], text: str) -> Expression | None:
    """The expression that the tokens make, those of leaves holding their places; None if they make none.

    Raises UnreadError, with a sentence, where a function has more arguments than it takes.
    """
    try:
        tree = _parser().parse(tokens)
    except (UnexpectedInput, RecursionError):
        return None
    all_leaves = [*leaves]
    return Expression(_node(tree.children[0], all_leaves), tuple(all_leaves), text)


_SIGNS = {"add": "+", "subtract": "-", "multiply": "*", "divide": "/"}


def _node(branch: Tree[Any] | Any, leaves: list[Leaf]) -> Node:
    """A parsed branch as a tree of relations; what per cent of a whole are taken of joins the leaves."""
    if isinstance(branch, Token):
        return Name(str(branch))
    function, *children = branch.children if branch.data == "call" else (branch.data, *branch.children)
    if branch.data == "call" and function not in OF_SEVERAL and len(children) > 1:
        name = "square root" if function == "sqrt" else str(function).replace("_", " ")
        raise UnreadError(
            f"The function “{name}” works with one number, and {len(children)} stand in its parentheses. "
            "Write each calculation on its own."
        )
    parts = tuple(_node(child, leaves) for child in children)
    match branch.data:
        case "leaf":
            return parts[0]
        case "negate":
            return Negative(parts[0])
        case "call" | "power" | "measured":
            return Call(str(function), parts)
    sign, (left, right) = _SIGNS[branch.data], parts
    if sign in "+-" and _is_share_of(left, right, leaves):
        leaves.append(_ONE)
        return Operation("*", left, Operation(sign, Name(str(len(leaves) - 1)), right))
    return Operation(sign, left, right)


def _is_share_of(whole: Node, part: Node, leaves: Sequence[Leaf]) -> bool:
    """Whether a part in per cent is meant of the whole before it, as a calculator takes 40 V + 12 %; not of 1."""
    if not (isinstance(part, Name) and getattr(leaves[int(part.id)], "unit", None) == "%"):
        return False
    within = [leaves[int(node.id)] for node in walk(whole) if isinstance(node, Name)]
    if isinstance(whole, Name) and isinstance(leaf := within[0], Number) and leaf.unit is None:
        return leaf.value > 1
    units = {leaf.unit for leaf in within if isinstance(leaf, Number)}
    return "%" not in units and bool(units - {None, COUNT})

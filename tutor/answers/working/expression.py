"""Expressions of a working: their parts, their values, and how far the typed digits leave the value open."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedInput
from lark.lexer import Lexer

HIGHEST_POWER = 12


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


@dataclass(frozen=True)
class Symbol:
    """A quantity by a name of its own: all that it may stand for; none where it is not known."""

    names: tuple[str, ...]
    text: str


Leaf = Number | Symbol
_ONE = Number(1.0, 0.0, 15, None, "1")


@dataclass(frozen=True)
class At:
    """The leaf at this place of an expression's leaves."""

    place: int


@dataclass(frozen=True)
class Applied:
    """An operation on parts."""

    operation: str
    parts: tuple["Term", ...]


Term = At | Applied


@dataclass(frozen=True)
class Expression:
    """One side of an equals sign; `remarks` are the words within and behind it that are no part of the calculation."""

    term: Term
    leaves: tuple[Leaf, ...]
    text: str
    remarks: str = ""

    @property
    def number(self) -> Number | None:
        """The number, signed, if it is nothing but one."""
        if isinstance(self.term, At):
            leaf = self.leaves[0]
            return leaf if isinstance(leaf, Number) else None
        if self.term == Applied("negate", (At(0),)) and isinstance(self.leaves[0], Number):
            one = self.leaves[0]
            return Number(-one.value, one.half_width, one.digits, one.unit, f"−{one.text}")
        return None

    @property
    def is_symbolic(self) -> bool:
        """Whether a quantity stands in it by its symbol."""
        return any(isinstance(leaf, Symbol) for leaf in self.leaves)

    @property
    def first_leaf(self) -> Leaf | None:
        """The leaf at the very left, if nothing but operations between two stand above it."""
        term = self.term
        while isinstance(term, Applied) and term.operation in ("add", "subtract", "multiply", "measured", "divide"):
            term = term.parts[0]
        return self.leaves[term.place] if isinstance(term, At) else None


class UnreadError(ValueError):
    """A line that cannot be read; the message says why, and what to type instead."""


def _power(base: float, exponent: float) -> float:
    if abs(exponent) > HIGHEST_POWER:
        raise OverflowError
    result = base**exponent
    if isinstance(result, complex):
        raise ValueError("a root of a negative number")
    return float(result)


OPERATIONS: Mapping[str, Callable[..., float]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "measured": lambda a, unit: a * unit,
    "divide": lambda a, b: a / b,
    "negate": lambda a: -a,
    "raise_to": _power,
    "square root": math.sqrt,
    "round down": lambda a: float(math.floor(a + 1e-9)),
    "round up": lambda a: float(math.ceil(a - 1e-9)),
    "least": lambda *all_: min(all_),
    "greatest": lambda *all_: max(all_),
}


def value_of(term: Term, numbers: Sequence[float]) -> float:
    """The value of a term with these numbers for its leaves.

    Raises ZeroDivisionError, OverflowError or ValueError where there is none.
    """
    if isinstance(term, At):
        return numbers[term.place]
    value = OPERATIONS[term.operation](*(value_of(part, numbers) for part in term.parts))
    if not math.isfinite(value):
        raise OverflowError
    return value


def spread_of(term: Term, numbers: Sequence[float], half_widths: Sequence[float]) -> float:
    """How far the value may lie off because each leaf does, to first order."""
    middle = value_of(term, numbers)
    spread = 0.0
    for place, half_width in enumerate(half_widths):
        if half_width:
            moved = [*numbers]
            moved[place] += half_width
            spread += abs(value_of(term, moved) - middle)
    return spread


class _Given(Lexer):
    """Hands on tokens that are made already."""

    def __init__(self, _conf: Any) -> None:
        pass

    def lex(self, data: Any, _parser_state: Any = None) -> Any:
        """Give the tokens."""
        return iter(data)


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark.open("working.lark", rel_to=__file__, parser="lalr", lexer=_Given)


def parsed(tokens: Sequence[Token], leaves: Sequence[Leaf], text: str) -> Expression | None:
    """The expression that the tokens make; None if they make none."""
    try:
        tree = _parser().parse(tokens)
    except (UnexpectedInput, RecursionError):
        return None
    found: list[Leaf] = []
    return Expression(_term(tree.children[0], leaves, found), tuple(found), text)


def _term(branch: Tree[Any] | Any, leaves: Sequence[Leaf], found: list[Leaf]) -> Term:
    if branch.data == "leaf":
        found.append(leaves[int(str(branch.children[0]))])
        return At(len(found) - 1)
    if branch.data == "measured":
        inner = _term(branch.children[0], leaves, found)
        found.append(leaves[int(str(branch.children[1]))])
        return Applied("measured", (inner, At(len(found) - 1)))
    if branch.data == "call":
        function, *arguments = branch.children
        return Applied(str(function), tuple(_term(one, leaves, found) for one in arguments))
    parts = tuple(_term(one, leaves, found) for one in branch.children)
    if branch.data in ("add", "subtract") and _is_share_of_it(parts[0], parts[1], found):
        found.append(_ONE)
        return Applied("multiply", (parts[0], Applied(branch.data, (At(len(found) - 1), parts[1]))))
    return Applied(branch.data, parts)


def _is_share_of_it(whole: Term, part: Term, leaves: Sequence[Leaf]) -> bool:
    """Whether a part in per cent is meant of the whole before it, as a calculator takes 40 V + 12 %; not of 1."""
    if not isinstance(part, At) or not (isinstance(share := leaves[part.place], Number) and share.unit == "%"):
        return False
    if isinstance(whole, At) and isinstance(leaf := leaves[whole.place], Number) and leaf.unit is None:
        return leaf.value > 1
    units = {leaf.unit for leaf in _leaves_of(whole, leaves) if isinstance(leaf, Number)}
    return "%" not in units and bool(units - {None, "count"})


def _leaves_of(term: Term, leaves: Sequence[Leaf]) -> Iterator[Leaf]:
    if isinstance(term, At):
        yield leaves[term.place]
    else:
        for part in term.parts:
            yield from _leaves_of(part, leaves)

"""Expressions of a working: their parts, their values, and how far the typed digits leave the value open."""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
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

    @cached_property
    def run(self) -> Callable[..., float]:
        """The calculation as a function of its leaves' values."""
        leaves = ", ".join(f"n{place}" for place in range(len(self.leaves)))
        run: Callable[..., float] = eval(f"lambda {leaves}: {_source(self.term)}", _NAMESPACE)
        return run

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


# Python for each operation: a calculation is tried with many numbers, and compiled it is tried a hundred times faster.
_SOURCES: Mapping[str, str] = {
    "add": "({} + {})",
    "subtract": "({} - {})",
    "multiply": "({} * {})",
    "measured": "({} * {})",
    "divide": "({} / {})",
    "negate": "-{}",
    "raise_to": "power({}, {})",
    "square root": "sqrt({})",
    "round down": "float(floor({} + 1e-9))",
    "round up": "float(ceil({} - 1e-9))",
    "least": "min(({},))",
    "greatest": "max(({},))",
}
OF_SEVERAL = frozenset({"least", "greatest"})
_NAMESPACE = {"power": _power, "sqrt": math.sqrt, "floor": math.floor, "ceil": math.ceil}


def _source(term: Term) -> str:
    """Python for a term; leaves become numbered names, so that nothing of what was typed can get in."""
    if isinstance(term, At):
        return f"n{term.place}"
    inside = [_source(part) for part in term.parts]
    if term.operation in OF_SEVERAL:
        return _SOURCES[term.operation].format(", ".join(inside))
    return _SOURCES[term.operation].format(*inside)


def value_of(expression: Expression, numbers: Sequence[float]) -> float:
    """The value of an expression with these numbers for its leaves.

    Raises ZeroDivisionError, OverflowError or ValueError where there is none.
    """
    value = expression.run(*numbers)
    if not math.isfinite(value):
        raise OverflowError
    return value


def spread_of(expression: Expression, numbers: Sequence[float], half_widths: Sequence[float]) -> float:
    """How far the value may lie off because each leaf does, to first order."""
    middle = value_of(expression, numbers)
    spread = 0.0
    for place, half_width in enumerate(half_widths):
        if half_width:
            moved = [*numbers]
            moved[place] += half_width
            spread += abs(value_of(expression, moved) - middle)
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
    """The expression that the tokens make; None if they make none.

    Raises UnreadError, with a sentence, where a function has more arguments than it takes.
    """
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
        if function not in OF_SEVERAL and len(arguments) > 1:
            raise UnreadError(
                f"The function “{function}” works with one number, and {len(arguments)} stand in its parentheses. "
                "Write each calculation on its own."
            )
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

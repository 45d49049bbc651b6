"""Relations and workings as trees: their nodes, how a tree is taken apart, and the one fold that evaluates it."""

import operator
from abc import ABC
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from hashlib import blake2b
from typing import Any, Generic, TypeVar

Value = TypeVar("Value")

ROUNDINGS = frozenset({"round_down", "round_up", "round_nearest"})
COMPARED = frozenset({"least", "greatest"})
# function: the kind of step, and how many values it takes beside the table's name
TABLE_FUNCTIONS = {
    "look_up": ("look up", 1, 4),
    "first_at_least": ("choose", 1, 1),
    "last_at_most": ("choose", 1, 1),
    "next_below": ("choose", 1, 1),
    "first_size": ("choose", 1, 4),
    "first_size_above": ("choose", 1, 4),
    "first_size_at_most": ("choose", 1, 4),
    "trace": ("trace", 0, 1),
}

_OPPOSITE = {"+": "-", "-": "+", "*": "/", "/": "*"}
_OPERATORS: Mapping[str, Callable[[Any, Any], Any]] = {
    "+": operator.add,
    "-": operator.sub,
    "*": operator.mul,
    "/": operator.truediv,
}
_PRIME = 2**61 - 1


class RelationError(ValueError):
    """A relation that cannot be read, or that breaks a rule of the algebra; the message says which and how to mend."""


@dataclass(frozen=True)
class Literal:
    """A number written in a relation, with its unit ('' for a pure number)."""

    text: str
    unit: str = ""


@dataclass(frozen=True)
class Name:
    """A quantity of the glossary."""

    id: str


@dataclass(frozen=True)
class Operation:
    """Two terms or factors joined by +, -, * or /."""

    sign: str
    left: "Node"
    right: "Node"


@dataclass(frozen=True)
class Negative:
    """A term with a minus before it."""

    operand: "Node"


@dataclass(frozen=True)
class Power:
    """A small whole power."""

    base: "Node"
    exponent: int


@dataclass(frozen=True)
class Call:
    """A rounding, a least or greatest, or a table used: `table` is '' where there is none."""

    function: str
    arguments: tuple["Node", ...]
    table: str = ""


@dataclass(frozen=True)
class Rule:
    """A single figure of the rulebook, such as rule(continuous_factor); a question puts its value in its place."""

    figure: str


@dataclass(frozen=True)
class Comparison:
    """A limit: left <= right or left >= right."""

    sign: str
    left: "Node"
    right: "Node"


Node = Literal | Name | Operation | Negative | Power | Call | Rule | Comparison


class Arithmetic(ABC, Generic[Value]):
    """What the nodes of a tree come to, each from what its parts come to, and by Python's operators if nothing is said.

    The values may be numbers, arrays, intervals, dimensions, expressions of a library, or text.
    A method raises TypeError for what has no value in this arithmetic.
    """

    def leaf(self, leaf: "Name | Literal | Rule") -> Value:
        """A quantity, a number, or a figure of the rulebook."""
        raise TypeError(f"{leaf} has no value of its own")

    def operation(self, sign: str, left: Value, right: Value) -> Value:
        """Two terms or factors joined."""
        result: Value = _OPERATORS[sign](left, right)
        return result

    def negative(self, operand: Value) -> Value:
        """A term with its sign turned."""
        return -operand  # type: ignore[operator,no-any-return]

    def power(self, base: Value, exponent: int) -> Value:
        """A small whole power."""
        return base**exponent  # type: ignore[operator,no-any-return]

    def comparison(self, sign: str, left: Value, right: Value) -> Value:
        """A limit."""
        raise TypeError(f"{left} {sign} {right} has no value here")

    def call(self, call: "Call", arguments: Sequence[Value]) -> Value:
        """A function of these values."""
        raise TypeError(f"{call.function} of {arguments} has no value here")


def fold(node: Node, arithmetic: Arithmetic[Value]) -> Value:
    """What a tree comes to in an arithmetic."""
    match node:
        case Operation(sign, left, right):
            return arithmetic.operation(sign, fold(left, arithmetic), fold(right, arithmetic))
        case Negative(operand):
            return arithmetic.negative(fold(operand, arithmetic))
        case Power(base, exponent):
            return arithmetic.power(fold(base, arithmetic), exponent)
        case Comparison(sign, left, right):
            return arithmetic.comparison(sign, fold(left, arithmetic), fold(right, arithmetic))
        case Call(_, arguments, _):
            return arithmetic.call(node, [fold(argument, arithmetic) for argument in arguments])
        case _:
            return arithmetic.leaf(node)


def parts(node: Node) -> tuple[Node, ...]:
    """The direct parts of a node, left to right."""
    match node:
        case Operation(_, left, right) | Comparison(_, left, right):
            return (left, right)
        case Negative(operand):
            return (operand,)
        case Power(base, _):
            return (base,)
        case Call(_, arguments, _):
            return arguments
        case _:
            return ()


def walk(node: Node) -> Iterator[Node]:
    """Every node of a tree, the root first."""
    yield node
    for part in parts(node):
        yield from walk(part)


def names(node: Node) -> frozenset[str]:
    """The quantities that a relation speaks of."""
    return frozenset(leaf.id for leaf in walk(node) if isinstance(leaf, Name))


def rebuilt(node: Node, new: Sequence[Node]) -> Node:
    """The same node with other parts."""
    match node:
        case Operation(sign, _, _):
            return Operation(sign, *new)
        case Comparison(sign, _, _):
            return Comparison(sign, *new)
        case Negative(_):
            return Negative(*new)
        case Power(_, exponent):
            return Power(new[0], exponent)
        case Call(function, _, table):
            return Call(function, tuple(new), table)
        case _:
            return node


def replaced(node: Node, new: Callable[[Name | Rule | Call], Node]) -> Node:
    """The same tree with each name, each rule and each call, from the inside out, replaced by what `new` gives."""
    outer = rebuilt(node, [replaced(part, new) for part in parts(node)])
    return new(outer) if isinstance(outer, Name | Rule | Call) else outer


def replace_names(node: Node, new: Callable[[str], Node]) -> Node:
    """The same tree with each name replaced by `new(name)`."""
    return replaced(node, lambda part: new(part.id) if isinstance(part, Name) else part)


def isolated(name: str, left: Node, right: Node) -> Node | None:
    """What `name` equals if left = right, by taking away one operation after the other, as one does on paper.

    None if the name does not stand in exactly one place, or stands where that does not lead on.
    """
    if sum(part == Name(name) for side in (left, right) for part in walk(side)) != 1:
        return None
    target, tree = (right, left) if name in names(left) else (left, right)
    while tree != Name(name):
        match tree:
            case Operation(sign, first, second) if name in names(first):
                target, tree = Operation(_OPPOSITE[sign], target, second), first
            case Operation("+" | "*" as sign, first, second):
                target, tree = Operation(_OPPOSITE[sign], target, first), second
            case Operation(sign, first, second):
                target, tree = Operation(sign, first, target), second
            case Negative(operand):
                target, tree = Negative(target), operand
            case _:
                return None
    return target


def kind(node: Node) -> str:
    """The kind of step that a relation is: solve, round, look up, choose, compare or trace."""
    match node:
        case Comparison():
            return "compare"
        case Call(function, _, _) if function in ROUNDINGS:
            return "round"
        case Call(function, _, _) if function in COMPARED:
            return "compare"
        case Call(function, _, _):
            return TABLE_FUNCTIONS[function][0]
        case _:
            return "solve"


def is_smooth(node: Node) -> bool:
    """Whether a relation can be turned round: it rounds nothing and uses no table."""
    return not any(isinstance(part, Call | Comparison) for part in walk(node))


Term = tuple[Node, bool]  # a term and whether it is added, or a factor and whether it multiplies


def terms(node: Node) -> Iterator[Term]:
    """The terms of a sum, left to right; a node that is no sum is its only term."""
    return _chain(node, "+", plain=True)


def factors(node: Node) -> Iterator[Term]:
    """The factors of a product, left to right; a node that is no product is its only factor."""
    return _chain(node, "*", plain=True)


def _chain(node: Node, joins: str, *, plain: bool) -> Iterator[Term]:
    match node:
        case Operation(sign, left, right) if sign in (joins, _OPPOSITE[joins]):
            yield from _chain(left, joins, plain=plain)
            yield from _chain(right, joins, plain=plain == (sign == joins))
        case _:
            yield node, plain


def joined(chain: Sequence[Term], joins: str) -> Node:
    """A sum ('+') of terms or a product ('*') of factors; one of them at least is added, or multiplies."""
    first = next(place for place, (_, plain) in enumerate(chain) if plain)
    tree = chain[first][0]
    for part, plain in [*chain[:first], *chain[first + 1 :]]:
        tree = Operation(joins if plain else _OPPOSITE[joins], tree, part)
    return tree


class _Residues(Arithmetic[int]):
    """Numbers modulo a prime; names, literals with a unit, and calls are drawn from it."""

    def leaf(self, leaf: Name | Literal | Rule) -> int:
        if isinstance(leaf, Literal) and not leaf.unit:
            value = Fraction(leaf.text)
            return value.numerator * pow(value.denominator, -1, _PRIME) % _PRIME
        return _drawn(leaf)

    def operation(self, sign: str, left: int, right: int) -> int:
        if sign == "/":
            return left * pow(right, _PRIME - 2, _PRIME) % _PRIME  # Fermat: the inverse, and 0 for 0
        return super().operation(sign, left, right) % _PRIME

    def negative(self, operand: int) -> int:
        return -operand % _PRIME

    def power(self, base: int, exponent: int) -> int:
        return pow(base, exponent, _PRIME)

    def comparison(self, sign: str, left: int, right: int) -> int:
        return _drawn((sign, left, right))

    def call(self, call: Call, arguments: Sequence[int]) -> int:
        return _drawn((call.function, call.table, *arguments))


@lru_cache(maxsize=8192)
def _drawn(symbol: object) -> int:
    return int.from_bytes(blake2b(repr(symbol).encode(), digest_size=8).digest()) % _PRIME


def residue(node: Node) -> int:
    """What a relation comes to modulo a prime, each name, literal with a unit and call being a number drawn from it.

    Two relations that are the same arithmetic have the same residue, two others but by a chance of 10⁻¹⁷ not (the
    lemma of Schwartz and Zippel).
    """
    return fold(node, _Residues())

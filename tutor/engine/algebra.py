"""Relations as people of the trade write them: the grammar's tree, and nothing that runs.

`parse('module_voc * (1 + voc_coefficient * (record_low - 25 degC))')` gives a tree of the small classes below.
Whatever a file holds, reading it only ever builds this tree.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from hashlib import blake2b

from lark import Lark, Transformer
from lark.exceptions import UnexpectedInput

from tutor.units import LONGEST_UNIT, UnitError, conversion

MAX_LENGTH = 600
_PRIME = 2**61 - 1
# Bounds of one relation, far above what a line on paper holds: no part of the program takes long over what keeps them.
MOST_PARTS = 80
DEEPEST = 30
HIGHEST_POWER = 9  # also of a power of a power
MOST_DIGITS = 15  # before and behind the decimal mark

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


class _Builder(Transformer):  # type: ignore[type-arg]
    def start(self, items: list[Node]) -> Node:
        return items[0]

    def comparison(self, items: list[object]) -> Node:
        return Comparison(str(items[1]), items[0], items[2])  # type: ignore[arg-type]

    def operation(self, items: list[object]) -> Node:
        return Operation(str(items[1]), items[0], items[2])  # type: ignore[arg-type]

    def negative(self, items: list[object]) -> Node:
        return Negative(items[1])  # type: ignore[arg-type]

    def power(self, items: list[object]) -> Node:
        return Power(items[0], int(str(items[1])))  # type: ignore[arg-type]

    def literal(self, items: list[object]) -> Node:
        number, unit = str(items[0]), str(items[1] or "")
        if max(map(len, number.split("."))) > MOST_DIGITS:
            raise RelationError(f"the number {number[:20]}... is too long; write {MOST_DIGITS} digits at the most")
        if len(unit) > LONGEST_UNIT:
            raise RelationError(f"the unit '{unit[:LONGEST_UNIT]}...' is longer than {LONGEST_UNIT} characters")
        conversion(unit)
        return Literal(number, unit)

    def name(self, items: list[object]) -> Node:
        return Name(str(items[0]))

    def call(self, items: list[object]) -> Node:
        function, arguments = str(items[0]), tuple(items[1:])
        if function in TABLE_FUNCTIONS:
            _, fewest, most = TABLE_FUNCTIONS[function]
            table, *values = arguments
            if not (isinstance(table, Name) and fewest <= len(values) <= most):
                raise RelationError(f"{function} takes a table's name and values: {function}(table_name, quantity)")
            return Call(function, tuple(values), table.id)  # type: ignore[arg-type]
        if function == "rule":
            if len(arguments) != 1 or not isinstance(arguments[0], Name):
                raise RelationError("rule takes the name of a figure of the rulebook: rule(continuous_factor)")
            return Rule(arguments[0].id)
        wanted = {**dict.fromkeys(ROUNDINGS, (1, 1)), **dict.fromkeys(COMPARED, (2, 6))}.get(function)
        if wanted is None:
            known = ", ".join(sorted(ROUNDINGS | COMPARED | TABLE_FUNCTIONS.keys()))
            raise RelationError(f"'{function}' is not a function of relations; there are {known}")
        if not wanted[0] <= len(arguments) <= wanted[1]:
            raise RelationError(f"{function} takes {wanted[0]} to {wanted[1]} values, not {len(arguments)}")
        return Call(function, arguments)  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def _parser() -> Lark:
    # Built while it is read, without recursion: a tree may be too deep for that before its depth is looked at.
    return Lark.open("algebra.lark", rel_to=__file__, parser="lalr", maybe_placeholders=True, transformer=_Builder())


@lru_cache(maxsize=4096)
def parse(text: str) -> Node:
    """Read a relation or a limit.

    Raises RelationError, pointing at the place, for anything that is not plain algebra.
    """
    if len(text) > MAX_LENGTH:
        raise RelationError(f"a relation may have {MAX_LENGTH} characters; this one has {len(text)}")
    try:
        return _bounded(_parser().parse(text))  # type: ignore[arg-type]
    except UnexpectedInput as error:
        at = min(max(error.pos_in_stream or 0, 0), len(text)) if text.strip() else 0
        raise RelationError(f"cannot be read from here on: '{text[at : at + 20]}'. {_EXPECTED}") from error
    except UnitError as error:
        raise RelationError(str(error)) from error


def _bounded(tree: Node) -> Node:
    """A tree that nothing takes long over. Raises RelationError for a larger one."""
    open_parts = [(tree, 1, 1)]
    seen = 0
    while open_parts:
        node, depth, power = open_parts.pop()
        seen += 1
        if seen > MOST_PARTS:
            raise RelationError(f"a relation may have {MOST_PARTS} numbers, names, and signs; split it into steps")
        if depth > DEEPEST:
            raise RelationError(f"a relation may be nested {DEEPEST} deep; split it into steps")
        if isinstance(node, Power):
            power *= node.exponent
            if power > HIGHEST_POWER:
                raise RelationError(f"powers of powers may come to {HIGHEST_POWER} in all; split it into steps")
        open_parts += [(part, depth + 1, power) for part in parts(node)]
    return tree


_EXPECTED = "Write plain algebra: names, numbers with units, + - * / ^ ( ) and the functions of relations."


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
    return frozenset(found.id for found in walk(node) if isinstance(found, Name))


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
    whole = rebuilt(node, [replaced(part, new) for part in parts(node)])
    return new(whole) if isinstance(whole, Name | Rule | Call) else whole


def replace_names(node: Node, new: Callable[[str], Node]) -> Node:
    """The same tree with each name replaced by `new(name)`."""
    return replaced(node, lambda found: new(found.id) if isinstance(found, Name) else found)


def isolated(name: str, left: Node, right: Node) -> Node | None:
    """What `name` equals if left = right, by taking away one operation after the other, as one does on paper.

    None if the name does not stand in exactly one place, or stands where that does not lead on.
    """
    if sum(found == Name(name) for side in (left, right) for found in walk(side)) != 1:
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
    return not any(isinstance(found, Call | Comparison) for found in walk(node))


@lru_cache(maxsize=8192)
def residue(node: Node) -> int:
    """What a relation comes to modulo a prime, each name, literal with a unit and call being a number drawn from it.

    Two relations that are the same arithmetic have the same residue, two others but by a chance of 10⁻¹⁷ not (the
    lemma of Schwartz and Zippel).
    """
    match node:
        case Literal(text, ""):
            value = Fraction(text)
            return value.numerator * pow(value.denominator, -1, _PRIME) % _PRIME
        case Operation(sign, left, right):
            one, other = residue(left), residue(right)
            if sign in "+-":
                return (one + other if sign == "+" else one - other) % _PRIME
            return one * (other if sign == "*" else pow(other, _PRIME - 2, _PRIME)) % _PRIME
        case Negative(operand):
            return -residue(operand) % _PRIME
        case Power(base, exponent):
            return pow(residue(base), exponent, _PRIME)
        case Literal() | Name() | Rule():
            drawn = repr(node)
        case Comparison(sign, left, right):
            drawn = repr((sign, residue(left), residue(right)))
        case Call(function, arguments, table):
            drawn = repr((function, table, *map(residue, arguments)))
    return int.from_bytes(blake2b(drawn.encode(), digest_size=8).digest()) % _PRIME

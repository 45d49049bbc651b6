"""Relations as people of the trade write them: the grammar, and nothing that runs.

`parse('module_voc * (1 + voc_coefficient * (record_low - 25 degC))')` gives a tree of the small classes of `tree.py`.
Whatever a file holds, reading it only ever builds such a tree.
"""

from functools import lru_cache

from lark import Lark, Transformer
from lark.exceptions import UnexpectedInput

from tutor.base.units import LONGEST_UNIT, UnitError, conversion
from tutor.expression.tree import (
    COMPARED,
    ROUNDINGS,
    TABLE_FUNCTIONS,
    Call,
    Comparison,
    Literal,
    Name,
    Negative,
    Node,
    Operation,
    Power,
    RelationError,
    Rule,
    parts,
)

MAX_LENGTH = 600
# Bounds of one relation, far above what a line on paper holds: no part of the program takes long over what keeps them.
MOST_PARTS = 80
DEEPEST = 30
HIGHEST_POWER = 9  # also of a power of a power
MOST_DIGITS = 15  # before and behind the decimal mark
_EXPECTED = "Write plain algebra: names, numbers with units, + - * / ^ ( ) and the functions of relations."


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
            functions = ", ".join(sorted(ROUNDINGS | COMPARED | TABLE_FUNCTIONS.keys()))
            raise RelationError(f"'{function}' is not a function of relations; there are {functions}")
        if not wanted[0] <= len(arguments) <= wanted[1]:
            raise RelationError(f"{function} takes {wanted[0]} to {wanted[1]} values, not {len(arguments)}")
        return Call(function, arguments)  # type: ignore[arg-type]


@lru_cache(maxsize=1)
def _parser() -> Lark:
    # Built while it is read, without recursion: a tree may be too deep for that before its depth is looked at.
    return Lark.open("grammar.lark", rel_to=__file__, parser="lalr", maybe_placeholders=True, transformer=_Builder())


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
        position = min(max(error.pos_in_stream or 0, 0), len(text)) if text.strip() else 0
        raise RelationError(f"cannot be read from here on: '{text[position : position + 20]}'. {_EXPECTED}") from error
    except UnitError as error:
        raise RelationError(str(error)) from error


def _bounded(tree: Node) -> Node:
    """A tree that nothing takes long over. Raises RelationError for a larger one."""
    open_parts = [(tree, 1, 1)]
    nodes = 0
    while open_parts:
        node, depth, power = open_parts.pop()
        nodes += 1
        if nodes > MOST_PARTS:
            raise RelationError(f"a relation may have {MOST_PARTS} numbers, names, and signs; split it into steps")
        if depth > DEEPEST:
            raise RelationError(f"a relation may be nested {DEEPEST} deep; split it into steps")
        if isinstance(node, Power):
            power *= node.exponent
            if power > HIGHEST_POWER:
                raise RelationError(f"powers of powers may come to {HIGHEST_POWER} in all; split it into steps")
        open_parts += [(part, depth + 1, power) for part in parts(node)]
    return tree

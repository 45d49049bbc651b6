"""Single relations compiled to plain functions, without algebra: for wrong ways, and for going over a working."""

from collections.abc import Callable, Mapping
from typing import Any

from tutor.engine.algebra import Call, Comparison, Literal, Name, Negative, Node, Operation, Power
from tutor.units import conversion

Relation = Callable[[Mapping[str, float]], float]


def numeric(node: Node, functions: dict[str, Any]) -> Relation:
    """A relation as a function of its quantities' values by name, all in working units.

    `functions` is the namespace that it is compiled in.  The function raises KeyError for a quantity that is not
    there, TableError where a table has no row, ZeroDivisionError where a divisor vanishes and OverflowError where a
    power grows too large.
    """
    relation: Relation = eval(f"lambda values: {_source(node)}", functions)
    return relation


def _source(node: Node) -> str:
    """Python for a relation's tree; names become keys and literals numbers, so that nothing else can get in."""
    match node:
        case Name(id_):
            return f"values[{id_!r}]"
        case Literal(text, unit):
            return repr(conversion(unit).to_working(float(text)))
        case Operation(sign, left, right):
            return f"({_source(left)} {sign} {_source(right)})"
        case Negative(operand):
            return f"(-{_source(operand)})"
        case Power(base, exponent):
            return f"({_source(base)} ** {exponent:d})"
        case Comparison(sign, left, right):
            return f"{'at_most' if sign == '<=' else 'at_least'}({_source(left)}, {_source(right)})"
        case Call(function, arguments, table):
            inside = ", ".join(map(_source, arguments))
            return f"{function}__{table}({inside})" if table else f"{function}({inside})"
        case _:
            raise TypeError(f"{node} has no value of its own")

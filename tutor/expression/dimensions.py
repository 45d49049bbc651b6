"""Proving with pint that a relation's dimensions hang together, and computing it a second way on the fly."""

from collections.abc import Mapping, Sequence
from typing import Any

import pint

from tutor.base.unit_registry import registry, registry_unit
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion, written_unit
from tutor.content.models import Quantity
from tutor.expression.evaluate import OF_RATINGS, ROUND
from tutor.expression.tree import ROUNDINGS, Arithmetic, Call, Literal, Name, Node, RelationError, Rule, fold
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.trade.transfer.trace import FACT_UNITS


def in_pint(value: float, unit: str) -> Any:
    """A pint quantity of a shown value; 'K' is a difference, 'degC' and 'degF' are points on a scale."""
    if unit in ABSOLUTE_TEMPERATURES:
        return registry.Quantity(value, unit)
    return registry.Quantity(value, "delta_degC" if unit == "K" else registry_unit(unit))


def typical(quantity: Quantity) -> Any:
    """A value in the middle of a quantity's plausible range, with its unit."""
    low, high = quantity.plausible or (0.0, 1.0)
    return in_pint((low + high) / 2, quantity.unit)


def evaluate(node: Node, values: Mapping[str, Any], rulebook: Rulebook) -> Any:
    """Compute a relation in pint quantities.

    Raises RelationError where the dimensions do not fit, in words.
    """
    try:
        return fold(node, _Pint(values, rulebook))
    except pint.OffsetUnitCalculusError as error:
        raise RelationError(
            "a temperature in °C or °F only makes sense as a difference: write (quantity - 25 degC)"
        ) from error
    except pint.DimensionalityError as error:
        raise RelationError(f"the dimensions do not fit: '{error.units1}' meets '{error.units2}'") from error
    except ZeroDivisionError as error:
        raise RelationError("a divisor is zero for typical values") from error


class _Pint(Arithmetic[Any]):
    """Pint quantities for the names' `values`, and the tables of a rulebook."""

    def __init__(self, values: Mapping[str, Any], rulebook: Rulebook) -> None:
        self.values, self.rulebook = values, rulebook

    def leaf(self, leaf: Name | Literal | Rule) -> Any:
        match leaf:
            case Literal(text, unit):
                return in_pint(float(text), unit)
            case Name(id_):
                return self.values[id_]
            case _:
                return super().leaf(leaf)

    def operation(self, sign: str, left: Any, right: Any) -> Any:
        if sign in "+-" and _is_point(left) and not _is_point(right):
            right = right.to("delta_degC")
        return super().operation(sign, left, right)

    def comparison(self, sign: str, left: Any, right: Any) -> Any:
        return in_pint(float(left <= right if sign == "<=" else left >= right), "")

    def call(self, call: Call, arguments: Sequence[Any]) -> Any:
        function = call.function
        if function in ROUNDINGS:
            return in_pint(ROUND[function](arguments[0].to("").magnitude), "")
        if not call.table:
            chosen = min if function == "least" else max
            return chosen(arguments, key=lambda value: value.to(arguments[0].units).magnitude)
        if function == "trace":
            return _fact(call.table)
        return _read(self.rulebook, call, arguments)


def _is_point(value: Any) -> bool:
    return not value._is_multiplicative


def _fact(name: str) -> Any:
    if name not in FACT_UNITS:
        raise RelationError(f"a day does not tell '{name}'; it tells {', '.join(FACT_UNITS)}")
    return in_pint(1.0, FACT_UNITS[name])


def _read(rulebook: Rulebook, call: Call, arguments: Sequence[Any]) -> Any:
    """What is read from a table."""
    if call.table not in rulebook.tables:
        raise RelationError(f"there is no table '{call.table}'; there are {', '.join(sorted(rulebook.tables))}")
    table = rulebook.tables[call.table]
    key_units = [key.unit for key in table.keys]
    units, result_unit = {
        "look_up": (key_units, table.value_unit),
        **dict.fromkeys(OF_RATINGS, ([table.value_unit], table.value_unit)),
    }.get(call.function, ([table.value_unit, *key_units[1:]], key_units[0] if key_units else ""))
    if len(arguments) != len(units):
        raise RelationError(f"the table '{call.table}' takes {len(units)} values here, not {len(arguments)}")
    values = [_working(argument, unit) for argument, unit in zip(arguments, units, strict=True)]
    try:
        result = getattr(table, call.function)(*values)
    except TableError:  # a typical value may lie outside the table; its unit is proved all the same
        return in_pint(1.0, result_unit)
    return in_pint(conversion(result_unit).to_shown(result), result_unit)


def _working(value: Any, unit: str) -> float:
    return conversion(unit).to_working(float(value.to(in_pint(1.0, unit).units).magnitude))


def check(name: str, tree: Node, quantities: Mapping[str, Quantity], rulebook: Rulebook) -> None:
    """Prove that `name = tree` joins like with like, at typical values.

    Raises RelationError with the two dimensions.
    """
    values = {id_: typical(quantity) for id_, quantity in quantities.items()}
    result = evaluate(tree, values, rulebook)
    unit = quantities[name].unit
    wanted = in_pint(1.0, unit)
    if not result.is_compatible_with(wanted.units) or _is_point(result) != _is_point(wanted):
        declared = written_unit(unit) or "a pure number"
        raise RelationError(f"{name} is declared in '{declared}', but the relation gives '{result.units}'")

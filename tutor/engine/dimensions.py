"""Proving with pint that a relation's dimensions hang together, and computing it a second way on the fly."""

from collections.abc import Mapping
from typing import Any

import pint

from tutor.content.models import Quantity
from tutor.engine.algebra import (
    ROUNDINGS,
    Call,
    Comparison,
    Literal,
    Name,
    Negative,
    Node,
    Operation,
    Power,
    RelationError,
)
from tutor.engine.day import FACT_UNITS
from tutor.engine.numeric import OF_RATINGS, ROUND
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.units import ABSOLUTE_TEMPERATURES, conversion, registry, registry_unit, written_unit


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
        return _evaluate(node, values, rulebook)
    except pint.OffsetUnitCalculusError as error:
        raise RelationError(
            "a temperature in °C or °F only makes sense as a difference: write (quantity - 25 degC)"
        ) from error
    except pint.DimensionalityError as error:
        raise RelationError(f"the dimensions do not fit: '{error.units1}' meets '{error.units2}'") from error
    except ZeroDivisionError as error:
        raise RelationError("a divisor is zero for typical values") from error


def _evaluate(node: Node, values: Mapping[str, Any], rulebook: Rulebook) -> Any:
    match node:
        case Literal(text, unit):
            return in_pint(float(text), unit)
        case Name(id_):
            return values[id_]
        case Operation("*", left, right):
            return _evaluate(left, values, rulebook) * _evaluate(right, values, rulebook)
        case Operation("/", left, right):
            return _evaluate(left, values, rulebook) / _evaluate(right, values, rulebook)
        case Operation(sign, left, right):
            first, second = _evaluate(left, values, rulebook), _evaluate(right, values, rulebook)
            if _is_point(first) and not _is_point(second):
                second = second.to("delta_degC")
            return first + second if sign == "+" else first - second
        case Negative(operand):
            return -_evaluate(operand, values, rulebook)
        case Power(base, exponent):
            return _evaluate(base, values, rulebook) ** exponent
        case Comparison(sign, left, right):
            low, high = _evaluate(left, values, rulebook), _evaluate(right, values, rulebook)
            holds = low <= high if sign == "<=" else low >= high
            return in_pint(float(holds), "")
        case Call(function, arguments, table):
            return _call(function, [_evaluate(one, values, rulebook) for one in arguments], table, rulebook)


def _is_point(value: Any) -> bool:
    return not value._is_multiplicative


def _call(function: str, arguments: list[Any], table_name: str, rulebook: Rulebook) -> Any:
    if function in ROUNDINGS:
        return in_pint(ROUND[function](arguments[0].to("").magnitude), "")
    if not table_name:
        chosen = min if function == "least" else max
        return chosen(arguments, key=lambda one: one.to(arguments[0].units).magnitude)
    if function == "trace":
        if table_name not in FACT_UNITS:
            raise RelationError(f"a day does not tell '{table_name}'; it tells {', '.join(FACT_UNITS)}")
        return in_pint(1.0, FACT_UNITS[table_name])
    if table_name not in rulebook.tables:
        raise RelationError(f"there is no table '{table_name}'; there are {', '.join(sorted(rulebook.tables))}")
    table = rulebook.tables[table_name]
    key_units = [key.unit for key in table.keys]
    given, found_in = {
        "look_up": (key_units, table.value_unit),
        **dict.fromkeys(OF_RATINGS, ([table.value_unit], table.value_unit)),
    }.get(function, ([table.value_unit, *key_units[1:]], key_units[0] if key_units else ""))
    if len(arguments) != len(given):
        raise RelationError(f"the table '{table_name}' takes {len(given)} values here, not {len(arguments)}")
    values = [_working(argument, unit) for argument, unit in zip(arguments, given, strict=True)]
    try:
        found = getattr(table, function)(*values)
    except TableError:  # a typical value may lie outside the table; its unit is proved all the same
        return in_pint(1.0, found_in)
    return in_pint(conversion(found_in).to_shown(found), found_in)


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
        told = written_unit(unit) or "a pure number"
        raise RelationError(f"{name} is declared in '{told}', but the relation gives '{result.units}'")

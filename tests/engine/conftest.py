"""A second way to work a problem out: plain Python over the relation trees, with what an honest person may round."""

import math

import pint
import pytest

from tutor.engine.algebra import Call, Comparison, Literal, Name, Negative, Operation, Power

ANY = "most-modules-in-series"
REGISTRY = pint.UnitRegistry()


def in_working_unit(number, unit):
    """A value as told in the unit that relations are worked in, by pint's own conversion."""
    if unit in ("degC", "degF"):
        return REGISTRY.Quantity(float(number), unit).to("degC").magnitude
    factors = unit.replace("%", "percent").replace("^", "**") or "dimensionless"
    return REGISTRY.Quantity(float(number), factors).to_base_units().magnitude


def evaluated(node, values, rounded, rulebook):
    """The value of a tree; `rounded` is applied to the result of every operation."""

    def inner(part):
        return evaluated(part, values, rounded, rulebook)

    match node:
        case Literal(text, unit):
            return in_working_unit(text, unit)
        case Name(id_):
            return values[id_]
        case Operation("+", left, right):
            return rounded(inner(left) + inner(right))
        case Operation("-", left, right):
            return rounded(inner(left) - inner(right))
        case Operation("*", left, right):
            return rounded(inner(left) * inner(right))
        case Operation(_, left, right):
            return rounded(inner(left) / inner(right))
        case Negative(operand):
            return -inner(operand)
        case Power(base, exponent):
            return rounded(inner(base) ** exponent)
        case Comparison("<=", left, right):
            return float(inner(left) <= inner(right) * (1 + 1e-9))
        case Comparison(_, left, right):
            return float(inner(left) * (1 + 1e-9) >= inner(right))
        case Call("round_down", (argument,), _):
            return float(math.floor(inner(argument) + 1e-9))
        case Call("round_up", (argument,), _):
            return float(math.ceil(inner(argument) - 1e-9))
        case Call("least", arguments, _):
            return min(map(inner, arguments))
        case Call("greatest", arguments, _):
            return max(map(inner, arguments))
        case Call("sqrt", (argument,), _):
            return rounded(math.sqrt(inner(argument)))
        case Call(function, (argument,), table):
            return from_table(function, inner(argument), rulebook.tables[table])
    raise AssertionError(f"an operation that a right way may not use: {node}")


def from_table(function, value, table):
    if function == "first_at_least":
        sizes = sorted(in_working_unit(row[table.value], table.value_unit) for row in table.rows)
        return next(size for size in sizes if size >= value * (1 - 1e-9))
    bands = {in_working_unit(row[table.key], table.key_unit): row[table.value] for row in table.rows}
    edge = max(key for key in bands if key <= value + 1e-9)
    return in_working_unit(bands[edge], table.value_unit)


@pytest.fixture(scope="session")
def work_out():
    """work_out(problem, rounded): the value of each step, every operation's result passed through `rounded`."""

    def work_out(problem, rounded=lambda value: value):
        values = {}
        for name, amount in problem.shown.items():
            values[name] = in_working_unit(amount.value, amount.unit)
            if amount.unit == "degF":
                values[name] = rounded(values[name])
        for step in problem.question.right.steps:
            values[step.name] = evaluated(problem.tree_of(step), values, rounded, problem.question.rulebook)
        return {step.name: values[step.name] for step in problem.question.right.steps}

    return work_out


@pytest.fixture(scope="session")
def evaluate_tree(engine):
    """evaluate_tree(tree, values, rounded): the value of one tree of the algebra."""
    return lambda tree, values, rounded: evaluated(tree, values, rounded, engine.question(ANY).rulebook)

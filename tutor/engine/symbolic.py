"""Between the relation tree and sympy: solving for any quantity, and compiling to plain numeric functions.

A literal with a unit stays a symbol ('25 degC') while sympy works, so that it keeps its unit in what is shown.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from types import MappingProxyType

import sympy
from sympy.core.function import AppliedUndef

from tutor.engine.algebra import Call, Comparison, Literal, Name, Negative, Node, Operation, Power, RelationError
from tutor.trade.counts import ROUNDING_SLACK, round_down, round_up
from tutor.trade.rulebooks import Rulebook
from tutor.units import conversion

OF_RATINGS = ("first_at_least", "last_at_most", "next_below")  # a standard size for a value of the same kind
READ_RIGHT = ("look_up", *OF_RATINGS, "first_size", "first_size_above", "first_size_at_most")
READ_BESIDE = ("row_before", "row_after", "size_before", "size_after")  # only in wrong ways

Numeric = Callable[..., Sequence[float]]
Functions = Mapping[str, Callable[..., float]]


def holds_at_most(left: float, right: float) -> bool:
    """Whether left <= right, up to the noise of floating-point arithmetic."""
    return left <= right + ROUNDING_SLACK * max(1.0, abs(right))


def round_nearest(value: float) -> float:
    """The nearest whole number; halves upwards, as people round."""
    return float(math.floor(value + 0.5))


def _root_within(low: float, high: float, *roots: float) -> float:
    """The one root inside the bounds; not a number if there is none, or more than one and so no single answer."""
    fitting = [root for root in roots if low <= root <= high]
    return fitting[0] if fitting and max(fitting) - min(fitting) <= ROUNDING_SLACK * abs(fitting[0]) else math.nan


def _real_root(value: float) -> float:
    return math.sqrt(value) if value >= 0 else math.nan


ROUND: dict[str, Callable[[float], float]] = {
    "round_down": round_down,
    "round_up": round_up,
    "round_nearest": round_nearest,
}

_FUNCTIONS: dict[str, Callable[..., float]] = {
    **ROUND,
    "least": min,
    "greatest": max,
    "at_most": lambda left, right: float(holds_at_most(left, right)),
    "at_least": lambda left, right: float(holds_at_most(right, left)),
    "root_within": _root_within,
    "sqrt": _real_root,
}


def symbol(id_: str) -> sympy.Symbol:
    """The sympy symbol of a quantity or of a literal with a unit."""
    return sympy.Symbol(id_, real=True)


@lru_cache(maxsize=8192)
def to_sympy(node: Node) -> sympy.Expr:
    """The sympy expression of a relation tree."""
    match node:
        case Literal(text, unit):
            return symbol(f"{text} {unit}") if unit else sympy.Rational(text)
        case Name(id_):
            return symbol(id_)
        case Operation("+", left, right):
            return to_sympy(left) + to_sympy(right)
        case Operation("-", left, right):
            return to_sympy(left) - to_sympy(right)
        case Operation("*", left, right):
            return to_sympy(left) * to_sympy(right)
        case Operation(_, left, right):
            return to_sympy(left) / to_sympy(right)
        case Negative(operand):
            return -to_sympy(operand)
        case Power(base, exponent):
            return to_sympy(base) ** exponent
        case Comparison(sign, left, right):
            return sympy.Function("at_most" if sign == "<=" else "at_least")(to_sympy(left), to_sympy(right))
        case Call(function, arguments, table):
            name = f"{function}__{table}" if table else function
            return sympy.Function(name)(*(to_sympy(argument) for argument in arguments))


@lru_cache(maxsize=8192)
def to_tree(expression: sympy.Expr) -> Node:
    """A sympy expression as a relation tree, its terms and factors in an order that reads well."""
    if isinstance(expression, sympy.Symbol):
        text, _, unit = expression.name.partition(" ")
        return Literal(text, unit) if unit else Name(text)
    if isinstance(expression, sympy.Rational):
        return _rational(expression)
    if isinstance(expression, sympy.Add):
        terms = sorted(expression.as_ordered_terms(), key=lambda term: term.could_extract_minus_sign())
        tree = to_tree(terms[0])
        for term in terms[1:]:
            negative = term.could_extract_minus_sign()
            tree = Operation("-" if negative else "+", tree, to_tree(-term if negative else term))
        return tree
    if isinstance(expression, sympy.Mul):
        return _product(expression)
    if isinstance(expression, sympy.Pow) and expression.exp.is_Integer:
        if expression.exp < 0:
            return _product(expression)
        return Power(to_tree(expression.base), int(expression.exp))
    if isinstance(expression, sympy.Pow) and expression.exp == sympy.Rational(1, 2):
        return Call("sqrt", (to_tree(expression.base),))
    if isinstance(expression, AppliedUndef):
        function, _, table = expression.func.__name__.partition("__")
        return Call(function, tuple(to_tree(argument) for argument in expression.args), table)
    raise RelationError(f"the solution {expression} cannot be shown as plain algebra")


def _rational(value: sympy.Rational) -> Node:
    if value < 0:
        return Negative(_rational(-value))
    whole = Literal(str(value.p))
    return whole if value.q == 1 else Operation("/", whole, Literal(str(value.q)))


def _product(expression: sympy.Expr) -> Node:
    if expression.could_extract_minus_sign():
        return Negative(to_tree(-expression))
    above, below = sympy.fraction(expression)
    tree = _factors(above)
    return tree if below == 1 else Operation("/", tree, _factors(below))


def _factors(expression: sympy.Expr) -> Node:
    factors = [to_tree(factor) for factor in sympy.Mul.make_args(expression)]
    tree = factors[0]
    for factor in factors[1:]:
        tree = Operation("*", tree, factor)
    return tree


@lru_cache(maxsize=4096)
def solve_for(unknown: str, left: Node, right: Node) -> tuple[sympy.Expr, ...]:
    """All real-valued solutions of left = right for one unknown, by sympy.

    Raises RelationError if sympy finds none.
    """
    wanted = symbol(unknown)
    try:
        roots = sympy.solve(to_sympy(left) - to_sympy(right), wanted)
    except NotImplementedError:
        roots = []
    roots = [root for root in roots if root.is_real is not False]
    if not roots:
        raise RelationError(f"the relations cannot be solved for {unknown}")
    return tuple(roots)


def best_root(roots: tuple[sympy.Expr, ...], plausible: tuple[float, float]) -> sympy.Expr:
    """One expression for several roots: the one inside the plausible range, given in working units."""
    if len(roots) == 1:
        return roots[0]
    low, high = (sympy.Float(bound) for bound in plausible)
    return sympy.Function("root_within")(low, high, *roots)


@lru_cache(maxsize=8)
def functions_of(rulebook: Rulebook) -> Functions:
    """What compiled relations may call: roundings, comparisons, and the tables of a rulebook."""
    functions = dict(_FUNCTIONS)
    for name, table in rulebook.tables.items():
        for function in (*READ_RIGHT, *READ_BESIDE):
            functions[f"{function}__{name}"] = getattr(table, function)
    return MappingProxyType(functions)


def compiled(inputs: Sequence[str], steps: Mapping[str, sympy.Expr], functions: Functions) -> Numeric:
    """Compile steps, each of which may use the earlier ones, to one function of the inputs (working units).

    The function takes the inputs in order and returns the value of each step in order.
    """
    literals: dict[sympy.Symbol, sympy.Float] = {}
    called = dict(_FUNCTIONS)  # a compiled function keeps what it is given: no more than it calls
    for expression in steps.values():
        names = {str(call.func) for call in expression.atoms(AppliedUndef)}
        called |= {name: functions[name] for name in names & functions.keys()}  # check_declaration tells the others
        for found in expression.free_symbols:
            text, _, unit = found.name.partition(" ")
            if unit:
                literals[found] = sympy.Float(conversion(unit).to_working(float(text)))
    bodies = [(symbol(name), expression.xreplace(literals)) for name, expression in steps.items()]
    outputs = [symbol(name) for name in steps]

    def in_order(_: object) -> tuple[list[tuple[sympy.Symbol, sympy.Expr]], list[sympy.Symbol]]:
        return bodies, outputs

    arguments = [symbol(name) for name in inputs]
    return sympy.lambdify(arguments, outputs, modules=[called, "math"], cse=in_order)  # type: ignore[no-any-return]

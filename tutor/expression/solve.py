"""Turning a relation round by sympy.

A literal with a unit stays a symbol ('25 degC') while sympy works, so that it keeps its unit in what is shown.
"""

from functools import lru_cache

import sympy

from tutor.expression.tree import (
    Arithmetic,
    Call,
    Literal,
    Name,
    Negative,
    Node,
    Operation,
    Power,
    RelationError,
    Rule,
    fold,
)


@lru_cache(maxsize=4096)
def solve_for(unknown: str, left: Node, right: Node) -> tuple[Node, ...]:
    """All real-valued solutions of left = right for one unknown; neither side rounds or looks up.

    Raises RelationError if sympy finds none.
    """
    try:
        roots = sympy.solve(fold(left, _Symbolic()) - fold(right, _Symbolic()), _symbol(unknown))
    except NotImplementedError:
        roots = []
    real = [root for root in roots if root.is_real is not False]
    if not real:
        raise RelationError(f"the relations cannot be solved for {unknown}")
    return tuple(map(_to_tree, real))


def _symbol(id_: str) -> sympy.Symbol:
    """The symbol of a quantity or of a literal with a unit."""
    return sympy.Symbol(id_, real=True)


class _Symbolic(Arithmetic[sympy.Expr]):
    """A tree as an expression of sympy."""

    def leaf(self, leaf: Name | Literal | Rule) -> sympy.Expr:
        match leaf:
            case Literal(text, unit):
                return _symbol(f"{text} {unit}") if unit else sympy.Rational(text)
            case Name(id_):
                return _symbol(id_)
            case _:
                return super().leaf(leaf)


@lru_cache(maxsize=8192)
def _to_tree(expression: sympy.Expr) -> Node:
    """A sympy expression as a relation tree, its terms and factors in an order that reads well."""
    if isinstance(expression, sympy.Symbol):
        text, _, unit = expression.name.partition(" ")
        return Literal(text, unit) if unit else Name(text)
    if isinstance(expression, sympy.Rational):
        return _rational(expression)
    if isinstance(expression, sympy.Add):
        terms = sorted(expression.as_ordered_terms(), key=lambda term: term.could_extract_minus_sign())
        tree = _to_tree(terms[0])
        for term in terms[1:]:
            negative = term.could_extract_minus_sign()
            tree = Operation("-" if negative else "+", tree, _to_tree(-term if negative else term))
        return tree
    if isinstance(expression, sympy.Mul):
        return _product(expression)
    if isinstance(expression, sympy.Pow) and expression.exp.is_Integer:
        if expression.exp < 0:
            return _product(expression)
        return Power(_to_tree(expression.base), int(expression.exp))
    if isinstance(expression, sympy.Pow) and expression.exp == sympy.Rational(1, 2):
        return Call("sqrt", (_to_tree(expression.base),))
    raise RelationError(f"the solution {str(expression)[:60]} cannot be shown as plain algebra")


def _rational(value: sympy.Rational) -> Node:
    if value < 0:
        return Negative(_rational(-value))
    numerator = Literal(str(value.p))
    return numerator if value.q == 1 else Operation("/", numerator, Literal(str(value.q)))


def _product(expression: sympy.Expr) -> Node:
    if expression.could_extract_minus_sign():
        return Negative(_to_tree(-expression))
    above, below = sympy.fraction(expression)
    tree = _factors(above)
    return tree if below == 1 else Operation("/", tree, _factors(below))


def _factors(expression: sympy.Expr) -> Node:
    factors = [_to_tree(factor) for factor in sympy.Mul.make_args(expression)]
    tree = factors[0]
    for factor in factors[1:]:
        tree = Operation("*", tree, factor)
    return tree

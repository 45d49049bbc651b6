"""How far honest rounding can carry a worked-out value: interval arithmetic over the relation trees.

Someone who rounds every result on the way to three significant figures or more, in whatever mixture, stays inside the
intervals worked out here.  The givens as told are exact; a given brought to another unit first is a result.
"""

import math
from collections.abc import Mapping, Sequence
from itertools import product

from tutor.base.units import conversion
from tutor.expression.evaluate import literal_value
from tutor.expression.tree import Arithmetic, Call, Comparison, Literal, Name, Node, Rule, fold
from tutor.problems.problem import Problem
from tutor.trade.rulebooks import TableError

FIGURES = 3

Span = tuple[float, float]

_ANYTHING: Span = (-math.inf, math.inf)
_NOISE = 1e-9  # a number this close (relative) to one of few figures is that number


def step_open_to_rounding(problem: Problem) -> str | None:
    """The first step whose whole number, table value or verdict honest rounding on the way could change."""
    steps = problem.question.right.steps
    if all(step.kind == "solve" for step in steps):
        return None
    spans = {name: _given_span(problem, name) for name in problem.question.right.inputs}
    for step in steps:
        tree, value = problem.tree_of(step), problem.values[step.name]
        if step.kind == "trace":
            spans[step.name] = widened(value, value)
        elif not isinstance(tree, Comparison) and not _is_discrete(tree):
            spans[step.name] = span(tree, spans)
        elif _open(problem, tree, value, spans):
            return step.name
        else:
            spans[step.name] = (value, value)
    return None


def _is_discrete(tree: Node) -> bool:
    return isinstance(tree, Call) and tree.function not in ("least", "greatest")


def _given_span(problem: Problem, name: str) -> Span:
    value = problem.known[name]
    told_in = conversion(problem.unit_of(name))
    shifts_the_mark_only = told_in.offset == 0 and math.log10(told_in.scale).is_integer()
    return (value, value) if shifts_the_mark_only else widened(value, value)


def _open(problem: Problem, tree: Node, value: float, spans: Mapping[str, Span]) -> bool:
    if isinstance(tree, Comparison):
        lower, upper = (tree.left, tree.right) if tree.sign == "<=" else (tree.right, tree.left)
        (low, high), (bottom, top) = span(lower, spans), span(upper, spans)
        return not (high <= bottom or low > top)
    assert isinstance(tree, Call)
    ends = [set(span(argument, spans)) for argument in tree.arguments]
    if not all(math.isfinite(end) for span_ends in ends for end in span_ends):
        return True
    try:
        return any(problem.question.read_off(tree, *corner) != value for corner in product(*ends))
    except TableError:
        return True


def span(node: Node, spans: Mapping[str, Span]) -> Span:
    """The interval that a smooth relation's value stays in, for the intervals of its names."""
    return fold(node, _Spans(spans))


class _Spans(Arithmetic[Span]):
    """Intervals, each result widened by its rounding."""

    def __init__(self, spans: Mapping[str, Span]) -> None:
        self.spans = spans

    def leaf(self, leaf: Name | Literal | Rule) -> Span:
        match leaf:
            case Name(id_):
                return self.spans[id_]
            case Literal():
                return (literal_value(leaf),) * 2
            case _:
                return super().leaf(leaf)

    def operation(self, sign: str, left: Span, right: Span) -> Span:
        return widened(*_joined(sign, left, right))

    def negative(self, operand: Span) -> Span:
        return -operand[1], -operand[0]

    def power(self, base: Span, exponent: int) -> Span:
        return widened(*_raised(base, exponent))

    def call(self, call: Call, arguments: Sequence[Span]) -> Span:
        lows, highs = zip(*arguments, strict=True)
        if call.function == "sqrt":
            return widened(math.sqrt(lows[0]), math.sqrt(highs[0])) if lows[0] >= 0 else _ANYTHING
        chosen = min if call.function == "least" else max
        return chosen(lows), chosen(highs)


def widened(low: float, high: float) -> Span:
    """An interval and what its values become when they are rounded to FIGURES figures or more."""
    size = max(abs(low), abs(high))
    if size == 0 or not math.isfinite(size):
        return low, high
    place = 10.0 ** (math.floor(math.log10(size)) - FIGURES + 1)
    if low == high and abs(round(low / place) * place - low) <= _NOISE * size:
        return low, high
    return low - place / 2, high + place / 2


def _joined(sign: str, left: Span, right: Span) -> Span:
    if sign == "+":
        return left[0] + right[0], left[1] + right[1]
    if sign == "-":
        return left[0] - right[1], left[1] - right[0]
    if sign == "/":
        if right[0] <= 0 <= right[1]:
            return _ANYTHING
        right = (1 / right[1], 1 / right[0])
    corners = [a * b for a in left for b in right]
    return min(corners), max(corners)


def _raised(base: Span, exponent: int) -> Span:
    ends = [end**exponent for end in base]
    if exponent % 2 == 0 and base[0] <= 0 <= base[1]:
        ends.append(0.0)
    return min(ends), max(ends)

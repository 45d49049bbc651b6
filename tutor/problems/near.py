"""What is kept within a limit but too near to it: a sentence that says so, from the limit's entry in the glossary."""

from collections.abc import Iterator, Mapping

from tutor.base.units import plain_number, with_unit
from tutor.expression.tree import Comparison, Name, Node, Operation, names, walk
from tutor.problems.printing import same
from tutor.problems.problem import Problem

_MOST_DECIMALS = 9


def near_limits(problem: Problem, value: float) -> list[str]:
    """The sentences about all limits that an answer, in working units, comes too near to."""
    trees = [limit.tree for limit in problem.question.limits]
    sentences = (near_limit(problem, tree, problem.with_answer(tree, value)) for tree in trees)
    return list(dict.fromkeys(filter(None, (*sentences, near_in_relations(problem, value)))))


def near_in_relations(problem: Problem, value: float) -> str:
    """The sentence about a limit that a relation sets against a value, as a comparison or a difference does."""
    for tree in problem.question.relations.values():
        if any(_sides(tree)):
            values = problem.with_answer(tree, value)
            if names(tree) <= values.keys() and (sentence := near_limit(problem, tree, values)):
                return sentence
    return ""


def near_limit(problem: Problem, tree: Node, values: Mapping[str, float]) -> str:
    """The sentence about a limit in a relation that is nearly used up by `values`; '' if there is room below each."""
    for side, limit in _sides(tree):
        near = problem.question.library.quantities[limit].near
        if near is None:
            continue
        used = problem.evaluate(side, values) / values[limit]
        if near.share.working < used and (used <= 1 or same(used, 1)):
            return near.says.replace("{used}", percentage_used(used))
    return ""


def percentage_used(used: float) -> str:
    """A share in per cent that reads as 100 only if nothing is left: '97.3', '99.996'."""
    texts = (plain_number(100 * used, decimals) for decimals in range(1, _MOST_DECIMALS))
    return with_unit("100" if same(used, 1) else next(text for text in texts if text != "100"), "%")


def _sides(tree: Node) -> Iterator[tuple[Node, str]]:
    """What a relation sets against a single quantity: what must not be above it, or what is taken from it."""
    for node in walk(tree):
        match node:
            case Comparison("<=", side, Name(limit)) | Comparison(">=", Name(limit), side):
                yield side, limit
            case Operation("-", Name(limit), side):
                yield side, limit

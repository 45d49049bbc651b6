"""Numbers that contradict each other: what a problem's values must keep to, as content declares it.

A draw keeps to all of it, which `coldmorning verify` proves; a learner's own numbers that do not are asked about.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from tutor.base.units import conversion, written_unit
from tutor.content.library import Library
from tutor.content.models import Agreement, Amount, PartGiven
from tutor.expression.evaluate import Relation, compiled, holds_at_most
from tutor.expression.grammar import parse
from tutor.expression.tree import Comparison, RelationError, names
from tutor.problems.problem import Problem
from tutor.problems.question import Question

_SLACK = 1e-9
_COMPARED = {"at_most": holds_at_most, "at_least": lambda left, right: holds_at_most(right, left)}


@dataclass(frozen=True)
class Compiled:
    """An agreement that can be checked: its comparison, the quantities that it joins, and its sentence."""

    id: str
    tree: Comparison
    joins: tuple[str, ...]
    says: str
    run: Relation

    def is_broken(self, values: Mapping[str, float]) -> bool:
        """Whether values in working units, among them all that it joins, break it."""
        return not self.run(values)


def compiled_agreement(id_: str, agreement: Agreement) -> Compiled:
    """An agreement that can be checked. Raises RelationError for one that is no comparison of plain algebra."""
    tree = parse(agreement.holds)
    if not isinstance(tree, Comparison):
        raise RelationError(f"'{agreement.holds}' is no comparison: write 'left <= right' or 'left >= right'")
    return Compiled(id_, tree, tuple(sorted(names(tree))), agreement.says, compiled(tree, dict(_COMPARED)))


@lru_cache(maxsize=8)
def agreements(library: Library) -> tuple[Compiled, ...]:
    """All agreements of the content, compiled once. Raises RelationError as compiled_agreement does."""
    return tuple(compiled_agreement(id_, agreement) for id_, agreement in library.agreements.items())


@lru_cache(maxsize=1024)
def binding(question: Question) -> tuple[Compiled, ...]:
    """The agreements all of whose quantities the problems of a question have.

    A given that is asked for is the edge up to which something works, not what a label says: it is bound by none.
    """
    quantities = {*question.known, *question.right.names}
    if question.reversed:
        quantities.remove(question.ask)
    return tuple(agreement for agreement in agreements(question.library) if quantities.issuperset(agreement.joins))


@lru_cache(maxsize=1024)
def binding_draws(question: Question) -> tuple[Compiled, ...]:
    """Those of them that join values worked out or drawn apart; a part by itself keeps to the others."""
    givens = question.exercise.givens
    drawn_from = {name: given.source if isinstance(given, PartGiven) else name for name, given in givens.items()}
    return tuple(one for one in binding(question) if len({drawn_from.get(name, name) for name in one.joins}) > 1)


def broken(agreed: Iterable[Compiled], values: Mapping[str, float]) -> Iterator[Compiled]:
    """Those agreements that values in working units break; one that needs another quantity is passed over."""
    return (
        agreement
        for agreement in agreed
        if all(name in values for name in agreement.joins) and agreement.is_broken(values)
    )


def contradiction(problem: Problem, typed: Mapping[str, Amount]) -> str:
    """What the learner's own numbers contradict in a problem, in plain sentences; '' if they agree with it."""
    contradictions = [
        (_results(problem, agreement), _givens_left(problem, agreement, typed), agreement)
        for agreement in broken(binding(problem.question), problem.all_values)
    ]
    if contradictions:  # the plainest first: without a result, and with the fewest numbers that are not the learner's
        results, open_givens, agreement = min(contradictions, key=lambda entry: (len(entry[0]), len(entry[1])))
        yours = [name for name in typed if results or name in agreement.joins]
        sentences = [agreement.says]
        sentences += [f"You entered {_figures(problem, yours)}."] if yours else []
        sentences += [f"These numbers lead to {_figures(problem, results)}."] if results else []
        sentences += [f"This problem has {_figures(problem, open_givens)}: enter yours too."] if open_givens else []
        return " ".join(sentences)
    return next((_beyond(problem, name, typed) for name in problem.values if not _is_plausible(problem, name)), "")


def _results(problem: Problem, agreement: Compiled) -> list[str]:
    """The steps that an agreement joins."""
    return [name for name in agreement.joins if name not in problem.shown]


def _givens_left(problem: Problem, agreement: Compiled, typed: Mapping[str, Amount]) -> list[str]:
    """The givens of an agreement that the learner left as they were drawn."""
    return [name for name in agreement.joins if name in problem.shown and name not in typed]


def _is_plausible(problem: Problem, name: str) -> bool:
    low, high = problem.question.plausible(name)
    return low - _SLACK * abs(low) <= problem.values[name] <= high + _SLACK * abs(high)


def _beyond(problem: Problem, name: str, typed: Mapping[str, Amount]) -> str:
    value = problem.values[name]
    low, high = problem.question.plausible(name)
    edge = (
        f"at most {_value_text(problem, name, high)}" if value > high else f"at least {_value_text(problem, name, low)}"
    )
    words = problem.question.library.quantities[name].words
    untouched = (
        "" if typed.keys() >= set(problem.question.right.inputs) else ", and the values that you left as they were"
    )
    return (
        f"These numbers lead to {_value_text(problem, name, value)} for the {words}. Real values are {edge}. "
        f"You entered {_figures(problem, list(typed))}. Check those numbers and their units{untouched}."
    )


def _figures(problem: Problem, quantities: list[str]) -> str:
    """Values with their quantities in words: '12 A for the operating current and 9 A for the short-circuit current'."""
    words = problem.question.library.quantities
    texts = [
        f"{problem.shown[name] if name in problem.shown else problem.text_of(name)} for the {words[name].words}"
        for name in quantities
    ]
    return " and ".join([", ".join(texts[:-1]), texts[-1]]) if len(texts) > 1 else "".join(texts)


def _value_text(problem: Problem, name: str, value: float) -> str:
    if not problem.kind(name).measured:
        return problem.text_of(name, value)
    return in_figures(value, problem.unit_of(name))


def in_figures(working: float, unit: str) -> str:
    """A value in working units, in a unit, with four significant figures at most and no zeros added."""
    number = f"{Decimal(f'{conversion(unit).to_shown(working):.4g}'):f}".replace("-", "−")
    return f"{number}\u00a0{written_unit(unit)}" if unit else number

"""The wrong methods of a question that compete to explain an entry: single ones, and pairs of them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

from tutor.content.models import Amount
from tutor.problems.method import Step
from tutor.problems.question import Question
from tutor.problems.slips import lost_minuses, relation_slips, unit_slips
from tutor.problems.wrong_method import NOTHING, QUESTIONS_KEPT, Origin, WrongMethod, declared_mistakes

QUESTIONS_WITH_PAIRS_KEPT = 16  # the most of a working memory that pairs may take: some 300 of each question

Units = tuple[tuple[str, str], ...]  # each given and the unit that it is told in


@dataclass(frozen=True, eq=False)
class WrongMethods:
    """Wrong methods that compete."""

    all: tuple[WrongMethod, ...]

    @cached_property
    def total(self) -> Mapping[Origin, float]:
        """The weight of all of one origin together, each id counted once."""
        total: dict[Origin, float] = {}
        for method in {method.id: method for method in self.all}.values():
            total[method.origin] = total.get(method.origin, 0.0) + method.weight
        return total

    @cached_property
    def likeliest(self) -> float:
        """The weight of the likeliest id's methods together, as a share of the weight of all of its origin."""
        by_id: dict[tuple[str, Origin], float] = {}
        for method in self.all:
            by_id[method.id, method.origin] = by_id.get((method.id, method.origin), 0.0) + method.weight
        return max((weight / self.total[origin] for (_, origin), weight in by_id.items()), default=0.0)


def single_wrong_methods(question: Question, shown: Mapping[str, Amount]) -> WrongMethods:
    """The single wrong methods with givens as shown, the declared ones first."""
    below_zero = tuple(name for name, amount in shown.items() if amount.unit == "degC" and amount.value < 0)
    return _single(question, _units(shown), below_zero)


def paired_wrong_methods(question: Question, shown: Mapping[str, Amount]) -> WrongMethods:
    """Two slips together, one of them declared at least, with givens as shown."""
    return _pairs(question, _units(shown))


def _units(shown: Mapping[str, Amount]) -> Units:
    return tuple((name, amount.unit) for name, amount in shown.items())


@lru_cache(maxsize=QUESTIONS_KEPT)
def _single(question: Question, units: Units, below_zero: tuple[str, ...]) -> WrongMethods:
    right = question.right
    slips = (
        *relation_slips(question, right),
        *unit_slips(question, right, dict(units)),
        *lost_minuses(question, right, below_zero),
    )
    return WrongMethods((*declared_mistakes(question), *slips))


@lru_cache(maxsize=QUESTIONS_WITH_PAIRS_KEPT)
def _pairs(question: Question, units: Units) -> WrongMethods:
    pairs = list(declared_pairs(question))
    for mistake in declared_mistakes(question):
        slips: Iterable[WrongMethod] = (
            *relation_slips(question, mistake.method),
            *unit_slips(question, mistake.method, {name: unit for name, unit in units if name not in mistake.misread}),
        )
        pairs += [_pair(mistake, slip, slip.steps) for slip in slips]
    return WrongMethods(tuple(pairs))


@lru_cache(maxsize=QUESTIONS_KEPT)
def declared_pairs(question: Question) -> tuple[WrongMethod, ...]:
    """Two declared mistakes together, for all that touch different steps."""
    merged = ((first, second, _merged(first, second)) for first, second in combinations(declared_mistakes(question), 2))
    return tuple(_pair(first, second, steps) for first, second, steps in merged if steps is not None)


def _pair(mistake: WrongMethod, slip: WrongMethod, steps: tuple[Step, ...]) -> WrongMethod:
    return WrongMethod(
        mistake.question,
        f"{mistake.id}+{slip.id}",
        f"{mistake.words}, and {slip.words}",
        "pair",
        mistake.weight * slip.weight,
        mistake.method.with_steps(steps),
        {**mistake.misread, **slip.misread} or NOTHING,
        min(mistake.first_changed_step, slip.first_changed_step),
        mistake.checked_for_plausibility or slip.checked_for_plausibility,
    )


def _merged(first: WrongMethod, second: WrongMethod) -> tuple[Step, ...] | None:
    """The steps of two mistakes in different places; None if they touch the same step, or change which there are."""
    if first.id == second.id or first.method.names != second.method.names:
        return None
    right = {step.name: step for step in first.question.right.steps}
    steps = []
    for pair in zip(first.steps, second.steps, strict=True):
        changed = [step for step in pair if step != right.get(step.name)]
        if len(changed) > 1:
            return None
        steps.append(changed[0] if changed else pair[0])
    return tuple(steps)

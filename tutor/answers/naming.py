"""Naming the mistake: which wrong methods explain what was typed, and whether one of them may be claimed.

A wrong method explains an entry if it predicts it within the precision typed.  Those that do compete by Bayes' rule:
how common each is, how well it meets the entry, and how often a number from nowhere would do as well.  One is named
only if it is clearly the likeliest; with many, coincidences are common.
"""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from tutor.answers.verdicts import Candidate
from tutor.base.units import conversion
from tutor.entries.entry import Entry
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.printing import same
from tutor.problems.problem import Problem
from tutor.problems.wrong_method import Origin, WrongMethod
from tutor.problems.wrong_methods import WrongMethods

# The thresholds of a name were chosen with `coldmorning diagnose-trial`: so high that few are named falsely.
CLAIM = 0.8  # the posterior from which a mistake is named
CLAIM_A_PAIR = 0.9  # of pairs there are many more, and so more that meet an entry by chance
CLAIM_ONE_OF_FEW = 0.945  # where many methods must share few answers: a whole number or a size without its steps
CLAIM_A_STEP_OF_FEW = 0.92  # and where such a one is the first step typed
OFFERED = 3  # so many are offered where none may be named: more than three nobody compares
WORTH_OFFERING = 0.02  # below, it would only distract
WORTH_TELLING = 0.5  # what single mistakes together have to reach to be told at all: likelier than chance
PAIR_WORTH_TELLING = 0.7  # what the likeliest pair has to reach, as CLAIM_A_PAIR is above CLAIM
# Of all wrong answers, which add up to 1 with UNKNOWN: estimates, no source.
COMMON: Mapping[Origin, float] = {"declared": 0.78, "derived": 0.12, "pair": 0.03}
UNKNOWN = 0.07  # the rest, which no method explains
SPREAD = math.log(100)  # numbers from nowhere lie within a factor of 100, evenly in their logarithms
# How often a number from nowhere hits a certain value: one of about 20 counts or sizes, 5 choices, 2 answers.
CHANCE = {"count": 0.05, "size": 0.05, "choice": 0.2, "answer": 0.5}
CHANCE_OF_A_RATING = 0.02  # one of about 50 standard ratings
CHANCE_OF_ZERO = 1e-3  # zero has no width in logarithms
ROUNDS_ONLY_THE_RESULT = 0.95  # share of those who round only what they type; the rest round on the way
ROUNDED_ON_THE_WAY = 0.001  # and so far their results lie off: four figures are kept
HALF_DONE = 0.1  # how often somebody makes a mistake in one step who has just not made it in another
SAME_SIZE = 1e-3  # standard sizes lie much further apart
ROOM = 1.05  # of half a place: a five behind the last digit is rounded up by some and cut off by others


@dataclass(frozen=True)
class _Match:
    method: WrongMethod
    fit: float
    expression: tuple[float, ...]

    @property
    def is_sure(self) -> bool:
        """Whether it may be named: what nobody declared has to meet the entry without any rounding on the way."""
        return self.method.origin == "declared" or self.fit >= ROUNDS_ONLY_THE_RESULT * HALF_DONE

    def candidate(self, posterior: float, claim: float) -> Candidate:
        """It as a candidate, certain if its posterior reaches the claim."""
        method, certain = self.method, posterior >= claim and self.is_sure
        return Candidate(method.id, method.words, round(posterior, 4), method, certain)

    def is_same(self, second: "_Match") -> bool:
        """Whether both come to one expression, which nobody could tell apart."""
        return len(self.expression) == len(second.expression) and all(map(same, self.expression, second.expression))


def in_working_units(problem: Problem, name: str, entry: Entry) -> float:
    """An entry for a quantity of a problem, in working units."""
    return conversion(problem.unit_of(name)).to_working(entry.value)


def candidates(problem: Problem, entries: Mapping[str, Entry], wrong: str) -> list[Candidate]:
    """The methods that explain the first wrong entry, likeliest first, pairs of mistakes only where no single one does.

    One of few answers, without its steps, has too many pairs that lead to it to try them.  A bare yes or
    no has none: it may be luck.
    `wrong` is the quantity of that entry; what was typed for the steps before it is taken as it stands.
    """
    order = problem.step_names
    before = order[: order.index(wrong)]
    if problem.question.library.quantities[wrong].kind == "answer" and not entries.keys() & set(before):
        return []
    learner_values = {name: in_working_units(problem, name, entries[name]) for name in before if name in entries}
    typed = _Typed(problem, wrong, entries[wrong], learner_values)
    typed_last = max((order.index(name) for name in learner_values), default=-1)
    nowhere = UNKNOWN * typed.chance * (len(before) - typed_last) / len(order)
    if not learner_values and typed.is_discrete:
        claim = CLAIM_ONE_OF_FEW if wrong == problem.ask else CLAIM_A_STEP_OF_FEW
        return _weighed(problem.wrong_methods, typed, nowhere, claim) or []
    single = _weighed(problem.wrong_methods, typed, nowhere, CLAIM)
    if single is None and _may_be_told(problem.wrong_pairs, nowhere):
        return _weighed(problem.wrong_pairs, typed, nowhere, CLAIM_A_PAIR) or []
    return single or []


def separating_step(problem: Problem, offered: Sequence[Candidate], entries: Iterable[str]) -> str | None:
    """The step, not yet typed, whose value tells the candidates offered apart, if there is one."""
    values = problem.all_values
    texts = {
        name: {_text(problem, candidate.method, values, name) for candidate in offered[:OFFERED]} - {""}
        for name in problem.step_names[:-1]
        if name not in set(entries)
    }
    best = max(texts, key=lambda name: len(texts[name]), default=None)
    return best if best is not None and len(texts[best]) > 1 else None


def carried_on(problem: Problem, learner_values: Mapping[str, float]) -> dict[str, float]:
    """All values of the right method from the learner's earlier ones; what cannot be worked out keeps its value."""
    values = {**problem.all_values, **learner_values}
    for step in problem.question.right.steps if learner_values else ():
        if step.name not in learner_values:
            with suppress(*NO_VALUE):
                values[step.name] = problem.question.relation(step.whole)(values)
    return values


def _text(problem: Problem, method: WrongMethod, values: Mapping[str, float], name: str) -> str:
    """What a method leads to for a step, as people write it; '' if it leads to nothing."""
    if method.reaches(name):
        with suppress(*NO_VALUE):
            return problem.text_of(name, method.follow(problem.shown, values, {}, name)[name], 3)
    return ""


class _Typed:
    """The first wrong entry, for the quantity `wrong`, after the `learner_values` of earlier steps."""

    def __init__(self, problem: Problem, wrong: str, entry: Entry, learner_values: Mapping[str, float]) -> None:
        self.problem, self.wrong, self.entry, self.learner_values = problem, wrong, entry, learner_values
        self.kind = problem.question.library.quantities[wrong].kind
        self.is_discrete = self._is_discrete()
        self.half_width = SAME_SIZE * abs(entry.value) if self.is_discrete else entry.counting_half_width
        self.right = carried_on(problem, learner_values)
        self.to_shown: Callable[[float], float] = conversion(problem.unit_of(wrong)).to_shown

    def _is_discrete(self) -> bool:
        """Whether it is read as one of the few values that a quantity can have, not as one still to be rounded."""
        entry = self.entry
        if self.kind == "number":
            few_figures = entry.digits <= 2 or (entry.digits == 3 and entry.value == round(entry.value))
            return self.wrong in self.problem.question.discrete and few_figures
        return entry.value == round(entry.value) or self.kind == "size"

    @property
    def chance(self) -> float:
        """How often a number from nowhere would be read as this entry."""
        if self.is_discrete:
            return CHANCE.get(self.kind, CHANCE_OF_A_RATING)
        return 2 * self.half_width / (abs(self.entry.value) * SPREAD) if self.entry.value else CHANCE_OF_ZERO

    def matches(self, methods: WrongMethods) -> Iterator[_Match]:
        """The methods that lead to it by plausible values."""
        problem, wrong, learner_values, right = self.problem, self.wrong, self.learner_values, self.right
        last = problem.step_names.index(wrong)
        for method in methods.all:
            if method.first_changed_step > last:
                continue
            try:
                values = method.follow(problem.shown, right, learner_values, wrong)
            except NO_VALUE:
                continue
            fit = self._fit(self.to_shown(values[wrong]))
            if fit and not same(values[wrong], right[wrong]) and method.is_plausible(values):
                fit *= HALF_DONE if any(name in learner_values for name in method.changed) else 1.0
                # Of a rounded value, what was rounded has to be the same, too, for two methods to be one expression.
                rounded_from = method.unrounded(values, wrong) if self.is_discrete else ()
                yield _Match(method, fit, (values[wrong], *rounded_from))

    def _fit(self, shown: float) -> float:
        """The probability of typing it, for someone whose method leads to the value shown; few values must be met."""
        apart = abs(shown - self.entry.value)
        if apart <= ROOM * self.half_width + 1e-12:
            return ROUNDS_ONLY_THE_RESULT
        rounding = ROUNDED_ON_THE_WAY * abs(shown)
        if not self.is_discrete and apart <= rounding:
            return (1 - ROUNDS_ONLY_THE_RESULT) * min(1.0, self.half_width / rounding)
        return 0.0


def _may_be_told(pairs: WrongMethods, nowhere: float) -> bool:
    """Whether the likeliest pair would be told if it met the entry."""
    share = ROUNDS_ONLY_THE_RESULT * COMMON["pair"] * pairs.likeliest
    return share >= PAIR_WORTH_TELLING * (share + nowhere)


def _weighed(methods: WrongMethods, typed: _Typed, nowhere: float, claim: float) -> list[Candidate] | None:
    """The candidates with their posteriors, none where chance is likelier; None where no method meets the entry.

    Matches that come to the same expression count as one.
    `nowhere` is the probability that an entry like this one comes from nowhere, `claim` the posterior for a name.
    """
    distinct: list[tuple[_Match, float]] = []
    for match in typed.matches(methods):
        origin = match.method.origin
        share = match.fit * COMMON[origin] * match.method.weight / methods.total[origin]
        place = next((place for place, (earlier, _) in enumerate(distinct) if match.is_same(earlier)), None)
        if place is None:
            distinct.append((match, share))
        elif share > distinct[place][1]:
            distinct[place] = match, share
    by_id: dict[str, tuple[_Match, float]] = {}
    for match, share in distinct:
        id_ = match.method.id
        by_id[id_] = match, share + (by_id[id_][1] if id_ in by_id else 0.0)
    if not by_id:
        return None
    total = nowhere + sum(share for _, share in by_id.values())
    weighed = [match.candidate(share / total, claim) for match, share in by_id.values()]
    posteriors = [candidate.probability for candidate in weighed]
    is_pair = weighed[0].method.origin == "pair"
    if (max(posteriors) < PAIR_WORTH_TELLING) if is_pair else (sum(posteriors) < WORTH_TELLING):
        return []
    weighed = [candidate for candidate in weighed if candidate.probability >= WORTH_OFFERING]
    return sorted(weighed, key=lambda candidate: -candidate.probability)

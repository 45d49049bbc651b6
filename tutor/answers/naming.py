"""Naming the mistake: which wrong ways explain what was typed, and whether one of them may be claimed.

A wrong way explains an entry if it predicts it within the precision typed.  Those that do compete by Bayes' rule: how
common each is, how well it meets the entry, and how often a number from nowhere would do as well.  One is named only
if it is clearly the likeliest; with many ways, coincidences are common.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

from tutor.answers.verdicts import Candidate
from tutor.engine.problem import Problem
from tutor.engine.ways import NO_VALUE, Origin, Way, Ways, pairs, ways
from tutor.entries.entry import Entry
from tutor.units import conversion

CLAIM = 0.8  # the posterior from which a mistake is named
CLAIM_A_PAIR = 0.9
CLAIM_ONE_OF_FEW = 0.945  # the same where many ways must share few answers: a whole number or a size without its steps
CLAIM_A_STEP_OF_FEW = 0.92  # and where such a one is the first step typed
OFFERED = 3  # so many are offered where none may be named
WORTH_OFFERING = 0.02
TOLD = 0.5  # what single mistakes together have to reach to be told at all
TOLD_AS_A_PAIR = 0.7  # what the likeliest pair has to reach
COMMON: Mapping[Origin, float] = {"declared": 0.78, "derived": 0.12, "pair": 0.03}  # of all wrong answers
UNKNOWN = 0.07  # the rest, which no way explains
SPREAD = math.log(100)  # numbers from nowhere lie within a factor of 100, evenly in their logarithms
CHANCE = {"count": 0.05, "size": 0.05, "choice": 0.2, "answer": 0.5}  # how often one from nowhere hits a certain value
CHANCE_OF_A_RATING = 0.02
EXACT = 0.95  # share of those who round only what they type; the rest round on the way
ROUNDED_ON_THE_WAY = 0.001  # and so far their results lie off
HALF_DONE = 0.1  # how often somebody makes a mistake in one step who has just not made it in another
SAME = 1e-9  # two ways this close (relative) are one and the same expression


@dataclass(frozen=True)
class _Match:
    way: Way
    fit: float
    expression: tuple[float, ...]

    @property
    def is_sure(self) -> bool:
        """Whether it may be named: what nobody declared has to meet the entry without any rounding on the way."""
        return self.way.origin == "declared" or self.fit >= EXACT * HALF_DONE


def in_working_units(problem: Problem, name: str, entry: Entry) -> float:
    """An entry for a quantity of a problem, in working units."""
    return conversion(problem.unit_of(name)).to_working(entry.value)


def candidates(problem: Problem, entries: Mapping[str, Entry], wrong: str) -> list[Candidate]:
    """The ways that explain the first wrong entry, likeliest first, pairs of mistakes only where no single one does.

    One of few answers, without its steps, has too many pairs that lead to it to try them.  A bare yes or
    no has none: it may be luck.
    `wrong` is the quantity of that entry; what was typed for the steps before it is taken as it stands.
    """
    order = problem.step_names
    before = order[: order.index(wrong)]
    if problem.question.library.quantities[wrong].kind == "answer" and not entries.keys() & set(before):
        return []
    own = {name: in_working_units(problem, name, entries[name]) for name in before if name in entries}
    values = carried_on(problem, own)
    typed_last = max((order.index(name) for name in own), default=-1)
    nowhere = UNKNOWN * _chance(problem, wrong, entries[wrong]) * (len(before) - typed_last) / len(order)
    of_few = not own and _is_discrete(problem, wrong, entries[wrong])
    claim_of_few = CLAIM_ONE_OF_FEW if wrong == problem.ask else CLAIM_A_STEP_OF_FEW
    tried = ((ways, claim_of_few),) if of_few else ((ways, CLAIM), (pairs, CLAIM_A_PAIR))
    for some, claim in tried:
        competing = some(problem)
        if some is pairs and not _may_be_told(competing, nowhere):
            return []
        matches = list(_matches(problem, competing, values, own, wrong, entries[wrong]))
        if matches:
            return _weighed(competing, matches, nowhere, claim)
    return []


def separating_step(problem: Problem, found: Sequence[Candidate], entries: Iterable[str]) -> str | None:
    """The step, not yet typed, whose value tells the candidates offered apart, if there is one."""
    typed = set(entries)
    values = {**problem.known, **problem.values}
    best: tuple[int, str] | None = None
    for name in problem.step_names[:-1]:
        if name not in typed:
            told = {_told(problem, one.way, values, name) for one in found[:OFFERED]} - {""}
            if len(told) > 1 and (best is None or len(told) > best[0]):
                best = len(told), name
    return best[1] if best else None


def carried_on(problem: Problem, own: Mapping[str, float]) -> dict[str, float]:
    """All values of the right way from the learner's own earlier ones; what cannot be worked out keeps its value."""
    values = {**problem.known, **problem.values, **own}
    for step in problem.question.right.steps if own else ():
        if step.name not in own:
            with suppress(*NO_VALUE):
                values[step.name] = problem.question.relation(step.whole)(values)
    return values


def _told(problem: Problem, way: Way, values: Mapping[str, float], name: str) -> str:
    """What a way leads to for a step, as people write it; '' if it leads to nothing."""
    if not way.reaches(name):
        return ""
    try:
        return problem.text_of(name, way.follow(problem, values, {}, name)[name], 3)
    except NO_VALUE:
        return ""


def _matches(
    problem: Problem,
    some: Ways,
    values: Mapping[str, float],
    own: Mapping[str, float],
    wrong: str,
    entry: Entry,
) -> Iterator[_Match]:
    last = problem.step_names.index(wrong)
    to_shown = conversion(problem.unit_of(wrong)).to_shown
    is_number = not _is_discrete(problem, wrong, entry)
    width = counted_half_width(entry) if is_number else 1e-3 * abs(entry.value)
    for way in some.all:
        if way.departs > last:
            continue
        try:
            found = way.follow(problem, values, own, wrong)
        except NO_VALUE:
            continue
        fit = _fit(to_shown(found[wrong]), entry.value, width, is_number)
        if fit and not _same(found[wrong], values[wrong]) and way.could_be(problem, found):
            fit *= HALF_DONE if any(name in own for name in way.changed) else 1.0
            yield _Match(way, fit, _expression(way, found, wrong, is_number))


def _is_discrete(problem: Problem, wrong: str, entry: Entry) -> bool:
    """Whether an entry is read as one of the few values that a quantity can have, not as one still to be rounded."""
    if problem.question.library.quantities[wrong].kind == "number":
        few_figures = entry.digits <= 2 or (entry.digits == 3 and entry.value == round(entry.value))
        return wrong in problem.question.discrete and few_figures
    return entry.value == round(entry.value) or problem.question.library.quantities[wrong].kind == "size"


def _expression(way: Way, found: Mapping[str, float], wrong: str, is_number: bool) -> tuple[float, ...]:
    """The numbers that stand for an expression with this problem's values: of a rounded one what was rounded, too."""
    return (found[wrong],) if is_number else (found[wrong], *way.unrounded(found, wrong))


def _fit(shown: float, typed: float, half_width: float, is_number: bool) -> float:
    """The probability of typing this, for someone whose way leads to the value shown; a whole number has to be met."""
    apart = abs(shown - typed)
    if apart <= 1.05 * half_width + 1e-12:
        return EXACT
    if is_number and apart <= ROUNDED_ON_THE_WAY * abs(shown):
        return (1 - EXACT) * min(1.0, half_width / (ROUNDED_ON_THE_WAY * abs(shown)))
    return 0.0


def counted_half_width(entry: Entry) -> float:
    """Half of the last place that counts: of '1090' the zero may only fill the place, but three figures do count."""
    half_width = entry.half_width
    for _ in range(entry.digits - 3):
        if half_width < 0.5 or entry.value % (20 * half_width):
            break
        half_width *= 10
    return half_width


def _may_be_told(some: Ways, nowhere: float) -> bool:
    """Whether the likeliest pair would be told if it met the entry."""
    share = EXACT * COMMON["pair"] * some.likeliest
    return share >= TOLD_AS_A_PAIR * (share + nowhere)


def _weighed(some: Ways, matches: list[_Match], nowhere: float, claim: float) -> list[Candidate]:
    """The candidates with their posteriors; matches that come to the same expression count as one.

    `nowhere` is the probability that an entry like this one comes from nowhere, `claim` the posterior for a name.
    """
    by_expression: list[tuple[_Match, float]] = []
    for match in matches:
        share = match.fit * COMMON[match.way.origin] * match.way.weight / some.total[match.way.origin]
        alike = (at for at, (other, _) in enumerate(by_expression) if _all_same(match.expression, other.expression))
        at = next(alike, None)
        if at is None:
            by_expression.append((match, share))
        else:
            other, others_share = by_expression[at]
            by_expression[at] = (match if share > others_share else other, max(share, others_share))
    by_id: dict[str, tuple[_Match, float]] = {}
    for match, share in by_expression:
        known = by_id.get(match.way.id)
        by_id[match.way.id] = (match, share + (known[1] if known else 0.0))
    whole = nowhere + sum(share for _, share in by_id.values())
    found = [
        Candidate(id_, match.way.words, round(share / whole, 4), match.way, share / whole >= claim and match.is_sure)
        for id_, (match, share) in by_id.items()
    ]
    told = [candidate.probability for candidate in found]
    if (max(told) < TOLD_AS_A_PAIR) if found[0].way.origin == "pair" else (sum(told) < TOLD):
        return []
    found = [candidate for candidate in found if candidate.probability >= WORTH_OFFERING]
    return sorted(found, key=lambda candidate: -candidate.probability)


def _chance(problem: Problem, wrong: str, entry: Entry) -> float:
    """How often a number from nowhere would be read as this entry."""
    kind = problem.question.library.quantities[wrong].kind
    if _is_discrete(problem, wrong, entry):
        return CHANCE.get(kind, CHANCE_OF_A_RATING)
    return 2 * counted_half_width(entry) / (abs(entry.value) * SPREAD) if entry.value else 1e-3


def _all_same(some: Sequence[float], others: Sequence[float]) -> bool:
    return len(some) == len(others) and all(map(_same, some, others))


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= SAME * max(abs(one), abs(other))

"""The statistics of a set: how hard each place was, how well it separates, how long it took, how far to trust the sum.

What counts: a place is 1 for a member whose outcome is right and 0 where it is wrong.  Excused places are left out, as
if the member had never had them.  An open place (no counted answer) is left out too while the set runs, for it may yet
be answered; once the set is closed it is 0, unless its member has not submitted the set at all: who was absent says
nothing about how hard a place is.  Item-rest correlations and KR-20 compare whole rows, so they rest on the members of
whom every place is decided; how many those are stands beside them.

Below ENOUGH learners the intervals are so wide that words such as 'too hard' would be guesses: then there are none.
"""

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from tutor.base.intervals import Interval, bonett, fisher, wilson
from tutor.classroom.models import Answer, Outcome

ENOUGH = 30
TOO_HARD, TOO_EASY = 0.2, 0.8  # common practice, no source: conventions vary
SEPARATES = 0.2  # R. L. Ebel, D. A. Frisbie, Essentials of Educational Measurement, 1991 (read at second hand)


@dataclass(frozen=True)
class Share:
    """So many of so many."""

    count: int
    total: int

    @property
    def value(self) -> float | None:
        """The share, None of nobody."""
        return self.count / self.total if self.total else None

    @property
    def interval(self) -> Interval | None:
        """Wilson's 95 % interval."""
        return wilson(self.count, self.total) if self.total else None


@dataclass(frozen=True)
class Middle:
    """The median and the quartiles of some values."""

    lower: float
    median: float
    upper: float


@dataclass(frozen=True, kw_only=True)
class PlaceStatistics:
    """What the answers say about one place of a set.

    `right` is the share right in the end, `first` the share right at the first counted answer without help; `item_rest`
    the correlation with the rest of the sheet, None where either never varies; `seconds` and `tries` run to the
    deciding answer: the first right one, else the last counted.
    """

    place: int
    exercise: str
    ask: str
    right: Share
    first: Share
    item_rest: float | None
    item_rest_interval: Interval | None
    seconds: Middle | None
    tries: Middle | None
    excused: int
    open: int
    verdict: str = ""


@dataclass(frozen=True, kw_only=True)
class Reliability:
    """KR-20 of the sum over all places, and on how many learners and places it rests."""

    kr20: float | None
    interval: Interval | None
    learners: int
    places: int


@dataclass(frozen=True, kw_only=True)
class SetStatistics:
    """The statistics of a whole set; `enough` says whether enough have submitted for words beside the numbers."""

    places: Sequence[PlaceStatistics]
    reliability: Reliability
    learners: int
    enough: bool

    def as_json(self) -> dict[str, Any]:
        """All numbers, ready for JSON."""
        return {
            "learners": self.learners,
            "enough_learners_for_verdicts": self.enough,
            "kr20": _with_interval(self.reliability.kr20, self.reliability.interval)
            | {"learners": self.reliability.learners, "places": self.reliability.places},
            "places": [_place_json(place) for place in self.places],
        }


def set_statistics(outcomes: Sequence[Outcome], *, closed: bool = False) -> SetStatistics:
    """Work out the statistics of a set; `closed` says that what is open stays unanswered."""
    by_place = _by_place(outcomes)
    table = _decided_rows(outcomes, closed=closed)
    learners = len({outcome.handed.member.id for outcome in outcomes})
    submitted = _submitted(outcomes)
    enough = len(submitted) >= ENOUGH
    places = []
    for column, (place, place_outcomes) in enumerate(by_place.items()):
        place_scores = (
            _score(outcome, closed=closed and outcome.handed.member.id in submitted) for outcome in place_outcomes
        )
        scores = [score for score in place_scores if score is not None]
        item_rest = _item_rest(table, column)
        right = Share(sum(scores), len(scores))
        places.append(
            PlaceStatistics(
                place=place,
                exercise=place_outcomes[0].handed.exercise,
                ask=place_outcomes[0].handed.ask,
                right=right,
                first=_first(place_outcomes),
                item_rest=item_rest,
                item_rest_interval=None if item_rest is None else fisher(item_rest, len(table)),
                seconds=_middle([s for outcome in place_outcomes if (s := _seconds(outcome)) is not None]),
                tries=_middle([float(tries) for outcome in place_outcomes if (tries := _tries(outcome))]),
                excused=sum(outcome.state == "excused" for outcome in place_outcomes),
                open=sum(outcome.state == "open" for outcome in place_outcomes),
                verdict=verdict(right, item_rest) if enough else "",
            )
        )
    return SetStatistics(places=places, reliability=_reliability(table), learners=learners, enough=enough)


def verdict(right: Share, item_rest: float | None) -> str:
    """What the numbers of a place advise, in words; '' if nothing strikes.  Not to be asked below ENOUGH learners."""
    words = []
    if item_rest is not None and item_rest < 0:
        words.append("those who know more get it wrong: check its answer and its words")
    elif item_rest is not None and item_rest < SEPARATES:
        words.append("separates little")
    if right.value is not None and right.value < TOO_HARD:
        words.append("very hard")
    elif right.value is not None and right.value > TOO_EASY:
        words.append("very easy")
    return "; ".join(words)


def kr20(table: Sequence[Sequence[int]]) -> float | None:
    """Kuder and Richardson's formula 20 of a table of 0 and 1, a row a learner (Psychometrika 2, 1937).

    k/(k - 1) (1 - sum of p q / variance of the sums), with population variances; worked out in whole numbers.  None for
    fewer than two learners or places, or where all have the same sum.
    """
    learners, places = len(table), len(table[0]) if table else 0
    if learners < 2 or places < 2:
        return None
    sums = [sum(row) for row in table]
    spread = learners * sum(total * total for total in sums) - sum(sums) ** 2
    if spread == 0:
        return None
    rights = [sum(column) for column in zip(*table, strict=True)]
    within = sum(right * (learners - right) for right in rights)
    return float(Fraction(places, places - 1) * (1 - Fraction(within, spread)))


def correlation(first: Sequence[int], second: Sequence[int]) -> float | None:
    """Pearson's correlation of whole numbers, for 0 and 1 the point-biserial one; None where either never varies."""
    count = len(first)
    spread = count * sum(x * x for x in first) - sum(first) ** 2
    other_spread = count * sum(y * y for y in second) - sum(second) ** 2
    if spread == 0 or other_spread == 0:
        return None
    together = count * sum(a * b for a, b in zip(first, second, strict=True)) - sum(first) * sum(second)
    return max(-1.0, min(1.0, together / math.sqrt(spread * other_spread)))


def deciding(outcome: Outcome) -> Answer | None:
    """The answer by which a place is judged: the first right one, else the last counted one."""
    counted = [answer for answer in outcome.answers if answer.counted]
    return next((answer for answer in counted if answer.verdict == "right"), counted[-1] if counted else None)


def _by_place(outcomes: Sequence[Outcome]) -> Mapping[int, list[Outcome]]:
    places: dict[int, list[Outcome]] = {place: [] for place in sorted({outcome.handed.place for outcome in outcomes})}
    for outcome in outcomes:
        places[outcome.handed.place].append(outcome)
    return places


def _score(outcome: Outcome, *, closed: bool) -> int | None:
    match outcome.state:
        case "right":
            return 1
        case "wrong":
            return 0
        case "open" if closed:
            return 0
        case _:
            return None


def _submitted(outcomes: Sequence[Outcome]) -> set[int]:
    """The members with a counted answer at a place that counts."""
    return {outcome.handed.member.id for outcome in outcomes if outcome.state in ("right", "wrong")}


def _decided_rows(outcomes: Sequence[Outcome], *, closed: bool) -> list[list[int]]:
    """The rows of the members of whom every place is decided."""
    places = sorted({outcome.handed.place for outcome in outcomes})
    submitted = _submitted(outcomes)
    rows: dict[int, dict[int, int]] = {}
    for outcome in outcomes:
        score = _score(outcome, closed=closed and outcome.handed.member.id in submitted)
        if score is not None:
            rows.setdefault(outcome.handed.member.id, {})[outcome.handed.place] = score
    return [[row[place] for place in places] for row in rows.values() if len(row) == len(places)]


def _item_rest(table: Sequence[Sequence[int]], column: int) -> float | None:
    return correlation([row[column] for row in table], [sum(row) - row[column] for row in table])


def _reliability(table: Sequence[Sequence[int]]) -> Reliability:
    learners, places = len(table), len(table[0]) if table else 0
    value = kr20(table)
    interval = None if value is None else bonett(value, learners, places)
    return Reliability(kr20=value, interval=interval, learners=learners, places=places)


def _first(place_outcomes: Sequence[Outcome]) -> Share:
    first = list(_first_counted(place_outcomes))
    return Share(sum(answer.verdict == "right" and answer.help == "nothing" for answer in first), len(first))


def _first_counted(place_outcomes: Sequence[Outcome]) -> Iterator[Answer]:
    for outcome in place_outcomes:
        if outcome.state != "excused" and (answer := next((a for a in outcome.answers if a.counted), None)):
            yield answer


def _seconds(outcome: Outcome) -> float | None:
    answer = deciding(outcome) if outcome.state != "excused" else None
    return answer.seconds if answer else None


def _tries(outcome: Outcome) -> int:
    answer = deciding(outcome) if outcome.state != "excused" else None
    counted = [candidate for candidate in outcome.answers if candidate.counted]
    return counted.index(answer) + 1 if answer else 0


def _middle(values: Sequence[float]) -> Middle | None:
    """The quartiles by linear interpolation between the sorted values, the least and the greatest included."""
    if not values:
        return None
    if len(values) == 1:
        return Middle(values[0], values[0], values[0])
    return Middle(*statistics.quantiles(values, n=4, method="inclusive"))


def _with_interval(value: float | None, interval: Interval | None) -> dict[str, Any]:
    return {"value": value, "interval": list(interval) if interval else None}


def _place_json(place: PlaceStatistics) -> dict[str, Any]:
    def middle(quartiles: Middle | None) -> dict[str, float] | None:
        return {"lower": quartiles.lower, "median": quartiles.median, "upper": quartiles.upper} if quartiles else None

    def share(part: Share) -> dict[str, Any]:
        return {"count": part.count, "of": part.total} | _with_interval(part.value, part.interval)

    return {
        "place": place.place,
        "exercise": place.exercise,
        "ask": place.ask,
        "right": share(place.right),
        "right_at_first": share(place.first),
        "item_rest": _with_interval(place.item_rest, place.item_rest_interval),
        "seconds": middle(place.seconds),
        "tries": middle(place.tries),
        "excused": place.excused,
        "open": place.open,
        "verdict": place.verdict,
    }

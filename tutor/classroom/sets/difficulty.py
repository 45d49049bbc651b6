"""Each learner's own numbers, chosen so that all variants of a place are equally difficult.

The numbers come from HMAC-SHA256 with the set's secret, so nobody without it can tell another learner's. Difficulty is
a profile: how many steps there are, how many of the exercise's mistakes would show, and the size class of the answer.
"""

import hashlib
import hmac
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import astuple, dataclass

from tutor.base.units import conversion
from tutor.classroom.models import AssignedProblem, Item, PracticeSet
from tutor.classroom.progress import Progress, untold
from tutor.problems.draw_checks import showing
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine

NUMBERS = 10**12  # problem numbers lie below this
TRIES = 48  # variants looked at for one that is as difficult as the place asks, which one in fifteen may be
LOOKED_AT = 9  # draws whose commonest profile becomes that of the place


@dataclass(frozen=True, order=True)
class Profile:
    """How difficult a problem is."""

    steps: int
    traps: int
    size: int

    def as_tuple(self) -> tuple[int, int, int]:
        """The three numbers."""
        steps, traps, size = astuple(self)
        return steps, traps, size

    def distance(self, reference: "Profile") -> int:
        """How far apart two profiles are; a step weighs more than a size class, and that more than a mistake."""
        steps, traps, size = (abs(a - b) for a, b in zip(astuple(self), astuple(reference), strict=True))
        return 4 * int(steps) + int(traps) + 2 * int(size)


def profile(problem: AnyProblem) -> Profile:
    """The difficulty of a problem."""
    if isinstance(problem, OrderProblem):
        return Profile(len(problem.to_order), len(problem.letters) - len(problem.to_order), 0)
    return Profile(len(problem.step_names), len(showing(problem)), _size_class(problem))


def _size_class(problem: Problem) -> int:
    """The power of ten of the answer as it is asked for; 0 for an answer in words."""
    if problem.kind(problem.ask).in_words:
        return 0
    value = abs(conversion(problem.unit).to_shown(problem.values[problem.ask]))
    return math.floor(math.log10(value) + 1e-9) if value > 0 else 0


def number_from(secret: str, *parts: object) -> int:
    """A problem number that only the holder of the secret (in hexadecimal) can work out.

    HMAC with SHA-256 as in RFC 2104 and FIPS 198-1, over the parts in order, each with its length before it.
    """
    encoded = (str(part).encode() for part in parts)
    message = b"".join(len(part).to_bytes(4, "big") + part for part in encoded)
    digest = hmac.new(bytes.fromhex(secret), message, hashlib.sha256).digest()
    return int.from_bytes(digest[:16], "big") % NUMBERS


class Variants:
    """The problems of one set: for each learner other numbers, at each place of the same difficulty.

    May raise RequestError, DrawError or ContentError where an exercise of the set cannot be set.
    """

    def __init__(self, engine: Engine, practice_set: PracticeSet, secret: str) -> None:
        self._engine, self._set, self._secret = engine, practice_set, secret
        self._profiles: dict[int, Profile] = {}

    def of_learner(self, learner: object) -> list[AnyProblem]:
        """The problems of one learner, who is known by any name of their own, one for each place."""
        chosen: list[AnyProblem] = []
        for place, item in enumerate(self._set.places, start=1):
            chosen.append(
                self._choose(item, place, learner, [problem for problem in chosen if _same_family(problem, item)])
            )
        return chosen

    def profile_of(self, place: int) -> Profile:
        """The difficulty of a place: the commonest among a few draws that rest on the secret and the place alone."""
        if place not in self._profiles:
            item = self._set.places[place - 1]
            drawn = (self._draw(item, number_from(self._secret, "profile", place, k)) for k in range(LOOKED_AT))
            self._profiles[place] = Counter(map(profile, drawn)).most_common(1)[0][0]
        return self._profiles[place]

    def _choose(self, item: Item, place: int, learner: object, earlier: Sequence[AnyProblem]) -> AnyProblem:
        """The first variant of the place's difficulty that the learner has not got already, or the nearest to it."""
        wanted = self.profile_of(place)
        ranked: list[tuple[tuple[bool, int], AnyProblem]] = []
        for problem in self._tried(item, place, learner):
            rank = (any(_alike(problem, previous) for previous in earlier), profile(problem).distance(wanted))
            if rank == (False, 0):
                return problem
            ranked.append((rank, problem))
        return min(ranked, key=lambda pair: pair[0])[1]

    def _tried(self, item: Item, place: int, learner: object) -> Iterator[AnyProblem]:
        for k in range(TRIES):
            yield self._draw(item, number_from(self._secret, "learner", learner, place, k))

    def _draw(self, item: Item, number: int) -> AnyProblem:
        return make_problem(self._engine, item.exercise, item.ask, number, self._set.rulebook)


def _same_family(problem: AnyProblem, item: Item) -> bool:
    return problem.question.exercise.id == item.exercise


def _alike(problem: AnyProblem, previous: AnyProblem) -> bool:
    """Whether two problems of an exercise differ in nothing but their number."""
    if isinstance(problem, OrderProblem) or isinstance(previous, OrderProblem):
        return set(getattr(problem, "letters", {}).values()) == set(getattr(previous, "letters", {}).values())
    return problem.ask == previous.ask and problem.shown == previous.shown


@dataclass(frozen=True)
class Spread:
    """How alike the variants of one place are: steps, mistakes that would show and sizes, each (least, most).

    `size` is the power of ten of the answers, `alike` the share of the variants that have the commonest profile.
    """

    place: int
    exercise: str
    ask: str
    variants: int
    steps: tuple[int, int]
    traps: tuple[int, int]
    size: tuple[int, int]
    alike: float


def spread(handed: Iterable[AssignedProblem]) -> list[Spread]:
    """How alike the problems are that a class has got at each place."""
    return _spreads(
        ((assigned.place, assigned.exercise, assigned.ask), Profile(*assigned.snapshot.profile)) for assigned in handed
    )


def spread_of_preview(variants: Variants, learners: int, progress: Progress = untold) -> list[Spread]:
    """The same for so many learners of a set that nobody has got yet."""
    placed_profiles = []
    for learner in range(1, learners + 1):
        for place, problem in enumerate(variants.of_learner(f"preview {learner}"), start=1):
            placed_profiles.append(((place, problem.question.exercise.id, str(problem.ask)), profile(problem)))
        progress(learner, learners)
    return _spreads(placed_profiles)


def _spreads(placed_profiles: Iterable[tuple[tuple[int, str, str], Profile]]) -> list[Spread]:
    by_place: dict[tuple[int, str, str], list[Profile]] = {}
    for place_and_ask, difficulty in placed_profiles:
        by_place.setdefault(place_and_ask, []).append(difficulty)
    return [_spread(*place_and_ask, profiles) for place_and_ask, profiles in sorted(by_place.items())]


def _spread(place: int, exercise: str, ask: str, profiles: Sequence[Profile]) -> Spread:
    commonest = Counter(profiles).most_common(1)[0][1]
    columns: Mapping[str, list[int]] = {
        name: [getattr(difficulty, name) for difficulty in profiles] for name in ("steps", "traps", "size")
    }
    ends = {name: (min(values), max(values)) for name, values in columns.items()}
    return Spread(place, exercise, ask, len(profiles), alike=commonest / len(profiles), **ends)

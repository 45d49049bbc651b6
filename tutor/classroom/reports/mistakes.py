"""The mistakes of a class: who makes them, how dangerous they are, and the set that treats them.

A mistake counts for a learner to whom it was named.  Where an answer fits several mistakes none is named; each then
counts, as 'perhaps', by its probability, and the answer itself is told under the likeliest.  A pair of mistakes counts
for both of its parts.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from tutor.answers.marking import Harm, harm_of
from tutor.classroom.models import Answer, AssignedProblem, Item, Outcome, PracticeSet
from tutor.classroom.sets.recorded import is_recorded
from tutor.classroom.sets.snapshots import problem_of
from tutor.content.models import Exercise, OrderExercise, RulebookId
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Engine
from tutor.problems.wrong_method import declared_mistakes

EXAMPLES = 3
LONGEST_EXAMPLE = 60
WORTH_TELLING = 0.5  # learners, named and perhaps, below which a mistake is not told
WEIGHT = {Harm.NONE: 1.0, Harm.SOME: 2.0, Harm.LIMIT_BROKEN: 6.0}
"""How much a learner counts: whoever would destroy or overload something counts as three whose answer only does some
harm, and as six whose answer does none.  Common practice, no source."""
MOST_EXERCISES = 4
PROBLEMS_EACH = 2

Again = Callable[[AssignedProblem], AnyProblem]


class _Key(NamedTuple):
    """A declared mistake is one and the same in all exercises of its lesson, a derived one only in its exercise."""

    lesson: str
    exercise: str
    id: str


@dataclass(frozen=True, kw_only=True)
class ClassMistake:
    """One mistake of a class; `learners` is to how many it was named, `perhaps` how many more are expected.

    `broke_limit` of its `answers` would have broken the limit that they had to respect. `rank` is what it is sorted by:
    each learner times WEIGHT, the mean over their answers.
    """

    id: str
    words: str
    says: str
    lesson: str
    lesson_title: str
    exercises: tuple[str, ...]
    learners: int
    perhaps: float
    answers: int
    broke_limit: int
    did_harm: int
    rank: float
    examples: tuple[str, ...]
    safety: tuple[str, ...]
    follow_up: PracticeSet

    def as_json(self) -> dict[str, Any]:
        """The same, ready for JSON; the follow-up as its file would hold it."""
        plain = {name: value for name, value in vars(self).items() if name != "follow_up"}
        lists = {name: list(value) for name, value in plain.items() if isinstance(value, tuple)}
        return plain | lists | {"follow_up": self.follow_up.model_dump(mode="json", exclude_defaults=True)}


@dataclass
class _Found:
    """What is gathered about one mistake: its share of each learner, the harm of its answers, what was typed."""

    named: set[int] = field(default_factory=set)
    shares: dict[int, float] = field(default_factory=dict)
    harms: Counter[Harm] = field(default_factory=Counter)
    typed: Counter[str] = field(default_factory=Counter)
    handed: list[AssignedProblem] = field(default_factory=list)

    @property
    def expected(self) -> float:
        return sum(self.shares.values())

    @property
    def weight(self) -> float:
        if not self.harms:
            return WEIGHT[Harm.NONE]
        return sum(WEIGHT[harm] * count for harm, count in self.harms.items()) / self.harms.total()


def mistakes_of(outcomes: Sequence[Outcome], engine: Engine, rulebook: RulebookId) -> list[ClassMistake]:
    """The mistakes of a class, those first that most learners make and that are most dangerous."""
    problems: dict[int, AnyProblem] = {}

    def rebuild(handed: AssignedProblem) -> AnyProblem:
        if handed.id not in problems:
            problems[handed.id] = problem_of(engine, handed)
        return problems[handed.id]

    gathered = _gathered(outcomes, engine, rebuild)
    mistakes = [
        _class_mistake(key, evidence, engine, rebuild, rulebook)
        for key, evidence in gathered.items()
        if evidence.named or evidence.expected >= WORTH_TELLING
    ]
    return sorted(mistakes, key=lambda mistake: (-mistake.rank, mistake.lesson, mistake.id))


def unexplained(outcomes: Sequence[Outcome]) -> int:
    """How many counted wrong answers no known mistake explains."""
    return sum(not answer.mistakes and answer.named is None for _, answer in wrong_answers(outcomes))


def wrong_answers(outcomes: Sequence[Outcome]) -> Iterator[tuple[AssignedProblem, Answer]]:
    """The counted wrong answers to what is not excused."""
    for outcome in outcomes:
        if outcome.state != "excused":
            for answer in outcome.answers:
                if answer.counted and answer.verdict == "wrong":
                    yield outcome.handed, answer


def _gathered(outcomes: Sequence[Outcome], engine: Engine, rebuild: Again) -> Mapping[_Key, _Found]:
    exercises = engine.library.exercises
    gathered: dict[_Key, _Found] = defaultdict(_Found)
    for handed, answer in wrong_answers(outcomes):
        shares = _shares(answer)
        problem = rebuild(handed) if shares else None
        harm = harm_of(problem, answer.entry, frozenset(shares)) if problem and not is_recorded(problem) else Harm.NONE
        for id_, share in shares.items():
            exercise = exercises.get(handed.exercise)
            evidence = gathered[_key(exercise, handed.exercise, id_)]
            learner = handed.member.id
            evidence.shares[learner] = max(share, evidence.shares.get(learner, 0.0))
            evidence.handed.append(handed)
            if share == max(shares.values()):
                evidence.harms[harm] += 1
                evidence.typed[answer.entry.strip()[:LONGEST_EXAMPLE]] += 1
            if answer.named is not None and id_ in answer.named.split("+"):
                evidence.named.add(learner)
    return gathered


def _key(exercise: Exercise | OrderExercise | None, exercise_id: str, id_: str) -> _Key:
    lesson = exercise.lesson if exercise else ""
    return _Key(lesson, "" if exercise and id_ in exercise.mistakes else exercise_id, id_)


def _shares(answer: Answer) -> dict[str, float]:
    """The mistakes in a wrong answer and how likely each is: those named certain, else by their probability."""
    if answer.named is not None:
        return dict.fromkeys(answer.named.split("+"), 1.0)
    shares: dict[str, float] = {}
    for ids, probability in answer.mistakes.items():
        for id_ in ids.split("+"):
            shares[id_] = min(1.0, shares.get(id_, 0.0) + probability)
    return shares


def _class_mistake(key: _Key, evidence: _Found, engine: Engine, rebuild: Again, rulebook: RulebookId) -> ClassMistake:
    made_in = tuple(dict.fromkeys(handed.exercise for handed in evidence.handed))
    exercises = engine.library.exercises
    first = exercises.get(made_in[0])
    words, says = _words(key, first, [rebuild(handed) for handed in evidence.handed[:1]])
    lesson = engine.library.lessons.get(key.lesson)
    return ClassMistake(
        id=key.id,
        words=words,
        says=says,
        lesson=key.lesson,
        lesson_title=lesson.header.title if lesson else "",
        exercises=made_in,
        learners=len(evidence.named),
        perhaps=sum(share for learner, share in evidence.shares.items() if learner not in evidence.named),
        answers=evidence.harms.total(),
        broke_limit=evidence.harms[Harm.LIMIT_BROKEN],
        did_harm=evidence.harms[Harm.SOME],
        rank=evidence.expected * evidence.weight,
        examples=tuple(text for text, _ in evidence.typed.most_common(EXAMPLES)),
        safety=tuple(
            dict.fromkeys(
                id_ for exercise_id in made_in if exercise_id in exercises for id_ in exercises[exercise_id].safety
            )
        ),
        follow_up=follow_up(engine, key.id, words, key.lesson, made_in, rulebook),
    )


def _words(key: _Key, exercise: Exercise | OrderExercise | None, problems: Sequence[AnyProblem]) -> tuple[str, str]:
    """A mistake in words, and what is said about it; a derived one has words only where its problem can be set."""
    if exercise and key.id in exercise.mistakes:
        return exercise.mistakes[key.id].words, exercise.mistakes[key.id].says
    for problem in problems:
        if isinstance(problem, Problem) and not is_recorded(problem):
            words = next((method.words for method in problem.wrong_methods.all if method.id == key.id), None)
            if words:
                return words, ""
    return key.id.replace("-", " "), ""


def follow_up(
    engine: Engine, mistake: str, words: str, lesson: str, made_in: Sequence[str], rulebook: RulebookId
) -> PracticeSet:
    """A ready set aimed at a mistake: problems in which it shows, of its lesson first, else those it was made in."""
    items: list[Item] = []
    for id_, exercise in _aimed(engine, mistake, lesson, rulebook):
        ask = _ask_that_shows(engine, exercise, mistake, rulebook)
        if ask is not None and len(items) < MOST_EXERCISES:
            usual = next(iter(exercise.asks))
            items.append(Item(exercise=id_, ask=None if ask == usual else ask, problems=PROBLEMS_EACH))
    if not items:
        items = [Item(exercise=id_, problems=PROBLEMS_EACH) for id_ in made_in[:MOST_EXERCISES]]
    slug = re.sub(r"[^a-z0-9]+", "-", f"again-{mistake}".lower())[:60].strip("-")
    return PracticeSet(id=slug, title=f"Again: {words}", rulebook=rulebook, items=items)


def _aimed(
    engine: Engine, mistake: str, lesson: str, rulebook: RulebookId
) -> Iterator[tuple[str, Exercise | OrderExercise]]:
    declaring = [(id_, declared) for id_, declared in engine.library.exercises.items() if mistake in declared.mistakes]
    for id_, exercise in sorted(declaring, key=lambda pair: pair[1].lesson != lesson):
        if isinstance(exercise, OrderExercise) or rulebook in exercise.rulebooks:
            yield id_, exercise


def _ask_that_shows(
    engine: Engine, exercise: Exercise | OrderExercise, mistake: str, rulebook: RulebookId
) -> str | None:
    """The first quantity of an exercise whose answer the mistake changes."""
    if isinstance(exercise, OrderExercise):
        return next(iter(exercise.asks))
    for ask in engine.library.declared[exercise.id].under(rulebook).exercise.asks:
        if any(declared.id == mistake for declared in declared_mistakes(engine.question(exercise.id, ask, rulebook))):
            return ask
    return None

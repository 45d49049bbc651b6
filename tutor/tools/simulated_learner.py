"""A simulated learner: follows one wrong method, or two, or none, and types as people do, and is marked."""

import math
from collections.abc import Iterator, Mapping
from decimal import Decimal
from random import Random

from tutor.answers.marking import mark
from tutor.answers.naming import OFFERED, in_working_units
from tutor.answers.verdicts import Candidate, Explanation, Marking
from tutor.base.units import conversion
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.draw import draw
from tutor.problems.printing import same
from tutor.problems.problem import Problem
from tutor.problems.wrong_method import Origin, WrongMethod

FIGURES = (3, 4, 4, 4, 5, 5)  # significant figures that people type, one as likely as the other
FAR = math.log(10)  # numbers from nowhere lie within a factor of ten of the right one
DRAWS_COMPARED = 8  # so many problems in which two methods have to agree to be one

Outcome = str
NAMED, ASKED, UNKNOWN, FALSE = "named rightly", "asked a separating question", "not identified", "named falsely"
MARKED_RIGHT = "marked right"
OUTCOMES = (NAMED, ASKED, UNKNOWN, FALSE, MARKED_RIGHT)
STEPS, VALUE, FEW = "with steps", "final value only", "final whole number or size only"
NOWHERE, ROUTE = "a number from nowhere", "the right answer by another route"
KINDS = (
    *(f"{origin}, {typed}" for origin in ("a declared mistake", "a derived slip") for typed in (STEPS, VALUE, FEW)),
    *(f"two mistakes, {typed}" for typed in (STEPS, VALUE)),
    NOWHERE,
    ROUTE,
)
ORIGINS: dict[Origin, str] = {"declared": "a declared mistake", "derived": "a derived slip", "pair": "two mistakes"}


class Learner:
    """One simulated learner before one problem."""

    def __init__(self, problem: Problem, random: Random) -> None:
        self.problem, self.random = problem, random
        self.quantities = problem.question.library.quantities
        self.figures = random.choice(FIGURES)
        self.is_value = problem.ask not in problem.question.discrete
        self.has_steps = len(problem.step_names) > 1

    def outcomes(self) -> Iterator[tuple[str, Outcome]]:
        """What came of each kind of learner that this problem can have."""
        alone = self.problem.question.evidence is None
        for origin in ORIGINS:
            if alone and (self.is_value or origin != "pair"):
                yield from self._mistaken(origin, with_steps=False)
            if self.has_steps:
                yield from self._mistaken(origin, with_steps=True)
        if self.is_value:
            yield NOWHERE, self._from_nowhere()
        yield ROUTE, self._by_another_route()

    def _mistaken(self, origin: Origin, *, with_steps: bool) -> Iterator[tuple[str, Outcome]]:
        methods = self.problem.wrong_pairs if origin == "pair" else self.problem.wrong_methods
        biting = [method for method in methods.all if method.origin == origin and self._bites(method)]
        if not biting:
            return
        (method,) = self.random.choices(biting, [method.weight for method in biting])
        typed = self._typed_on(method, with_steps=with_steps)
        if typed is None or not typed[self.problem.ask].strip("0."):
            return
        answer = typed.pop(self.problem.ask)
        kind = STEPS if typed else (VALUE if self.is_value else FEW)
        if f"{ORIGINS[origin]}, {kind}" in KINDS:
            yield f"{ORIGINS[origin]}, {kind}", self._judged(method, mark(self.problem, answer, typed))

    def _bites(self, method: WrongMethod) -> bool:
        """Whether a method leads to a possible value that is not the right one."""
        values = self._values(method)
        if values is None:
            return False
        answer, right = values[self.problem.ask], self.problem.values[self.problem.ask]
        apart = abs(answer - right) > 2 * self.problem.tolerance(self.problem.ask)
        return apart and method.is_plausible(values)

    def _values(self, method: WrongMethod) -> dict[str, float] | None:
        try:
            values = method.follow(self.problem.shown, self.problem.all_values, {}, self.problem.ask)
        except NO_VALUE:
            return None
        return values if math.isfinite(values[self.problem.ask]) else None

    def _typed_on(self, method: WrongMethod, *, with_steps: bool) -> dict[str, str] | None:
        """What the learner types: the answer, or every step, each worked out from the rounded one before."""
        if not with_steps:
            values = self._values(method)
            return (
                None if values is None else {self.problem.ask: self._typed(self.problem.ask, values[self.problem.ask])}
            )
        typed: dict[str, str] = {}
        learner_values: dict[str, float] = {}
        for name in (name for name in method.method.names if name in self.problem.step_names):
            try:
                values = {**self.problem.all_values, **learner_values}
                value = method.follow(self.problem.shown, values, learner_values, name)[name]
                typed[name] = self._typed(name, value)
                learner_values[name] = self._read_back(name, value)
            except NO_VALUE:
                return None
        return typed

    def _typed(self, name: str, value: float) -> str:
        kind = self.quantities[name].kind
        if kind in ("answer", "choice", "size"):
            return self.problem.text_of(name, value)
        shown = conversion(self.problem.unit_of(name)).to_shown(value)
        if kind == "count":
            return f"{shown:.10g}"
        text = f"{shown:.{self.figures}g}"
        return f"{Decimal(text):f}"

    def _read_back(self, name: str, value: float) -> float:
        if self.quantities[name].kind in ("answer", "choice", "size", "count"):
            return value
        return conversion(self.problem.unit_of(name)).to_working(float(self._typed(name, value)))

    def _judged(self, method: WrongMethod, marking: Marking) -> Outcome:
        if marking.verdict == "right":
            return MARKED_RIGHT
        named = marking.all_named
        if named:
            ids = {id_ for explanation in named for id_ in explanation.id.split("+")}
            rightly = ids == set(method.id.split("+"))
            return NAMED if rightly or any(self._is_same(method, mistake, marking) for mistake in named) else FALSE
        offered = marking.candidates[:OFFERED]
        is_offered = any(mistake.id == method.id or self._is_same(method, mistake, marking) for mistake in offered)
        return ASKED if is_offered else UNKNOWN

    def _is_same(self, method: WrongMethod, explanation: Explanation, marking: Marking) -> bool:
        """Whether an explanation comes to the same expression, so that nobody could tell the two apart."""
        if not isinstance(explanation, Candidate):
            return False
        second = explanation.method
        return self._agree(method, second, marking) or self._always_agree(method, second)

    def _agree(self, method: WrongMethod, second: WrongMethod, marking: Marking) -> bool:
        """Whether two methods agree in this problem from the learner's own steps on, before anything is rounded."""
        learner_values: dict[str, float] = {}
        for name, step in marking.steps.items():
            if step.verdict == "wrong":
                return _agree_on(self.problem, method, second, learner_values, name)
            if step.entry is not None:
                learner_values[name] = in_working_units(self.problem, name, step.entry)
        return _agree_on(self.problem, method, second, learner_values, self.problem.ask)

    def _always_agree(self, method: WrongMethod, second: WrongMethod) -> bool:
        """Whether two methods that change the same step come to the same there, in this problem and in others."""
        if not method.changed or method.changed != second.changed:
            return False
        numbers = range(self.problem.number, self.problem.number + DRAWS_COMPARED)
        problems = (draw(self.problem.question, number) for number in numbers)
        return all(_agree_on(problem, method, second, {}, method.changed[0], unrounded=False) for problem in problems)

    def _from_nowhere(self) -> Outcome:
        right = self.problem.values[self.problem.ask]
        value = right * math.exp(self.random.uniform(-FAR, FAR))
        marking = mark(self.problem, self._typed(self.problem.ask, value))
        if marking.verdict == "right":
            return MARKED_RIGHT
        return FALSE if marking.named else (ASKED if marking.candidates else UNKNOWN)

    def _by_another_route(self) -> Outcome:
        """Every step worked out from the rounded one before, four figures at least; only the answer is typed."""
        self.figures = max(4, self.figures)
        learner_values: dict[str, float] = {}
        for step in self.problem.question.right.steps:
            value = self.problem.question.relation(step.whole)({**self.problem.known, **learner_values})
            learner_values[step.name] = self._read_back(step.name, value)
        evidence = self.problem.question.evidence
        steps = {evidence: self._typed(evidence, learner_values[evidence])} if evidence else {}
        marking = mark(self.problem, self._typed(self.problem.ask, learner_values[self.problem.ask]), steps)
        return {"right": MARKED_RIGHT, "unclear": UNKNOWN}.get(marking.verdict, FALSE)


def _agree_on(
    problem: Problem,
    method: WrongMethod,
    second: WrongMethod,
    learner_values: Mapping[str, float],
    name: str,
    *,
    unrounded: bool = True,
) -> bool:
    """Whether two methods give a quantity the same value, and reach it from the same one if it is rounded."""
    values = {**problem.all_values, **learner_values}
    try:
        first_values = method.follow(problem.shown, values, learner_values, name)
        second_values = second.follow(problem.shown, values, learner_values, name)
    except NO_VALUE:
        return False
    if name not in first_values or name not in second_values:
        return False
    compared = [(first_values[name], second_values[name])]
    if unrounded and name in problem.question.discrete:
        compared += zip(method.unrounded(first_values, name), second.unrounded(second_values, name), strict=False)
    return all(same(*pair) for pair in compared)

"""What is kept of a problem when it is handed out, and the problem set again from that.

A handed problem stands by what was kept: if the exercise, a part or a table has changed since, so that the kept givens
would lead to other values, the problem is not set again and the answer is marked by the kept values.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from tutor.classroom.difficulty import profile
from tutor.classroom.models import Handed, Kept, KeptOrder, Member
from tutor.content.errors import ContentError
from tutor.content.library import Library
from tutor.content.models import Amount
from tutor.engine.order import OrderProblem
from tutor.engine.problem import AnyProblem, Problem
from tutor.engine.question import Engine, RequestError
from tutor.trade.rulebooks import TableError

SLACK = 1e-9  # relative; what rounding in floating point may carry a value
_HALVINGS = 60


def handed_from(problem: AnyProblem, member: Member, place: int, code: str = "", id_: int = 0) -> Handed:
    """A problem as it is handed to a member: all that showing and marking it will need."""
    question = problem.question
    return Handed(
        id=id_,
        member=member,
        place=place,
        code=code,
        exercise=question.exercise.id,
        version=question.version,
        number=problem.number,
        ask=problem.ask,
        rulebook="iec" if question.rulebook.id == "iec" else "us",
        givens=dict(problem.shown),
        kept=_kept_of_order(problem) if isinstance(problem, OrderProblem) else _kept(problem),
        **expected_of(problem),
    )


def expected_of(problem: AnyProblem) -> dict[str, Any]:
    """The right values: what a correction of the exercise may change in a handed problem."""
    if isinstance(problem, OrderProblem):
        return {"expected": {}, "answer": problem.answer_text, "tolerance": 0.0}
    return {
        "expected": {name: float(problem.values[name]) for name in problem.step_names},
        "answer": problem.text_of(problem.ask),
        "tolerance": problem.tolerance(problem.ask),
    }


def rebuild_problem(engine: Engine, handed: Handed) -> AnyProblem | None:
    """The problem as it was handed out; None if the content of today would give it other values.

    Its version may be another one, if what has changed makes no difference to this problem.
    """
    problem = with_todays_content(engine, handed)
    if problem is None or isinstance(problem, OrderProblem):
        same = problem is not None and handed.kept.order == kept_order(problem)
        return problem if same else None
    if set(problem.step_names) != set(handed.expected) or problem.question.evidence != handed.kept.evidence:
        return None
    close = (abs(problem.values[name] - kept) <= SLACK * max(1.0, abs(kept)) for name, kept in handed.expected.items())
    return problem if all(close) else None


def with_todays_content(engine: Engine, handed: Handed) -> AnyProblem | None:
    """The problem that the kept givens make under the content of today; None if they fit it no more."""
    try:
        if handed.kept.order is not None:
            return _order_with_todays_content(engine, handed, handed.kept.order)
        question = engine.question(handed.exercise, handed.ask, handed.rulebook)
        if set(question.known) != set(handed.givens):
            return None
        known = {name: handed.givens[name].working for name in question.known}
        values = question.right.values(known)
    except (RequestError, ContentError, KeyError, TableError, ZeroDivisionError, OverflowError):
        return None
    if not all(map(math.isfinite, values.values())):
        return None
    unit = handed.kept.units.get(handed.ask, "")
    shown = {name: handed.givens[name] for name in question.known}
    return Problem(question, handed.number, dict(handed.kept.parts), shown, known, values, unit)


def _order_with_todays_content(engine: Engine, handed: Handed, order: KeptOrder) -> OrderProblem | None:
    question = engine.order_question(handed.exercise, handed.ask, handed.rulebook)
    listed = {*order.letters.values(), *order.done}
    if not listed <= question.exercise.actions.keys() | question.exercise.traps.keys():
        return None
    return OrderProblem(question, handed.number, dict(order.letters), tuple(order.done), {})


def cautions_of(handed: Handed, library: Library) -> dict[str, str]:
    """The cautions that fit, by their hazards: the exercise's of today, and all if it is gone."""
    exercise = library.exercises.get(handed.exercise)
    fitting = exercise.safety if exercise is not None else library.hazards
    return library.cautions(fitting, handed.rulebook)


def accepted_range(problem: Problem) -> tuple[float, float]:
    """The answers that are right, in working units: the tolerance around the value, cut off where a limit breaks."""
    value = float(problem.values[problem.ask])
    slack = SLACK * max(1.0, abs(value))
    below, above = problem.reach
    lowest, highest = value - below - slack, value + above + slack
    return _last_that_holds(problem, value, lowest), _last_that_holds(problem, value, highest)


def _last_that_holds(problem: Problem, value: float, end: float) -> float:
    """The end of the range, or the last value on the way there that breaks no limit."""
    if not problem.breaks_limit(end):
        return end
    holds, breaks = value, end
    for _ in range(_HALVINGS):
        middle = (holds + breaks) / 2
        if problem.breaks_limit(middle):
            breaks = middle
        else:
            holds = middle
    return holds


def _kept(problem: Problem) -> Kept:
    question = problem.question
    quantities = question.library.quantities
    steps = problem.step_names
    return Kept(
        title=question.exercise.title,
        story=problem.story,
        task=problem.task,
        parts=dict(problem.parts),
        words={name: quantities[name].words for name in [*problem.shown, *steps]},
        units={name: problem.unit_of(name) for name in steps},
        kinds={name: quantities[name].kind for name in steps},
        tolerances={name: problem.tolerance(name) for name in steps},
        choices=list(quantities[problem.ask].choices),
        accepted=accepted_range(problem),
        evidence=question.evidence,
        tabled=problem.ask in question.discrete and question.right.steps[-1].kind not in ("round", "trace"),
        bounded=bool(question.limits),
        profile=profile(problem).as_tuple(),
    )


def _kept_of_order(problem: OrderProblem) -> Kept:
    return Kept(
        title=problem.question.exercise.title,
        story=problem.story,
        listed=problem.listed,
        task=problem.task,
        kinds={problem.ask: problem.ask},
        order=kept_order(problem),
        profile=profile(problem).as_tuple(),
    )


def kept_order(problem: OrderProblem) -> KeptOrder:
    """What an order problem is marked by."""
    letter_of = {action: letter for letter, action in problem.letters.items()}
    actions, reason = problem.to_order, problem.question.reason
    return KeptOrder(
        letters=dict(problem.letters),
        done=list(problem.done),
        before=[(letter_of[one], letter_of[then]) for one in actions for then in actions if reason(one, then)],
        traps=[letter for letter, action in problem.letters.items() if action in problem.question.exercise.traps],
    )


def kept_as_json(kept: Kept) -> dict[str, Any]:
    """What is kept, as the store holds it."""
    return asdict(kept)


def kept_from_json(held: Mapping[str, Any]) -> Kept:
    """What is kept, from the store."""
    fields = dict(held)
    order = fields.pop("order", None)
    low, high = fields.pop("accepted")
    return Kept(
        **{**fields, "profile": _whole(fields["profile"])},
        accepted=(float(low), float(high)),
        order=_order_from_json(order) if order else None,
    )


def _order_from_json(order: Mapping[str, Any]) -> KeptOrder:
    return KeptOrder(**{**order, "before": [(first, then) for first, then in order["before"]]})


def _whole(numbers: Sequence[int]) -> tuple[int, int, int]:
    steps, traps, size = numbers
    return steps, traps, size


def givens_as_json(givens: Mapping[str, Amount]) -> dict[str, Any]:
    """The givens, as the store holds them."""
    return {name: amount.model_dump(mode="json") for name, amount in givens.items()}

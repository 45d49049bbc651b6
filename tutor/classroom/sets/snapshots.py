"""What a class was handed: a problem's declaration frozen with all that it rests on, and the problem rebuilt from it.

So no later change of an exercise, a part or a table changes a problem that is handed out.
"""

import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeAlias

from tutor.classroom.models import AssignedProblem, Member, ProblemRecord, ProblemSnapshot
from tutor.classroom.sets.difficulty import profile
from tutor.classroom.sets.recorded import recorded_problem
from tutor.content.errors import ContentError
from tutor.content.files import Document
from tutor.content.library import Declared, Library
from tutor.content.models import Exercise, OrderExercise, Quantity
from tutor.problems.order import OrderProblem, OrderQuestion
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Engine, Question, RequestError
from tutor.trade.rulebooks import Figure, Rulebook, TableError, rulebook
from tutor.trade.tables import Key, Table

AnyQuestion: TypeAlias = Question | OrderQuestion

SLACK = 1e-9  # relative; what rounding in floating point may carry a value
_HALVINGS = 60
# What is raised where the content of today has no such question, or the numbers of a problem do not fit it.
UNFIT = (RequestError, ContentError, KeyError, TableError, ZeroDivisionError, OverflowError)


def assigned_from(problem: AnyProblem, member: Member, place: int, code: str = "") -> AssignedProblem:
    """A problem as it is handed to a member."""
    question = problem.question
    in_steps = {} if isinstance(problem, OrderProblem) else problem.values
    return AssignedProblem(
        id=0,
        member=member,
        place=place,
        code=code,
        exercise=question.exercise.id,
        version=question.version,
        number=problem.number,
        ask=problem.ask,
        rulebook=question.rulebook.id,
        givens=dict(problem.shown),
        expected={name: float(in_steps[name]) for name in problem.step_names},
        answer=problem.answer_text,
        tolerance=0.0 if isinstance(problem, OrderProblem) else problem.tolerance(problem.ask),
        snapshot=snapshot_of(problem),
    )


def snapshot_of(problem: AnyProblem) -> ProblemSnapshot:
    """What is kept of a problem so that it can be rebuilt."""
    declaration, profile_ = frozen(problem.question), profile(problem).as_tuple()
    if isinstance(problem, OrderProblem):
        letters, done_actions = dict(problem.letters), list(problem.done)
        return ProblemSnapshot(declaration=declaration, letters=letters, done=done_actions, profile=profile_)
    return ProblemSnapshot(declaration=declaration, parts=dict(problem.parts), unit=problem.unit, profile=profile_)


def frozen(question: AnyQuestion) -> str:
    """A question's declaration as text, with the quantities, tables and figures that it rests on."""
    return _frozen(question) if isinstance(question, OrderQuestion) else _frozen_once(question)


@lru_cache(maxsize=1024)
def _frozen_once(question: Question) -> str:
    return _frozen(question)


def _frozen(question: AnyQuestion) -> str:
    exercise = question.exercise.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude={"in_rulebook"})
    used = set(re.findall(r"[a-z0-9_]+", json.dumps(exercise)))

    def rested_on(home: Mapping[str, Any]) -> dict[str, Any]:
        return {name: home[name] for name in home if name in used}

    quantities, book = question.library.quantities, question.rulebook
    return json.dumps(
        {
            "exercise": exercise,
            "quantities": {
                name: row.model_dump(mode="json", by_alias=True, exclude_unset=True)
                for name, row in rested_on(quantities).items()
            },
            "tables": {name: asdict(table) for name, table in rested_on(book.tables).items()},
            "figures": {name: asdict(figure) for name, figure in rested_on(book.figures).items()},
        }
    )


@lru_cache(maxsize=1024)
def declaration_hash(declaration: str) -> str:
    """The name of a frozen declaration in the store."""
    return hashlib.sha256(declaration.encode()).hexdigest()


def declared_exercise(declaration: str) -> Exercise | OrderExercise:
    """The exercise of a frozen declaration. Raises ValueError if it is none."""
    fields = json.loads(declaration)["exercise"]
    model = OrderExercise if fields.get("kind") == "order" else Exercise
    return model.model_validate(fields)


def with_told_words(declaration: str, words_told: Mapping[str, Any]) -> str:
    """A declaration in the words of another one, so that what stands on paper stays."""
    content = json.loads(declaration)
    exercise = content["exercise"]
    for field_name, words in words_told.items():
        fields = exercise[field_name]
        is_by_name = isinstance(fields, dict)
        exercise[field_name] = {name: words.get(name, fields[name]) for name in fields} if is_by_name else words
    return json.dumps(content)


@lru_cache(maxsize=1024)
def question_from(engine: Engine, declaration: str, ask: str, rulebook_id: str) -> AnyQuestion:
    """The question of a frozen declaration: today's own where that is declared just so."""
    with suppress(*UNFIT):
        question = _question_of(engine, declared_exercise(declaration).id, ask, rulebook_id)
        if frozen(question) == declaration:
            return question
    content, exercise = json.loads(declaration), declared_exercise(declaration)
    exercise = exercise.model_copy(update={"safety": fitting_cautions(engine.library, exercise.id, exercise.safety)})
    quantities = {name: Quantity.model_validate(fields) for name, fields in content["quantities"].items()}
    library = replace(engine.library, quantities={**engine.library.quantities, **quantities})
    document = Document(Path(f"{exercise.id}.yaml"), content["exercise"])
    book = _rulebook_from(rulebook(rulebook_id), content)
    if isinstance(exercise, OrderExercise):
        wanted_order = next(wanted for wanted in exercise.asks if wanted == ask)
        return OrderQuestion(library, exercise, document, wanted_order, book)
    return Question(library, Declared(exercise, document), ask, book)


def _rulebook_from(book: Rulebook, content: Mapping[str, Any]) -> Rulebook:
    """A rulebook with the tables and figures of a frozen declaration."""
    tables = {
        name: Table(**{**fields, "rows": tuple(fields["rows"]), "keys": tuple(Key(**key) for key in fields["keys"])})
        for name, fields in content["tables"].items()
    }
    figures = {name: Figure(**fields) for name, fields in content["figures"].items()}
    return replace(book, tables={**book.tables, **tables}, figures={**book.figures, **figures})


def question_of_today(engine: Engine, assigned: AssignedProblem) -> AnyQuestion:
    """The question of a problem as the content of today has it. Raises one of UNFIT if it is there no more."""
    return _question_of(engine, assigned.exercise, assigned.ask, assigned.rulebook)


def _question_of(engine: Engine, exercise: str, ask: str, rulebook_id: str) -> AnyQuestion:
    if exercise in engine.library.orders:
        return engine.order_question(exercise, ask, rulebook_id)
    return engine.question(exercise, ask, rulebook_id)


def problem_of(engine: Engine, assigned: AssignedProblem) -> AnyProblem:
    """The problem as it was handed out, whatever has become of the content since.

    What an earlier version kept has no declaration: today's content takes its place where it leads to what was kept,
    else the problem has nothing but the values that were kept.
    """
    snapshot = assigned.snapshot
    if snapshot.record is None:
        question = question_from(engine, snapshot.declaration, assigned.ask, assigned.rulebook)
        return rebuilt(question, assigned)
    with suppress(*UNFIT):
        problem = rebuilt(question_of_today(engine, assigned), assigned)
        if leads_to(problem, assigned):
            return problem
    return recorded_problem(
        engine.library, assigned, fitting_cautions(engine.library, assigned.exercise, engine.library.hazards)
    )


def rebuilt(question: AnyQuestion, assigned: AssignedProblem) -> AnyProblem:
    """A problem with the numbers that were drawn; the right answer is the instructor's where one was said.

    Raises one of UNFIT where question and numbers do not fit.
    """
    snapshot = assigned.snapshot
    if isinstance(question, OrderQuestion):
        listed = {*snapshot.letters.values(), *snapshot.done}
        if unknown := listed - (question.exercise.actions.keys() | question.exercise.traps.keys()):
            raise KeyError(min(unknown))
        return OrderProblem(question, assigned.number, dict(snapshot.letters), tuple(snapshot.done), {})
    if set(question.known) != set(assigned.givens):
        raise KeyError(assigned.exercise)
    shown = {name: assigned.givens[name] for name in question.known}
    given_values = {name: amount.working for name, amount in shown.items()}
    values = question.right.values(given_values)
    if snapshot.said:
        values[assigned.ask] = assigned.expected[assigned.ask]
    if not all(map(math.isfinite, values.values())):
        raise OverflowError(assigned.exercise)
    return Problem(question, assigned.number, dict(snapshot.parts), shown, given_values, values, snapshot.unit)


def leads_to(problem: AnyProblem, assigned: AssignedProblem) -> bool:
    """Whether a problem has the right values that a problem handed out by an earlier version has."""
    record = assigned.snapshot.record
    assert record is not None
    if isinstance(problem, OrderProblem):
        order = record.order
        return order is not None and order_rules(problem) == ({(*pair,) for pair in order.before}, {*order.traps})
    if set(problem.step_names) != set(assigned.expected) or problem.question.evidence != record.evidence:
        return False
    return all(is_close(problem.values[name], value) for name, value in assigned.expected.items())


def order_rules(problem: OrderProblem) -> tuple[set[tuple[str, str]], set[str]]:
    """What an order is marked by, in letters: which has to come before which, and the traps."""
    letter_of = {action: letter for letter, action in problem.letters.items()}
    actions, reason = problem.to_order, problem.question.reason
    before = {
        (letter_of[first], letter_of[waiting]) for first in actions for waiting in actions if reason(first, waiting)
    }
    return before, {letter_of[action] for action in letter_of if action in problem.question.exercise.traps}


def is_close(value: float, reference: float) -> bool:
    """Whether two values in working units are the same but for rounding in floating point."""
    return abs(value - reference) <= SLACK * max(1.0, abs(reference))


def fitting_cautions(library: Library, exercise: str, declared: Iterable[str]) -> list[str]:
    """The cautions that fit a problem: its exercise's of today, else those declared, or all if one of these is gone."""
    if exercise in library.exercises:
        return library.exercises[exercise].safety
    declared = list(declared)
    return declared if all(id_ in library.hazards for id_ in declared) else list(library.hazards)


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
    good, breaks = value, end
    for _ in range(_HALVINGS):
        middle = (good + breaks) / 2
        if problem.breaks_limit(middle):
            breaks = middle
        else:
            good = middle
    return good


def snapshot_as_json(snapshot: ProblemSnapshot) -> dict[str, Any]:
    """A snapshot as the store holds it beside a problem: its declaration by its hash, once for all of a set."""
    if snapshot.record is not None:
        return snapshot.record.model_dump(mode="json")
    fields = {name: value for name, value in vars(snapshot).items() if name != "record"}
    return fields | {"declaration": declaration_hash(snapshot.declaration)}


def snapshot_from_json(stored: Mapping[str, Any], ask: str, declarations: Mapping[str, str]) -> ProblemSnapshot:
    """A snapshot from the store; `declarations` are by their hash. What an earlier version kept stays its record."""
    if "declaration" in stored:
        declaration, profile_ = declarations[stored["declaration"]], tuple(stored["profile"])
        return ProblemSnapshot(**{**stored, "declaration": declaration, "profile": profile_})
    record = ProblemRecord.model_validate(stored)
    return ProblemSnapshot(
        parts=record.parts,
        unit=record.units.get(ask, ""),
        letters=record.order.letters if record.order else {},
        done=record.order.done if record.order else [],
        profile=record.profile,
        said=record.said,
        record=record,
    )

"""From a member and the problems handed to them to what stands on paper."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from functools import lru_cache
from typing import TypeAlias

from tutor.base.units import conversion, written
from tutor.classroom.models import AssignedProblem, Member, PracticeSet, StoredSet
from tutor.classroom.sets.handing import hand_out
from tutor.classroom.sets.recorded import stands_alone
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.sheets.content import (
    FEWEST_LINES,
    LONG,
    MOST_LINES,
    GivenRow,
    LearnerKey,
    LearnerSheet,
    Paper,
    Picture,
    PrintedProblem,
    Shape,
    Style,
    WorkedLine,
    WorkedProblem,
)
from tutor.content.library import Library
from tutor.content.models import FOR_ALL
from tutor.entries.kinds import capitalised
from tutor.pictures.diagrams.declared import diagram_of
from tutor.pictures.diagrams.drawing import Diagram
from tutor.pictures.looks import PAPER
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Engine
from tutor.problems.solution import Line, worked_solution
from tutor.store.database import Store

KEPT = "The exercise has changed since this was handed out. These values were kept then; answers are marked by them."
_SIZE = re.compile(r'\b(width|height)="([\d.]+)px"')

Coded: TypeAlias = tuple[AssignedProblem, AnyProblem]


def style_of(practice: PracticeSet, library: Library, day: date, *, paper: Paper = "a4", large: bool = False) -> Style:
    """The style of a practice set's sheets."""
    caution = library.hazards[FOR_ALL].text_under(practice.rulebook)
    return Style(title=practice.title, date=day, caution=caution, paper=paper, large=large)


def handed_by_member(
    store: Store, engine: Engine, practice_set: StoredSet, members: Sequence[Member] | None = None
) -> dict[Member, list[Coded]]:
    """Each member's problems, handed out first where they are not yet; all members if none are named.

    Raises StoreError.
    """
    by_member: dict[Member, list[Coded]] = {}
    for assigned in hand_out(store, engine, practice_set, members):
        by_member.setdefault(assigned.member, []).append((assigned, problem_of(engine, assigned)))
    return by_member


def learner_sheet(
    member: Member, problems: Iterable[Coded], *, notes: Sequence[str] = (), steps: bool = False
) -> LearnerSheet:
    """A learner's sheet from the problems handed to them, in order.

    With `steps` the steps on the way are printed to be filled in too.
    """
    printed = tuple(_printed(position, *coded, steps=steps) for position, coded in enumerate(problems, start=1))
    return LearnerSheet(name=member.name, number=member.number, notes=tuple(notes), problems=printed)


def learner_key(member: Member, problems: Iterable[Coded]) -> LearnerKey:
    """The key to a learner's sheet, with worked solutions."""
    worked = tuple(_worked(position, *coded) for position, coded in enumerate(problems, start=1))
    return LearnerKey(name=member.name, number=member.number, problems=worked)


def _printed(place: int, assigned: AssignedProblem, problem: AnyProblem, *, steps: bool) -> PrintedProblem:
    exercise = problem.question.exercise
    actions: tuple[tuple[str, str], ...] = ()
    picture, lines = None, FEWEST_LINES
    if isinstance(problem, OrderProblem):
        actions = _actions(problem)
    else:
        picture, lines = _picture(problem), _lines(problem, steps)
    words_told = [*problem.story, problem.task, *(words for _, words in actions)]
    return PrintedProblem(
        place=place,
        code=assigned.code,
        title=exercise.title,
        story=" ".join(problem.story),
        question=problem.task,
        answers=_answers(problem),
        cautions=_cautions(problem),
        lines=lines,
        actions=actions,
        givens=_givens(problem),
        picture=picture,
        steps=_steps(problem) if steps else (),
        long=sum(map(len, words_told)) > LONG,
    )


def _worked(place: int, assigned: AssignedProblem, problem: AnyProblem) -> WorkedProblem:
    alone = stands_alone(assigned, problem)
    lines = _kept_values(problem) if alone else (_worked_line(problem, line) for line in worked_solution(problem))
    return WorkedProblem(
        place=place,
        code=assigned.code,
        title=problem.question.exercise.title,
        question=problem.task,
        givens=_givens(problem),
        lines=tuple(lines),
        answer=assigned.answer if alone else _answer(problem),
        cautions=_cautions(problem),
    )


def _kept_values(problem: AnyProblem) -> Iterator[WorkedLine]:
    """What there is to say of an answer that does not follow from the problem's relations: the values on the way."""
    blank = WorkedLine(title="As handed out", why=KEPT, formula="", spoken="", numbers="", value="", source="")
    yield blank
    if isinstance(problem, Problem):
        quantities = problem.question.library.quantities
        for name in problem.step_names[:-1]:
            if quantities[name].kind in ("number", "count"):
                unit = problem.unit_of(name)
                shown = written(conversion(unit).to_shown(problem.values[name]), unit)
                yield replace(blank, title=capitalised(quantities[name].words), why="", numbers=shown)


def _cautions(problem: AnyProblem) -> tuple[str, ...]:
    """The cautions that fit, without the one at the foot of every page."""
    question = problem.question
    fitting = [id_ for id_ in question.exercise.safety if id_ != FOR_ALL]
    return tuple(question.library.cautions(fitting, question.rulebook.id).values())


def _worked_line(problem: AnyProblem, line: Line) -> WorkedLine:
    titled = {"order": line.text, "compare": "Check"} if line.name == "limit" or line.kind == "order" else {}
    title = titled.get(line.kind) or capitalised(problem.question.library.quantities[line.name].words)
    ordered = line.kind == "order"
    return WorkedLine(
        title=title,
        why=line.why,
        formula=line.formula,
        spoken=line.spoken,
        numbers=line.numbers,
        value="" if ordered else line.text,
        source=line.source,
    )


def _givens(problem: AnyProblem) -> tuple[GivenRow, ...]:
    quantities = problem.question.library.quantities
    return tuple(
        GivenRow(quantities[name].symbol, capitalised(quantities[name].words), amount.text)
        for name, amount in problem.shown.items()
    )


def _actions(problem: OrderProblem) -> tuple[tuple[str, str], ...]:
    return tuple((letter, problem.words(action)) for letter, action in problem.letters.items())


def _steps(problem: AnyProblem) -> tuple[str, ...]:
    if isinstance(problem, OrderProblem):
        return ()
    evidence = problem.question.evidence
    return tuple(problem.label(name) for name in problem.step_names[:-1] if name != evidence)


def _answers(problem: AnyProblem) -> tuple[str, ...]:
    """What has to be answered: a yes or no comes with the number that decides."""
    evidence = problem.question.evidence
    proof = (problem.label(evidence),) if evidence and isinstance(problem, Problem) else ()
    return (*proof, problem.answer_label)


def _answer(problem: AnyProblem) -> str:
    """The right answer, with the number that decides where there is one."""
    if isinstance(problem, OrderProblem):
        return problem.answer_text
    evidence = problem.question.evidence
    proof = f" ({problem.text_of(evidence)})" if evidence else ""
    return f"{problem.text_of(problem.ask)}{proof}"


def _lines(problem: Problem, steps: bool) -> int:
    """The least room: a line for each step and two more; where each step has a line of its own, only these."""
    return FEWEST_LINES if steps else min(MOST_LINES, 2 + len(problem.step_names))


def _picture(problem: Problem) -> Picture | None:
    diagram = diagram_of(problem, PAPER)
    return _measured(diagram) if diagram else None


@lru_cache(maxsize=256)
def _measured(diagram: Diagram) -> Picture:
    return Picture(_shape(diagram.svg), _shape(diagram.narrow_svg), diagram.sentence)


def _shape(svg: str) -> Shape:
    size = {name: float(value) for name, value in _SIZE.findall(svg[:1000])}
    return Shape(svg, size["width"], size["height"])

"""One problem handed out, named by the code on its sheet: shown, commented, withdrawn, excused."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from tutor.base.text import visible
from tutor.operations.command import JSON, STORE, operation
from tutor.operations.shell import Commands, Fault

if TYPE_CHECKING:
    from tutor.classroom.models import Answer, Outcome
    from tutor.classroom.reports.results import Results
    from tutor.store.database import Store

_CODE = click.argument("code")
_ANSWER = click.option(
    "--answer",
    "position",
    type=click.IntRange(min=1),
    help="Which answer, counted as 'handed show' does; else the last.",
)


@click.group("handed", cls=Commands)
def handed() -> None:
    """One problem handed out: show its answers, comment on one, withdraw one, excuse the learner."""


def _outcome_json(outcome: "Outcome") -> dict[str, Any]:
    problem = outcome.handed
    return {
        "code": problem.code,
        "name": problem.member.name,
        "number": problem.member.number,
        "place": problem.place,
        "exercise": problem.exercise,
        "title": problem.snapshot.title,
        "question": problem.task,
        "right_answer": problem.answer,
        "state": outcome.state,
        "answers": [
            {
                "at": answer.at.isoformat(),
                "source": answer.source,
                "entry": answer.entry,
                "steps": dict(answer.steps),
                "verdict": answer.verdict,
                "counted": answer.counted,
                "comment": answer.comment,
            }
            for answer in outcome.answers
        ],
    }


def _outcome_lines(outcome: "Outcome") -> Iterator[str]:
    problem = outcome.handed
    member, title = problem.member, problem.snapshot.title
    yield f"{problem.code}  {member.name} {member.number}: {title} ({outcome.state})"
    yield f"  {problem.task} Right answer: {problem.answer}"
    for position, answer in enumerate(outcome.answers, start=1):
        counted = "" if answer.counted else ", not counted"
        comment = f"  # {answer.comment}" if answer.comment else ""
        yield f"  {position} '{answer.entry}' {answer.verdict}{counted}, on {answer.source}{comment}"


@operation(handed, "show", _CODE, STORE, JSON, lines=_outcome_lines, as_json=_outcome_json)
def show(store: "Store", code: str) -> "Outcome":
    """Show a problem with its right answer and the answers given."""
    return _problem(store, code)[1]


@operation(handed, "comment", _CODE, click.argument("text"), _ANSWER, STORE)
def comment(store: "Store", code: str, text: str, position: int | None) -> str:
    """Say TEXT to an answer; its learner sees it. An empty TEXT takes it back."""
    results, outcome = _problem(store, code)
    answer = _answer(outcome, position)
    results.comment(answer.id, text)
    return f"The comment {'stands beside' if text.strip() else 'is taken back from'} '{visible(answer.entry)}'."


@operation(
    handed, "withdraw", _CODE, _ANSWER, click.option("--undo", is_flag=True, help="Count the answer again."), STORE
)
def withdraw(store: "Store", code: str, position: int | None, undo: bool) -> str:
    """Count an answer no more, as one that was typed in wrongly from paper."""
    results, outcome = _problem(store, code)
    answer = _answer(outcome, position)
    if undo and not answer.was_withdrawn:
        raise Fault(f"'{answer.entry}' was not withdrawn. 'coldmorning handed show' lists the answers.")
    results.withdraw(answer.id, withdrawn=not undo)
    outcome_words = "counts again" if undo else "is not counted any more; --undo counts it again"
    return f"'{visible(answer.entry)}' {outcome_words}."


@operation(handed, "excuse", _CODE, click.option("--undo", is_flag=True, help="Count the problem again."), STORE)
def excuse(store: "Store", code: str, undo: bool) -> str:
    """Excuse the learner from a problem; its answers stay."""
    results, outcome = _problem(store, code)
    results.excuse(outcome.handed.id, excused=not undo)
    return "It counts again." if undo else "Excused."


def _problem(store: "Store", code: str) -> "tuple[Results, Outcome]":
    """The set of a problem as its instructor sees it, and how the problem stands."""
    from tutor.classroom.reports.results import Results, handed_by_code
    from tutor.classroom.roster.register import Register

    set_id, problem = handed_by_code(store, code)
    results = Results(store, Register(store).get(set_id))
    return results, next(outcome for outcome in results.outcomes() if outcome.handed.id == problem.id)


def _answer(outcome: "Outcome", position: int | None) -> "Answer":
    answers, code = outcome.answers, outcome.handed.code
    if not answers:
        raise Fault(f"Problem {code} has no answer yet.")
    if position is not None and position > len(answers):
        raise Fault(
            f"Problem {code} has no answer {position}, the last is {len(answers)}; "
            "'coldmorning handed show' lists them."
        )
    return answers[(position or len(answers)) - 1]

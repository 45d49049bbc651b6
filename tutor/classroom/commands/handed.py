"""The commands about one problem handed out, named by the code on its sheet."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from tutor.classroom.commands.common import opened
from tutor.shell import Commands, Fault, json_option, print_json, say, store_option, told_plainly

if TYPE_CHECKING:
    from tutor.classroom.models import Answer, Outcome
    from tutor.classroom.results import Results

_code = click.argument("code")
_which = click.option(
    "--answer", "at", type=click.IntRange(min=1), help="Which answer, counted as 'handed show' does; else the last."
)


@click.group("handed", cls=Commands)
def handed() -> None:
    """One problem handed out: show its answers, comment on one, withdraw one, excuse the learner."""


@handed.command()
@_code
@store_option
@json_option
@told_plainly
def show(code: str, store: str | None, as_json: bool) -> None:
    """Show a problem with its right answer and the answers given."""
    with _found(code, store) as (_, outcome):
        told = _told(outcome)
    if as_json:
        print_json(told)
        return
    say(f"{told['code']}  {told['name']} {told['number']}: {told['title']} ({told['state']})")
    say(f"  {told['question']} Right answer: {told['right_answer']}")
    for at, answer in enumerate(told["answers"], start=1):
        counted = "" if answer["counted"] else ", not counted"
        said = f"  # {answer['comment']}" if answer["comment"] else ""
        say(f"  {at} '{answer['entry']}' {answer['verdict']}{counted}, on {answer['source']}{said}")


@handed.command()
@_code
@click.argument("text")
@_which
@store_option
@told_plainly
def comment(code: str, text: str, at: int | None, store: str | None) -> None:
    """Say TEXT to an answer; its learner sees it. An empty TEXT takes it back."""
    with _found(code, store) as (results, outcome):
        answer = _answer(outcome, at)
        results.comment(answer.id, text)
    say(f"The comment {'stands beside' if text.strip() else 'is taken back from'} '{answer.entry}'.")


@handed.command()
@_code
@_which
@click.option("--undo", is_flag=True, help="Count the answer again.")
@store_option
@told_plainly
def withdraw(code: str, at: int | None, undo: bool, store: str | None) -> None:
    """Count an answer no more, as one that was typed in wrongly from paper."""
    with _found(code, store) as (results, outcome):
        answer = _answer(outcome, at)
        if undo and not answer.was_withdrawn:
            raise Fault(f"'{answer.entry}' was not withdrawn. 'coldmorning handed show' lists the answers.")
        results.withdraw(answer.id, withdrawn=not undo)
    say(f"'{answer.entry}' {'counts again' if undo else 'is not counted any more; --undo counts it again'}.")


@handed.command()
@_code
@click.option("--undo", is_flag=True, help="Count the problem again.")
@store_option
@told_plainly
def excuse(code: str, undo: bool, store: str | None) -> None:
    """Excuse the learner from a problem; its answers stay."""
    with _found(code, store) as (results, outcome):
        results.excuse(outcome.handed.id, excused=not undo)
    click.echo("It counts again." if undo else "Excused.")


@contextmanager
def _found(code: str, store: str | None) -> "Iterator[tuple[Results, Outcome]]":
    """The set of a problem as its instructor sees it, and how the problem stands."""
    from tutor.classroom.register import Register
    from tutor.classroom.results import Results, handed_by_code

    with opened(store) as kept:
        set_id, one = handed_by_code(kept, code)
        results = Results(kept, Register(kept).get(set_id))
        yield results, next(outcome for outcome in results.outcomes() if outcome.handed.id == one.id)


def _answer(outcome: "Outcome", at: int | None) -> "Answer":
    answers, code = outcome.answers, outcome.handed.code
    if not answers:
        raise Fault(f"Problem {code} has no answer yet.")
    if at is not None and at > len(answers):
        raise Fault(
            f"Problem {code} has no answer {at}, the last is {len(answers)}; 'coldmorning handed show' lists them."
        )
    return answers[(at or len(answers)) - 1]


def _told(outcome: "Outcome") -> dict[str, Any]:
    one = outcome.handed
    return {
        "code": one.code,
        "name": one.member.name,
        "number": one.member.number,
        "place": one.place,
        "exercise": one.exercise,
        "title": one.kept.title,
        "question": one.kept.task,
        "right_answer": one.answer,
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

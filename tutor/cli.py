"""The command `coldmorning`: opens the tutor, and does from the shell what the pages do."""

import json
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from tutor.errors import FaultyRequestError
from tutor.store import commands as store_commands

FAULTY_REQUEST = 2
LARGEST_WORKING = 20_000


class _Fault(click.ClickException):
    """A faulty request: one line on standard error, exit code 2."""

    exit_code = FAULTY_REQUEST

    def show(self, file: Any = None) -> None:
        click.echo(f"coldmorning: {' '.join(self.message.split())}", file=file or sys.stderr)


def _told_plainly(command: Callable[..., Any]) -> Callable[..., Any]:
    """Turn the errors of a request into one line and exit code 2."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except FaultyRequestError as error:
            raise _Fault(str(error)) from None

    return run


class _Commands(click.Group):
    """A group whose usage errors, too, take one line."""

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        """Read the options of the group."""
        try:
            return super().make_context(*args, **kwargs)
        except click.UsageError as error:
            raise _Fault(f"{error.format_message()} 'coldmorning --help' lists the options.") from None

    def invoke(self, ctx: click.Context) -> Any:
        """Read the options of the command and run it."""
        try:
            return super().invoke(ctx)
        except click.UsageError as error:
            command = error.ctx.command_path if error.ctx else "coldmorning"
            raise _Fault(f"{error.format_message()} '{command} --help' lists what there is.") from None
        except FaultyRequestError as error:
            raise _Fault(str(error)) from None


def _print_json(told: Any) -> None:
    click.echo(json.dumps(told, ensure_ascii=False, indent=2))


content_option = click.option(
    "--content", type=click.Path(path_type=Path), help="A folder with exercises/ and lessons/ of your own."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def problem_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that say which problem is meant."""
    for option in (
        click.argument("exercise"),
        click.option("--number", type=click.IntRange(0, 10**12), default=1, help="Which problem of the exercise."),
        click.option("--ask", help="The quantity to ask for, if not the usual one."),
        click.option("--given", "givens", multiple=True, metavar="NAME=VALUE", help="Your own number for a given."),
        click.option("--rulebook", default="us", help="us or iec."),
        content_option,
    ):
        command = option(command)
    return command


@click.group(cls=_Commands, invoke_without_command=True)
@click.option("--port", type=click.IntRange(1, 65535), help="The port to serve on; a free one is taken otherwise.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
@click.option("--store", help="Where work is kept: a file or a database URL.")
@click.option(
    "--host-name", "host_names", multiple=True, help="A name by which a front proxy on this machine is reached."
)
@content_option
@click.version_option(package_name="coldmorning")
@click.pass_context
@_told_plainly
def main(
    context: click.Context,
    port: int | None,
    no_browser: bool,
    store: str | None,
    host_names: tuple[str, ...],
    content: Path | None,
) -> None:
    """Open the tutor in the browser.  With a command: the same from the shell."""
    if context.invoked_subcommand is None:
        from tutor.app.serve import serve

        serve(port, not no_browser, store, content, host_names)


@main.command()
@content_option
@json_option
@_told_plainly
def exercises(content: Path | None, as_json: bool) -> None:
    """List the exercises."""
    from tutor.engine.declaration import load_proved
    from tutor.json_forms import exercises_json

    listed = exercises_json(load_proved(content))
    if as_json:
        _print_json(listed)
        return
    for one in listed:
        click.echo(f"{one['id']:34} {one['lesson']:16} level {one['level']}  {one['title']}")


@main.command()
@problem_options
@click.option("--solution", is_flag=True, help="Show the answer and the worked solution.")
@json_option
@_told_plainly
def problem(solution: bool, as_json: bool, **which: Any) -> None:
    """Draw a problem, or set it with your own numbers."""
    from tutor.json_forms import problem_json

    told = problem_json(_problem(**which), solution=solution)
    if as_json:
        _print_json(told)
        return
    click.echo(f"{told['story']}\n")
    for name, amount in told["givens"].items():
        click.echo(f"  {name} = {amount['text']}")
    for line in told.get("solution", []):
        told_in = dict.fromkeys(part for part in (line["relation"], line["numbers"], line["text"]) if part)
        click.echo(f"\n{line['why']}\n  " + "\n  = ".join(told_in))
    _print_cautions(told)


@main.command()
@problem_options
@click.option("--answer", required=True, help="The answer as you would type it: '46.8 V', '13 modules'.")
@click.option("--step", "steps", multiple=True, metavar="NAME=TEXT", help="A step on the way, as you would type it.")
@click.option("--solution", is_flag=True, help="Show the right answer too.")
@json_option
@_told_plainly
def mark(answer: str, steps: tuple[str, ...], solution: bool, as_json: bool, **which: Any) -> None:
    """Mark an answer, name the mistake."""
    from tutor.answers.marking import mark as mark_answer
    from tutor.json_forms import marking_json

    drawn = _problem(**which)
    try:
        marking = mark_answer(drawn, answer, _pairs(steps, "--step"))
    except KeyError as error:
        raise _Fault(error.args[0]) from None
    told = marking_json(drawn, marking, solution=solution)
    if as_json:
        _print_json(told)
        return
    click.echo(f"{told['verdict']}: {told['feedback']}")
    for name, step in told["steps"].items():
        click.echo(f"  {name}: {step['verdict']}. {step['feedback']}")
    if solution:
        click.echo(f"The answer: {told['answer']['text']}")
    _print_cautions(told)


@main.command()
@problem_options
@click.argument("file", type=click.File("rb"))
@json_option
@_told_plainly
def working(file: Any, as_json: bool, **which: Any) -> None:
    """Check the lines of a working, from a file or from '-', the standard input."""
    from tutor.answers.working.judging import check_working
    from tutor.engine.order import OrderProblem
    from tutor.json_forms import working_json

    drawn = _problem(**which)
    if isinstance(drawn, OrderProblem):
        raise _Fault(f"'{which['exercise']}' asks for an order; only arithmetic can be checked line by line.")
    data = file.read(LARGEST_WORKING + 1)
    if len(data) > LARGEST_WORKING:
        raise _Fault(f"The working is larger than {LARGEST_WORKING // 1000} kB; hand in the lines of one problem.")
    told = working_json(drawn, check_working(drawn, _text(data)))
    if as_json:
        _print_json(told)
        return
    for at, line in enumerate(told["lines"], start=1):
        click.echo(f"{at:3} {line['verdict']:10} {line['text']}\n    {line['words']}")
    _print_cautions(told)


@main.command()
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@click.option("--draws", type=click.IntRange(1, 10**6), default=200, help="How many problems to draw of each question.")
@content_option
@json_option
@_told_plainly
def verify(paths: tuple[Path, ...], draws: int, content: Path | None, as_json: bool) -> None:
    """Check every exercise over its draws, or the exercise files named."""
    from tutor.verify import verify_all

    reports = []
    for report in verify_all(paths, draws, content):
        reports.append(report)
        if not as_json:
            click.echo(report.line())
    if as_json:
        _print_json([report.as_json() for report in reports])
    if any(report.faults for report in reports):
        sys.exit(1)


@main.command("diagnose-trial")
@click.option("--learners", type=click.IntRange(1, 10**4), default=12, help="Simulated learners of each kind.")
@content_option
@json_option
@_told_plainly
def diagnose_trial(learners: int, content: Path | None, as_json: bool) -> None:
    """Try how well mistakes are recognised, on simulated learners whose mistakes are known."""
    from tutor.diagnosis import diagnose_all, of_all, of_single_mistakes, report

    trials = []
    for trial in diagnose_all(content, learners):
        trials.append(trial)
        click.echo(f"{len(trials):4} {trial.exercise}", err=True)
    found = report(trials, learners)
    if as_json:
        _print_json(found)
        return
    for line in (*of_all(found), *of_single_mistakes(found)):
        click.echo(line)


main.add_command(store_commands.backup)
main.add_command(store_commands.restore)


def _problem(
    exercise: str, number: int, ask: str | None, givens: tuple[str, ...], rulebook: str, content: Path | None
) -> Any:
    from tutor.answers.own import own_amounts
    from tutor.engine.declaration import load_proved
    from tutor.engine.question import Engine
    from tutor.engine.setting import set_problem

    engine = Engine(load_proved(content))
    texts = _pairs(givens, "--given")
    own = own_amounts(engine.question(exercise, ask, rulebook), texts) if texts else None
    return set_problem(engine, exercise, ask, number, rulebook, own)


def _text(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _pairs(texts: tuple[str, ...], option: str) -> dict[str, str]:
    pairs = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign:
            raise _Fault(f"{option} takes NAME=VALUE, not '{text[:60]}'.")
        pairs[name.strip()] = value.strip()
    return pairs


def _print_cautions(told: dict[str, Any]) -> None:
    click.echo("")
    for caution in told["safety"]:
        click.echo(f"Caution: {caution['text']}")

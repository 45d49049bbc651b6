"""The command `coldmorning`: opens the tutor, and does from the shell what the pages do."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from tutor.operations import CLASS_COMMANDS
from tutor.operations.shell import Commands, Fault, content_option, json_option, print_json, report_errors

LARGEST_WORKING = 20_000


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


@click.group(cls=Commands, invoke_without_command=True)
@click.option("--port", type=click.IntRange(1, 65535), help="The port to serve on; a free one is taken otherwise.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser.")
@click.option("--store", help="Where work is kept: a file or a database URL.")
@click.option(
    "--listen", metavar="ADDRESS", help="This machine's address in a network that you trust, for learners' own devices."
)
@click.option(
    "--host-name", "host_names", multiple=True, help="A name by which a front proxy on this machine is reached."
)
@click.option("--address", metavar="URL", help="The address that learners open, printed on sheets and slips.")
@content_option
@click.version_option(package_name="coldmorning")
@click.pass_context
@report_errors
def main(
    context: click.Context,
    port: int | None,
    no_browser: bool,
    store: str | None,
    listen: str | None,
    host_names: tuple[str, ...],
    address: str | None,
    content: Path | None,
) -> None:
    """Open the tutor in the browser.  With a command: the same from the shell."""
    if context.invoked_subcommand is None:
        from tutor.app.server.serve import serve

        serve(port, not no_browser, store, content, host_names, listen, address)


@main.command()
@content_option
@json_option
@report_errors
def exercises(content: Path | None, as_json: bool) -> None:
    """List the exercises."""
    from tutor.operations.json_forms import exercises_json
    from tutor.problems.proving import load_proved

    listed = exercises_json(load_proved(content))
    if as_json:
        print_json(listed)
        return
    for listing in listed:
        click.echo(f"{listing['id']:34} {listing['lesson']:16} level {listing['level']}  {listing['title']}")


@main.command()
@problem_options
@click.option("--solution", is_flag=True, help="Show the answer and the worked solution.")
@json_option
@report_errors
def problem(solution: bool, as_json: bool, **chosen: Any) -> None:
    """Draw a problem, or set it with your own numbers."""
    from tutor.operations.json_forms import problem_json

    form = problem_json(_problem(**chosen), solution=solution)
    if as_json:
        print_json(form)
        return
    click.echo(f"{form['story']}\n")
    for name, amount in form["givens"].items():
        click.echo(f"  {name} = {amount['text']}")
    for line in form.get("solution", []):
        told_in = dict.fromkeys(part for part in (line["relation"], line["numbers"], line["text"]) if part)
        click.echo(f"\n{line['why']}\n  " + "\n  = ".join(told_in))
    _print_cautions(form)


@main.command()
@problem_options
@click.option("--answer", required=True, help="The answer as you would type it: '46.8 V', '13 modules'.")
@click.option("--step", "steps", multiple=True, metavar="NAME=TEXT", help="A step on the way, as you would type it.")
@click.option("--solution", is_flag=True, help="Show the right answer too.")
@json_option
@report_errors
def mark(answer: str, steps: tuple[str, ...], solution: bool, as_json: bool, **chosen: Any) -> None:
    """Mark an answer, name the mistake."""
    from tutor.answers.marking import mark as mark_answer
    from tutor.operations.json_forms import marking_json

    drawn = _problem(**chosen)
    try:
        marking = mark_answer(drawn, answer, _pairs(steps, "--step"))
    except KeyError as error:
        raise Fault(error.args[0]) from None
    form = marking_json(drawn, marking, solution=solution)
    if as_json:
        print_json(form)
        return
    click.echo(f"{form['verdict']}: {form['feedback']}")
    for name, step in form["steps"].items():
        click.echo(f"  {name}: {step['verdict']}. {step['feedback']}")
    if solution:
        click.echo(f"The answer: {form['answer']['text']}")
    _print_cautions(form)


@main.command()
@problem_options
@click.argument("file", type=click.File("rb"))
@json_option
@report_errors
def working(file: Any, as_json: bool, **chosen: Any) -> None:
    """Check the lines of a working, from a file or from '-', the standard input."""
    from tutor.answers.working.judging import check_working
    from tutor.operations.json_forms import working_json
    from tutor.problems.order import OrderProblem

    drawn = _problem(**chosen)
    if isinstance(drawn, OrderProblem):
        raise Fault(f"'{chosen['exercise']}' asks for an order; only arithmetic can be checked line by line.")
    data = file.read(LARGEST_WORKING + 1)
    if len(data) > LARGEST_WORKING:
        raise Fault(f"The working is larger than {LARGEST_WORKING // 1000} kB; hand in the lines of one problem.")
    form = working_json(drawn, check_working(drawn, _text(data)))
    if as_json:
        print_json(form)
        return
    for number, line in enumerate(form["lines"], start=1):
        click.echo(f"{number:3} {line['verdict']:10} {line['text']}\n    {line['words']}")
    _print_cautions(form)


@main.command()
@click.argument("name", required=False)
@click.option("--rulebook", "book", default="us", help="us or iec.")
@content_option
@json_option
@report_errors
def tables(name: str | None, book: str, content: Path | None, as_json: bool) -> None:
    """List the tables of a rulebook, or print one: `editions` says what other editions change."""
    from tutor.content.library import load
    from tutor.trade.rulebooks import RULEBOOKS, rulebook

    if book not in RULEBOOKS:
        raise Fault(f"There is no rulebook '{book}'. Choose {' or '.join(RULEBOOKS)}.")
    chosen = rulebook(book, load(content))
    if name is not None and name not in chosen.tables:
        raise Fault(f"The rulebook '{book}' has no table '{name}'. 'coldmorning tables --rulebook {book}' lists them.")
    shown = [chosen.tables[name]] if name else list(chosen.tables.values())
    if as_json:
        rows = {table.name: {"title": table.title, "rows": table.rows} if name else table.title for table in shown}
        print_json({"rulebook": book, "edition": chosen.edition, "tables": rows})
        return
    click.echo(f"Base edition: {chosen.edition}")
    for table in shown:
        click.echo(f"{table.title}" if name else f"{table.name:36} {table.title}")
        for row in table.rows if name else ():
            click.echo("  " + "; ".join(text for column, text in row.items() if text and column != "rulebook"))


@main.command()
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@click.option("--draws", type=click.IntRange(1, 10**6), default=200, help="How many problems to draw of each question.")
@content_option
@json_option
@report_errors
def verify(paths: tuple[Path, ...], draws: int, content: Path | None, as_json: bool) -> None:
    """Check every exercise over its draws, or those of the files and folders named."""
    from tutor.tools.verify import verify_all

    reports = []
    for report in verify_all(paths, draws, content):
        reports.append(report)
        if not as_json:
            click.echo(report.line())
    if as_json:
        print_json([report.as_json() for report in reports])
    if any(report.faults for report in reports):
        sys.exit(1)


@main.command("diagnose-trial")
@click.option("--learners", type=click.IntRange(1, 10**4), default=12, help="Simulated learners of each kind.")
@content_option
@json_option
@report_errors
def diagnose_trial(learners: int, content: Path | None, as_json: bool) -> None:
    """Try how well mistakes are recognised, on simulated learners whose mistakes are known."""
    from tutor.tools.diagnosis import diagnose_all, of_all, of_single_mistakes, report

    trials = []
    for trial in diagnose_all(content, learners):
        trials.append(trial)
        click.echo(f"{len(trials):4} {trial.exercise}", err=True)
    simulated = report(trials, learners)
    if as_json:
        print_json(simulated)
        return
    for line in (*of_all(simulated), *of_single_mistakes(simulated)):
        click.echo(line)


for command in CLASS_COMMANDS.commands.values():
    main.add_command(command)


def _problem(
    exercise: str, number: int, ask: str | None, givens: tuple[str, ...], rulebook: str, content: Path | None
) -> Any:
    from tutor.answers.own import own_amounts
    from tutor.problems.problem_factory import make_problem
    from tutor.problems.proving import load_proved
    from tutor.problems.question import Engine

    engine = Engine(load_proved(content))
    texts = _pairs(givens, "--given")
    typed = own_amounts(engine.question(exercise, ask, rulebook), texts) if texts else None
    return make_problem(engine, exercise, ask, number, rulebook, typed)


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
            raise Fault(f"{option} takes NAME=VALUE, not '{text[:60]}'.")
        pairs[name.strip()] = value.strip()
    return pairs


def _print_cautions(form: dict[str, Any]) -> None:
    click.echo("")
    for caution in form["safety"]:
        click.echo(caution["text"])

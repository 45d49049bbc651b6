"""What all commands share: how faults are told, how JSON is printed, the options that many take."""

import json
import re
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click

from tutor.base.errors import FaultyRequestError
from tutor.base.text import escaped, steers, visible
from tutor.base.whole_file import check_output

FAULTY_REQUEST = 2


class Fault(click.ClickException):
    """A faulty request: one line on standard error, exit code 2."""

    exit_code = FAULTY_REQUEST

    def show(self, file: Any = None) -> None:
        """Print the fault."""
        click.echo(visible(f"coldmorning: {' '.join(self.message.split())}"), file=file or sys.stderr)


def report_errors(command: Callable[..., Any]) -> Callable[..., Any]:
    """Turn the errors of a request into one line and exit code 2."""

    @wraps(command)
    def run(*args: Any, **kwargs: Any) -> Any:
        try:
            return command(*args, **kwargs)
        except FaultyRequestError as error:
            raise Fault(str(error)) from None

    return run


def confirm(question: str, *, yes: bool) -> None:
    """Ask before what cannot simply be taken back; with `yes`, or after a yes, go on. Else the command ends with 1."""
    try:
        agreed = yes or click.confirm(visible(question), err=True)
    except click.Abort:  # nobody is there to answer
        agreed = False
    if not agreed:
        click.echo("\nNothing was changed. Add --yes to go ahead without this question.", err=True)
        raise click.exceptions.Exit(1)


class Commands(click.Group):
    """A group whose usage errors, too, take one line."""

    def make_context(self, *args: Any, **kwargs: Any) -> click.Context:
        """Read the options of the group."""
        try:
            return super().make_context(*args, **kwargs)
        except click.UsageError as error:
            raise Fault(f"{error.format_message()} 'coldmorning --help' lists the options.") from None

    def invoke(self, ctx: click.Context) -> Any:
        """Read the options of the command and run it."""
        try:
            return super().invoke(ctx)
        except click.UsageError as error:
            command = error.ctx.command_path if error.ctx else "coldmorning"
            raise Fault(f"{error.format_message()} '{command} --help' lists what there is.") from None


def say(line: str, *, err: bool = False) -> None:
    """Print a line in which something stands that others wrote: it stays one line, and steers no terminal."""
    click.echo(visible(line), err=err)


def print_json(told: Any) -> None:
    """Print what a command tells, as JSON; what could steer a terminal is written as JSON writes it."""
    text = json.dumps(told, ensure_ascii=False, indent=2)
    click.echo(re.sub("[\x7f-\uffff]", lambda one: escaped(one[0]) if steers(one[0]) else one[0], text))


_REPLACE = "coldmorning.replace"


class Output(click.ParamType[Path | None]):
    """A file to write, refused at once if it must not be; '-' is the standard output (None) where `or_print`."""

    name = "file"

    def __init__(self, *, or_print: bool = False) -> None:
        self._or_print = or_print

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path | None:  # noqa: ARG002
        """Check the path."""
        if value == "-":
            if self._or_print:
                return None
            raise Fault("This command writes a file and prints nothing. Name a file in place of '-'.")
        path = Path(value).expanduser()
        try:
            check_output(path, replace=ctx is not None and ctx.meta.get(_REPLACE, False))
        except FaultyRequestError as error:
            raise Fault(str(error)) from None
        return path


def may_replace() -> bool:
    """Whether the command may write over a file that is there."""
    return bool(click.get_current_context().meta.get(_REPLACE))


def _keep_replace(context: click.Context, _option: click.Parameter, value: bool) -> None:
    context.meta[_REPLACE] = value


replace_option = click.option(
    "--replace",
    is_flag=True,
    is_eager=True,  # read before the files are looked at
    expose_value=False,
    callback=_keep_replace,
    help="Write over a file that is there already.",
)
_CONTENT = "coldmorning.content"


def _named_content(context: click.Context, _option: click.Parameter, folder: Path | None) -> Path | None:
    """The folder that the command was given, or else the program before it."""
    if folder is not None:
        context.meta[_CONTENT] = folder
    named: Path | None = context.meta.get(_CONTENT)
    return named


content_option = click.option(
    "--content",
    type=click.Path(path_type=Path),
    callback=_named_content,
    help="A folder of content of your own: exercises/, lessons/ and assets/.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
yes_option = click.option("--yes", is_flag=True, help="Do not ask.")
store_option = click.option("--store", help="Where work is kept: a file or a database URL.")

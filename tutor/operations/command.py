"""An operation is declared once: its function, the options of its command, and how its result is printed.

The pages of the class desk call the function; the shell calls the command that `operation` makes of it. What the
function works on is handed to it by the names of its parameters: `store`, `practice_set`, `engine`, `member`, `data`,
`progress`.
"""

import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager
from functools import partial
from inspect import signature
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tutor.operations.shell import (
    Fault,
    Output,
    confirm,
    content_option,
    json_option,
    may_replace,
    print_json,
    replace_option,
    report_errors,
    say,
    store_option,
    yes_option,
)

if TYPE_CHECKING:
    from tutor.classroom.models import Member
    from tutor.problems.question import Engine
    from tutor.store.database import Store

Function = TypeVar("Function", bound=Callable[..., Any])
Option = Callable[[Callable[..., Any]], Callable[..., Any]]
Lines = Iterable[str]

CLASS_COMMANDS = click.Group("class")
"""The commands of the class that stand beside those of the tutor, each added by its operation."""


STORE, JSON, YES, CONTENT = store_option, json_option, yes_option, content_option
CLASS = click.option("--class", "class_name", help="The class; needed where several have such a set.")
CLASS_ADDED_TO = click.option("--class", "class_name", default="class", show_default=True, help="The class.")
SET: Sequence[Option] = (STORE, CLASS, click.argument("set_name", metavar="SET"))
TABLE = click.argument("table", metavar="FILE", type=click.Path(path_type=Path))


def out_option(*, required: bool, help: str = "The file to write.") -> Sequence[Option]:
    """The options that name the file that a command writes; without one it prints, where that is not required."""
    return replace_option, click.option("--out", type=Output(or_print=not required), required=required, help=help)


class Note(str):
    """A line for standard error."""

    __slots__ = ()


def text_lines(text: str | None) -> Lines:
    """A result that is text already, or none; what others wrote in it stays on its line."""
    return () if text is None else (text,)


def operation(
    group: click.Group,
    name: str,
    *options: Option,
    lines: Callable[[Any], Lines] = text_lines,
    as_json: Callable[[Any], Any] | None = None,
    check: Callable[[Mapping[str, Any]], None] | None = None,
    consequence: Callable[..., Sequence[str]] | None = None,
    progress: str = "",
) -> Callable[[Function], Function]:
    """Declare a function as an operation, and add its command to a group.

    With `--json` the result is printed by `as_json`, else line by line by `lines`; a result of bytes goes to `--out`.
    `check` looks at what was typed before the store is opened, and raises Fault for options that do not go together.
    What `consequence` says of the same arguments is shown and asked about before the function is called, the last line
    as the question, unless `--yes` is given or there is nothing to say.
    """

    def declare(function: Function) -> Function:
        parameters = signature(function).parameters

        def run(**values: Any) -> None:
            yes, out = values.pop("yes", True), values.pop("out", None)
            json_wanted = values.pop("as_json", False)
            if check is not None:
                check(values | {"out": out})
            with ExitStack() as stack:
                if "progress" in parameters:
                    values["progress"] = stack.enter_context(_progress_line(progress))
                arguments = _resolved(stack, values, parameters)
                if consequence is not None and not yes:
                    _ask(consequence(**arguments))
                result = function(**arguments)
            if isinstance(result, bytes):
                write(out, result)
            elif json_wanted and as_json is not None:
                print_json(as_json(result))
            else:
                for line in lines(result):
                    say(line, err=isinstance(line, Note))

        run.__doc__ = function.__doc__ and function.__doc__.split("\n\n")[0]
        command = report_errors(run)
        for option in reversed(options):
            command = option(command)
        group.command(name)(command)
        return function

    return declare


def _ask(consequence: Sequence[str]) -> None:
    if consequence:
        *explanation, question = consequence
        for line in explanation:
            say(line, err=True)
        confirm(question, yes=False)


def _resolved(stack: ExitStack, values: dict[str, Any], parameters: Mapping[str, Any]) -> dict[str, Any]:
    """The arguments of a function, from what was typed."""
    if "table" in values:
        values["data"] = _table(values.pop("table"))
    if "store" in values:
        store = stack.enter_context(opened(values.pop("store")))
        if "store" in parameters:
            values["store"] = store
        if "practice_set" in parameters:
            set_name, class_name = values.pop("set_name"), values.pop("class_name")
            values["practice_set"] = _practice_set(store, set_name, class_name)
        if "member" in parameters:
            values["member"] = member_called(store, values.pop("class_name"), values.pop("who"))
    if "content" in values:
        content = values.pop("content")
        if "engine" in parameters:
            values["engine"] = engine_of(content)
    return values


def _table(file: Path | None) -> bytes | None:
    from tutor.classroom.spreadsheet import read_file

    return None if file is None else read_file(file)


def _practice_set(store: "Store", set_name: str | None, class_name: str | None) -> Any:
    from tutor.classroom.roster.register import Register

    return None if set_name is None else Register(store).find_set(set_name, class_name)


@contextmanager
def opened(store: str | None) -> Iterator["Store"]:
    """The store that a command, or the program before it, was given."""
    from tutor.store.database import Store

    with closing(Store.open(store or click.get_current_context().find_root().params.get("store"))) as opened_store:
        yield opened_store


def engine_of(content: Path | None) -> "Engine":
    """The engine over the built-in content and a folder of one's own."""
    from tutor.problems.proving import load_proved
    from tutor.problems.question import Engine

    return Engine(load_proved(content))


def member_called(store: "Store", class_name: str, name: str) -> "Member":
    """The one member of a class with that number or name. Raises Fault if there is none, or several."""
    from tutor.classroom.roster.names import same_name
    from tutor.classroom.roster.register import Register

    members = Register(store).members(class_name)
    fitting = [member for member in members if member.number and same_name(member.number, name)]
    fitting = fitting or [member for member in members if same_name(member.name, name)]
    if len(fitting) != 1:
        raise Fault(
            f"{'Several are' if fitting else 'Nobody is'} called '{name[:60]}' in the class '{class_name}'. "
            "Give the number, or see 'coldmorning roster'."
        )
    return fitting[0]


def write(out: Path | None, data: bytes) -> None:
    """Write a file whole or not at all; without one, to the standard output. Raises OutputError if it must not be."""
    from tutor.base.whole_file import whole_file

    if out is None:
        click.echo(data, nl=False)
        return
    with whole_file(out, replace=may_replace()) as file:
        file.write(data)
    click.echo(f"Written: {out}", err=True)


@contextmanager
def _progress_line(label: str) -> Iterator[Callable[[int, int], None]]:
    """A line on standard error that says how far the work is, where a person looks on."""
    if not sys.stderr.isatty():
        yield lambda _count, _total: None
        return
    yield partial(_print_progress, label)
    click.echo("", err=True)


def _print_progress(label: str, count: int, total: int) -> None:
    click.echo(f"\r{label}: {count} of {total}", nl=False, err=True)

"""The commands that hand out problems and mark answers."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tutor.classroom.commands.common import class_option, engine_of, of_a_set, opened, told_progress
from tutor.counting import counted
from tutor.shell import Fault, content_option, json_option, print_json, say, store_option, told_plainly

if TYPE_CHECKING:
    from tutor.classroom.paper import PaperPreview


@click.command("hand-out")
@of_a_set
@content_option
@json_option
@told_plainly
def hand_out(which: str, class_name: str | None, store: str | None, content: Path | None, as_json: bool) -> None:
    """Give every member of the class a problem for every place; what was handed out before stays."""
    from tutor.classroom.handing import hand_out as hand_out_to_all
    from tutor.classroom.register import Register

    with opened(store) as kept, told_progress("handed out") as progress:
        of = Register(kept).find(which, class_name)
        problems = hand_out_to_all(kept, engine_of(content), of, progress=progress)
    if as_json:
        listed = [
            {"name": one.member.name, "number": one.member.number, "place": one.place, "code": one.code}
            | {"exercise": one.exercise, "version": one.version, "ask": one.ask}
            for one in problems
        ]
        print_json({"set": of.declaration.id, "class": of.class_name, "problems": listed})
        return
    learners = counted(len({one.member.id for one in problems}), "learner")
    click.echo(f"{counted(len(problems), 'problem')} for {learners}.")


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--set", "which", help="Take only the codes of this set.")
@click.option("--preview", is_flag=True, help="Show what the file would change, and change nothing.")
@click.option("--correct", is_flag=True, help="Answers that differ take the place of the earlier ones from paper.")
@class_option
@content_option
@store_option
@json_option
@told_plainly
def markall(
    file: Path,
    which: str | None,
    preview: bool,
    correct: bool,
    class_name: str | None,
    content: Path | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Mark answers on paper, from a table with the columns 'problem code' and 'answer', each once."""
    from tutor.classroom.paper import mark_paper, preview_paper
    from tutor.classroom.register import Register
    from tutor.classroom.spreadsheet import read_file

    data = read_file(file)
    with opened(store) as kept, told_progress("marked") as progress:
        of = Register(kept).find(which, class_name) if which else None
        engine = engine_of(content)
        if preview:
            _print_preview(preview_paper(kept, engine.library.quantities, data, of), as_json)
            return
        report = mark_paper(kept, engine, data, of, progress, correct=correct)
    if as_json:
        faults = [{"line": fault.line, "reason": fault.reason} for fault in report.faults]
        verdicts = {name: report.verdicts[name] for name in ("right", "wrong", "unclear", "refused")}
        new = {"new": report.new, **verdicts, "corrected": report.corrected}
        print_json({**new, "there": report.there, "blank": report.blank, "faults": faults})
        return
    for fault in report.faults:
        say(str(fault), err=True)
    if report.differing:
        click.echo(
            f"{counted(report.differing, 'line differs', 'lines differ')} from an earlier answer on paper. "
            "If the file corrects it, add --correct.",
            err=True,
        )
    corrected = f"{report.corrected} corrected, " if correct else ""
    click.echo(
        f"{counted(report.new, 'new answer')}: {report.verdicts['right']} right, {report.verdicts['wrong']} wrong; "
        f"{corrected}{report.there} there already, {report.blank} blank, "
        f"{counted(len(report.faults), 'line')} to look at."
    )


def _print_preview(found: "PaperPreview", as_json: bool) -> None:
    if as_json:
        corrections = [
            {
                "code": one.handed.code,
                "name": one.handed.member.name,
                "number": one.handed.member.number,
                "before": list(one.before),
                "after": list(one.after),
            }
            for one in found.corrections
        ]
        faults = [{"line": fault.line, "reason": fault.reason} for fault in found.faults]
        told = {"new": found.new, "there": found.there, "blank": found.blank}
        print_json({**told, "corrections": corrections, "faults": faults})
        return
    for fault in found.faults:
        say(str(fault), err=True)
    for one in found.corrections:
        who = one.handed.member.name or one.handed.member.number
        say(f"{one.handed.code} {who}: '{'; '.join(one.before)}' -> '{'; '.join(one.after)}'")
    click.echo(
        f"{counted(found.new, 'new answer')}, {counted(len(found.corrections), 'problem')} with another answer, "
        f"{found.there} there already, {found.blank} blank. Nothing was changed; --correct marks the file as a "
        "correction."
    )


@click.command()
@of_a_set
@click.option("--exercise", help="Only the problems of this exercise.")
@click.option("--problem", "code", help="The code of one problem whose right answer is another one.")
@click.option("--answer", help="With --problem: the right answer, as it would be typed.")
@click.option("--apply", "reason", metavar="REASON", help="Make the change, and keep this reason with it.")
@content_option
@json_option
@told_plainly
def remark(
    which: str,
    class_name: str | None,
    store: str | None,
    exercise: str | None,
    code: str | None,
    answer: str | None,
    reason: str | None,
    content: Path | None,
    as_json: bool,
) -> None:
    """Show what a correction of the content, or of one right answer, would change; with --apply, change it."""
    from tutor.classroom.register import Register
    from tutor.classroom.remark import apply, preview_answer, preview_content, told_changes
    from tutor.classroom.results import handed_by_code

    if (code is None) != (answer is None):
        raise Fault("--problem and --answer belong together. Give both, or neither.")
    engine = engine_of(content)
    with opened(store) as kept, told_progress("looked at") as progress:
        of = Register(kept).find(which, class_name)
        if code is not None and answer is not None:
            set_id, one = handed_by_code(kept, code)
            if set_id != of.id:
                raise Fault(f"Problem {one.code} belongs to another set.")
            found = preview_answer(kept, engine, one.id, answer)
        else:
            found = preview_content(kept, engine, of, exercise, progress)
        if reason is not None:
            apply(kept, engine, found, reason)
    if as_json:
        print_json({"applied": reason is not None, "problems": len(found.corrected), **_told(found)})
        return
    for line in told_changes(found):
        say(line)
    done = "Done." if reason is not None else "Nothing was changed; --apply REASON does it."
    problems, verdicts = counted(len(found.corrected), "problem"), counted(len(found.changes), "verdict")
    click.echo(f"{problems}, {verdicts}, {len(found.unfit)} unfit. {done}")


def _told(found: Any) -> dict[str, Any]:
    return {
        "changes": [
            {
                "code": one.handed.code,
                "name": one.handed.member.name,
                "number": one.handed.member.number,
                "entry": one.answer.entry,
                "before": one.before,
                "after": one.after,
            }
            for one in found.changes
        ],
        "unfit": [{"code": one.code, "reason": reason} for one, reason in found.unfit],
    }

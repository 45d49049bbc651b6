"""Problems are handed out, answers on paper marked, and all marked again after a correction."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from tutor.base.text import counted
from tutor.operations.command import CLASS, CLASS_COMMANDS, CONTENT, JSON, SET, STORE, TABLE, Note, operation
from tutor.operations.shell import Fault

if TYPE_CHECKING:
    from tutor.classroom.marking.paper import PaperPreview, PaperReport
    from tutor.classroom.marking.regrade import Regrade
    from tutor.classroom.models import AssignedProblem, StoredSet
    from tutor.classroom.progress import Progress
    from tutor.problems.question import Engine
    from tutor.store.database import Store

HandedOut = tuple["StoredSet", Sequence["AssignedProblem"]]
Regraded = tuple["Regrade", bool]


def _handed_out_json(result: HandedOut) -> Any:
    practice_set, problems = result
    listed = [
        {"name": problem.member.name, "number": problem.member.number, "place": problem.place, "code": problem.code}
        | {"exercise": problem.exercise, "version": problem.version, "ask": problem.ask}
        for problem in problems
    ]
    return {"set": practice_set.declaration.id, "class": practice_set.class_name, "problems": listed}


def _handed_out_lines(result: HandedOut) -> Iterator[str]:
    _, problems = result
    learners = counted(len({problem.member.id for problem in problems}), "learner")
    yield f"{counted(len(problems), 'problem')} for {learners}."


@operation(
    CLASS_COMMANDS,
    "hand-out",
    *SET,
    CONTENT,
    JSON,
    lines=_handed_out_lines,
    as_json=_handed_out_json,
    progress="handed out",
)
def hand_out(store: "Store", engine: "Engine", practice_set: "StoredSet", progress: "Progress") -> HandedOut:
    """Give every member of the class a problem for every place; what was handed out before stays."""
    from tutor.classroom.sets.handing import hand_out as hand_out_to_all

    return practice_set, hand_out_to_all(store, engine, practice_set, progress=progress)


def _faults_json(report: "PaperReport | PaperPreview") -> Any:
    return [{"line": fault.line, "reason": fault.reason} for fault in report.faults]


def _marked_json(report: "PaperReport") -> Any:
    verdicts = {name: report.verdicts[name] for name in ("right", "wrong", "unclear", "refused")}
    new = {"new": report.new, **verdicts, "corrected": report.corrected}
    return {**new, "there": report.present, "blank": report.blank, "faults": _faults_json(report)}


def _marked_lines(report: "PaperReport", *, correct: bool) -> Iterator[str]:
    if report.differing:
        yield Note(
            f"{counted(report.differing, 'line differs', 'lines differ')} from an earlier answer on paper. "
            "If the file corrects it, add --correct."
        )
    corrected = f"{report.corrected} corrected, " if correct else ""
    yield (
        f"{counted(report.new, 'new answer')}: {report.verdicts['right']} right, {report.verdicts['wrong']} wrong; "
        f"{corrected}{report.present} there already, {report.blank} blank, "
        f"{counted(len(report.faults), 'line')} to look at."
    )


def _preview_json(preview: "PaperPreview") -> Any:
    corrections = [
        {
            "code": correction.handed.code,
            "name": correction.handed.member.name,
            "number": correction.handed.member.number,
            "before": list(correction.before),
            "after": list(correction.after),
        }
        for correction in preview.corrections
    ]
    counts = {"new": preview.new, "there": preview.present, "blank": preview.blank}
    return {**counts, "corrections": corrections, "faults": _faults_json(preview)}


def _preview_lines(preview: "PaperPreview") -> Iterator[str]:
    for correction in preview.corrections:
        learner = correction.handed.member.name or correction.handed.member.number
        yield f"{correction.handed.code} {learner}: '{'; '.join(correction.before)}' -> '{'; '.join(correction.after)}'"
    yield (
        f"{counted(preview.new, 'new answer')}, {counted(len(preview.corrections), 'problem')} with another answer, "
        f"{preview.present} there already, {preview.blank} blank. Nothing was changed; --correct marks the file as a "
        "correction."
    )


class PaperResult:
    """What became of a table of answers, or would become of it."""

    def __init__(self, result: "PaperReport | PaperPreview", json: Any, lines: Iterator[str]) -> None:
        self.json, self._faults, self._lines = json, result.faults, lines

    def lines(self) -> Iterator[str]:
        """The faults, and what else is to say."""
        yield from map(Note, self._faults)
        yield from self._lines


@operation(
    CLASS_COMMANDS,
    "markall",
    TABLE,
    click.option("--set", "set_name", help="Take only the codes of this set."),
    click.option("--preview", is_flag=True, help="Show what the file would change, and change nothing."),
    click.option("--correct", is_flag=True, help="Answers that differ take the place of the earlier ones from paper."),
    CLASS,
    CONTENT,
    STORE,
    JSON,
    lines=PaperResult.lines,
    as_json=lambda result: result.json,
    progress="marked",
)
def mark_table(
    store: "Store",
    engine: "Engine",
    practice_set: "StoredSet | None",
    data: bytes,
    preview: bool,
    correct: bool,
    progress: "Progress",
) -> PaperResult:
    """Mark answers on paper, from a table with the columns 'problem code' and 'answer', each once."""
    from tutor.classroom.marking.paper import mark_paper, preview_paper

    if preview:
        previewed = preview_paper(store, engine.library.quantities, data, practice_set)
        return PaperResult(previewed, _preview_json(previewed), _preview_lines(previewed))
    report = mark_paper(store, engine, data, practice_set, progress, correct=correct)
    return PaperResult(report, _marked_json(report), _marked_lines(report, correct=correct))


def _remark_json(result: Regraded) -> Any:
    difference, applied = result
    return {
        "applied": applied,
        "problems": len(difference.corrected),
        "changes": [
            {
                "code": change.handed.code,
                "name": change.handed.member.name,
                "number": change.handed.member.number,
                "entry": change.answer.entry,
                "before": change.before,
                "after": change.after,
            }
            for change in difference.changes
        ],
        "unfit": [{"code": problem.code, "reason": reason} for problem, reason in difference.unfit],
    }


def _remark_lines(result: Regraded) -> Iterator[str]:
    from tutor.classroom.marking.regrade import told_changes

    difference, applied = result
    yield from told_changes(difference)
    action = "Done." if applied else "Nothing was changed; --apply REASON does it."
    problems, verdicts = counted(len(difference.corrected), "problem"), counted(len(difference.changes), "verdict")
    yield f"{problems}, {verdicts}, {len(difference.unfit)} unfit. {action}"


def preview_right_answer(
    store: "Store", engine: "Engine", practice_set: "StoredSet", code: str, answer: str
) -> "tuple[AssignedProblem, Regrade]":
    """The problem of a set that a code names, and what would change if its right answer were another one, as typed.

    Raises ClassError for a code that names no problem of the set, and for what cannot be the right answer.
    """
    from tutor.classroom.errors import ClassError
    from tutor.classroom.marking.regrade import preview_answer
    from tutor.classroom.reports.results import handed_by_code

    set_id, problem = handed_by_code(store, code)
    if set_id != practice_set.id:
        raise ClassError(f"Problem {problem.code} belongs to another set. Choose that set.")
    return problem, preview_answer(store, engine, problem.id, answer)


def _check_pair(typed: Mapping[str, Any]) -> None:
    if (typed["code"] is None) != (typed["answer"] is None):
        raise Fault("--problem and --answer belong together. Give both, or neither.")


@operation(
    CLASS_COMMANDS,
    "remark",
    *SET,
    click.option("--exercise", help="Only the problems of this exercise."),
    click.option("--problem", "code", help="The code of one problem whose right answer is another one."),
    click.option("--answer", help="With --problem: the right answer, as it would be typed."),
    click.option("--apply", "reason", metavar="REASON", help="Make the change, and keep this reason with it."),
    CONTENT,
    JSON,
    lines=_remark_lines,
    as_json=_remark_json,
    check=_check_pair,
    progress="looked at",
)
def remark(
    store: "Store",
    engine: "Engine",
    practice_set: "StoredSet",
    exercise: str | None,
    code: str | None,
    answer: str | None,
    reason: str | None,
    progress: "Progress",
) -> Regraded:
    """Show what a correction of the content, or of one right answer, would change; with --apply, change it."""
    from tutor.classroom.marking.regrade import apply, preview_content

    if code is not None and answer is not None:
        _, difference = preview_right_answer(store, engine, practice_set, code, answer)
    else:
        difference = preview_content(store, engine, practice_set, exercise, progress)
    if reason is not None:
        apply(store, engine, difference, reason)
    return difference, reason is not None

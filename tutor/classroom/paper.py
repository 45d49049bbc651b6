"""Answers on paper, typed into a table or a grid: marked in batches, each once however often it comes.

The time at which a set closes does not matter here, the number of attempts does. An answer is known again by its
problem and its text, so that running a file twice changes nothing.
"""

import hashlib
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, insert, select

from tutor.answers.verdicts import Marking
from tutor.classroom.codes import problem_code
from tutor.classroom.errors import ClassError
from tutor.classroom.judging import judged
from tutor.classroom.marking import StepError, mark_handed
from tutor.classroom.models import Answer, StoredSet
from tutor.classroom.progress import Progress, untold
from tutor.classroom.rows import answer_values, refreshed, standings
from tutor.classroom.spreadsheet import Fault, decoded, rows
from tutor.classroom.views import Standing
from tutor.engine.question import Engine
from tutor.store.database import Store
from tutor.store.tables import class_answer, handed

AT_ONCE = 500
_CODE, _ANSWER = "problem code", "answer"
_COLUMNS = {_CODE: ["code", "problem", "problem no", "problem number"], _ANSWER: ["answers", "entry", "result"]}


@dataclass(frozen=True)
class PaperEntry:
    """One answer as read off paper, with the line on which it stands."""

    line: int
    code: str
    entry: str
    steps: Mapping[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """By what the answer is known again among those to its problem."""
        parts = [self.entry, *(f"{name}={text}" for name, text in sorted(self.steps.items()))]
        return "paper " + hashlib.sha256("\0".join(parts).encode()).hexdigest()[:40]


@dataclass
class PaperReport:
    """What became of the answers; `verdicts` counts the new ones, `faults` lists what has to be looked at by line."""

    verdicts: Counter[str] = field(default_factory=Counter)
    there: int = 0
    blank: int = 0
    faults: list[Fault] = field(default_factory=list)

    @property
    def new(self) -> int:
        """How many answers were added."""
        return self.verdicts.total()


def read_paper(data: bytes, quantities: Collection[str]) -> tuple[list[PaperEntry], PaperReport]:
    """Read a table with the columns 'problem code' and 'answer'; a column named as a quantity holds that step.

    Other columns are left out. Blank answers and rows that cannot be used go to the report.
    Raises ClassError for what is no such table.
    """
    report = PaperReport()
    entries = []
    for row in rows(decoded(data), _COLUMNS, report.faults):
        missing = next((name for name in _COLUMNS if name not in row.cells), None)
        if missing is not None:
            raise ClassError(f"No column is called '{missing}'. Name it in the first row.")
        code = problem_code(row.cells[_CODE])
        steps = {name.replace(" ", "_"): text for name, text in row.cells.items() if text}
        if not row.cells[_ANSWER]:
            report.blank += 1
        elif code is None:
            told = f"'{row.cells[_CODE][:20]}' is no problem's code: a character is wrong or missing. Compare it."
            report.faults.append(Fault(row.line, told))
        else:
            steps = {name: text for name, text in steps.items() if name in quantities}
            entries.append(PaperEntry(row.line, code, row.cells[_ANSWER], steps))
    return entries, report


def mark_paper(
    store: Store, engine: Engine, data: bytes, of: StoredSet | None = None, progress: Progress = untold
) -> PaperReport:
    """Mark a table of answers on paper, of one set or of whichever sets their codes belong to.

    Raises ClassError for what is no such table, StoreError if the store fails; the batches before stay marked then.
    """
    entries, report = read_paper(data, engine.library.quantities)
    return mark_entries(store, engine, entries, of, report, progress)


def mark_entries(
    store: Store,
    engine: Engine,
    entries: Sequence[PaperEntry],
    of: StoredSet | None = None,
    report: PaperReport | None = None,
    progress: Progress = untold,
) -> PaperReport:
    """Mark answers read off paper, as from a grid; adds to a report."""
    report = PaperReport() if report is None else report
    entries = _by_exercise(store, entries)
    for at in range(0, len(entries), AT_ONCE):
        batch = entries[at : at + AT_ONCE]
        _mark_batch(store, engine, batch, of, report)
        progress(at + len(batch), len(entries))
    report.faults.sort(key=lambda fault: fault.line)
    return report


def _by_exercise(store: Store, entries: Sequence[PaperEntry]) -> list[PaperEntry]:
    """The answers with those to one exercise together, else in their order; its mistakes are then worked out once."""
    query = select(handed.c.code, handed.c.exercise, handed.c.ask, handed.c.rulebook)
    codes = sorted({entry.code for entry in entries})
    kinds: dict[str, tuple[str, str, str]] = {}
    with store.reading() as connection:
        for at in range(0, len(codes), AT_ONCE):
            some = query.where(handed.c.code.in_(codes[at : at + AT_ONCE]))
            kinds |= {row.code: (row.exercise, row.ask, row.rulebook) for row in connection.execute(some)}
    return sorted(entries, key=lambda entry: kinds.get(entry.code, ("", "", "")))


def _mark_batch(
    store: Store, engine: Engine, batch: Sequence[PaperEntry], of: StoredSet | None, report: PaperReport
) -> None:
    """Mark outside the transaction, then add in one what is not there yet."""
    with store.reading() as connection:
        standing = _by_code(connection, batch, of)
    marked: list[tuple[PaperEntry, Marking | None]] = []
    for entry in sorted(batch, key=lambda entry: _units(standing.get(entry.code))):
        try:
            marked.append((entry, _marked(engine, entry, standing.get(entry.code))))
        except (ClassError, StepError) as error:
            report.faults.append(Fault(entry.line, str(error)))

    def work(connection: Connection) -> PaperReport:
        part = PaperReport()
        now_there = {one.handed.code: one for one in refreshed(connection, standing.values())}
        added = [row for entry, marking in marked for row in _row(entry, marking, now_there.get(entry.code), part)]
        if added:
            connection.execute(insert(class_answer), added)
        return part

    part = store.write(work)
    report.verdicts += part.verdicts
    report.there += part.there
    report.faults += part.faults


def _units(standing: Standing | None) -> list[str]:
    """What else mistakes depend on: the units in which a problem is told."""
    return [amount.unit for amount in standing.handed.givens.values()] if standing else []


def _by_code(connection: Connection, batch: Iterable[PaperEntry], of: StoredSet | None) -> dict[str, Standing]:
    codes = {entry.code for entry in batch}
    which = handed.c.code.in_(codes)
    found = standings(
        connection, which if of is None else which & (handed.c.practice_set_id == of.id), datetime.now(UTC)
    )
    return {standing.handed.code: standing for standing in found}


def _marked(engine: Engine, entry: PaperEntry, standing: Standing | None) -> Marking | None:
    """The marking of an answer; None if it is there already."""
    if standing is None:
        raise ClassError(f"no problem with the code {entry.code} was handed out here. Compare it with the sheet.")
    if any(answer.key == entry.key for answer in standing.answers):
        return None
    return mark_handed(engine, standing.handed, entry.entry, entry.steps)


def _row(
    entry: PaperEntry, marking: Marking | None, standing: Standing | None, report: PaperReport
) -> Iterable[Mapping[str, Any]]:
    """The row to be added for an answer, if one is; what there is to say goes to the report."""
    if standing is None:
        report.faults.append(
            Fault(entry.line, "not counted: the problem was erased or corrected meanwhile. Run the file again.")
        )
        return
    there = next((answer for answer in standing.answers if answer.key == entry.key), None)
    if there is not None:
        report.there += 1
        fields: Mapping[str, Any] = {"verdict": there.verdict, "feedback": there.feedback}
    elif (why := _why_not(standing)) or marking is None:
        report.faults.append(Fault(entry.line, f"not counted: {why or 'it has gone meanwhile. Run the file again.'}"))
        return
    else:
        fields = judged(standing, marking, on_paper=True)
        new = Answer(
            id=0,
            handed=standing.handed.id,
            key=entry.key,
            at=standing.now,
            source="paper",
            entry=entry.entry,
            steps=entry.steps,
            help=standing.help,
            **fields,
        )
        standing.answers.append(new)
        report.verdicts[new.verdict] += 1
        yield answer_values(new)
    if fields["verdict"] not in ("right", "wrong"):
        report.faults.append(Fault(entry.line, f"'{entry.entry[:40]}' could not be judged: {fields['feedback']}"))


def _why_not(standing: Standing) -> str:
    if standing.handed.excused:
        return "the learner is excused from this problem."
    if standing.solved:
        return "the learner has solved this problem already."
    if standing.help == "solution" and not _written_before(standing):
        return "the learner has seen the worked solution."
    return "" if standing.attempts_unused else "the learner has used all attempts at this problem."


def _written_before(standing: Standing) -> bool:
    """Whether what is on paper was written before the worked solution could be seen: that was after closing only."""
    return standing.of.declaration.solutions == "when closed" and standing.of.state(standing.now) == "closed"

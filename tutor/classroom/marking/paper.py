"""Answers on paper, typed into a table or a grid: marked in batches, each once however often it comes.

The time at which a set closes does not matter here, the number of attempts does. An answer is known again by its
problem and its text, so that running a file twice changes nothing. Of a problem that has other answers from paper than
the file, the file's are further attempts, or corrections: then they take the place of those that it does not name.
"""

import hashlib
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, insert, select, update

from tutor.answers.verdicts import Marking
from tutor.classroom.errors import ClassError
from tutor.classroom.marking.assigned import StepError, mark_assigned
from tutor.classroom.marking.attempt_rules import judged
from tutor.classroom.models import Answer, AssignedProblem, StoredSet
from tutor.classroom.progress import Progress, untold
from tutor.classroom.roster.codes import problem_code
from tutor.classroom.rows import answer_values, refreshed, standings
from tutor.classroom.sets.views import AttemptState
from tutor.classroom.spreadsheet import Fault, decoded, rows
from tutor.problems.question import Engine
from tutor.store.database import Store
from tutor.store.tables import class_answer, handed

AT_ONCE = 500
_GONE = "not counted: the problem was erased or corrected meanwhile. Run the file again."
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

    @property
    def text(self) -> str:
        """The answer with the steps that came with it."""
        return _text(self.entry, self.steps)


@dataclass(frozen=True)
class Correction:
    """A problem whose answers on paper a file would correct: those it has not, and those that it has instead."""

    handed: AssignedProblem
    before: Sequence[str]
    after: Sequence[str]


@dataclass(frozen=True)
class PaperPreview:
    """What marking a table would do, without doing it; `faults` are those that can be known before marking."""

    new: int
    present: int
    blank: int
    corrections: Sequence[Correction]
    faults: Sequence[Fault]


@dataclass
class PaperReport:
    """What became of the answers; `verdicts` counts the new ones, `faults` lists what has to be looked at by line.

    `corrected` is how many took the place of earlier ones, `differing` how many were not taken beside an earlier one
    from paper, whose place they would take as a correction.
    """

    verdicts: Counter[str] = field(default_factory=Counter)
    corrected: int = 0
    differing: int = 0
    present: int = 0
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
            fault = f"'{row.cells[_CODE][:20]}' is no problem's code: a character is wrong or missing. Compare it."
            report.faults.append(Fault(row.line, fault))
        else:
            steps = {name: text for name, text in steps.items() if name in quantities}
            entries.append(PaperEntry(row.line, code, row.cells[_ANSWER], steps))
    return entries, report


def preview_paper(
    store: Store, quantities: Collection[str], data: bytes, practice_set: StoredSet | None = None
) -> PaperPreview:
    """What marking a table would do; changes nothing. Raises ClassError for what is no such table, StoreError."""
    entries, report = read_paper(data, quantities)
    by_code: dict[str, list[PaperEntry]] = {}
    for entry in entries:
        by_code.setdefault(entry.code, []).append(entry)
    codes, new, present = list(by_code), 0, 0
    corrections = []
    with store.reading() as connection:
        for start in range(0, len(codes), AT_ONCE):
            batch = [entry for code in codes[start : start + AT_ONCE] for entry in by_code[code]]
            states = _by_code(connection, batch, practice_set)
            report.faults += [Fault(entry.line, _no_such(entry)) for entry in batch if entry.code not in states]
            for code, state in states.items():
                replaced = _replaced(state.answers, {entry.key for entry in by_code[code]})
                added = [entry for entry in by_code[code] if _find_present(entry, state.answers, replaced) is None]
                present += len(by_code[code]) - len(added)
                if added and replaced:
                    before = [_text(answer.entry, answer.steps) for answer in replaced]
                    corrections.append(Correction(state.handed, before, [entry.text for entry in added]))
                else:
                    new += len(added)
    return PaperPreview(new, present, report.blank, corrections, sorted(report.faults, key=lambda fault: fault.line))


def mark_paper(
    store: Store,
    engine: Engine,
    data: bytes,
    practice_set: StoredSet | None = None,
    progress: Progress = untold,
    *,
    correct: bool = False,
) -> PaperReport:
    """Mark a table of answers on paper, of one set or of whichever sets their codes belong to.

    With `correct` an answer that differs takes the place of the earlier ones from paper to its problem.
    Raises ClassError for what is no such table, StoreError if the store fails; the batches before stay marked then.
    """
    entries, report = read_paper(data, engine.library.quantities)
    return mark_entries(store, engine, entries, practice_set, report, progress, correct=correct)


def mark_entries(
    store: Store,
    engine: Engine,
    entries: Sequence[PaperEntry],
    practice_set: StoredSet | None = None,
    report: PaperReport | None = None,
    progress: Progress = untold,
    *,
    correct: bool = False,
) -> PaperReport:
    """Mark answers read off paper, as from a grid; adds to a report."""
    report = PaperReport() if report is None else report
    entries = _by_exercise(store, entries)
    instead: dict[str, set[str]] = {}
    for entry in entries if correct else ():
        instead.setdefault(entry.code, set()).add(entry.key)
    for start in range(0, len(entries), AT_ONCE):
        batch = entries[start : start + AT_ONCE]
        _mark_batch(store, engine, batch, practice_set, report, instead)
        progress(start + len(batch), len(entries))
    report.faults.sort(key=lambda fault: fault.line)
    return report


def _by_exercise(store: Store, entries: Sequence[PaperEntry]) -> list[PaperEntry]:
    """The answers with those to one exercise together, else in their order; its mistakes are then worked out once."""
    query = select(handed.c.code, handed.c.exercise, handed.c.ask, handed.c.rulebook)
    codes = sorted({entry.code for entry in entries})
    kinds: dict[str, tuple[str, str, str]] = {}
    with store.reading() as connection:
        for start in range(0, len(codes), AT_ONCE):
            of_codes = query.where(handed.c.code.in_(codes[start : start + AT_ONCE]))
            kinds |= {row.code: (row.exercise, row.ask, row.rulebook) for row in connection.execute(of_codes)}
    return sorted(entries, key=lambda entry: kinds.get(entry.code, ("", "", "")))


@dataclass
class _Changes:
    """What a batch changes: rows that are added, and answers that count from now on or count no more, by their id."""

    added: list[Mapping[str, Any]] = field(default_factory=list)
    counted: dict[int, bool] = field(default_factory=dict)

    def write(self, connection: Connection) -> None:
        """Write them."""
        if self.added:
            connection.execute(insert(class_answer), self.added)
        for id_, counted in self.counted.items():
            connection.execute(update(class_answer).where(class_answer.c.id == id_).values(counted=counted))


def _mark_batch(
    store: Store,
    engine: Engine,
    batch: Sequence[PaperEntry],
    practice_set: StoredSet | None,
    report: PaperReport,
    instead: Mapping[str, Collection[str]],
) -> None:
    """Mark outside the transaction, then add in one what is not there yet.

    `instead` are, for each problem whose answers are corrected, the keys of all that the file has for it.
    """
    with store.reading() as connection:
        states = _by_code(connection, batch, practice_set)
    marked: list[tuple[PaperEntry, Marking | None]] = []
    for entry in sorted(batch, key=lambda entry: _units(states.get(entry.code))):
        try:
            marked.append((entry, _marked(engine, entry, states.get(entry.code))))
        except (ClassError, StepError) as error:
            report.faults.append(Fault(entry.line, str(error)))

    def work(connection: Connection) -> PaperReport:
        part, changes = PaperReport(), _Changes()
        present = {state.handed.code: state for state in refreshed(connection, states.values())}
        for entry, marking in marked:
            state = present.get(entry.code)
            if state is None:
                part.faults.append(Fault(entry.line, _GONE))
                continue
            replaced = _replaced(state.answers, instead[entry.code]) if entry.code in instead else []
            _take_answer(engine, entry, marking, state, replaced, part, changes)
        changes.write(connection)
        return part

    part = store.write(work)
    report.verdicts += part.verdicts
    report.corrected += part.corrected
    report.differing += part.differing
    report.present += part.present
    report.faults += part.faults


def _units(state: AttemptState | None) -> list[str]:
    """What else mistakes depend on: the units in which a problem is told."""
    return [amount.unit for amount in state.handed.givens.values()] if state else []


def _by_code(
    connection: Connection, batch: Iterable[PaperEntry], practice_set: StoredSet | None
) -> dict[str, AttemptState]:
    codes = {entry.code for entry in batch}
    condition = handed.c.code.in_(codes)
    states = standings(
        connection,
        condition if practice_set is None else condition & (handed.c.practice_set_id == practice_set.id),
        datetime.now(UTC),
    )
    return {state.handed.code: state for state in states}


def _marked(engine: Engine, entry: PaperEntry, state: AttemptState | None) -> Marking | None:
    """The marking of an answer; None if it is there already."""
    if state is None:
        raise ClassError(_no_such(entry))
    if any(answer.key == entry.key for answer in state.answers):
        return None
    return mark_assigned(engine, state.handed, entry.entry, entry.steps)


def _take_answer(
    engine: Engine,
    entry: PaperEntry,
    marking: Marking | None,
    state: AttemptState,
    replaced: Sequence[Answer],
    report: PaperReport,
    changes: _Changes,
) -> None:
    """Take one answer in the place of those that it replaces; what there is to say goes to the report."""
    present = _find_present(entry, state.answers, replaced)
    if present is not None:
        report.present += 1
        _tell_unjudged(entry, present.verdict, present.feedback, report)
        return
    withdrawn = next((answer for answer in state.answers if answer.key == entry.key), None)
    before = replace(state, answers=[answer for answer in state.answers if answer not in replaced])
    why = _why_not(before, known_from_paper=bool(replaced))
    if why:
        report.faults.append(Fault(entry.line, f"not counted: {why}"))
        report.differing += not replaced and bool(_replaced(state.answers, [entry.key]))
        return
    if withdrawn is not None:
        new = replace(withdrawn, counted=True)
        changes.counted[new.id] = True
        state.answers.remove(withdrawn)
    elif marking is not None:
        new = _marked_answer(engine, entry, marking, before)
        changes.added.append(answer_values(new))
        report.verdicts[new.verdict] += 1
    else:
        report.faults.append(Fault(entry.line, "not counted: it has gone meanwhile. Run the file again."))
        return
    state.answers.append(new)
    if new.counted and replaced:
        report.corrected += 1
        for answer in replaced:
            changes.counted[answer.id] = False
            state.answers[state.answers.index(answer)] = replace(answer, counted=False)
    _tell_unjudged(entry, new.verdict, new.feedback, report)


def _marked_answer(engine: Engine, entry: PaperEntry, marking: Marking, state: AttemptState) -> Answer:
    return Answer(
        id=0,
        handed=state.handed.id,
        key=entry.key,
        at=state.moment,
        source="paper",
        entry=entry.entry,
        steps=entry.steps,
        help=state.help,
        **judged(engine, state, marking, on_paper=True),
    )


def _tell_unjudged(entry: PaperEntry, verdict: str, feedback: str, report: PaperReport) -> None:
    if verdict not in ("right", "wrong"):
        report.faults.append(Fault(entry.line, f"'{entry.entry[:40]}' could not be judged: {feedback}"))


def _replaced(answers: Iterable[Answer], keys: Collection[str]) -> list[Answer]:
    """The counted answers from paper to a problem that a file has not any more."""
    return [answer for answer in answers if answer.source == "paper" and answer.counted and answer.key not in keys]


def _find_present(entry: PaperEntry, answers: Iterable[Answer], replaced: Sequence[Answer]) -> Answer | None:
    """The same answer as it is there; one that was withdrawn comes back where it replaces another."""
    of_key = (answer for answer in answers if answer.key == entry.key)
    return next((answer for answer in of_key if not (replaced and answer.was_withdrawn)), None)


def _text(entry: str, steps: Mapping[str, str]) -> str:
    return f"{entry} ({', '.join(steps.values())})" if steps else entry


def _no_such(entry: PaperEntry) -> str:
    return f"no problem with the code {entry.code} was handed out here. Compare it with the sheet."


def _why_not(state: AttemptState, *, known_from_paper: bool = False) -> str:
    """Why an answer is not taken, '' if it is; what was on paper before was written before any solution was seen."""
    if state.handed.excused:
        return "the learner is excused from this problem."
    if state.solved:
        return "the learner has solved this problem already."
    if state.help == "solution" and not known_from_paper and not _written_before(state):
        return "the learner has seen the worked solution."
    return "" if state.attempts_unused else "the learner has used all attempts at this problem."


def _written_before(state: AttemptState) -> bool:
    """Whether what is on paper was written before the worked solution could be seen: that was after closing only."""
    return (
        state.practice_set.declaration.solutions == "when closed" and state.practice_set.state(state.moment) == "closed"
    )

"""Answers on paper: typed into a grid of learners and problems, or read from a table; counted once however often."""

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from tutor.app.components.markdown_table import show_table
from tutor.app.components.showing import plain, typed
from tutor.app.desk.instructor import Bar, Chosen, InstructorSession
from tutor.app.desk.roster import show_faults
from tutor.app.server.uploads import DESK, upload
from tutor.app.session import empty_for_another_browser, engine, library
from tutor.base.text import counted
from tutor.base.units import written_unit
from tutor.classroom.marking.paper import PaperEntry, PaperPreview, PaperReport, mark_entries, mark_paper, preview_paper
from tutor.classroom.models import Outcome, StoredSet
from tutor.classroom.reports.live import LEGEND, SIGNS
from tutor.classroom.roster.names import called
from tutor.classroom.sets.snapshots import problem_of
from tutor.classroom.spreadsheet import Fault
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem

_TOLD = "desk paper told"
_GRID = "desk paper grid"
_TYPED = "desk paper typed"
LEARNER, SO_FAR = "Learner", "So far"
SHOWN_CHANGES = 50
HEAD, ROW, TALLEST = 42, 37, 1100  # pixels
WORDS = {"right": "right", "wrong": "wrong", "unclear": "not judged", "refused": "not readable", "": "not marked"}

Cells = dict[str, tuple[str, str]]
"""For each column of a row of the grid the problem's code and the step ('' for the answer)."""
Kept = dict[tuple[str, str], str]
"""What was typed and not marked yet, by the problem's code and the step."""


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """The grid, and the upload of a table."""
    st.header("Answers on paper", anchor=False)
    report = st.session_state.pop(_TOLD, None)
    if report is not None:
        show_report(report)
    outcomes = instructor.outcomes(chosen.practice_set) if chosen.practice_set else []
    if chosen.practice_set is None or not outcomes:
        st.markdown("No problem is handed out yet. Hand them out in the tab 'Sets', then print the sheets.")
        return
    _grid(instructor, chosen.practice_set, outcomes)
    _table(instructor, chosen.practice_set)


def show_report(report: PaperReport) -> None:
    """What became of the answers, and the lines that have to be looked at."""
    st.success(plain(report_told(report)), icon="✔")
    show_faults(report.faults)


def report_told(report: PaperReport) -> str:
    """What became of the answers, as a sentence."""
    counts = ", ".join(f"{count} {WORDS[verdict]}" for verdict, count in sorted(report.verdicts.items()))
    marked = counted(report.new, "new answer was marked", "new answers were marked")
    words = f"{marked}{f': {counts}' if counts else ''}."
    if report.corrected:
        words += f" {counted(report.corrected, 'earlier answer was', 'earlier answers were')} corrected."
    if report.present:
        words += f" {counted(report.present, 'was', 'were')} there already."
    if report.blank:
        words += f" {counted(report.blank, 'row was', 'rows were')} blank."
    return words


def _grid(instructor: InstructorSession, practice_set: StoredSet, outcomes: Sequence[Outcome]) -> None:
    st.subheader("Type them in", anchor=False)
    st.markdown(
        "One row a learner, one column a problem; leave empty what was not answered. An answer with its unit, as "
        "`46.8 V`, or without it in the unit that the sheet asks for. Cells can be pasted from a spreadsheet."
    )
    number = st.session_state.setdefault(_GRID, 0)
    rows, keys = grid_rows(outcomes)
    columns: dict[str, Any] = {
        LEARNER: st.column_config.TextColumn(LEARNER, disabled=True, pinned=True),
        SO_FAR: st.column_config.TextColumn(SO_FAR, disabled=True, help=LEGEND),
    }
    columns |= {
        name: st.column_config.TextColumn(name, help=help_text, max_chars=120)
        for name, help_text in _helps(outcomes).items()
    }
    unmarked: Kept = st.session_state.setdefault(_TYPED, {})
    _cells(with_typed(rows, keys, unmarked), keys, columns, f"desk paper cells {practice_set.id} {number}")
    sent = st.button("Mark what was typed", type="primary")
    st.caption("'So far' has a sign for each problem in order: " + LEGEND + ".")
    if sent:
        entries, faults = grid_entries(with_typed(rows, keys, unmarked), keys)
        if not entries and not faults:
            st.warning("Nothing was typed.")
            return
        report = mark_entries(instructor.store, engine(), entries, practice_set)
        report.faults += faults
        marked = {entry.code for entry in entries}
        st.session_state[_TYPED] = {cell: text for cell, text in unmarked.items() if cell[0] not in marked}
        st.session_state[_TOLD] = _by_learner(report, rows)
        st.session_state[_GRID] = number + 1
        st.rerun()


@st.fragment
def _cells(rows: Sequence[Mapping[str, str]], keys: Sequence[Cells], columns: dict[str, Any], key: str) -> None:
    """The grid; each cell is kept as soon as it is typed, so that a look at another tab loses none."""
    empty_for_another_browser()
    typed = st.data_editor(
        rows,
        hide_index=True,
        num_rows="fixed",
        height=min(TALLEST, HEAD + ROW * len(rows)),
        column_config=columns,
        key=key,
    )
    unmarked: Kept = st.session_state.setdefault(_TYPED, {})
    for row, cells in zip(typed, keys, strict=True):
        unmarked.update({cell: row[head] or "" for head, cell in cells.items()})


def with_typed(rows: Sequence[Mapping[str, str]], keys: Sequence[Cells], unmarked: Kept) -> list[dict[str, str]]:
    """The rows of the grid with what was typed into them and not marked yet."""
    return [
        {**row, **{head: unmarked.get(cell, "") for head, cell in cells.items()}}
        for row, cells in zip(rows, keys, strict=True)
    ]


def _by_learner(report: PaperReport, rows: Sequence[Mapping[str, str]]) -> PaperReport:
    """The same with the lines told by their learners, since a grid shows no line numbers."""
    report.faults = [Fault(fault.line, f"{rows[fault.line - 1][LEARNER]}: {fault.reason}") for fault in report.faults]
    return report


def grid_rows(outcomes: Sequence[Outcome]) -> tuple[list[dict[str, str]], list[Cells]]:
    """The empty grid, and what its cells stand for."""
    rows: list[dict[str, str]] = []
    keys: list[Cells] = []
    by_member: dict[int, list[Outcome]] = {}
    for outcome in outcomes:
        by_member.setdefault(outcome.handed.member.id, []).append(outcome)
    heads = _heads(outcomes)
    for learner_outcomes in by_member.values():
        signs = "".join(SIGNS[outcome.state] for outcome in learner_outcomes)
        rows.append({LEARNER: called(learner_outcomes[0].handed.member), SO_FAR: signs, **dict.fromkeys(heads, "")})
        keys.append({})
        for outcome in learner_outcomes:
            keys[-1][_head(outcome)] = (outcome.handed.code, "")
            if outcome.handed.evidence:
                keys[-1][_evidence_head(outcome)] = (outcome.handed.code, outcome.handed.evidence)
    return rows, keys


def _head(outcome: Outcome) -> str:
    return f"{outcome.handed.place}: yes or no" if outcome.handed.evidence else str(outcome.handed.place)


def _evidence_head(outcome: Outcome) -> str:
    return f"{outcome.handed.place}: number"


def _heads(outcomes: Sequence[Outcome]) -> list[str]:
    """The names of the columns: a problem, and before a yes or no the number that it comes with."""
    heads = {(outcome.handed.place, 1): _head(outcome) for outcome in outcomes}
    heads |= {(outcome.handed.place, 0): _evidence_head(outcome) for outcome in outcomes if outcome.handed.evidence}
    return [heads[position] for position in sorted(heads)]


def _helps(outcomes: Sequence[Outcome]) -> dict[str, str]:
    """What is said about each column."""
    helps: dict[str, str] = {}
    for outcome in outcomes:
        if _head(outcome) not in helps:
            problem, title = problem_of(engine(), outcome.handed), outcome.handed.snapshot.title
            helps[_head(outcome)] = f"{title}: {_question_text(problem, outcome.handed.ask)}"
            if outcome.handed.evidence:
                helps[_evidence_head(outcome)] = _question_text(problem, outcome.handed.evidence)
    return helps


def _question_text(problem: AnyProblem, name: str) -> str:
    if isinstance(problem, OrderProblem):
        return problem.question.exercise.title
    unit = problem.unit_of(name)
    shown = f" ({written_unit(unit)})" if unit else ""
    return f"{problem.question.library.quantities[name].words}{shown}"


def grid_entries(
    typed: Sequence[Mapping[str, str | None]], keys: Sequence[Cells]
) -> tuple[list[PaperEntry], list[Fault]]:
    """What was typed, as answers to problems; a number without its yes or no is a fault."""
    entries, faults = [], []
    for line, (row, codes) in enumerate(zip(typed, keys, strict=True), start=1):
        steps: dict[str, dict[str, str]] = {}
        answers: dict[str, str] = {}
        for head, (code, step) in codes.items():
            text = (row.get(head) or "").strip()
            if text and step:
                steps.setdefault(code, {})[step] = text
            elif text:
                answers[code] = text
        entries += [PaperEntry(line, code, text, steps.get(code, {})) for code, text in answers.items()]
        faults += [
            Fault(line, f"problem {code} has a number without its yes or no.") for code in steps if code not in answers
        ]
    return entries, faults


def _table(instructor: InstructorSession, practice_set: StoredSet) -> None:
    st.subheader("Or from a table", anchor=False)
    st.markdown(
        "A CSV with the columns **problem code** and **answer**, and if you like a column for each step, named as its "
        "quantity. The same file again changes nothing. So you can correct a file and send it again as a whole: "
        "you see the changes first."
    )
    number = st.session_state.setdefault(_GRID, 0)
    file = upload("Answers as CSV", ["csv", "txt"], f"desk paper file {practice_set.id} {number}", DESK)
    if file is None:
        return
    preview = preview_paper(instructor.store, library().quantities, file[1], practice_set)
    correct = _preview(preview)
    if st.button("Mark this table", type="primary"):
        report = mark_paper(
            instructor.store, engine(), file[1], practice_set, Bar("Marking", "answers"), correct=correct
        )
        st.session_state[_TOLD] = report
        st.session_state[_GRID] = number + 1
        st.rerun()


def _preview(preview: PaperPreview) -> bool:
    """Show what a table would change; whether it corrects the answers that are there."""
    st.markdown(f"**Preview changes.** {preview_told(preview)}")
    show_faults(preview.faults)
    if not preview.corrections:
        return False
    show_table(
        [
            {
                "Learner": plain(called(correction.handed.member)),
                "Problem": f"{correction.handed.place} `{correction.handed.code}`",
                "Before": typed("; ".join(correction.before)),
                "In this file": typed("; ".join(correction.after)),
            }
            for correction in preview.corrections[:SHOWN_CHANGES]
        ]
    )
    if len(preview.corrections) > SHOWN_CHANGES:
        st.markdown(f"And {len(preview.corrections) - SHOWN_CHANGES} more.")
    ways = {True: "Correct the earlier answers", False: "Count as further attempts"}
    return bool(st.radio("The answers that differ", list(ways), format_func=ways.__getitem__, key="desk paper correct"))


def preview_told(preview: PaperPreview) -> str:
    """What a table would change, as sentences."""
    words = [f"{counted(preview.new, 'new answer')}; {preview.present} already entered."]
    if preview.corrections:
        differing = counted(len(preview.corrections), "problem has", "problems have")
        words.append(f"{differing} a different answer in this file.")
    return " ".join(words)

"""Answers on paper: typed into a grid of learners and problems, or read from a table; counted once however often."""

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from tutor.app.desk.instructor import Bar, Chosen, InstructorSession
from tutor.app.desk.roster import show_faults
from tutor.app.markdown_table import show_table
from tutor.app.session import empty_for_another_browser, engine, library
from tutor.app.showing import plain, typed
from tutor.app.uploads import DESK, upload
from tutor.classroom.live import LEGEND, SIGNS
from tutor.classroom.models import Outcome, StoredSet
from tutor.classroom.names import called
from tutor.classroom.paper import PaperEntry, PaperPreview, PaperReport, mark_entries, mark_paper, preview_paper
from tutor.classroom.spreadsheet import Fault
from tutor.counting import counted
from tutor.units import written_unit

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
    outcomes = instructor.outcomes(chosen.of) if chosen.of else []
    if chosen.of is None or not outcomes:
        st.markdown("No problem is handed out yet. Hand them out in the tab 'Sets', then print the sheets.")
        return
    _grid(instructor, chosen.of, outcomes)
    _table(instructor, chosen.of)


def show_report(report: PaperReport) -> None:
    """What became of the answers, and the lines that have to be looked at."""
    st.success(plain(report_told(report)), icon="✔")
    show_faults(report.faults)


def report_told(report: PaperReport) -> str:
    """What became of the answers, as a sentence."""
    counts = ", ".join(f"{count} {WORDS[verdict]}" for verdict, count in sorted(report.verdicts.items()))
    marked = counted(report.new, "new answer was marked", "new answers were marked")
    told = f"{marked}{f': {counts}' if counts else ''}."
    if report.corrected:
        told += f" {counted(report.corrected, 'earlier answer was', 'earlier answers were')} corrected."
    if report.there:
        told += f" {counted(report.there, 'was', 'were')} there already."
    if report.blank:
        told += f" {counted(report.blank, 'row was', 'rows were')} blank."
    return told


def _grid(instructor: InstructorSession, of: StoredSet, outcomes: Sequence[Outcome]) -> None:
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
    columns |= {name: st.column_config.TextColumn(name, help=told, max_chars=120) for name, told in _heads(outcomes)}
    kept: Kept = st.session_state.setdefault(_TYPED, {})
    _cells(with_typed(rows, keys, kept), keys, columns, f"desk paper cells {of.id} {number}")
    sent = st.button("Mark what was typed", type="primary")
    st.caption("'So far' has a sign for each problem in order: " + LEGEND + ".")
    if sent:
        entries, faults = grid_entries(with_typed(rows, keys, kept), keys)
        if not entries and not faults:
            st.warning("Nothing was typed.")
            return
        report = mark_entries(instructor.store, engine(), entries, of)
        report.faults += faults
        marked = {entry.code for entry in entries}
        st.session_state[_TYPED] = {at: text for at, text in kept.items() if at[0] not in marked}
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
    kept: Kept = st.session_state.setdefault(_TYPED, {})
    for row, cells in zip(typed, keys, strict=True):
        kept.update({at: row[head] or "" for head, at in cells.items()})


def with_typed(rows: Sequence[Mapping[str, str]], keys: Sequence[Cells], kept: Kept) -> list[dict[str, str]]:
    """The rows of the grid with what was typed into them and not marked yet."""
    return [
        {**row, **{head: kept.get(at, "") for head, at in cells.items()}} for row, cells in zip(rows, keys, strict=True)
    ]


def _by_learner(report: PaperReport, rows: Sequence[Mapping[str, str]]) -> PaperReport:
    """The same with the lines told by their learners, since a grid shows no line numbers."""
    report.faults = [Fault(one.line, f"{rows[one.line - 1][LEARNER]}: {one.reason}") for one in report.faults]
    return report


def grid_rows(outcomes: Sequence[Outcome]) -> tuple[list[dict[str, str]], list[Cells]]:
    """The empty grid, and what its cells stand for."""
    rows: list[dict[str, str]] = []
    keys: list[Cells] = []
    by_member: dict[int, list[Outcome]] = {}
    for one in outcomes:
        by_member.setdefault(one.handed.member.id, []).append(one)
    heads = [name for name, _ in _heads(outcomes)]
    for mine in by_member.values():
        signs = "".join(SIGNS[one.state] for one in mine)
        rows.append({LEARNER: called(mine[0].handed.member), SO_FAR: signs, **dict.fromkeys(heads, "")})
        keys.append({})
        for one in mine:
            keys[-1][_head(one)] = (one.handed.code, "")
            if one.handed.kept.evidence:
                keys[-1][_evidence_head(one)] = (one.handed.code, one.handed.kept.evidence)
    return rows, keys


def _head(one: Outcome) -> str:
    return f"{one.handed.place}: yes or no" if one.handed.kept.evidence else str(one.handed.place)


def _evidence_head(one: Outcome) -> str:
    return f"{one.handed.place}: number"


def _heads(outcomes: Sequence[Outcome]) -> list[tuple[str, str]]:
    """The columns with what is said about each: a problem, and before a yes or no the number that it comes with."""
    heads: dict[tuple[int, int], tuple[str, str]] = {}
    for one in outcomes:
        kept, place = one.handed.kept, one.handed.place
        words = kept.words.get(one.handed.ask, kept.title)
        heads[place, 1] = (_head(one), f"{kept.title}: {words}{_unit(kept.units.get(one.handed.ask, ''))}")
        if kept.evidence:
            number = kept.words.get(kept.evidence, kept.evidence)
            heads[place, 0] = (_evidence_head(one), f"{number}{_unit(kept.units.get(kept.evidence, ''))}")
    return [heads[at] for at in sorted(heads)]


def _unit(unit: str) -> str:
    shown = written_unit(unit) if unit else ""
    return f" ({shown})" if shown else ""


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


def _table(instructor: InstructorSession, of: StoredSet) -> None:
    st.subheader("Or from a table", anchor=False)
    st.markdown(
        "A CSV with the columns **problem code** and **answer**, and if you like a column for each step, named as its "
        "quantity. The same file again changes nothing. So you can correct a file and send it again as a whole: "
        "you see the changes first."
    )
    number = st.session_state.setdefault(_GRID, 0)
    file = upload("Answers as CSV", ["csv", "txt"], f"desk paper file {of.id} {number}", DESK)
    if file is None:
        return
    found = preview_paper(instructor.store, library().quantities, file[1], of)
    correct = _preview(found)
    if st.button("Mark this table", type="primary"):
        report = mark_paper(instructor.store, engine(), file[1], of, Bar("Marking", "answers"), correct=correct)
        st.session_state[_TOLD] = report
        st.session_state[_GRID] = number + 1
        st.rerun()


def _preview(found: PaperPreview) -> bool:
    """Show what a table would change; whether it corrects the answers that are there."""
    st.markdown(f"**Preview changes.** {preview_told(found)}")
    show_faults(found.faults)
    if not found.corrections:
        return False
    show_table(
        [
            {
                "Learner": plain(called(one.handed.member)),
                "Problem": f"{one.handed.place} `{one.handed.code}`",
                "Before": typed("; ".join(one.before)),
                "In this file": typed("; ".join(one.after)),
            }
            for one in found.corrections[:SHOWN_CHANGES]
        ]
    )
    if len(found.corrections) > SHOWN_CHANGES:
        st.markdown(f"And {len(found.corrections) - SHOWN_CHANGES} more.")
    ways = {True: "Correct the earlier answers", False: "Count as further attempts"}
    return bool(st.radio("The answers that differ", list(ways), format_func=ways.__getitem__, key="desk paper correct"))


def preview_told(found: PaperPreview) -> str:
    """What a table would change, as sentences."""
    told = [f"{counted(found.new, 'new answer')}; {found.there} already entered."]
    if found.corrections:
        has = counted(len(found.corrections), "problem has", "problems have")
        told.append(f"{has} a different answer in this file.")
    return " ".join(told)

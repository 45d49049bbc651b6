"""A practice set is made: its exercises proposed or chosen, or taken from a file; its rules; a look at it; opened."""

import re
import secrets
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

import streamlit as st

from tutor.app.components import showing
from tutor.app.components.markdown_table import show_table
from tutor.app.desk.choice import turn_to
from tutor.app.desk.instructor import Bar, Chosen, InstructorSession, lasting, lasting_choice
from tutor.app.server.uploads import DESK, upload
from tutor.app.session import UNITS, chosen_rulebook, engine, library
from tutor.base.errors import FaultyRequestError
from tutor.classroom.models import MOST_PROBLEMS, ClaimWith, Item, PracticeSet
from tutor.classroom.roster.register import LONGEST_NAME
from tutor.classroom.sets.difficulty import Spread, Variants, spread_of_preview
from tutor.classroom.sets.exams import LIMITS
from tutor.classroom.sets.set_files import SetError, check_set, proposed_items, read_set, written_set
from tutor.content.library import Library
from tutor.problems.problem import AnyProblem

DRAFT = "desk draft"
ANOTHER = "desk another set"
_LOOK = "desk preview"
PREVIEWED = 25
PROPOSE, CHOOSE, KEEP = "Propose them", "Let me choose", "Keep those of the file or the report"
MARKED = {"at once": "At once", "when closed": "When the set closes"}
SOLUTIONS = {"when closed": "When the set closes", "when solved": "Once solved, or attempts used up", "never": "Never"}
CLAIMS: dict[ClaimWith, str] = {"personal code": "Their personal code, from the slip", "name alone": "Their name alone"}
CLAIMS_TOLD = (
    "With the name alone, anyone who has the set's code can claim a free name. With the personal code, print the slips "
    "in the tab 'Roster' first."
)
HELPS = {"hints": "Hints", "nothing": "None", "solution": "Hints and the worked solution"}


def start_from(declared: PracticeSet | None) -> None:
    """Fill the form with a set, or empty it."""
    number = st.session_state.get(DRAFT, (0, None))[0]
    st.session_state[DRAFT] = (number + 1, declared)
    st.session_state.pop(_LOOK, None)


def show(instructor: InstructorSession, chosen: Chosen) -> None:
    """The form for a new set."""
    st.header("A new practice set", anchor=False)
    number, draft = st.session_state.get(DRAFT, (0, None))
    _from_file(number)
    declared = _form(number, draft)
    if declared is None:
        return
    left, right = st.columns(2)
    if left.button("Look at one learner's problems"):
        _look(declared)
    with right:
        instructor.download("Download as a file", lambda: written_set(declared), f"{declared.id}.yaml", "text/yaml")
    preview = st.session_state.get(_LOOK)
    if preview and preview[0] == declared:
        _show_look(*preview[1:])
    _open(instructor, chosen, declared)


def slug(title: str, used_ids: set[str]) -> str:
    """An id made of a title that no other set of the class has."""
    base = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:50].strip("-")
    base = base if base[:1].isalpha() else f"set-{base}".rstrip("-")
    return next(
        candidate
        for candidate in (base, *(f"{base}-{number}" for number in range(2, 10_000)))
        if candidate not in used_ids
    )


def spread_rows(spreads: list[Spread], content: Library) -> list[dict[str, str]]:
    """The spread of difficulty as rows of a table."""
    return [
        {
            "Problem": str(spread.place),
            "Exercise": showing.plain(content.exercises[spread.exercise].title)
            if spread.exercise in content.exercises
            else spread.exercise,
            "Steps": _from_to(spread.steps),
            "Mistakes that would show": _from_to(spread.traps),
            "Size of the answer": _size(spread.size),
            "Alike": f"{100 * spread.alike:.0f}\u00a0%",
        }
        for spread in spreads
    ]


def _from_to(ends: tuple[int, int]) -> str:
    low, high = (str(end).replace("-", "−") for end in ends)
    return low if low == high else f"{low} to {high}"


def _size(ends: tuple[int, int]) -> str:
    low, high = (f"{10.0**end:g}" for end in ends)
    return f"{low} and up" if low == high else f"{low} to {high} and up"


def _from_file(number: int) -> None:
    with st.expander("Start from a set's file (YAML)"):
        file = upload("A practice set's file", ["yaml", "yml"], f"desk set file {number}", DESK)
        if file is not None:
            name, content = file
            start_from(read_set(Path(name), library(), content.decode("utf-8", "replace")))
            st.rerun()


def _form(number: int, draft: PracticeSet | None) -> PracticeSet | None:
    """The set as it stands in the boxes; None while something is missing."""
    title = lasting(
        st.text_input,
        "Title",
        draft.title if draft else "",
        120,
        key=f"title {number}",
        placeholder="Strings on a cold morning",
    )
    book = draft.rulebook if draft else chosen_rulebook()
    book = lasting_choice("Rulebook and units", UNITS, book, f"book {number}")
    items = _items(number, draft, book)
    rules = _rules(number, draft.model_dump() if draft else {})
    if not title.strip() or not items:
        st.caption("Give the set a title and at least one exercise; then you can look at it and open it.")
        return None
    try:
        declared = PracticeSet.model_validate(
            {"id": slug(title, set()), "title": title, "rulebook": book, "items": items, **rules}
        )
    except ValueError as error:
        faults = "; ".join(fault["msg"].removeprefix("Value error, ") for fault in getattr(error, "errors", list)())
        st.error(showing.plain(f"This set cannot be made: {faults}."))
        return None
    check_set(declared, library())
    return declared


def _items(number: int, draft: PracticeSet | None, book: str) -> list[Item]:
    ways = [KEEP, PROPOSE, CHOOSE] if draft else [PROPOSE, CHOOSE]
    way = lasting(st.radio, "Exercises", ways, key=f"way {number}", horizontal=True)
    if way == KEEP and draft:
        show_table([{name: row[name] for name in ("Exercise", "Problems")} for row in map(_item_row, draft.items)])
        return list(draft.items)
    lessons = _several("Lessons", {id_: lesson.header.title for id_, lesson in library().lessons.items()}, number)
    if not lessons:
        return []
    return _proposed(number, lessons, book) if way == PROPOSE else _chosen(number, lessons, book)


def _several(label: str, words: Mapping[str, str], number: int) -> list[str]:
    kind = label.split(maxsplit=1)[0].lower()
    return lasting(
        st.multiselect,
        label,
        list(words),
        format_func=words.__getitem__,
        key=f"{kind} {number}",
        placeholder=f"Choose {kind}",
    )


def _proposed(number: int, lessons: list[str], book: str) -> list[Item]:
    left, right = st.columns(2)
    count = lasting(left.number_input, "Problems in all", 1, MOST_PROBLEMS, 5, key=f"count {number}")
    levels = sorted({exercise.level for exercise in library().exercises.values()})
    level = lasting(right.selectbox, "Up to level", levels, len(levels) - 1, key=f"level {number}")
    try:
        items = proposed_items(library(), lessons, int(count), level, "iec" if book == "iec" else "us")
    except SetError as error:
        st.warning(showing.plain(str(error)))
        return []
    show_table(list(map(_item_row, items)))
    return items


def _item_row(item: Item) -> dict[str, str]:
    exercise = library().exercises[item.exercise]
    return {
        "Exercise": showing.plain(exercise.title),
        "Level": str(exercise.level),
        "Problems": str(item.problems),
    }


def _chosen(number: int, lessons: list[str], book: str) -> list[Item]:
    fitting = {
        id_: exercise
        for id_, exercise in library().exercises.items()
        if exercise.lesson in lessons and book in getattr(exercise, "rulebooks", UNITS)
    }
    words = {id_: f"{exercise.title} · level {exercise.level}" for id_, exercise in fitting.items()}
    return [
        Item(exercise=id_, problems=int(_how_many(fitting[id_].title, f"many {id_} {number}")))
        for id_ in _several("Exercises of these lessons", words, number)
    ]


def _how_many(title: str, key: str) -> float:
    return lasting(st.number_input, f"How many: {title}", 1, MOST_PROBLEMS, 1, key=key)


def _rules(number: int, draft: Mapping[str, Any]) -> dict[str, object]:
    zones = {zone: zone for zone in sorted(available_timezones())}

    def pick(label: str, words: Mapping[Any, str], name: str, key: str) -> str:
        chosen: str = lasting_choice(label, words, draft.get(name), f"{key} {number}")
        return chosen

    with st.expander("Rules and times"):
        attempts = lasting(
            st.number_input, "Attempts at each problem", 1, 20, draft.get("attempts", 3), key=f"tries {number}"
        )
        help_ = pick("Help on the screen", HELPS, "help", "help")
        marked = pick("Learners see whether they are right", MARKED, "marked", "marked")
        if marked == "when closed":
            st.caption(LIMITS)
        solutions = pick("Learners see the worked solutions", SOLUTIONS, "solutions", "solutions")
        claim_with = pick("Learners claim their name with", CLAIMS, "claim_with", "claims")
        st.caption(CLAIMS_TOLD)
        zone_here = draft.get("zone") or st.context.timezone
        zone = lasting_choice("Time zone", zones, zone_here if zone_here in zones else "UTC", f"zone {number}")
        opens = _moment("Opens (empty: at once)", draft.get("opens"), zone, f"opens {number}")
        closes = _moment("Closes (empty: when you close it)", draft.get("closes"), zone, f"closes {number}")
    return {
        "attempts": int(attempts),
        "help": help_,
        "marked": marked,
        "solutions": "when solved" if help_ == "solution" else solutions,
        "claim_with": claim_with,
        "zone": zone,
        "opens": opens,
        "closes": closes,
    }


def _moment(label: str, moment: datetime | None, zone: str, key: str) -> datetime | None:
    local = moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None) if moment else None
    typed = lasting(st.datetime_input, label, local, key=key)
    return typed.replace(tzinfo=ZoneInfo(zone)) if typed else None


def _look(declared: PracticeSet) -> None:
    variants = Variants(engine(), declared, secrets.token_hex(32))
    spreads = spread_of_preview(variants, PREVIEWED, Bar("Drawing problems", "learners"))
    st.session_state[_LOOK] = (declared, variants.of_learner("preview 1"), spreads)


def _show_look(problems: list[AnyProblem], spreads: list[Spread]) -> None:
    st.subheader("One learner's problems", anchor=False)
    st.markdown("As one learner might get them; the learners of the class get other numbers.")
    for number, problem in enumerate(problems, start=1):
        with st.expander(f"{number}. {problem.question.exercise.title}"):
            showing.show_problem(problem)
            st.markdown(f"Answer: **{showing.plain(problem.answer_text)}**")
            showing.show_problems_cautions(problem)
    st.subheader(f"How alike {PREVIEWED} learners' problems are", anchor=False)
    show_table(spread_rows(spreads, library()))
    st.caption(
        "From the least to the most among the learners. 'Alike' is how many have exactly the commonest difficulty."
    )


def _open(instructor: InstructorSession, chosen: Chosen, declared: PracticeSet) -> None:
    with st.form("open for a class", border=False):
        class_name = st.text_input(
            "For the class (any name; a new one makes a new class)", chosen.class_name, LONGEST_NAME
        )
        sent = st.form_submit_button("Open this set for the class", type="primary")
    if sent:
        register = instructor.register
        same_title = [
            stored
            for stored in register.sets(" ".join(class_name.split()))
            if stored.declaration.title == declared.title
        ]
        if same_title:
            raise FaultyRequestError(f"The class has a set '{declared.title}' already. Give this one another title.")
        ids = {stored.declaration.id for stored in register.sets()}
        opened = register.open_set(declared.model_copy(update={"id": slug(declared.title, ids)}), class_name)
        start_from(None)
        turn_to("Sets", opened.class_name, opened.id, another=False)

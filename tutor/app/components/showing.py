"""The parts of which pages are made: story, givens, diagram, worked solution, verdicts, cautions, sources."""

import re
from collections.abc import Iterable

import streamlit as st

from tutor.answers.verdicts import Mark, Marking
from tutor.app.address import Address
from tutor.app.components import theme
from tutor.app.components.markdown_table import show_table
from tutor.app.session import closed_exercises, library, rulebook_for, store
from tutor.base.text import visible
from tutor.entries.kinds import ORDERS, capitalised
from tutor.pictures.diagrams.declared import diagram_of
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.solution import Line

_PUNCTUATION = re.compile(r"([!-/:-@\[-`{-~])")
# Escaped or not, Streamlit turns these into links, emoji and icons, unless something invisible stands within.
_TURNED_INTO = re.compile(r"(:(?=\S)|www(?=\.)|@)", re.IGNORECASE)
_WORD_JOINER = "\u2060"


def plain(text: str) -> str:
    """Escape text for Markdown, so that nothing a learner types is read as a picture, a link or a formula."""
    return _PUNCTUATION.sub(r"\\\1", _TURNED_INTO.sub(rf"\1{_WORD_JOINER}", text))


def typed(text: str) -> str:
    """A learner's own text among words of ours: plain, and what would turn or break the line is written out."""
    return plain(visible(text))


def words_of(name: str) -> str:
    """A quantity's words as a label."""
    return capitalised(library().quantities[name].words)


def asked_words(name: str) -> str:
    """What may be asked for, as a label: a quantity, the whole order, or what comes next."""
    return ORDERS.get(name) or words_of(name)


def show_exercises(page: str, exercises: Iterable[str], *, levels: bool = False) -> None:
    """Links to the exercises that are open to this learner, by lesson."""
    st.query_params.clear()
    open_ = set(exercises) - closed_exercises().keys()
    for lesson in library().lessons.values():
        listed = [
            exercise
            for exercise in library().exercises.values()
            if exercise.lesson == lesson.header.id and exercise.id in open_
        ]
        if listed:
            st.header(lesson.header.title, anchor=False)
        for exercise in listed:
            label = f"{exercise.title} · level {exercise.level}" if levels else exercise.title
            link = Address(exercise.id, rulebook=rulebook_for(exercise.id))
            st.page_link(page, label=label, query_params=link.query())


def show_if_closed(exercise: str, page: str) -> bool:
    """Say why an exercise is closed to this learner for now, and count the look; False, and nothing, if it is open.

    Nothing of the exercise may be worked out before this: what an address's numbers lead to can tell an answer too.
    """
    why = closed_exercises().get(exercise)
    if not why or exercise not in library().exercises:
        return False
    from tutor.classroom.sets.exams import Exams  # noqa: PLC0415 - sympy is loaded while the server answers already

    Exams(store()).note_look(exercise, why)
    exercise_found = library().exercises[exercise]
    st.title("Closed for now", anchor=False)
    st.info(plain(why[-1].words(exercise_found.title)), icon="➡")
    st.page_link(page, label="Choose another exercise")
    lesson = library().lessons[exercise_found.lesson].header
    st.page_link("screens/lessons.py", label=f"Lesson: {lesson.title}", query_params={"lesson": lesson.id})
    return True


def show_problem(problem: AnyProblem, name: str = "") -> None:
    """The story, the question, the diagram and the givens, or what is to be put in order.

    The browser gets `name` with the diagram: a class's problem must not give away its number, from which anybody could
    make it.
    """
    st.markdown(plain(" ".join(problem.story)))
    if problem.listed:
        lines = (line.partition(": ") for line in problem.listed)
        st.markdown("\n".join(f"- **{letter}**: {plain(words)}" for letter, _, words in lines))
    st.markdown(f"**{plain(problem.task)}**")
    if isinstance(problem, Problem):
        show_diagram(problem, name)
    if problem.shown:
        quantities = problem.question.library.quantities
        show_table(
            [
                {
                    "Given": plain(capitalised(quantities[given].words)),
                    "Symbol": f"${quantities[given].symbol}$" if quantities[given].symbol else "",
                    "Value": amount.text,
                }
                for given, amount in problem.shown.items()
            ]
        )


def show_diagram(problem: Problem, name: str = "") -> None:
    """The wiring, drawn on the server from the problem's own numbers; what is asked stays open."""
    drawing = diagram_of(problem, theme.look())
    if drawing:
        name = name or f"{problem.ask}-{problem.number}"
        theme.show_drawing(drawing.svg, drawing.narrow_svg, drawing.sentence, name)


def show_line(position: int, line: Line, problem: AnyProblem) -> None:
    """One step of a worked solution: why, the relation in symbols and in words, the numbers, the value."""
    if line.kind == "order":
        st.markdown(f"**{position}. {plain(line.text)}** {plain(line.why)}")
        return
    if line.kind == "kept":
        st.markdown(f"{plain(line.why)} **{plain(line.text)}**")
        return
    title = "Check" if line.name == "limit" else capitalised(problem.question.library.quantities[line.name].words)
    st.markdown(f"**{position}. {title}**")
    st.markdown(plain(line.why))
    st.latex(line.formula)
    st.caption(f"In words: {plain(line.spoken)}")
    st.markdown(f"{plain(line.numbers)}" + ("" if line.name == "limit" else f" = **{plain(line.text)}**"))
    if line.name == "limit":
        st.markdown(f"**{plain(line.text)}**")
    if line.source:
        st.caption(f"Table: {plain(line.source)}")


def show_solution(problem: AnyProblem, lines: Iterable[Line]) -> None:
    """A whole worked solution."""
    for position, line in enumerate(lines, start=1):
        show_line(position, line, problem)


def show_hints(hints: Iterable[str]) -> None:
    """The hints that were asked for."""
    for position, hint in enumerate(hints, start=1):
        st.info(f"**Hint {position}.** {plain(hint)}")


def show_marking(marking: Marking) -> None:
    """The verdict on an answer."""
    show_verdict(marking.verdict, marking.feedback, counted=marking.counts)


def show_verdict(verdict: str, feedback: str, *, counted: bool, may_try_again: bool = True) -> None:
    """What is said to an answer: a box with a word of its own, never colour alone; '' is a verdict kept back."""
    words = plain(feedback.removeprefix("Not yet. "))
    if not counted:
        st.warning(f"**Not counted.** {words}", icon="❔")
    elif verdict == "wrong":
        st.error(f"**Not right{' yet' if may_try_again else ''}.** {words}", icon="✖")
    else:
        st.success(words, icon="✔" if verdict == "right" else "☑")


def show_mark(mark: Mark) -> None:
    """The verdict on one step."""
    if mark.verdict in ("right", "carried"):
        st.success(plain(mark.feedback), icon="✔")
    elif mark.verdict == "wrong":
        st.error(plain(mark.feedback), icon="✖")
    else:
        st.warning(f"**Not counted.** {plain(mark.feedback)}", icon="❔")


def show_cautions(cautions: Iterable[str]) -> None:
    """The cautions that fit, each a line."""
    st.warning("\n".join(f"- {plain(caution)}" for caution in cautions), icon="⚠")


def show_problems_cautions(problem: AnyProblem) -> None:
    """The cautions that fit a problem."""
    question = problem.question
    show_cautions(question.library.cautions(question.exercise.safety, question.rulebook.id).values())


def show_sources(ids: Iterable[str]) -> None:
    """Where formulas and rules come from, and how far each was checked."""
    sources = library().sources
    st.markdown("\n".join(f"- {plain(sources[id_].citation)} ({sources[id_].standing})" for id_ in ids))

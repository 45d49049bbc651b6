"""The parts of which pages are made: story, givens, diagram, worked solution, verdicts, cautions, sources."""

import re
from collections.abc import Iterable

import streamlit as st

from tutor.answers.verdicts import Mark, Marking
from tutor.app import theme
from tutor.app.markdown_table import show_table
from tutor.app.session import closed_exercises, library, store
from tutor.diagrams.declared import diagram_of
from tutor.engine.order import OrderProblem
from tutor.engine.problem import AnyProblem, Problem
from tutor.engine.solution import Line
from tutor.entries.kinds import ORDERS, capitalised
from tutor.visible import visible

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


def show_if_closed(exercise: str, page: str) -> bool:
    """Say why an exercise is closed to this learner for now, and count the look; False, and nothing, if it is open.

    Nothing of the exercise may be worked out before this: what an address's numbers lead to can tell an answer too.
    """
    why = closed_exercises().get(exercise)
    if not why or exercise not in library().exercises:
        return False
    from tutor.classroom.exams import Exams  # noqa: PLC0415 - sympy is loaded while the server answers already

    Exams(store()).note_look(exercise, why)
    found = library().exercises[exercise]
    st.title("Closed for now", anchor=False)
    st.info(plain(why[-1].words(found.title)), icon="➡")
    st.page_link(page, label="Choose another exercise")
    lesson = library().lessons[found.lesson].header
    st.page_link("screens/lessons.py", label=f"Lesson: {lesson.title}", query_params={"lesson": lesson.id})
    return True


def show_problem(problem: AnyProblem) -> None:
    """The story, the question, the diagram and the givens, or what is to be put in order."""
    st.markdown(plain(" ".join(problem.story)))
    if isinstance(problem, OrderProblem):
        st.markdown(
            "\n".join(f"- **{letter}**: {plain(problem.words(id_))}" for letter, id_ in problem.letters.items())
        )
        st.markdown(f"**{plain(problem.task)}**")
        return
    st.markdown(f"**{plain(problem.task)}**")
    show_diagram(problem)
    show_table(
        [
            {
                "Given": words_of(name),
                "Symbol": f"${problem.question.library.quantities[name].symbol}$",
                "Value": amount.text,
            }
            for name, amount in problem.shown.items()
        ]
    )


def show_diagram(problem: Problem) -> None:
    """The wiring, drawn from the problem's own numbers; what is asked stays open."""
    drawing = diagram_of(problem, theme.look())
    if drawing:
        theme.show_drawing(drawing.svg, drawing.narrow_svg, drawing.sentence, f"{problem.ask}-{problem.number}")


def show_line(at: int, line: Line) -> None:
    """One step of a worked solution: why, the relation in symbols and in words, the numbers, the value."""
    if line.kind == "order":
        st.markdown(f"**{at}. {plain(line.text)}** {plain(line.why)}")
        return
    title = "Check" if line.name == "limit" else words_of(line.name)
    st.markdown(f"**{at}. {title}**")
    st.markdown(plain(line.why))
    st.latex(line.formula)
    st.caption(f"In words: {plain(line.spoken)}")
    st.markdown(f"{plain(line.numbers)}" + ("" if line.name == "limit" else f" = **{plain(line.text)}**"))
    if line.name == "limit":
        st.markdown(f"**{plain(line.text)}**")
    if line.source:
        st.caption(f"Table: {plain(line.source)}")


def show_solution(lines: Iterable[Line]) -> None:
    """A whole worked solution."""
    for at, line in enumerate(lines, start=1):
        show_line(at, line)


def show_marking(marking: Marking) -> None:
    """The verdict on an answer: a box with a word of its own, never colour alone."""
    if marking.verdict == "right":
        st.success(plain(marking.feedback), icon="✔")
    elif marking.verdict == "wrong":
        st.error(f"**Not right yet.** {plain(marking.feedback.removeprefix('Not yet. '))}", icon="✖")
    else:
        st.warning(f"**Not counted.** {plain(marking.feedback)}", icon="❔")


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

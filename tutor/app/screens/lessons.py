from urllib.parse import urlencode

import streamlit as st

from tutor.answers.marking import mark, mark_step
from tutor.app.address import Address
from tutor.app.components import lesson_figures, showing
from tutor.app.session import chosen_rulebook, closed_exercises, library, problem, record, rulebook_for
from tutor.content.library import Lesson
from tutor.learner.progress import progress
from tutor.problems.order import OrderProblem
from tutor.problems.problem import Problem
from tutor.problems.solution import Line, worked_solution

HERE = "screens/lessons.py"
PRACTICE = "screens/practice.py"
EXAMPLE_NUMBER = 1  # the worked example; the faded ones follow from 2 on
LONGEST = 120


def choose() -> None:
    st.query_params.clear()
    st.title("Lessons", anchor=False)
    st.markdown("Each lesson takes one decision. Take them in this order, or go to what you need.")
    progress_by_exercise = progress(record().attempts())
    for lesson in library().lessons.values():
        header = lesson.header
        st.page_link(HERE, label=f"**{header.title}**: {header.question}", query_params={"lesson": header.id})
        right = sum(
            1 for id_ in header.exercises if id_ in progress_by_exercise and progress_by_exercise[id_].right_unaided
        )
        st.caption(f"{right} of {len(header.exercises)} exercises answered rightly without help")


def show_if_closed(id_: str) -> bool:
    """Say why an example is closed to this learner for now; only an order rests on no numbers and is the answer."""
    why = closed_exercises().get(id_) if id_ in library().orders else None
    if why:
        st.info(showing.plain(why[-1].words(library().exercises[id_].title)), icon="➡")
    return bool(why)


def worked_example(lesson: Lesson) -> None:
    id_ = lesson.header.example
    st.header("A worked example", anchor=False)
    if show_if_closed(id_):
        return
    example = problem(id_, None, EXAMPLE_NUMBER, rulebook_for(id_))
    showing.show_problem(example)
    showing.show_solution(example, worked_solution(example))


def faded_example(lesson: Lesson) -> None:
    """The same with the last steps left to the learner: one more each time all of them are right."""
    st.header("The same, with steps left to you", anchor=False)
    name = f"faded {lesson.header.id}"
    lines_done: int = record().setting(name, 0)
    id_ = lesson.header.example
    if show_if_closed(id_):
        return
    example = problem(id_, None, EXAMPLE_NUMBER + 1 + lines_done, rulebook_for(id_))
    if isinstance(example, OrderProblem):
        whole_order(example)
        return
    lines = [line for line in worked_solution(example) if line.name != "limit"]
    left = min(lines_done + 1, len(lines))
    st.markdown(f"{left} of {len(lines)} steps {'is' if left == 1 else 'are'} left to you here.")
    showing.show_problem(example)
    showing.show_solution(example, lines[: len(lines) - left])
    if left_to_learner(example, lines, left) and st.button("Next example: one step more for you", type="primary"):
        record().keep_setting(name, lines_done + 1)
        st.rerun()


def whole_order(example: OrderProblem) -> None:
    """Another order, all of it left to the learner."""
    showing.show_problem(example)
    with st.form(f"faded {example.number}", border=False):
        text = st.text_input(example.answer_label, max_chars=LONGEST, key=f"faded {example.number} text")
        st.form_submit_button("Check the order")
    if text:
        showing.show_marking(mark(example, text))


def left_to_learner(example: Problem, lines: list[Line], left: int) -> bool:
    """A box for each step left out; True once all are right."""
    texts = {line.name: line.text for line in lines[: len(lines) - left]}
    for index, line in enumerate(lines[len(lines) - left :], start=len(lines) - left + 1):
        label = f"Step {index}: {example.label(line.name)}"
        with st.form(f"faded {example.number} {line.name}", border=False):
            text = st.text_input(label, max_chars=LONGEST, key=f"faded {example.number} {line.name} text")
            st.form_submit_button(f"Check step {index}")
        if not text:
            return False
        if line.name == example.ask:
            marking = mark(example, text, texts)
            showing.show_marking(marking)
            return marking.verdict == "right"
        verdict = mark_step(example, line.name, text, texts)
        showing.show_mark(verdict)
        if verdict.verdict not in ("right", "carried"):
            return False
        texts[line.name] = text
    return True


def problems(lesson: Lesson) -> None:
    st.header("Problems to try", anchor=False)
    progress_by_exercise = progress(record().attempts())
    for id_ in lesson.header.exercises:
        exercise = library().exercises[id_]
        tally = progress_by_exercise.get(id_)
        state = f" · right {tally.right_unaided + tally.right_with_help} times" if tally and tally.tries else ""
        st.page_link(
            PRACTICE,
            label=f"{exercise.title} · level {exercise.level}{state}",
            query_params=Address(id_, rulebook=rulebook_for(id_)).query(),
        )


def show(lesson: Lesson) -> None:
    header = lesson.header
    st.query_params.from_dict({"lesson": header.id})  # a link within one page leaves the browser's address as it was
    record().keep_place({"page": "lessons", "query": urlencode({"lesson": header.id})})
    st.title(header.title, anchor=False)
    st.markdown(f"*{header.question}*")
    for part in lesson.parts:
        match part:
            case "{figure}":
                lesson_figures.show(header.figure)
            case "{worked example}":
                worked_example(lesson)
            case "{faded example}":
                faded_example(lesson)
            case "{problems}":
                problems(lesson)
            case "{cautions}":
                st.header("Cautions", anchor=False)
                showing.show_cautions(library().cautions(header.safety, chosen_rulebook()).values())
            case "{sources}":
                st.header("Sources", anchor=False)
                showing.show_sources(header.sources)
            case text:
                st.markdown(text)
    following = [lesson.header for lesson in library().lessons.values() if lesson.header.order > header.order]
    if following:
        st.page_link(HERE, label=f"Next lesson: {following[0].title}", query_params={"lesson": following[0].id})
    st.page_link(HERE, label="All lessons")


wanted = st.query_params.get("lesson", "")
if wanted in library().lessons:
    show(library().lessons[wanted])
else:
    if wanted:
        st.error(f"There is no lesson “{showing.plain(wanted[:60])}”. Choose one below.")
    choose()

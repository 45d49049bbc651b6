"""One problem of a class's set on the page, made only of what its learner may be told."""

import streamlit as st

from tutor.app import class_drafts, showing, theme
from tutor.app.class_words import attempts_words, earlier_words, is_sent_again, label_of, saved_words, submit_key
from tutor.app.markdown_table import show_table
from tutor.app.session import library
from tutor.app.store_down import faults_in_words
from tutor.classroom.models import StoredSet
from tutor.classroom.views import AnswerForLearner, FieldForLearner, ForLearner
from tutor.classroom.work import ClassWork
from tutor.diagrams.declared import diagram_of
from tutor.diagrams.drawing import Diagram
from tutor.engine.problem import Problem
from tutor.engine.solution import Line
from tutor.entries.kinds import capitalised

LONGEST = 120
_STEP_WORDS = {
    "right": "✔ right",
    "carried": "✔ follows from your earlier value",
    "wrong": "✖ not right",
    "unclear": "❔ not read",
    "refused": "❔ not read",
}


def drawing_for(work: ClassWork, place: int) -> Diagram | None:
    """The diagram of a problem, drawn here on the server; what is asked or worked out on the way stays open in it."""
    problem = work.problem_to_draw(place)
    return diagram_of(problem, theme.look()) if isinstance(problem, Problem) else None


def show_told(view: ForLearner, drawing: Diagram | None) -> None:
    """The story, the question, the diagram and the givens, or what is to be put in order."""
    st.markdown(showing.plain(" ".join(view.story)))
    if view.listed:
        lines = (line.partition(": ") for line in view.listed)
        st.markdown("\n".join(f"- **{letter}**: {showing.plain(words)}" for letter, _, words in lines))
    st.markdown(f"**{showing.plain(view.task)}**")
    if drawing is not None:  # its key names the place alone: from an exercise's number anybody could set the problem
        theme.show_drawing(drawing.svg, drawing.narrow_svg, drawing.sentence, f"class-{view.place}")
    if view.givens:
        quantities = library().quantities
        show_table(
            [
                {
                    "Given": showing.plain(capitalised(given.words)),
                    "Symbol": f"${quantities[given.name].symbol}$" if given.name in quantities else "",
                    "Value": given.text,
                }
                for given in view.givens
            ]
        )


def show_cautions(view: ForLearner) -> None:
    """The cautions that fit the problem."""
    if view.cautions:
        showing.show_cautions(view.cautions)


def answer_form(of: StoredSet, work: ClassWork, view: ForLearner) -> None:
    """The boxes for the answer and its steps; a problem that takes no answer any more has none.

    It stays for one run after the problem has ended, so that an answer sent meanwhile is kept.
    """
    shown = f"form shown {of.code} {view.place}"
    if view.why_not and shown not in st.session_state:
        return
    slot = st.empty()
    with slot.form(f"answer {of.code} {view.place}", border=False):
        entry, steps = _boxes(of, view)
        st.caption("What you type is kept as you go, also before you send it.")
        hidden = view.solved is None
        sent = st.form_submit_button("Save the answer" if hidden else "Check the answer", type="primary")
    st.session_state[shown] = True
    if sent:
        with faults_in_words():
            again = is_sent_again(view, entry, steps)
            work.answer(view.place, entry, steps, key=submit_key(view, entry, steps))
            st.session_state[f"sent again {of.code} {view.place}"] = again
            st.rerun()
    elif view.why_not:
        del st.session_state[shown]
        slot.empty()


def _boxes(of: StoredSet, view: ForLearner) -> tuple[str, dict[str, str]]:
    """The boxes of the form, and what is in them: the answer, and the steps that are not empty."""
    optional = [step for step in view.steps if step.name != view.evidence]
    proof = [step for step in view.steps if step.name == view.evidence]
    typed = {}
    if optional:
        with st.expander("Steps on the way: type them if you like, to see where a mistake is"):
            for at, step in enumerate(optional, start=1):
                typed[step.name] = _box(of, view, step, f"Step {at}: {label_of(step)}")
    for step in proof:
        typed[step.name] = _box(of, view, step, label_of(step))
    entry = _box(of, view, view.answer, label_of(view.answer))
    return entry, {name: text for name, text in typed.items() if text.strip()}


def _box(of: StoredSet, view: ForLearner, field: FieldForLearner, label: str) -> str:
    """A box with the unsent text, or else with what was sent last."""
    last = view.answers[-1] if view.answers else None
    sent = "" if last is None else last.entry if field.name == view.ask else last.steps.get(field.name, "")
    text = view.drafts.get(field.name, sent)[:LONGEST]
    return st.text_input(label, text, LONGEST, key=class_drafts.key(of.code, view.place, field.name))


def show_answers(of: StoredSet, view: ForLearner) -> None:
    """What was said to the last answer, when it was kept, and the answers before it."""
    if view.why_not:
        st.info(showing.plain(view.why_not), icon="ℹ")
    if not view.answers:
        return
    *earlier, last = view.answers
    _show_answer(of, view, last)
    if st.session_state.pop(f"sent again {of.code} {view.place}", False):
        st.caption("You had sent this answer already. It counts once.")
    if earlier:
        with st.expander(earlier_words(earlier)):
            for answer in reversed(earlier):
                _show_answer(of, view, answer)


def _show_answer(of: StoredSet, view: ForLearner, answer: AnswerForLearner) -> None:
    st.text(f"Your answer: {answer.entry.strip()[:LONGEST] or '(empty)'}")
    feedback = showing.plain(answer.feedback.removeprefix("Not yet. "))
    if not answer.counted:
        st.warning(f"**Not counted.** {feedback}", icon="❔")
    elif answer.verdict == "right":
        st.success(feedback, icon="✔")
    elif answer.verdict == "wrong":
        st.error(f"**Not right{' yet' if view.attempts_left else ''}.** {feedback}", icon="✖")
    else:
        st.success(feedback, icon="☑")
    words = {step.name: capitalised(step.words) for step in view.steps}
    steps = [(name, answer.step_verdicts.get(name, "")) for name in answer.steps]
    if steps and answer.step_verdicts:
        told = (f"- {showing.plain(words.get(name, name))}: {_STEP_WORDS.get(verdict, '')}" for name, verdict in steps)
        st.markdown("\n".join(told))
    if answer.comment:
        st.info(f"**Your instructor says:** {showing.plain(answer.comment)}", icon="✏")
    st.caption(showing.plain(saved_words(answer, of.declaration.zone)))


def show_help(of: StoredSet, work: ClassWork, view: ForLearner) -> None:
    """The hints seen, one more, and the worked solution, as far as the set allows."""
    for at, hint in enumerate(view.hints, start=1):
        st.info(f"**Hint {at}.** {showing.plain(hint)}")
    if view.hints_left and not view.why_not:
        seen = len(view.hints)
        if st.button(f"Show hint {seen + 1} of {seen + view.hints_left}"):
            with faults_in_words():
                work.see_hint(view.place)
                st.rerun()
    if view.solution_may_be_seen:
        _show_solution(of, work, view)


def _show_solution(of: StoredSet, work: ClassWork, view: ForLearner) -> None:
    open_ = f"solution {of.code} {view.place}"
    if open_ not in st.session_state:
        if not view.why_not:
            st.markdown(f"After the worked solution no answer counts; you have {attempts_words(view.attempts_left)}.")
        if st.button("Show the worked solution"):
            with faults_in_words():
                work.solution(view.place)
                st.session_state[open_] = True
                st.rerun()
        return
    st.header("Worked solution", anchor=False)
    with faults_in_words():
        for at, line in enumerate(work.solution(view.place), start=1):
            _show_line(at, line)


def _show_line(at: int, line: Line) -> None:
    if line.kind == "kept":
        st.markdown(f"{showing.plain(line.why)} **{showing.plain(line.text)}**")
    else:
        showing.show_line(at, line)

"""The parts of the page that a problem of a class's set has for itself: boxes kept as they are typed, answers, help.

The problem is on the server: what of it reaches the browser is told by these parts, by showing, and by what
the set lets its learner see.
"""

import streamlit as st

from tutor.app.components import class_drafts, showing
from tutor.app.components.class_words import attempts_words, earlier_words, is_sent_again, saved_words, submit_key
from tutor.app.components.store_down import faults_in_words
from tutor.classroom.models import StoredSet
from tutor.classroom.sets.views import AnswerForLearner, ForLearner
from tutor.classroom.sets.work import ClassWork
from tutor.entries.kinds import capitalised
from tutor.problems.problem import AnyProblem, Problem

LONGEST = 120
_STEP_WORDS = {
    "right": "✔ right",
    "carried": "✔ follows from your earlier value",
    "wrong": "✖ not right",
    "unclear": "❔ not read",
    "refused": "❔ not read",
}


def answer_form(practice_set: StoredSet, work: ClassWork, problem: AnyProblem, view: ForLearner) -> None:
    """The boxes for the answer and its steps; a problem that takes no answer any more has none.

    It stays for one run after the problem has ended, so that an answer sent meanwhile is kept.
    """
    shown = f"form shown {practice_set.code} {view.place}"
    if view.why_not and shown not in st.session_state:
        return
    slot = st.empty()
    with slot.form(f"answer {practice_set.code} {view.place}", border=False):
        entry, steps = _boxes(practice_set, problem, view)
        st.caption("What you type is kept as you go, also before you send it.")
        hidden = view.solved is None
        sent = st.form_submit_button("Save the answer" if hidden else "Check the answer", type="primary")
    st.session_state[shown] = True
    if sent:
        with faults_in_words():
            resent = is_sent_again(view, entry, steps)
            work.answer(view.place, entry, steps, key=submit_key(view, entry, steps))
            st.session_state[f"sent again {practice_set.code} {view.place}"] = resent
            st.rerun()
    elif view.why_not:
        del st.session_state[shown]
        slot.empty()


def _boxes(practice_set: StoredSet, problem: AnyProblem, view: ForLearner) -> tuple[str, dict[str, str]]:
    """The boxes of the form, and what is in them: the answer, and the steps that are not empty."""
    evidence = problem.question.evidence
    optional = [name for name in view.steps if name != evidence]
    typed = {}
    if isinstance(problem, Problem):
        if optional:
            with st.expander("Steps on the way: type them if you like, to see where a mistake is"):
                for position, name in enumerate(optional, start=1):
                    typed[name] = _box(practice_set, view, name, f"Step {position}: {problem.label(name)}")
        if evidence:
            typed[evidence] = _box(practice_set, view, evidence, problem.label(evidence))
    entry = _box(practice_set, view, problem.ask, problem.answer_label, is_answer=True)
    return entry, {name: text for name, text in typed.items() if text.strip()}


def _box(practice_set: StoredSet, view: ForLearner, name: str, label: str, *, is_answer: bool = False) -> str:
    """A box with the unsent text, or else with what was sent last."""
    last = view.answers[-1] if view.answers else None
    sent = "" if last is None else last.entry if is_answer else last.steps.get(name, "")
    text = view.drafts.get(name, sent)[:LONGEST]
    return st.text_input(label, text, LONGEST, key=class_drafts.key(practice_set.code, view.place, name))


def show_answers(practice_set: StoredSet, problem: AnyProblem, view: ForLearner) -> None:
    """What was said to the last answer, when it was kept, and the answers before it."""
    if view.why_not:
        st.info(showing.plain(view.why_not), icon="ℹ")
    if not view.answers:
        return
    *earlier, last = view.answers
    _show_answer(practice_set, problem, view, last)
    if st.session_state.pop(f"sent again {practice_set.code} {view.place}", False):
        st.caption("You had sent this answer already. It counts once.")
    if earlier:
        with st.expander(earlier_words(earlier)):
            for answer in reversed(earlier):
                _show_answer(practice_set, problem, view, answer)


def _show_answer(practice_set: StoredSet, problem: AnyProblem, view: ForLearner, answer: AnswerForLearner) -> None:
    st.text(f"Your answer: {answer.entry.strip()[:LONGEST] or '(empty)'}")
    may_try_again = bool(view.attempts_left)
    showing.show_verdict(answer.verdict, answer.feedback, counted=answer.counted, may_try_again=may_try_again)
    if answer.step_verdicts:
        verdicts = {name: _STEP_WORDS.get(answer.step_verdicts.get(name, ""), "") for name in answer.steps}
        quantities = problem.question.library.quantities  # which a correction may have taken a step from
        words = {name: capitalised(quantities[name].words) if name in quantities else name for name in verdicts}
        lines = [f"- {showing.plain(words[name])}: {verdict}" for name, verdict in verdicts.items()]
        st.markdown("\n".join(lines))
    if answer.comment:
        st.info(f"**Your instructor says:** {showing.plain(answer.comment)}", icon="✏")
    st.caption(showing.plain(saved_words(answer, practice_set.declaration.zone)))


def show_help(practice_set: StoredSet, work: ClassWork, problem: AnyProblem, view: ForLearner) -> None:
    """The hints seen, one more, and the worked solution, as far as the set allows."""
    showing.show_hints(view.hints)
    if view.hints_left and not view.why_not:
        shown = len(view.hints)
        if st.button(f"Show hint {shown + 1} of {shown + view.hints_left}"):
            with faults_in_words():
                work.see_hint(view.place)
                st.rerun()
    if view.solution_may_be_seen:
        _show_solution(practice_set, work, problem, view)


def _show_solution(practice_set: StoredSet, work: ClassWork, problem: AnyProblem, view: ForLearner) -> None:
    open_ = f"solution {practice_set.code} {view.place}"
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
        showing.show_solution(problem, work.solution(view.place))

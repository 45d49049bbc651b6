import time
from contextlib import suppress
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode
from uuid import UUID, uuid4, uuid5

import streamlit as st

from tutor.answers.marking import mark, mark_step
from tutor.app.address import Address, read
from tutor.app.components import showing, theme
from tutor.app.components.lesson_figures import put_declared
from tutor.app.session import engine, library, record
from tutor.app.session import problem as drawn
from tutor.learner.record import Attempt
from tutor.learner.work import Work
from tutor.problems.draw import DrawError
from tutor.problems.order import OrderProblem
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.problem_factory import next_number
from tutor.problems.question import RequestError
from tutor.problems.solution import worked_solution
from tutor.problems.what_if import movable, what_if

HERE = "screens/practice.py"
LONGEST = 120


def choose() -> None:
    st.title("Practice", anchor=False)
    st.markdown("Choose an exercise. Each gives you a problem with numbers of its own, as often as you like.")
    showing.show_exercises(HERE, library().exercises, levels=True)


def go(address: Address) -> None:
    st.switch_page(HERE, query_params=address.query())


def name_of(problem: AnyProblem) -> str:
    """A name for the problem, with its numbers, among the session's keys."""
    question = problem.question
    givens = " ".join(amount.text for amount in problem.shown.values())
    return f"{question.exercise.id} {problem.number} {problem.ask} {question.rulebook.id} {givens}"


def keep(problem: AnyProblem, work: Work, field: str, **what: Any) -> Work:
    """Add an attempt to the learner's record; give the work with it, which is on the disk when this returns.

    The attempt's key comes from the form shown and from what was sent, so that a submit that is sent twice counts once.
    """
    form = st.session_state.setdefault(f"form {field} {name_of(problem)}", str(uuid4()))
    attempt = Attempt(
        exercise=problem.question.exercise.id,
        version=problem.question.version,
        number=problem.number,
        ask=problem.ask,
        rulebook=problem.question.rulebook.id,
        givens={name: amount.text for name, amount in problem.shown.items()},
        help=work.help,
        hints_seen=work.hints_seen,
        seconds=round(time.monotonic() - st.session_state[f"began {name_of(problem)}"], 1),
        key=str(uuid5(UUID(form), repr(sorted(what.items())))),
    )
    attempt_kept = record().add(replace(attempt, **what))
    del st.session_state[f"form {field} {name_of(problem)}"]
    return work.after(attempt_kept)


def answer_form(problem: AnyProblem, work: Work, *, stepwise: bool) -> Work:
    """The box for the answer; a yes or no comes with the number that decides."""
    solved_before = work.solved
    evidence = problem.question.evidence
    steps = dict(work.steps)
    with st.form("answer", border=False):
        if evidence and not stepwise and isinstance(problem, Problem):
            proof = f"{problem.label(evidence)}"
            proof_typed = steps.get(evidence, "")
            steps[evidence] = st.text_input(proof, proof_typed, LONGEST, key=f"evidence {name_of(problem)}")
        text = st.text_input(problem.answer_label, work.entry or "", LONGEST, key=f"answer {name_of(problem)}")
        sent = st.form_submit_button("Check the answer", type="secondary" if work.solved else "primary")
    if sent:
        marking = mark(problem, text, steps)
        shares = {candidate.id: candidate.probability for candidate in marking.candidates}
        named = marking.named.id if marking.named else None
        work = keep(
            problem, work, "answer", entry=text, steps=steps, verdict=marking.verdict, named=named, mistakes=shares
        )
    if work.entry is not None:
        showing.show_marking(mark(problem, work.entry, work.entry_steps))
    if work.solved and not solved_before:
        st.rerun()  # the verdict is on the screen already; what to do next has changed above it too
    return work


def step_forms(problem: Problem, work: Work) -> Work:
    """One form for each step on the way, up to the first that is not right yet."""
    earlier: dict[str, str] = {}
    for position, step in enumerate(problem.question.right.steps[:-1], start=1):
        label = f"Step {position}: {problem.label(step.name)}"
        with st.form(f"step {step.name}", border=False):
            typed = work.steps.get(step.name)
            text = st.text_input(label, value=typed or "", max_chars=LONGEST, key=f"{step.name} {name_of(problem)}")
            sent = st.form_submit_button(f"Check step {position}")
        if sent:
            work = keep(problem, work, step.name, steps={**work.steps, step.name: text})
            typed = text
        if typed is None:
            return work
        step_mark = mark_step(problem, step.name, typed, earlier)
        showing.show_mark(step_mark)
        if step_mark.verdict not in ("right", "carried"):
            return work
        earlier[step.name] = typed
    st.markdown("All steps are there. Now the answer:")
    return work


def tries(problem: AnyProblem, work: Work) -> Work:
    """The boxes for the steps and for the answer, with the verdicts."""
    if isinstance(problem, OrderProblem) or len(problem.step_names) == 1:
        return answer_form(problem, work, stepwise=False)
    stepwise = st.toggle("Step by step", value=bool(work.steps), key="step by step")
    if stepwise:
        work = step_forms(problem, work)
    return answer_form(problem, work, stepwise=stepwise)


def helps(problem: AnyProblem, work: Work) -> None:
    hints = problem.question.exercise.hints
    showing.show_hints(hints[: work.hints_seen])
    left, right = st.columns(2)
    if work.hints_seen < len(hints) and left.button(f"Show hint {work.hints_seen + 1} of {len(hints)}"):
        furthest = work.help or "hint"
        keep(problem, work, "hint", help=furthest, hints_seen=work.hints_seen + 1)
        st.rerun()
    if work.help != "solution" and right.button("Show the worked solution"):
        keep(problem, work, "solution", help="solution")
        st.rerun()
    if work.help == "solution":
        st.header("Worked solution", anchor=False)
        showing.show_solution(problem, worked_solution(problem))


def other_values(problem: Problem) -> None:
    """How the answer moves with each given: shown once the answer is known, for it would tell it."""
    shut = st.expander("What if a number were different?", key=f"what if {name_of(problem)}", on_change="rerun")
    if not shut.open:  # as below: what is shut costs nothing
        return
    from tutor.pictures.plots.sweep import sweep  # noqa: PLC0415 - plotly only where a figure is shown

    with shut:
        given = st.selectbox("Change", movable(problem), format_func=showing.words_of)
        put_declared(sweep(what_if(problem, given), theme.look()), f"what if {given} {name_of(problem)}")


def other_questions(address: Address, problem: AnyProblem) -> None:
    label = name_of(problem)
    shut = st.expander("Ask for something else, or put in your own numbers", key=f"others {label}", on_change="rerun")
    if not shut.open:  # what is shut need not be drawn, and need not hold up a verdict
        return
    with shut:
        for name in problem.question.exercise.asks:
            if name != problem.ask:
                link = Address(address.exercise, address.number, name, address.rulebook)
                st.page_link(HERE, label=f"Ask for: {showing.asked_words(name)}", query_params=link.query())
        own_numbers(address, problem)


def own_numbers(address: Address, problem: AnyProblem) -> None:
    """The form for the learner's own numbers, as typed; what contradicts is told there, and nothing typed is lost."""
    if not isinstance(problem, Problem):
        return
    typed_before = dict(address.own)
    with st.form("own numbers", border=False):
        st.markdown("Enter your own numbers from your own data sheet. The answer uses the others as they are.")
        typed = {
            name: st.text_input(
                showing.words_of(name),
                value=typed_before.get(name, amount.text),
                max_chars=LONGEST,
                key=f"own {name} {name_of(problem)}",
            )
            for name, amount in problem.shown.items()
        }
        sent = st.form_submit_button("Use these numbers")
    changed = {name for name, text in typed.items() if text != problem.shown[name].text}
    if sent and changed:
        typed_names = changed | typed_before.keys() | set(problem.question.right.inputs)
        wanted = replace(address, own=tuple((name, text) for name, text in typed.items() if name in typed_names))
        try:
            drawn(wanted.exercise, wanted.ask, wanted.number, wanted.rulebook, wanted.own)
        except (RequestError, DrawError) as error:
            st.error(showing.plain(str(error)))
        else:
            go(wanted)


def correct_own_numbers(address: Address) -> None:
    """Show the form with the numbers of an address that contradict each other, so that they can be corrected."""
    with suppress(RequestError, DrawError):
        own_numbers(address, drawn(address.exercise, address.ask, address.number, address.rulebook))


def show(address: Address, problem: AnyProblem) -> None:
    exercise = problem.question.exercise
    attempts = record().attempts(exercise.id, problem.number, problem.ask)
    question = problem.question
    work = Work.summed_up(attempts, question.version, question.rulebook.id, problem.shown, problem.step_names)
    st.session_state.setdefault(f"began {name_of(problem)}", time.monotonic())
    st.query_params.from_dict(address.query())  # a link within one page leaves the browser's address as it was
    problem_part, answer_part = st.container(), st.container()
    with answer_part:  # first, since it is the verdict that the learner waits for
        work = tries(problem, work)
    with problem_part:
        st.title(exercise.title, anchor=False)
        lesson = library().lessons[exercise.lesson].header
        st.page_link("screens/lessons.py", label=f"Lesson: {lesson.title}", query_params={"lesson": lesson.id})
        st.caption(f"Problem {problem.number} · level {exercise.level} · rulebook {problem.question.rulebook.title}")
        showing.show_problem(problem)
    if st.button("Fresh numbers", type="primary" if work.solved else "secondary"):
        mistake = next((attempt.named for attempt in reversed(attempts) if attempt.named), None)
        number = next_number(engine(), exercise.id, address.ask, address.number, address.rulebook, mistake)
        go(Address(exercise.id, number, address.ask, address.rulebook))
    helps(problem, work)
    if isinstance(problem, Problem) and (work.solved or work.help == "solution") and movable(problem):
        other_values(problem)
    if isinstance(problem, Problem):
        st.page_link("screens/working.py", label="Check my working, line by line", query_params=address.query())
    showing.show_problems_cautions(problem)
    other_questions(address, problem)
    record().keep_place({"page": "practice", "query": urlencode(address.query(), doseq=True)})


address: Address | None = None
try:
    address = read(st.query_params, st.query_params.get_all("given"))
    if address is None:
        choose()
    elif not showing.show_if_closed(address.exercise, HERE):
        show(address, drawn(address.exercise, address.ask, address.number, address.rulebook, address.own))
except (RequestError, DrawError) as error:
    st.title("Practice", anchor=False)
    st.error(showing.plain(str(error)))
    if address is not None and address.own:
        correct_own_numbers(address)
    st.page_link(HERE, label="Choose an exercise")

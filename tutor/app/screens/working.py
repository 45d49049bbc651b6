import streamlit as st

from tutor.answers.working.verdicts import Judged, Working
from tutor.app.address import Address, read
from tutor.app.components import showing
from tutor.app.server.checking import Asked, CheckingError
from tutor.app.server.uploads import WORKING, upload
from tutor.app.session import checker, library, record
from tutor.app.session import problem as drawn
from tutor.problems.draw import DrawError
from tutor.problems.order import OrderProblem
from tutor.problems.problem import Problem
from tutor.problems.question import RequestError
from tutor.problems.solution import formula_of

HERE = "screens/working.py"
LONGEST = 12_000
SIGNS = {
    "holds": ("✔", "Holds"),
    "arithmetic": ("✖", "Arithmetic"),
    "dimension": ("✖", "Unit"),
    "departs": ("✖", "Departs"),
    "unread": ("○", "Not read"),
}


def choose() -> None:
    st.title("Check my working", anchor=False)
    st.markdown(
        "Type the lines of your own arithmetic, as they stand on paper, and see the first one that does not hold. "
        "Choose the exercise that they belong to; your own numbers can be put in on its page."
    )
    showing.show_exercises(HERE, library().declared)


def kept_under(problem: Problem) -> str:
    question = problem.question
    givens = " ".join(amount.text for amount in problem.shown.values())
    return f"working {question.exercise.id} {problem.number} {problem.ask} {question.rulebook.id} {givens}"[:400]


def uploaded() -> str | None:
    """Return the text of an uploaded file, or None after saying why there is none."""
    file = upload("Or send a text file", ["txt", "md"], "working file", WORKING)
    if file is None:
        return None
    _, data = file
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def show_line(position: int, line: Judged, *, first: bool) -> None:
    sign, verdict = SIGNS[line.verdict]
    pointer = " ← look here first" if first else ""
    st.markdown(f"**{position}. {sign} {verdict}**{pointer}")
    st.text(line.text)
    if line.understood and line.understood != line.text:
        st.text(f"Understood: {line.understood}")
    st.markdown(showing.plain(line.words))


def show_working(problem: Problem, working: Working) -> None:
    wrong = working.first_wrong
    if working.method:
        st.info(
            f"Read as another method that is as good: {showing.plain(working.method)}. Where the two come to different "
            "answers, this problem asks for its own."
        )
    if wrong is not None:
        line = working.lines[wrong]
        st.error(
            f"**Line {wrong + 1} is the first that does not hold.** {showing.plain(line.words)}",
            icon="✖",
        )
        if line.quantity in problem.step_names and not working.method:
            st.latex(formula_of(problem, line.quantity))
    elif working.proves_answer:
        st.success("Every line was read and is correct, and they reach the answer.", icon="✔")
    elif working.reaches_answer:
        st.info(
            "The answer is correct. This page could not read every line, or the last line is not the answer with its "
            "unit, so it does not confirm the whole solution."
        )
    else:
        goal = showing.words_of(problem.ask)
        st.info(f"Every line that was read holds so far. The goal is not reached yet: {showing.plain(goal)}.")
    for position, line in enumerate(working.lines, start=1):
        show_line(position, line, first=position - 1 == wrong)


def verdict(request: Asked, *, sent: bool) -> Working | None:
    """The verdict on these lines: the one that this page has already, or a new one if it was asked for."""
    last: tuple[Asked, Working] | None = st.session_state.get("working judged")
    if last is not None and last[0] == request:
        return last[1]
    if not sent:
        return None
    working = checker().check(request, st.session_state["learner"], stay=lambda: st.session_state.get("learner"))
    st.session_state["working judged"] = (request, working)
    return working


def check(problem: Problem, address: Address) -> None:
    name = kept_under(problem)
    draft = record().draft(name).get("lines", "")
    text = st.text_area(
        "Your lines, one below the other",
        draft,
        height=220,
        max_chars=LONGEST,
        key=f"lines {name}",
        placeholder="450 / 46.8 = 9.6\nso 9",
    )
    sent = st.button("Check the lines", type="primary")
    if text != draft:
        record().keep_draft(name, "lines", text)  # when the box is left, so that a reload loses nothing
    from_file = uploaded()
    if from_file is not None and not sent:
        text = from_file
        record().keep_draft(name, "lines", text[:LONGEST])
    if not (sent or text):
        return
    try:
        working = verdict(Asked(address, text), sent=sent or from_file is not None)
    except CheckingError as error:
        st.error(showing.plain(str(error)))
        return
    if working is None:
        st.info("These lines are not checked yet. Select Check the lines.")
    else:
        show_working(problem, working)


def show(address: Address) -> None:
    problem = drawn(address.exercise, address.ask, address.number, address.rulebook, address.own)
    st.query_params.from_dict(address.query())
    exercise = problem.question.exercise
    st.title("Check my working", anchor=False)
    st.page_link("screens/practice.py", label=f"Practice: {exercise.title}", query_params=address.query())
    st.page_link(HERE, label="Choose another exercise")
    if isinstance(problem, OrderProblem):
        st.info("This exercise asks for an order, not for arithmetic. Choose another one.")
        return
    st.caption(f"Problem {problem.number} · rulebook {problem.question.rulebook.title}")
    checker().start()
    showing.show_problem(problem)
    check(problem, address)
    showing.show_problems_cautions(problem)


try:
    address = read(st.query_params, st.query_params.get_all("given"))
    if address is None:
        choose()
    elif not showing.show_if_closed(address.exercise, HERE):
        show(address)
except (RequestError, DrawError) as error:
    st.title("Check my working", anchor=False)
    st.error(showing.plain(str(error)))
    st.page_link(HERE, label="Choose an exercise")

"""One problem as one QTI item: its story, its question, how it is marked, what is said to a response."""

from xml.etree.ElementTree import Element

from tutor.answers import feedback
from tutor.classroom.exports.qti.asking import question_of
from tutor.classroom.exports.qti.elements import element
from tutor.classroom.exports.qti.expressions import FEEDBACK, SCORE, choose, outcome, set_outcome
from tutor.problems.problem import AnyProblem, Problem

RIGHT, WRONG = "right", "wrong"


def identifier(problem: AnyProblem) -> str:
    """The item's name: exercise, quantity, rulebook and number say which problem it is, here too."""
    question = problem.question
    return f"{question.exercise.id}.{problem.ask}.{question.rulebook.id}.{problem.number}"


def item(problem: AnyProblem) -> Element:
    """The item under its 2.1 names; a right response scores 1, any other 0, and says which mistake it gives away."""
    question = problem.question
    parts = question_of(problem)
    branches = [(parts.right, [set_outcome(SCORE, "float", "1"), set_outcome(FEEDBACK, "identifier", RIGHT)])]
    branches += [
        (condition, [set_outcome(FEEDBACK, "identifier", f"mistake.{id_}")]) for id_, condition in parts.mistakes
    ]
    marked = choose(branches, [set_outcome(FEEDBACK, "identifier", WRONG)])
    return element(
        "assessmentItem",
        *parts.declarations[:1],
        *(declaration for declaration in parts.declarations[1:] if declaration.tag == "responseDeclaration"),
        outcome(SCORE, "float", "0"),
        outcome(FEEDBACK, "identifier"),
        *(declaration for declaration in parts.declarations[1:] if declaration.tag == "outcomeDeclaration"),
        element("itemBody", *(element("p", sentence) for sentence in problem.story), *parts.body, _cautions(problem)),
        element("responseProcessing", *parts.before, marked),
        *_feedbacks(problem, [id_ for id_, _ in parts.mistakes]),
        identifier=identifier(problem),
        title=f"{question.exercise.title} ({problem.number})",
        adaptive="false",
        timeDependent="false",
    )


def _cautions(problem: AnyProblem) -> Element:
    question = problem.question
    cautions = question.library.cautions(question.exercise.safety, question.rulebook.id)
    return element("div", *(element("p", text) for text in cautions.values()))


def _feedbacks(problem: AnyProblem, mistakes: list[str]) -> list[Element]:
    exercise, right = problem.question.exercise, "Right."
    if isinstance(problem, Problem):
        right = feedback.right(problem, problem.answer_text, problem.printed_value)
    explained = {f"mistake.{id_}": exercise.mistakes[id_].says for id_ in mistakes}
    feedbacks = {RIGHT: right, **explained, WRONG: f"Not yet. {exercise.hints[0]}"}
    return [
        element("modalFeedback", element("p", words), outcomeIdentifier=FEEDBACK, identifier=id_, showHide="show")
        for id_, words in feedbacks.items()
    ]

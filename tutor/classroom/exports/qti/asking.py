"""How a problem is asked and marked in QTI: by a number, a choice, a yes or no with its evidence, or an order.

The conditions are those of the marking here: the range of right answers is cut off where a limit would be broken, a
bare yes or no is not right without the number that decides, and of an order every reason must be kept.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from xml.etree.ElementTree import Element

from tutor.classroom.exports.qti.elements import element
from tutor.classroom.exports.qti.expressions import (
    EVIDENCE,
    RESPONSE,
    BaseType,
    base_value,
    both,
    choose,
    give,
    is_correct,
    is_value,
    number,
    one_of,
    outcome,
    response,
    variable,
    within,
)
from tutor.classroom.keeping import accepted_range
from tutor.engine.order import WHOLE, OrderProblem
from tutor.engine.problem import Problem
from tutor.units import conversion, written_unit

TELLS_APART = 0.002  # so close (relative) a number has to come to what a mistake leads to
LENGTH = "12"


@dataclass(frozen=True, kw_only=True)
class Asked:
    """The parts of an item that depend on what is asked; `mistakes` are those that the response gives away."""

    declarations: Sequence[Element]
    body: Sequence[Element]
    right: Element
    mistakes: Sequence[tuple[str, Element]] = ()
    before: Sequence[Element] = field(default_factory=tuple)


def asked(problem: Problem | OrderProblem) -> Asked:
    """The question of a problem, its right response and the responses that give a mistake away."""
    if isinstance(problem, OrderProblem):
        return _order(problem) if problem.ask == WHOLE else _next_action(problem)
    match problem.question.library.quantities[problem.ask].kind:
        case "number":
            return _number(problem)
        case "count":
            return _count(problem)
        case "size":
            names = [size.name for size in problem.question.rulebook.sizes]
            return _choice(problem, names, problem.text_of)
        case "choice":
            choices = problem.question.library.quantities[problem.ask].choices
            return _choice(problem, choices, problem.text_of)
        case "answer":
            return _yes_or_no(problem)


def _number(problem: Problem) -> Asked:
    scale = conversion(problem.unit).scale
    right = problem.printed_value
    low, high = accepted_range(problem)

    def close_to(value: float) -> Element:
        shown = conversion(problem.unit).to_shown(value)
        reach = TELLS_APART * abs(shown)
        return within(RESPONSE, base_value("float", number(shown)), reach, reach)

    found = _mistakes(problem, lambda value, other: abs(value - other) <= 2 * TELLS_APART * max(abs(value), abs(other)))
    return Asked(
        declarations=[response(RESPONSE, "float", [problem.printed])],
        body=[_entry_line(problem.task, RESPONSE, problem.unit)],
        right=within(RESPONSE, element("correct", identifier=RESPONSE), (right - low) / scale, (high - right) / scale),
        mistakes=[(id_, close_to(value)) for id_, value in found],
    )


def _count(problem: Problem) -> Asked:
    found = _mistakes(problem, lambda value, other: value == other)
    return Asked(
        declarations=[response(RESPONSE, "integer", [str(round(problem.answer.value))])],
        body=[_entry_line(problem.task, RESPONSE, problem.unit)],
        right=is_correct(RESPONSE),
        mistakes=[
            (id_, is_value(RESPONSE, "integer", str(round(value)))) for id_, value in found if value == round(value)
        ],
    )


def _choice(problem: Problem, names: Sequence[str], text_of: Callable[[str, float], str]) -> Asked:
    id_of = {name: f"choice-{at}" for at, name in enumerate(names, start=1)}
    found = _mistakes(problem, lambda value, other: text_of(problem.ask, value) == text_of(problem.ask, other))
    return Asked(
        declarations=[response(RESPONSE, "identifier", [id_of[problem.text_of(problem.ask)]])],
        body=[_choices(problem.task, {id_: name for name, id_ in id_of.items()})],
        right=is_correct(RESPONSE),
        mistakes=[
            (mistake, is_value(RESPONSE, "identifier", id_of[text_of(problem.ask, value)])) for mistake, value in found
        ],
    )


def _yes_or_no(problem: Problem) -> Asked:
    answer = "yes" if problem.values[problem.ask] else "no"
    choices = _choices(problem.task, {"yes": "yes", "no": "no"})
    declared = [response(RESPONSE, "identifier", [answer])]
    evidence = problem.question.evidence
    if evidence is None:
        return Asked(declarations=declared, body=[choices], right=is_correct(RESPONSE))
    quantity, unit = problem.question.library.quantities[evidence], problem.unit_of(evidence)
    value = problem.values[evidence]
    base: BaseType = "integer" if quantity.kind == "count" else "float"
    shown = conversion(unit).to_shown(value)
    reach = problem.tolerance(evidence) / conversion(unit).scale
    proved = (
        is_correct(EVIDENCE)
        if base == "integer"
        else within(EVIDENCE, element("correct", identifier=EVIDENCE), reach, reach)
    )
    told = str(round(shown)) if base == "integer" else number(shown)
    return Asked(
        declarations=[*declared, response(EVIDENCE, base, [told])],
        body=[choices, _entry_line(f"The number that decides, the {quantity.words}:", EVIDENCE, unit)],
        right=both(is_correct(RESPONSE), proved),
    )


def _order(problem: OrderProblem) -> Asked:
    """An order of the lettered actions without the traps; the place of each is worked out, then every reason tried."""
    letters = list(problem.letters)
    right = [problem.letter_of(action) for action in problem.right_order]
    reasons = [
        (problem.letter_of(first), problem.letter_of(then))
        for first in problem.to_order
        for then in problem.to_order
        if problem.question.reason(first, then)
    ]
    places = [
        choose([(_at_place(place, letter), [give(_place(letter), "integer", str(place))]) for place in _up_to(right)])
        for letter in right
    ]
    kept = [element("lt", variable(_place(first)), variable(_place(then))) for first, then in reasons]
    none_left = [element("gt", variable(_place(letter)), base_value("integer", "0")) for letter in right]
    size = element("match", element("containerSize", variable(RESPONSE)), base_value("integer", str(len(right))))
    ordering = element(
        "orderInteraction",
        element("prompt", problem.task),
        *(element("simpleChoice", problem.words(problem.letters[one]), identifier=one) for one in letters),
        responseIdentifier=RESPONSE,
        shuffle="false",
        minChoices="1",
        maxChoices=str(len(letters)),
    )
    return Asked(
        declarations=[
            response(RESPONSE, "identifier", right, ordered=True),
            *(outcome(_place(letter), "integer", "0") for letter in right),
        ],
        body=[ordering],
        right=both(size, *none_left, *kept),
        mistakes=[
            (problem.letters[one], element("member", base_value("identifier", one), variable(RESPONSE)))
            for one in letters
            if one not in right
        ],
        before=places,
    )


def _next_action(problem: OrderProblem) -> Asked:
    ready = [
        problem.letter_of(action) for action in problem.to_order if problem.must_wait(action, problem.to_order) is None
    ]
    mistakes = []
    for letter, action in problem.letters.items():
        first = problem.must_wait(action, problem.to_order)
        arrow = problem.question.reason(first, action) if first else None
        id_ = arrow.id if arrow else action
        if letter not in ready:
            mistakes.append((id_, is_value(RESPONSE, "identifier", letter)))
    return Asked(
        declarations=[response(RESPONSE, "identifier", ready[:1])],
        body=[_choices(problem.task, {letter: problem.words(action) for letter, action in problem.letters.items()})],
        right=one_of(*(is_value(RESPONSE, "identifier", letter) for letter in ready)),
        mistakes=mistakes,
    )


def _place(letter: str) -> str:
    return f"PLACE_{letter}"


def _at_place(place: int, letter: str) -> Element:
    at = element("index", variable(RESPONSE), n=str(place))
    return element("match", at, base_value("identifier", letter))


def _up_to(right: Sequence[str]) -> range:
    return range(1, len(right) + 1)


def _entry_line(words: str, name: str, unit: str) -> Element:
    entry = element("textEntryInteraction", responseIdentifier=name, expectedLength=LENGTH)
    sign = written_unit(unit)
    return element("p", f"{words} ", entry, f" {sign}" if sign else "")


def _choices(words: str, choices: dict[str, str]) -> Element:
    return element(
        "choiceInteraction",
        element("prompt", words),
        *(element("simpleChoice", text, identifier=id_) for id_, text in choices.items()),
        responseIdentifier=RESPONSE,
        shuffle="false",
        maxChoices="1",
    )


def _mistakes(problem: Problem, alike: Callable[[float, float], bool]) -> list[tuple[str, float]]:
    """The declared mistakes whose answer is nobody else's, with that answer in working units."""
    found = [(way.mistake, float(numbers[-1])) for way, numbers in problem.wrong_numbers]
    right = problem.values[problem.ask]
    told: list[tuple[str, float]] = []
    for id_, value in found:
        shared = any(alike(value, other) for other_id, other in found if other_id != id_)
        if not shared and not alike(value, right) and (id_, value) not in told:
            told.append((id_, value))
    return told

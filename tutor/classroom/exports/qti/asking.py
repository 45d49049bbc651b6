"""How a problem is asked and marked in QTI: by a number, a choice, a yes or no with its evidence, or an order.

The conditions are those of the marking here: the range of right answers is cut off where a limit would be broken, a
bare yes or no is not right without the number that decides, and of an order every reason must be kept.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element

from tutor.base.units import conversion, written_unit
from tutor.classroom.exports.qti.elements import element
from tutor.classroom.exports.qti.expressions import (
    EVIDENCE,
    RESPONSE,
    all_of,
    base_value,
    choose,
    is_correct,
    is_value,
    number,
    one_of,
    outcome,
    response,
    set_outcome,
    variable,
    within,
)
from tutor.classroom.sets.snapshots import accepted_range
from tutor.entries.kinds import Kind, YesNo
from tutor.problems.order import WHOLE, OrderProblem
from tutor.problems.problem import AnyProblem, Problem

TELLS_APART = 0.002  # so close (relative) a number has to come to what a mistake leads to
LENGTH = "12"


@dataclass(frozen=True, kw_only=True)
class Asked:
    """The parts of an item that depend on what is asked; `mistakes` are those that the response gives away."""

    declarations: Sequence[Element]
    body: Sequence[Element]
    right: Element
    mistakes: Sequence[tuple[str, Element]] = ()
    before: Sequence[Element] = ()


def question_of(problem: AnyProblem) -> Asked:
    """The question of a problem, its right response and the responses that give a mistake away."""
    if isinstance(problem, OrderProblem):
        return _order(problem) if problem.ask == WHOLE else _next_action(problem)
    kind = problem.kind(problem.ask)
    if isinstance(kind, YesNo):
        return _yes_or_no(problem, kind)
    return _choice(problem, kind) if kind.in_words else _typed(problem, kind)


def _typed(problem: Problem, kind: Kind) -> Asked:
    """A number to be typed; a count gives a mistake away only where that leads to a whole number."""
    scale, right, (low, high) = conversion(kind.unit), problem.printed_value, accepted_range(problem)
    text = str(round(problem.answer.value)) if kind.whole else problem.printed
    declaration, correct = _number(RESPONSE, kind, text, (right - low) / scale.scale, (high - right) / scale.scale)

    def is_alike(value: float, second: float) -> bool:
        if kind.whole:
            return value == second
        return abs(value - second) <= 2 * TELLS_APART * max(abs(value), abs(second))

    def gives_away(value: float) -> Element:
        if kind.whole:
            return is_value(RESPONSE, "integer", str(round(value)))
        shown = scale.to_shown(value)
        reach = TELLS_APART * abs(shown)
        return within(RESPONSE, base_value("float", number(shown)), reach, reach)

    mistakes = [(id_, value) for id_, value in _mistakes(problem, is_alike) if not kind.whole or value == round(value)]
    return Asked(
        declarations=[declaration],
        body=[_entry_line(problem.task, RESPONSE, kind.unit)],
        right=correct,
        mistakes=[(id_, gives_away(value)) for id_, value in mistakes],
    )


def _number(name: str, kind: Kind, text: str, below: float, above: float) -> tuple[Element, Element]:
    """The declaration of a number as a response, and when it is right: exactly if it counts things, else in a range."""
    if kind.whole:
        return response(name, "integer", [text]), is_correct(name)
    return response(name, "float", [text]), within(name, element("correct", identifier=name), below, above)


def _choice(problem: Problem, kind: Kind) -> Asked:
    id_of = {name: f"choice-{place}" for place, name in enumerate(kind.options, start=1)}

    def chosen(value: float) -> str:
        return id_of[problem.text_of(problem.ask, value)]

    return Asked(
        declarations=[response(RESPONSE, "identifier", [chosen(problem.values[problem.ask])])],
        body=[_choices(problem.task, {id_: name for name, id_ in id_of.items()})],
        right=is_correct(RESPONSE),
        mistakes=[
            (mistake, is_value(RESPONSE, "identifier", chosen(value)))
            for mistake, value in _mistakes(problem, lambda value, second: chosen(value) == chosen(second))
        ],
    )


def _yes_or_no(problem: Problem, kind: YesNo) -> Asked:
    """A yes or no with the number that decides, where there is one: alone it may be luck."""
    body, right = [_choices(problem.task, {name: name for name in kind.options})], is_correct(RESPONSE)
    declarations = [response(RESPONSE, "identifier", [problem.answer_text])]
    if evidence := problem.question.evidence:
        deciding, words = problem.kind(evidence), problem.question.library.quantities[evidence].words
        shown = conversion(deciding.unit).to_shown(problem.values[evidence])
        reach = problem.tolerance(evidence) / conversion(deciding.unit).scale
        text = str(round(shown)) if deciding.whole else number(shown)
        declaration, proved = _number(EVIDENCE, deciding, text, reach, reach)
        declarations.append(declaration)
        body.append(_entry_line(f"The number that decides, the {words}:", EVIDENCE, deciding.unit))
        right = all_of(right, proved)
    return Asked(declarations=declarations, body=body, right=right)


def _order(problem: OrderProblem) -> Asked:
    """An order of the lettered actions without the traps; the place of each is worked out, then every reason tried."""
    letters = list(problem.letters)
    right = [problem.letter_of(action) for action in problem.right_order]
    reasons = [
        (problem.letter_of(first), problem.letter_of(later))
        for first in problem.to_order
        for later in problem.to_order
        if problem.question.reason(first, later)
    ]
    positions = range(1, len(right) + 1)
    places = [
        choose(
            [(_at_place(place, letter), [set_outcome(_place(letter), "integer", str(place))]) for place in positions]
        )
        for letter in right
    ]
    ordered = [element("lt", variable(_place(first)), variable(_place(later))) for first, later in reasons]
    none_left = [element("gt", variable(_place(letter)), base_value("integer", "0")) for letter in right]
    size = element("match", element("containerSize", variable(RESPONSE)), base_value("integer", str(len(right))))
    ordering = element(
        "orderInteraction",
        element("prompt", problem.task),
        *(element("simpleChoice", problem.words(problem.letters[letter]), identifier=letter) for letter in letters),
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
        right=all_of(size, *none_left, *ordered),
        mistakes=[
            (problem.letters[letter], element("member", base_value("identifier", letter), variable(RESPONSE)))
            for letter in letters
            if letter not in right
        ],
        before=places,
    )


def _next_action(problem: OrderProblem) -> Asked:
    """The letter of an action that nothing has to come before; another one gives its arrow, or the trap, away."""
    waits_for = {letter: problem.must_wait(action, problem.to_order) for letter, action in problem.letters.items()}
    ready = [problem.letter_of(action) for action in problem.to_order if not waits_for[problem.letter_of(action)]]
    mistakes = []
    for letter, action in problem.letters.items():
        first = waits_for[letter]
        arrow = problem.question.reason(first, action) if first else None
        if letter not in ready:
            mistakes.append((arrow.id if arrow else action, is_value(RESPONSE, "identifier", letter)))
    return Asked(
        declarations=[response(RESPONSE, "identifier", ready[:1])],
        body=[_choices(problem.task, {letter: problem.words(action) for letter, action in problem.letters.items()})],
        right=one_of(*(is_value(RESPONSE, "identifier", letter) for letter in ready)),
        mistakes=mistakes,
    )


def _place(letter: str) -> str:
    return f"PLACE_{letter}"


def _at_place(place: int, letter: str) -> Element:
    indexed = element("index", variable(RESPONSE), n=str(place))
    return element("match", indexed, base_value("identifier", letter))


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
    answers = [(mistake.id, float(values[problem.ask])) for mistake, values in problem.predictions]
    right = problem.values[problem.ask]
    distinct: list[tuple[str, float]] = []
    for id_, value in answers:
        shared = any(alike(value, second) for other_id, second in answers if other_id != id_)
        if not shared and not alike(value, right) and (id_, value) not in distinct:
            distinct.append((id_, value))
    return distinct

"""Drawing a problem: the same exercise, version and number give the same problem on every machine.

Indexes come from SHAKE-128 over the exercise, the number and the attempt, never from a library's random generator,
whose sequence may change between versions.
"""

import hashlib
import math
import struct
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from tutor.base.errors import FaultyRequestError
from tutor.base.units import ABSOLUTE_TEMPERATURES, UnitError, conversion, convert, written, written_unit
from tutor.content.models import Amount, Bounds, ChoiceGiven, Model, PartGiven, RangeGiven, SizeGiven
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.agreements import Compiled, binding, broken, contradiction, in_figures
from tutor.problems.draw_checks import Ambiguity, Refusal, ambiguity, refusal, relation_text
from tutor.problems.problem import Problem
from tutor.problems.protection import unprotected
from tutor.problems.question import Question, RequestError
from tutor.trade.rulebooks import Rulebook, Size

MAX_ATTEMPTS = 600
ENOUGH_SOUND = 6  # sound draws among which the one is taken that tells the mistakes apart best
ATTEMPTS_WITH_OWN_NUMBERS = 40
_IMPOSSIBLE = "they lead to no value that could exist"


class DrawError(FaultyRequestError, ValueError):
    """No draw of an exercise passes its checks, a fault of the exercise; `key` is where it declares what fails most."""

    def __init__(self, question: Question, refusals: Counter[Refusal]) -> None:
        (worst, count), document = refusals.most_common(1)[0], question.document
        self.key = worst.key
        self.fault = (
            f"no draw of '{question.exercise.id}', asked for {question.ask}, passes its screening. "
            f"{count} of {refusals.total()} fail the check of {worst.check}: {worst.why}"
        )
        super().__init__(f"{document.path.name}, line {document.line(worst.key)}: {self.fault}")


@dataclass(frozen=True)
class Option:
    """One thing that can be drawn: a part's name and the givens it brings, shown and in working units."""

    name: str
    shown: Mapping[str, Amount]
    working: Mapping[str, float]


Pool = tuple[str, Sequence[Option]]


def draw(question: Question, number: int, typed: Mapping[str, Amount] | None = None) -> Problem:
    """Draw problem `number`; `own` holds givens set by the learner, for which nothing is screened out.

    Raises DrawError if no draw passes, RequestError if the learner's own numbers cannot be worked with.
    """
    if typed:
        return _draw_around(question, number, _checked(question, typed))
    best: tuple[Ambiguity, Problem] | None = None
    sound = 0
    for options in _attempts(question, number, pools(question), MAX_ATTEMPTS):
        problem = _problem(question, number, options, {})
        if isinstance(problem, str) or refusal(problem):
            continue
        openness = ambiguity(problem)
        sound += 1
        if best is None or openness < best[0]:
            best = (openness, problem)
        if best[0] == Ambiguity() or (sound >= ENOUGH_SOUND and not best[0].likeliest_meet):
            break
    if best is None:
        raise DrawError(question, _refusals(question, number))
    return best[1]


def _refusals(question: Question, number: int) -> Counter[Refusal]:
    """Why each attempt at a problem failed; those that fail the same check of the same relation are counted as one."""
    refusals: dict[tuple[str, tuple[str, ...]], list[Refusal]] = {}
    for options in _attempts(question, number, pools(question), MAX_ATTEMPTS):
        problem = _problem(question, number, options, {})
        reason = _no_value(question, options) if isinstance(problem, str) else refusal(problem)
        if reason:
            refusals.setdefault((reason.check, reason.key), []).append(reason)
    return Counter({alike[0]: len(alike) for alike in refusals.values()})


def _no_value(question: Question, options: Mapping[str, Option]) -> Refusal:
    """Which quantity of an attempt has no value, or one that is out of its bounds."""
    values = {name: value for option in options.values() for name, value in option.working.items()}
    for name in (*values, *question.forward.names):
        key = ("relations" if name in question.relations else "givens", name)
        try:
            if name not in values:
                values[name] = question.relation(question.relations[name])(values)
        except NO_VALUE as error:
            return Refusal("values", key, f"{relation_text(question, name)} has no value: {error}")
        if not _is_within(question, name, values[name]):
            unit = question.kinds[name].unit
            value, low, high = (in_figures(end, unit) for end in (values[name], *question.bounds[name]))
            return Refusal("bounds", key, f"{relation_text(question, name)} comes to {value}, outside {low} to {high}")
    return Refusal("bounds", ("asks", question.ask), f"turned round, it leads to no {question.ask} within its bounds")


def _draw_around(question: Question, number: int, typed: Mapping[str, Amount]) -> Problem:
    closest: list[Pool] = []
    for role, pool in pools(question):
        drawn_parts = {chosen[0].name for _, chosen in closest if len(chosen) == 1} - {""}
        left = [option for option in pool if option.name not in drawn_parts]
        _, chosen = _closest((role, _agreeing(question, left, typed)), typed)
        closest.append((role, [_fitted(question, option, typed) for option in chosen]))
    first: Problem | None = None
    refused = ""
    for options in _attempts(question, number, closest, ATTEMPTS_WITH_OWN_NUMBERS):
        problem = _problem(question, number, options, typed)
        if isinstance(problem, str):
            sentence = contradiction(_unsolved(question, number, options, typed), typed)
            refused = sentence or refused or f"These numbers cannot be worked with: {problem}."
        elif sentence := contradiction(problem, typed):
            refused = sentence
        elif reason := unprotected(problem):
            refused = refused or f"These numbers cannot be worked with: {reason}."
        elif not refusal(problem):
            return problem
        elif first is None:
            first = problem
    if first is None:
        raise RequestError(refused)
    return first


def _agreeing(question: Question, options: Sequence[Option], typed: Mapping[str, Amount]) -> Sequence[Option]:
    """The options that agree with the learner's own numbers; all of them where none does, so that it can be told."""
    return [option for option in options if _agrees(question, option, typed)] or options


def _agrees(question: Question, option: Option, typed: Mapping[str, Amount]) -> bool:
    return not any(_contradicted(question, option, typed))


def _contradicted(question: Question, option: Option, own: Mapping[str, Amount]) -> Iterator[Compiled]:
    """The agreements that an option breaks together with the learner's own numbers."""
    typed = {name: amount.working for name, amount in own.items()}
    return broken(binding(question), {**option.working, **typed})


def _fitted(question: Question, option: Option, typed: Mapping[str, Amount]) -> Option:
    """An option that agrees with the learner's own numbers, as far as the answer does not rest on it.

    A part's values are changed in proportion: the label of a module of 5 V that comes without its open-circuit voltage
    gets one of about 6 V.  A value by itself becomes what it contradicts: a battery's nominal voltage its lowest one.
    """
    joined = {name for agreement in _contradicted(question, option, typed) for name in agreement.joins} & typed.keys()
    if not joined:
        return option
    near = typed.keys() & option.shown.keys() if option.name else joined
    units = {name: question.library.quantities[name].unit for name in (*option.shown, *near)}
    shown = dict(option.shown)
    for name in option.shown.keys() - typed.keys() - set(question.right.inputs):
        unit = units[name]
        alike = sorted(near_name for near_name in near if units[near_name] == unit not in ABSOLUTE_TEMPERATURES)
        if alike and option.name:
            value = shown[name].value * typed[alike[0]].working / option.working[alike[0]]
            shown[name] = Amount(value=float(f"{value:.4g}"), unit=shown[name].unit)
        elif alike:
            shown[name] = typed[alike[0]]
    return _option(option.name, shown)


def _attempts(question: Question, number: int, pools: Sequence[Pool], count: int) -> Iterator[dict[str, Option]]:
    for attempt in range(count):
        digest = hashlib.shake_128(f"{question.exercise.id} {number} {attempt}".encode()).digest(4 * len(pools))
        words = struct.unpack(f">{len(pools)}I", digest)
        options = {role: pool[word % len(pool)] for word, (role, pool) in zip(words, pools, strict=True)}
        if "second module" not in options or options["module"].name != options["second module"].name:
            yield options


def _problem(
    question: Question, number: int, options: Mapping[str, Option], typed: Mapping[str, Amount]
) -> Problem | str:
    """The problem of one attempt, or what is impossible about it; the learner's own numbers are held to no bounds."""
    givens: dict[str, float] = {}
    for option in options.values():
        givens.update(option.working)
    givens.update((name, amount.working) for name, amount in typed.items())
    try:
        values = question.forward.values(givens)
        if not typed and not _within(question, givens, values):
            return _IMPOSSIBLE
        shown = {name: amount for option in options.values() for name, amount in option.shown.items()} | dict(typed)
        unit = question.shown_unit(question.ask, {} if typed and question.reversed else shown)
        if question.reversed:
            _turn_round(question, givens, shown, values)
            values = question.right.values(givens)
            if not typed and not _within(question, givens, values):
                return _IMPOSSIBLE
    except NO_VALUE as error:
        return str(error)
    if not all(map(math.isfinite, values.values())):
        return _IMPOSSIBLE
    parts = {role.replace(" ", "_"): option.name for role, option in options.items() if option.name}
    return Problem(question, number, parts, {name: shown[name] for name in question.known}, givens, values, unit)


def _unsolved(question: Question, number: int, options: Mapping[str, Option], typed: Mapping[str, Amount]) -> Problem:
    """The givens alone, where they lead to no value: what they contradict can be told all the same."""
    shown = {name: amount for option in options.values() for name, amount in option.shown.items()} | dict(typed)
    shown = {name: amount for name, amount in shown.items() if name in question.known}
    return Problem(question, number, {}, shown, {name: amount.working for name, amount in shown.items()}, {}, "")


def _turn_round(
    question: Question, givens: dict[str, float], shown: dict[str, Amount], values: Mapping[str, float]
) -> None:
    """Make the final quantity a given, as it is told, and take away the given that is asked for."""
    del givens[question.ask], shown[question.ask]
    if question.final not in shown:
        unit = question.shown_unit(question.final, shown)
        amount = Amount(value=_as_given(question, question.final, values[question.final], unit), unit=unit)
        shown[question.final], givens[question.final] = amount, amount.working


def _as_given(question: Question, name: str, value: float, unit: str) -> float:
    """A worked-out value as it is told as a given: counts whole, numbers to four figures."""
    if question.kinds[name].whole:
        return value
    text = written(conversion(unit).to_shown(value), "", figures=4)
    return float(text.replace("−", "-"))


def _within(question: Question, givens: Mapping[str, float], values: Mapping[str, float]) -> bool:
    """Whether every value is plausible, or within the exercise's own narrower bounds."""
    return all(_is_within(question, name, value) for numbers in (givens, values) for name, value in numbers.items())


def _is_within(question: Question, name: str, value: float) -> bool:
    low, high = question.bounds[name]
    return low <= value <= high


def _closest(pool: Pool, typed: Mapping[str, Amount]) -> Pool:
    """The one option of a pool that comes closest to the learner's own numbers, so that the rest fits them."""
    role, options = pool
    shared = [name for name in options[0].working if name in typed]
    if not shared or len(options) == 1:
        return pool

    def distance(option: Option) -> float:
        return sum(
            abs(option.working[name] - typed[name].working) / (abs(typed[name].working) + 1e-12) for name in shared
        )

    return role, [min(options, key=distance)]


def _checked(question: Question, typed: Mapping[str, Amount]) -> dict[str, Amount]:
    for name, amount in typed.items():
        if name == question.ask:
            raise RequestError(f"{name} is what is asked for; give the others, or ask for another quantity.")
        if name not in question.known:
            raise RequestError(f"'{name}' is not a given here. The givens are: {', '.join(question.known)}.")
        quantity = question.library.quantities[name]
        words = f"The {quantity.words}"
        low, high = quantity.plausible or (0.0, max(1.0, len(quantity.choices) - 1.0))
        try:
            value = convert(amount.value, amount.unit, quantity.unit)
        except UnitError:
            unit = written_unit(quantity.unit) or "a plain number"
            raise RequestError(
                f"{words} is measured in {unit}, not in {written_unit(amount.unit) or 'plain numbers'}."
            ) from None
        if question.kinds[name].whole and value != round(value):
            raise RequestError(f"{words} is a number of things: give a whole number, not {amount}.")
        if not low <= value <= high:
            first_real, last_real = (Amount(value=bound, unit=quantity.unit) for bound in (low, high))
            raise RequestError(
                f"{words} can't be {amount}: real values lie between {first_real} and {last_real}. "
                "Check the number, its sign, and its unit."
            )
        if name in question.exercise.holds_for:
            first, last = _ends(question.exercise.holds_for[name], question.rulebook)
            if not first.working <= amount.working <= last.working:
                raise RequestError(
                    f"{words} can't be {amount} here: this exercise applies from {first} to {last}. "
                    "Beyond that, another rule applies. Ask a licensed electrician."
                )
    return dict(typed)


def _ends(given: Bounds | SizeGiven, book: Rulebook) -> tuple[Amount, Amount]:
    if isinstance(given, Bounds):
        return given.lowest, given.highest
    return size_amount(book.size_named(given.smallest)), size_amount(book.size_named(given.largest))


@lru_cache(maxsize=1024)
def pools(question: Question) -> list[Pool]:
    """What can be drawn for each part and each given of a question."""
    library = question.library
    shelves: dict[str, Mapping[str, Model]] = {
        "module": library.modules,
        "second module": library.modules,
        "charger": library.chargers,
        "place": library.places,
    }
    fields_of: dict[str, dict[str, str]] = {}
    drawn_from: list[Pool] = []
    for name, given in question.exercise.givens.items():
        if isinstance(given, PartGiven):
            fields_of.setdefault(given.source, {})[name] = given.take or name
        else:
            amounts = _amounts(given, question.rulebook)
            if choices := library.quantities[name].choices:
                amounts = [amount.model_copy(update={"label": choices[int(amount.value)]}) for amount in amounts]
            drawn_from.append((name, [_option("", {name: amount}) for amount in amounts]))
    for role, fields in fields_of.items():
        options = [_part_option(part, fields) for part in shelves[role].values()]
        drawn_from.append((role, options))
    return drawn_from


def _part_option(part: Any, fields: Mapping[str, str]) -> Option:
    return _option(part.name, {name: getattr(part, field) for name, field in fields.items()})


def _option(name: str, shown: dict[str, Amount]) -> Option:
    return Option(name, shown, {id_: amount.working for id_, amount in shown.items()})


def _amounts(given: RangeGiven | ChoiceGiven | SizeGiven, book: Rulebook) -> list[Amount]:
    if isinstance(given, ChoiceGiven):
        return given.one_of
    if isinstance(given, RangeGiven):
        return range_amounts(given)
    smallest, largest = (end.working for end in _ends(given, book))
    return [size_amount(size) for size in book.sizes if smallest <= size.area <= largest]


def size_amount(size: Size) -> Amount:
    """A standard conductor as a given, told by its trade name."""
    return Amount(value=conversion("mm^2").to_shown(size.area), unit="mm^2", label=size.name)


def range_amounts(given: RangeGiven) -> list[Amount]:
    """What a given may be that is drawn evenly from its lowest to its highest."""
    count = round((given.highest.value - given.lowest.value) / given.step.value)
    lowest, unit = given.lowest.value, given.lowest.unit
    return [Amount(value=round(lowest + step * given.step.value, 9), unit=unit) for step in range(count + 1)]

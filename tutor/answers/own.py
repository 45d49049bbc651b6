"""A learner's own numbers for the givens, read as answers are read."""

import math
from collections.abc import Mapping
from contextlib import suppress
from typing import Final

from tutor.answers.coefficient import read_coefficient
from tutor.base.units import LONGEST_UNIT, conversion, convert
from tutor.content.models import MOST_DECIMALS, Amount, ChoiceGiven, Quantity
from tutor.entries.entry import Entry, EntryError, plain_text, read_entry
from tutor.entries.kinds import Choice, Size, capitalised, kind_of, read_size
from tutor.problems.draw import size_amount
from tutor.problems.question import Question, RequestError
from tutor.trade.rulebooks import TableError, rulebook

_FIGURES_OF_A_SHARE = 5  # to which a coefficient in V/K is told in %/K: a tenth of what its last digit can mean
_NOISE: Final = 1e-6  # what converting a unit leaves of a power of ten


def own_amounts(question: Question, texts: Mapping[str, str]) -> dict[str, Amount]:
    """Read the learner's own numbers; the unit typed is the one shown, but for kelvin where a temperature is asked.

    A temperature coefficient may be typed in V/K, A/K or W/K beside the label's own value that it belongs to.
    Raises RequestError for an unknown name or a text that cannot be read.
    """
    quantities = question.library.quantities
    for name in texts:
        if name not in quantities:
            raise RequestError(f"'{name}' is not a given here. The givens are: {', '.join(question.known)}.")
    amounts: dict[str, Amount] = {}
    for name in sorted(texts, key=lambda name: quantities[name].share_of is not None):
        try:
            listed = _listed(question, name, texts[name])
            amounts[name] = listed or _amount(question, name, texts[name], amounts)
        except EntryError as error:
            raise RequestError(f"{capitalised(quantities[name].words)}: {error}") from None
    return {name: amounts[name] for name in texts}


def _listed(question: Question, name: str, text: str) -> Amount | None:
    """The value of the exercise's own list that is told by this text, such as a way of switching the neutral."""
    given = question.exercise.givens.get(name)
    listed = given.one_of if isinstance(given, ChoiceGiven) else []
    return next((amount for amount in listed if amount.label and plain_text(amount.label) == plain_text(text)), None)


def _amount(question: Question, name: str, text: str, amounts: Mapping[str, Amount]) -> Amount:
    quantity, kind = question.library.quantities[name], kind_of(question.library.quantities[name], question.rulebook)
    if isinstance(kind, Size):
        return _size(question, text)
    if isinstance(kind, Choice):
        place = kind.read(text).value
        return Amount(value=place, label=kind.plain(place))
    label = {name: amount.working for name, amount in amounts.items()}
    entry = read_coefficient(text, quantity, question.library.quantities, label)
    unit = _shown_unit(entry, quantity)
    figures = 12 if unit == entry.unit or not quantity.share_of else _FIGURES_OF_A_SHARE
    value = float(f"{convert(entry.value, quantity.unit, unit):.{figures}g}")
    return Amount(value=value, unit=unit, decimals=_typed_decimals(entry, quantity, unit))


def _size(question: Question, text: str) -> Amount:
    """A standard size of the rulebook, or any other conductor that somebody has: 5 mm², or 10 AWG under the IEC."""
    try:
        area = read_size(text, question.rulebook).value
    except EntryError as not_standard:
        try:
            area = _other_area(question, text)
        except EntryError:
            raise not_standard from None
    try:
        return size_amount(question.rulebook.size_or_between(conversion("mm^2").to_working(area)))
    except TableError as error:
        raise EntryError(f"{error}.") from None


def _other_area(question: Question, text: str) -> float:
    """A cross-section (mm²) that is no standard size of the rulebook; a bare number means what its sizes go by."""
    american = question.rulebook.id == "us"
    if not american and not plain_text(text).isdigit():
        with suppress(EntryError):
            return read_size(text, rulebook("us")).value
    entry = read_entry(text, "mm^2")
    if american and not entry.unit:
        raise EntryError("a bare number is an AWG size")
    return entry.value


def _typed_decimals(entry: Entry, quantity: Quantity, unit: str) -> int:
    """How many decimals were typed, in the unit shown; 0 for arithmetic, and where the typed unit is not shown."""
    last_place = 2 * entry.half_width * conversion(quantity.unit).scale / conversion(unit).scale
    decimals = -math.log10(last_place) if last_place > 0 else 0.0
    return round(decimals) if abs(decimals - round(decimals)) < _NOISE and 0 < decimals <= MOST_DECIMALS else 0


def _shown_unit(entry: Entry, quantity: Quantity) -> str:
    """The typed unit where a data sheet could print it, else the glossary's."""
    if not entry.unit or len(entry.unit) > LONGEST_UNIT:
        return quantity.unit
    alike = conversion(entry.unit).dimension == conversion(quantity.unit).dimension
    return entry.unit if alike else quantity.unit

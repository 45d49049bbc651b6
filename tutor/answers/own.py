"""A learner's own numbers for the givens, read as answers are read."""

from collections.abc import Mapping

from tutor.answers.choice import read_choice
from tutor.answers.entry import Entry, EntryError, read_entry
from tutor.answers.size import read_size
from tutor.content.models import LONGEST_UNIT, Amount, Quantity
from tutor.engine.draw import size_amount
from tutor.engine.question import Question, RequestError
from tutor.units import conversion, convert


def own_amounts(question: Question, texts: Mapping[str, str]) -> dict[str, Amount]:
    """Read the learner's own numbers; the unit typed is the one shown, but for kelvin where a temperature is asked.

    Raises RequestError for an unknown name or a text that cannot be read.
    """
    amounts = {}
    for name, text in texts.items():
        quantity = question.library.quantities.get(name)
        if quantity is None:
            raise RequestError(f"'{name}' is not a given here. The givens are: {', '.join(question.known)}.")
        try:
            amounts[name] = _amount(question, quantity, text)
        except EntryError as error:
            raise RequestError(f"{name}: {error}") from None
    return amounts


def _amount(question: Question, quantity: Quantity, text: str) -> Amount:
    if quantity.kind == "size":
        area = conversion("mm^2").to_working(read_size(text, question.rulebook).value)
        return size_amount(question.rulebook.size_of(area))
    if quantity.kind == "choice":
        place = read_choice(text, quantity.choices).value
        return Amount(value=place, label=quantity.choices[int(place)])
    entry = read_entry(text, quantity.unit, "count" if quantity.kind == "count" else "number")
    unit = _shown_unit(entry, quantity)
    return Amount(value=float(f"{convert(entry.value, quantity.unit, unit):.12g}"), unit=unit)


def _shown_unit(entry: Entry, quantity: Quantity) -> str:
    """The typed unit where a data sheet could print it, else the glossary's."""
    if not entry.unit or len(entry.unit) > LONGEST_UNIT:
        return quantity.unit
    same = conversion(entry.unit).dimension == conversion(quantity.unit).dimension
    return entry.unit if same else quantity.unit

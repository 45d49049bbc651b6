"""A learner's own numbers for the givens, read as answers are read."""

from collections.abc import Mapping

from tutor.answers.entry import EntryError, read_entry
from tutor.content.models import Amount
from tutor.engine.question import Question, RequestError
from tutor.units import convert


def own_amounts(question: Question, texts: Mapping[str, str]) -> dict[str, Amount]:
    """Read the learner's own numbers; the unit typed is the one shown.

    Raises RequestError for an unknown name or a text that cannot be read.
    """
    amounts = {}
    for name, text in texts.items():
        quantity = question.library.quantities.get(name)
        if quantity is None:
            raise RequestError(f"'{name}' is not a given here. The givens are: {', '.join(question.known)}.")
        try:
            entry = read_entry(text, quantity.unit, "count" if quantity.kind == "count" else "number")
        except EntryError as error:
            raise RequestError(f"{name}: {error}") from None
        unit = entry.unit or quantity.unit
        value = float(f"{convert(entry.value, quantity.unit, unit):.12g}")
        amounts[name] = Amount(value=value, unit=unit)
    return amounts

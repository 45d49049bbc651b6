"""Temperature coefficients in V/K, A/K or W/K, as many data sheets print them, read as the share that is asked for."""

from collections.abc import Mapping
from dataclasses import replace

from tutor.base.units import conversion, convert
from tutor.content.models import Quantity
from tutor.entries.entry import Entry, EntryError, WrongUnit, read_entry
from tutor.problems.problem import Problem

Label = Mapping[str, float]


def read_coefficient(text: str, quantity: Quantity, quantities: Mapping[str, Quantity], label: Label) -> Entry:
    """Read a number for a quantity in its own unit, or per kelvin of what it is a share of; the entry is in its unit.

    `label` holds what is known of the label, in working units.  Raises EntryError if the text cannot be read, and for
    a value per kelvin whose whole is not in `label`.
    """
    try:
        return read_entry(text, quantity.unit, "count" if quantity.kind == "count" else "number")
    except WrongUnit:
        entry = _per_kelvin(text, quantity, quantities)
        if quantity.share_of is None or entry is None:
            raise
    reference = quantities[quantity.share_of]
    if quantity.share_of not in label:
        raise EntryError(
            f"To use a coefficient in {reference.unit}/K, enter the {reference.words} from the same label too."
        )
    return _as_share(entry, quantity, reference, label[quantity.share_of])


def read_asked_coefficient(problem: Problem, name: str, text: str) -> Entry | None:
    """Read an answer per kelvin for a coefficient of a label that the problem shows; None for any other answer.

    Where the problem itself converts between the two, the answer has to be in the unit asked for.
    """
    quantities = problem.question.library.quantities
    quantity = quantities[name]
    label_value = problem.known.get(quantity.share_of) if quantity.share_of else None
    if label_value is None or any(quantities[name_here].unit.endswith("V/K") for name_here in problem.all_values):
        return None
    entry = _per_kelvin(text, quantity, quantities)
    return _as_share(entry, quantity, quantities[str(quantity.share_of)], label_value) if entry else None


def _per_kelvin(text: str, quantity: Quantity, quantities: Mapping[str, Quantity]) -> Entry | None:
    if quantity.share_of is None:
        return None
    try:
        entry = read_entry(text, f"{quantities[quantity.share_of].unit}/K")
    except EntryError:
        return None
    return entry if entry.unit else None


def _as_share(entry: Entry, quantity: Quantity, reference: Quantity, value: float) -> Entry:
    per_kelvin = conversion(f"{reference.unit}/K").to_working(1.0) / value
    to_unit = convert(per_kelvin, "1/K", quantity.unit)
    return replace(entry, value=entry.value * to_unit, half_width=entry.half_width * abs(to_unit))

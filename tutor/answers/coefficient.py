"""Temperature coefficients in V/K, A/K or W/K, as many data sheets print them, read as the share that is asked for."""

from collections.abc import Mapping
from dataclasses import replace

from tutor.answers.entry import Entry, EntryError, WrongUnit, read_entry
from tutor.content.models import Quantity
from tutor.units import conversion, convert


def read_coefficient(
    text: str, quantity: Quantity, unit: str, quantities: Mapping[str, Quantity], label: Mapping[str, float]
) -> Entry:
    """Read a number for a quantity in its own unit, or per kelvin of what it is a share of; the entry is in `unit`.

    `label` holds what is known of the label, in working units.  Raises EntryError if the text cannot be read, and for
    a value per kelvin whose whole is not in `label`.
    """
    form = "count" if quantity.kind == "count" else "number"
    try:
        return read_entry(text, unit, form)
    except WrongUnit:
        if quantity.share_of is None:
            raise
        whole = quantities[quantity.share_of]
        per_kelvin = f"{whole.unit}/K"
        try:
            entry = read_entry(text, per_kelvin)
        except EntryError:
            entry = None
        if entry is None:
            raise
    if quantity.share_of not in label:
        raise EntryError(f"To use a coefficient in {per_kelvin}, enter the {whole.words} from the same label too.")
    share = conversion(per_kelvin).to_working(1.0) / label[quantity.share_of]
    to_unit = convert(share, "1/K", unit)
    return replace(entry, value=entry.value * to_unit, half_width=entry.half_width * abs(to_unit))

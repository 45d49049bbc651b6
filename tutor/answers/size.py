"""Reads conductor sizes as people type them: the trade names of a rulebook, AWG in all its ways."""

from tutor.answers.awg import read_awg
from tutor.answers.entry import Entry, EntryError, plain_text, quoted
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.units import conversion


def read_size(text: str, rulebook: Rulebook) -> Entry:
    """Read a standard conductor size; the entry's value is its cross-section in mm².

    Raises EntryError if the text names no size of the rulebook.
    """
    plain = plain_text(text)
    try:
        size = rulebook.size_named(_in_awg(text) if rulebook.id == "us" else plain)
    except TableError as error:
        raise EntryError(f"{quoted(plain)} is not read: {error}.") from None
    return Entry(conversion("mm^2").to_shown(size.area), 0.0, "mm^2", text.strip(), 3)


def _in_awg(text: str) -> str:
    """The trade name of an AWG size typed in any way; any other text as it is."""
    try:
        gauge = read_awg(text)
    except EntryError:
        return plain_text(text)
    return f"{gauge} AWG" if gauge > 0 else f"{1 - gauge}/0 AWG"

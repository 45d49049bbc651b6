"""Reads conductor sizes as people type them: the trade names of a rulebook, AWG in all its ways."""

import re

from tutor.answers.awg import read_awg
from tutor.answers.entry import Entry, EntryError, plain_text, quoted
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.units import conversion

_KCMIL = re.compile(r"(\d{3,4}) ?(?:kcmil|kcm|mcm)", re.IGNORECASE)
# A comma is a decimal mark here: no conductor has a thousand square millimeters.
_SQUARE_MILLIMETERS = re.compile(
    r"(\d{1,3}(?:[.,]\d\d?)?) ?(?:mm ?\^?2|mm ?sq(?:uared)?|qmm|sq\.? ?mm|square ?(?:mm|millimet(?:er|re)s?))?",
    re.IGNORECASE,
)


def read_size(text: str, rulebook: Rulebook) -> Entry:
    """Read a standard conductor size; the entry's value is its cross-section in mm².

    Raises EntryError if the text names no size of the rulebook.
    """
    plain = plain_text(text)
    in_awg = rulebook.id == "us"
    try:
        size = rulebook.size_named(_in_awg(plain) if in_awg else _in_square_millimeters(plain))
    except TableError as error:
        example = "10 AWG" if in_awg else "6 mm²"
        raise EntryError(f"{quoted(plain)} is not read: {error}. Type one size, such as {example}.") from None
    return Entry(conversion("mm^2").to_shown(size.area), 0.0, "mm^2", text.strip(), 3)


def _in_awg(plain: str) -> str:
    """The trade name of a size typed in any way, in AWG or in thousands of circular mils; any other text as it is."""
    if thousands := _KCMIL.fullmatch(plain):
        return f"{thousands[1]} kcmil"
    try:
        gauge = read_awg(plain)
    except EntryError:
        return plain
    return f"{gauge} AWG" if gauge > 0 else f"{1 - gauge}/0 AWG"


def _in_square_millimeters(plain: str) -> str:
    """The trade name of a size in square millimeters typed in any way; any other text as it is."""
    area = _SQUARE_MILLIMETERS.fullmatch(plain)
    return f"{float(area[1].replace(',', '.')):g} mm²" if area else plain

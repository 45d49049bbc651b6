"""The kinds of answers: how each is typed, printed, labelled, compared, and offered to choose from."""

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, Final

from typing_extensions import override

from tutor.base.units import conversion, written, written_unit
from tutor.content.models import Amount, Quantity
from tutor.entries.entry import LONGEST, Entry, EntryError, Form, plain_text, quoted, read_entry
from tutor.trade.rulebooks import Rulebook, TableError

MARKING_TOLERANCE = 0.005  # of a value: what honest rounding to three figures on the way leaves open
SAME_SIZE = 1e-3  # standard conductor sizes lie much further apart
ORDERS: Final = {"order": "The whole order", "next_action": "What may come next"}

_AWG = re.compile(
    r"(?:#|no[. ] ?|awg ?#?|size )? ?(?:(?P<aught>[1-4])[/-][0o]|(?P<zeros>0{1,4})|(?P<gauge>[1-9]|[1-3]\d|40))"
    r"(?:[ -]?(?:awg|gauge|gage|ga))?(?: (?:cu|copper|thhn|thwn|thwn-2|xhhw|xhhw-2|use-2))?",
    re.IGNORECASE,
)
_KCMIL = re.compile(r"(\d{3,4}) ?(?:kcmil|kcm|mcm)", re.IGNORECASE)
# A comma is a decimal mark here: no conductor has a thousand square millimeters.
_SQUARE_MILLIMETERS = re.compile(
    r"(\d{1,3}(?:[.,]\d\d?)?) ?(?:mm ?\^?2|mm ?sq(?:uared)?|qmm|sq\.? ?mm|square ?(?:mm|millimet(?:er|re)s?))?",
    re.IGNORECASE,
)
_LETTERS = re.compile(r"[A-Za-z]")
_BETWEEN_LETTERS = re.compile(r"[\s,;:./|&+>→⇒\-–—]*")


@dataclass(frozen=True)
class Kind(ABC):
    """The values of one quantity, in working units, as people type and read them.

    `unit` is the unit in which it is asked for or shown, `choices` the words it may take, `declared_tolerance` the
    glossary's own, `book` knows the standard sizes.
    """

    unit: str
    choices: Sequence[str]
    declared_tolerance: Amount | None
    book: Rulebook

    measured: ClassVar[bool] = False
    """Whether it can have any value, so that it is rounded when it is printed."""
    ranked: ClassVar[bool] = True
    """Whether one of its values can be higher than another."""
    whole: ClassVar[bool] = False
    """Whether it is a number of things."""
    in_words: ClassVar[bool] = True
    """Whether its values are told in words, not in numbers."""

    @abstractmethod
    def read(self, text: str) -> Entry:
        """Read what was typed; the entry's value is in `unit`. Raises EntryError if it cannot be read."""

    @abstractmethod
    def text(self, value: float, figures: int) -> str:
        """A value as people write it, a measured one with so many figures."""

    def plain(self, value: float) -> float | bool | str:
        """A value as JSON holds it: the number in `unit`, or what it stands for."""
        return conversion(self.unit).to_shown(value)

    def tolerance(self, value: float) -> float:  # noqa: ARG002 - what is told in words or counted is exact
        """How far from a value an answer for it may lie."""
        return 0.0

    @property
    def options(self) -> Sequence[str]:
        """All that can be answered, where it can be listed."""
        return self.choices

    @staticmethod
    def expected(unit: str, choices: Sequence[str]) -> str:
        """What may be typed, as a label tells it; '' for a plain number."""
        return ", ".join(choices) or written_unit(unit)


class Number(Kind):
    """A measured value with its unit."""

    measured, in_words = True, False
    form: ClassVar[Form] = "number"

    @override
    def read(self, text: str) -> Entry:
        return read_entry(text, self.unit, self.form)

    @override
    def text(self, value: float, figures: int) -> str:
        return written(conversion(self.unit).to_shown(value), self.unit, figures)

    @override
    def tolerance(self, value: float) -> float:
        return self.declared_tolerance.working if self.declared_tolerance else MARKING_TOLERANCE * abs(value)


class Count(Number):
    """A number of things."""

    measured, whole = False, True
    form = "count"

    @override
    def tolerance(self, value: float) -> float:
        return 0.0


class Size(Kind):
    """A standard size of a conductor, by its trade name."""

    @override
    def read(self, text: str) -> Entry:
        return read_size(text, self.book)

    @override
    def text(self, value: float, figures: int) -> str:
        return self.book.size_or_between(value).name

    @override
    def tolerance(self, value: float) -> float:
        return SAME_SIZE * value

    @property
    @override
    def options(self) -> Sequence[str]:
        return [size.name for size in self.book.sizes]

    @staticmethod
    @override
    def expected(unit: str, choices: Sequence[str]) -> str:
        return "standard size"


class Choice(Kind):
    """One of a few words; the value is its place among them, from 0."""

    ranked = False

    @override
    def read(self, text: str) -> Entry:
        return read_choice(text, self.choices)

    @override
    def text(self, value: float, figures: int) -> str:
        return self.choices[int(value)]

    @override
    def plain(self, value: float) -> str:
        return self.choices[int(value)]


class YesNo(Kind):
    """Yes or no: 1 or 0."""

    ranked = False

    @override
    def read(self, text: str) -> Entry:
        return read_entry(text, "", "yes-or-no")

    @override
    def text(self, value: float, figures: int) -> str:
        return "yes" if value else "no"

    @override
    def plain(self, value: float) -> bool:
        return bool(value)

    @property
    @override
    def options(self) -> Sequence[str]:
        return ["yes", "no"]

    @staticmethod
    @override
    def expected(unit: str, choices: Sequence[str]) -> str:
        return "yes or no"


KINDS: Final[Mapping[str, type[Kind]]] = {
    "number": Number,
    "count": Count,
    "size": Size,
    "choice": Choice,
    "answer": YesNo,
}
"""The kinds of answers by what the glossary calls them."""


def kind_of(quantity: Quantity, book: Rulebook, unit: str | None = None) -> Kind:
    """The kind of a quantity, shown in the glossary's unit or another one."""
    return KINDS[quantity.kind](quantity.unit if unit is None else unit, quantity.choices, quantity.tolerance, book)


def capitalised(words: str) -> str:
    """The words as the beginning of a sentence or a label."""
    return words[:1].upper() + words[1:]


def label(words: str, kind: str, unit: str = "", choices: Sequence[str] = ()) -> str:
    """A label with what may be answered there, as 'Voltage at the record low (V)'.

    `kind` is that of tutor.content.models.Quantity, or what is asked of an order.
    """
    if kind in ORDERS:
        return f"{ORDERS[kind]} (letters)"
    expected = KINDS[kind].expected(unit, choices)
    return f"{capitalised(words)} ({expected})" if expected else capitalised(words)


def read_choice(text: str, choices: Sequence[str]) -> Entry:
    """Read one of the choices; the entry's value is its place among them, from 0.

    Raises EntryError, naming them, for anything else.
    """
    plain = plain_text(text)
    words = plain.casefold().removeprefix("the ").rstrip(".")
    for place, choice in enumerate(choices):
        if words == choice.casefold():
            return Entry(float(place), 0.0, "", text.strip(), 1)
    raise EntryError(f"{quoted(plain)} is none of the choices: type one of {', '.join(choices)}.")


def read_awg(text: str) -> int:
    """Read a wire size in American Wire Gauge: 10 for "10 AWG" or "#10", and 0, -1, -2, -3 for 1/0, 2/0, 3/0, 4/0.

    Raises EntryError if the text is no such size.  The sizes 4/0 to 40 are read, of the series in ASTM B258.
    """
    plain = plain_text(text)
    size = _AWG.fullmatch(plain)
    if size is None:
        raise EntryError(f"{quoted(plain)} is not an AWG size: type one such as 10 AWG or 2/0 AWG.")
    return 1 - int(size["aught"] or len(size["zeros"] or "")) if size["gauge"] is None else int(size["gauge"])


def read_size(text: str, book: Rulebook) -> Entry:
    """Read a standard conductor size; the entry's value is its cross-section in mm².

    Raises EntryError if the text names no size of the rulebook.
    """
    plain = plain_text(text)
    in_awg = book.id == "us"
    try:
        size = book.size_named(_in_awg(plain) if in_awg else _in_square_millimeters(plain))
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


def read_letters(answer: str, listed: Sequence[str], *, whole: bool) -> list[str]:
    """Read an order in letters, or with `whole` false the one letter of the next step.

    Raises EntryError for anything but letters of the list, each once.
    """
    if not answer.strip():
        raise EntryError("Nothing was typed. Type the letters in order, such as B A C.")
    if len(answer) > LONGEST or _BETWEEN_LETTERS.sub("", _LETTERS.sub("", answer)):
        raise EntryError("Type only letters from the list, such as B A C.")
    letters = [letter.upper() for letter in _LETTERS.findall(answer)]
    if not letters:
        raise EntryError("There is no letter in it. Type the letters in order, such as B A C.")
    for place, letter in enumerate(letters):
        if letter not in listed:
            raise EntryError(f"There is no step {quoted(letter)}: the list goes from A to {listed[-1]}.")
        if letter in letters[:place]:
            raise EntryError(f"Step {letter} stands twice: name each step once.")
    if not whole and len(letters) != 1:
        raise EntryError("Type one letter: the step that may come next.")
    return letters

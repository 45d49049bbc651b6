"""The pieces of a side of a working: numbers with their units, names of quantities, signs, and words in between."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from tutor.answers.working.expression import Leaf, Number, Symbol, UnreadError
from tutor.answers.working.symbols import MOST_WORDS, Symbols
from tutor.entries.entry import Entry, EntryError, read_entry, read_unit
from tutor.entries.kinds import read_size
from tutor.entries.unit_names import COUNT
from tutor.trade.rulebooks import Rulebook, rulebook

SIGNS = {
    "(": "LPAR",
    ")": "RPAR",
    "+": "PLUS",
    "-": "MINUS",
    "*": "STAR",
    "/": "SLASH",
    "^": "CIRCUMFLEX",
    ",": "COMMA",
}
OPERATORS = frozenset({"PLUS", "MINUS", "STAR", "SLASH", "CIRCUMFLEX"})
OPERANDS = frozenset({"NUMBER", "SYMBOL", "UNIT", "RPAR"})
FIGURES = 3
_CONDITIONS = "at for with below above under in to from by over than not as within of about near per on @"
BEFORE_A_CONDITION = frozenset(_CONDITIONS.split(" "))
_NUMBER = re.compile(r"(?:\d|[.,](?=\d))(?:[\d.,]|(?<=\d)[ '](?=\d{3}(?!\d)))*(?:[eE][+-]?\d+(?![A-Za-z]))?")
_SIZE = re.compile(
    r"(?:#|AWG ?#?|no\. ?)\d{1,2}(?:/0)?(?![\d.,])|[1-4]/0(?: ?AWG\b)?(?![\d.])|\d{1,2} ?AWG\b"
    r"|\d{3,4} ?(?:kcmil|MCM)\b",
    re.IGNORECASE,
)
_WORD = re.compile(r"[^\W\d_][\w°%'{}]*(?:[-,.](?=[^\W\d_])[\w{}]+)*(?:\([A-Za-z ]{1,20}\))?|[°%@]")
_FACTOR = r"[A-Za-zΩµ°%'\"]+(?:\^-?[1-4]|(?<=m)[23](?![\d.,]))?"
_UNIT = re.compile(rf" ?-?{_FACTOR}(?: [A-Za-z°Ω%]+){{0,3}}(?: ?(?:[/*]|per) ?{_FACTOR})*")
_EACH = re.compile(
    r" ?(?:/|per|each|a) ?(?:module|panel|string|batter(?:y|ies)|circuit|conductor|cell|section|row|one)s?\b"
)
_FUNCTIONS = (
    (re.compile(r"(?:sqrt|square root of|root of)\b ?|√ ?", re.IGNORECASE), "square root"),
    (re.compile(r"(?:round(?:ed)? down|floor|int) ?(?=\()", re.IGNORECASE), "round down"),
    (re.compile(r"(?:round(?:ed)? up|ceil(?:ing)?) ?(?=\()", re.IGNORECASE), "round up"),
    (re.compile(r"(?:min(?:imum)?|least(?: of)?|smaller of|smallest of|lower of) ?(?=\()", re.IGNORECASE), "least"),
    (
        re.compile(r"(?:max(?:imum)?|greatest(?: of)?|larger of|largest of|greater of) ?(?=\()", re.IGNORECASE),
        "greatest",
    ),
)
_COUNTED_IN_WORDS = re.compile(
    r"(two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|thirteen|fourteen|fifteen|sixteen|seventeen|eighteen|"
    r"nineteen|twenty)(?=$|[ .!]*$| (?:modules?|panels?|strings?|circuits?|batteries|in (?:series|parallel))\b)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Piece:
    """One piece: its kind (a terminal of the grammar, or WORD), its text and, for an operand, its leaf."""

    kind: str
    text: str
    leaf: Leaf | None = None


@dataclass(frozen=True)
class Reader:
    """What the pieces of a problem's working are read with.

    `decimal_comma` says how 4,333 is meant, `farads` how 2 F is.
    """

    symbols: Symbols
    sizes: Rulebook | None
    decimal_comma: bool
    farads: bool

    def pieces(self, text: str) -> list[Piece]:
        """The pieces of a text in plain signs."""
        found: list[Piece] = []
        at = 0
        while at < len(text):
            if text[at] == " ":
                at += 1
                continue
            piece, length = self._piece(text[at:], found)
            if piece is not None:
                found.append(piece)
            at += length
        return found

    def _piece(self, rest: str, before: list[Piece]) -> tuple[Piece | None, int]:
        last = before[-1].kind if before else ""
        if (size := _SIZE.match(rest)) and (leaf := self._size(size[0])):
            return Piece("NUMBER", size[0], leaf), len(size[0])
        if number := _NUMBER.match(rest):
            digits = number[0].rstrip(".,")
            return self._number(rest, digits)
        if last in OPERANDS and re.match(r"[xX](?![^\W\d])", rest):
            return Piece("STAR", "*"), 1
        if rest[0] in SIGNS:
            return Piece(SIGNS[rest[0]], rest[0]), 1
        for pattern, function in _FUNCTIONS:
            if match := pattern.match(rest):
                return Piece("FUNCTION", function), len(match[0])
        if last == "RPAR" and (unit := self._unit_at(rest)) and unit[1] != COUNT:
            leaf = Number(1.0, 0.0, 15, unit[1], unit[0].strip())
            return Piece("UNIT", unit[0], leaf), len(unit[0]) + _each(rest[len(unit[0]) :])
        if named := self._named(rest):
            return Piece("SYMBOL", named.text, named), len(named.text)
        if counted := _COUNTED_IN_WORDS.match(rest):
            piece, length = self._number(rest, counted[1])
            return piece, length
        word = _WORD.match(rest)
        return (Piece("WORD", word[0]), len(word[0])) if word else (None, 1)

    def _size(self, text: str) -> Number | None:
        """A conductor size; what says AWG is one in any problem."""
        books = [self.sizes] if self.sizes is not None else []
        if "awg" in text.casefold():
            books.append(rulebook("us"))
        return next((leaf for book in books if (leaf := _size(text, book))), None)

    def _named(self, rest: str) -> Symbol | None:
        """The longest run of words that names a quantity."""
        ends = list(_ends(rest))[:MOST_WORDS]
        for end in reversed(ends):
            last = rest[:end].rpartition(" ")[2].casefold()
            if last not in BEFORE_A_CONDITION and (names := self.symbols.named(rest[:end])):
                return Symbol(names, rest[:end])
        return None

    def _unit_at(self, rest: str) -> tuple[str, str] | None:
        unit = unit_at(rest)
        return (unit[0], "F") if self.farads and unit and unit[0].strip() == "F" else unit

    def _number(self, rest: str, digits: str) -> tuple[Piece, int]:
        try:
            entry = read_entry(digits, "")
        except EntryError as error:
            if not error.readings:
                raise UnreadError(str(error)) from None
            entry = error.readings[0 if self.decimal_comma else -1]
        unit = self._unit_at(rest[len(digits) :])
        length = len(digits) + (len(unit[0]) if unit else 0)
        leaf = Number(entry.value, _half_width(entry), entry.digits, unit[1] if unit else None, rest[:length].strip())
        return Piece("NUMBER", leaf.text, leaf), length + (_each(rest[length:]) if unit else 0)


def _ends(rest: str) -> Iterator[int]:
    """Where the first word ends, the second, and so on, as long as one blank parts them."""
    at = 0
    while word := _WORD.match(rest, at):
        yield word.end()
        at = word.end()
        if rest[at : at + 1] != " ":
            return
        at += 1


def _half_width(entry: Entry) -> float:
    """Half of the last place that counts: of '10110' the zero may only fill the place, but three figures do count."""
    half_width = entry.half_width
    for _ in range(entry.digits - FIGURES):
        if half_width < 0.5 or entry.value % (20 * half_width):
            break
        half_width *= 10
    return half_width


def _each(rest: str) -> int:
    """The length of what only says that a value holds for each of several things."""
    each = _EACH.match(rest)
    return len(each[0]) if each else 0


def _size(text: str, book: Rulebook) -> Number | None:
    try:
        entry = read_size(text, book)
    except EntryError:
        return None
    return Number(entry.value, 0.0, 3, "mm^2", text)


@lru_cache(maxsize=4096)
def unit_at(rest: str) -> tuple[str, str] | None:
    """The longest unit at the beginning of a text, as written and in the spelling of tutor.units."""
    match = _UNIT.match(rest)
    if match is None:
        return None
    text = match[0]
    while text.strip(" -"):
        if (unit := _known_unit(text.strip(" -"))) and not (unit == "in" and re.match(r" ?in [a-z]", rest)):
            return text, unit
        text = re.sub(r"(?:(?: ?(?:/|\*)| per)? ?[^\s/*]+)$", "", text)
    return None


@lru_cache(maxsize=4096)
def _known_unit(text: str) -> str | None:
    try:
        unit = read_unit(text)
    except EntryError:
        return None
    return "degF" if unit == "delta_degF" else unit

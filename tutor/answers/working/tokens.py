"""The pieces of a side of a working: numbers with their units, names of quantities, signs, and words in between."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from tutor.answers.working.expression import Leaf, Number, Symbol, UnreadError
from tutor.answers.working.phrases import PHRASES, pattern, replacements
from tutor.answers.working.symbols import MOST_WORDS, Symbols
from tutor.entries.entry import EntryError, read_entry, read_unit
from tutor.entries.kinds import read_size
from tutor.entries.unit_names import COUNT
from tutor.trade.rulebooks import Rulebook, rulebook

_TERMINALS = ("LPAR", "RPAR", "PLUS", "MINUS", "STAR", "SLASH", "CIRCUMFLEX", "COMMA")
SIGNS = dict(zip("()+-*/^,", _TERMINALS, strict=True))
OPERATORS = frozenset({"PLUS", "MINUS", "STAR", "SLASH", "CIRCUMFLEX"})
OPERANDS = frozenset({"NUMBER", "SYMBOL", "UNIT", "RPAR"})
BEFORE_A_CONDITION = frozenset(PHRASES["conditions"].split())
_FUNCTIONS = replacements("functions")
_NUMBER = re.compile(r"(?:\d|[.,](?=\d))(?:[\d.,]|(?<=\d)[ '](?=\d{3}(?!\d)))*(?:[eE][+-]?\d+(?![A-Za-z]))?")
_SIZE, _EACH, _COUNTED_IN_WORDS = pattern("size"), pattern("each"), pattern("counted")
_WORD = re.compile(r"[^\W\d_][\w°%'{}]*(?:[-,.](?=[^\W\d_])[\w{}]+)*(?:\([A-Za-z ]{1,20}\))?|[°%@]")
_FACTOR = r"[A-Za-zΩµ°%'\"]+(?:\^-?[1-4]|(?<=m)[23](?![\d.,]))?"
_UNIT = re.compile(rf" ?-?{_FACTOR}(?: [A-Za-z°Ω%]+){{0,3}}(?: ?(?:[/*]|per) ?{_FACTOR})*")


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
        pieces: list[Piece] = []
        position = 0
        while position < len(text):
            if text[position] == " ":
                position += 1
                continue
            piece, length = self._piece(text[position:], pieces[-1].kind if pieces else "")
            if piece is not None:
                pieces.append(piece)
            position += length
        return pieces

    def _piece(self, text: str, previous: str) -> tuple[Piece | None, int]:
        """The piece at the beginning of a text, behind one of the `previous` kind, and its length."""
        if (size := _SIZE.match(text)) and (leaf := self._size(size[0])):
            return Piece("NUMBER", size[0], leaf), len(size[0])
        if number := _NUMBER.match(text):
            return self._number(text, number[0].rstrip(".,"))
        if previous in OPERANDS and re.match(r"[xX](?![^\W\d])", text):
            return Piece("STAR", "*"), 1
        if text[0] in SIGNS:
            return Piece(SIGNS[text[0]], text[0]), 1
        for phrase, function in _FUNCTIONS:
            if match := phrase.match(text):
                return Piece("FUNCTION", function), len(match[0])
        if previous == "RPAR" and (unit := self._unit(text)) and unit[1] != COUNT:
            leaf = Number(1.0, 0.0, 15, unit[1], unit[0].strip())
            return Piece("UNIT", unit[0], leaf), len(unit[0]) + _each(text[len(unit[0]) :])
        if symbol := self._symbol(text):
            return Piece("SYMBOL", symbol.text, symbol), len(symbol.text)
        if counted := _COUNTED_IN_WORDS.match(text):
            return self._number(text, counted[1])
        word = _WORD.match(text)
        return (Piece("WORD", word[0]), len(word[0])) if word else (None, 1)

    def _size(self, text: str) -> Number | None:
        """A conductor size; what says AWG is one in any problem."""
        books = [self.sizes] if self.sizes is not None else []
        if "awg" in text.casefold():
            books.append(rulebook("us"))
        return next((leaf for book in books if (leaf := _size(text, book))), None)

    def _symbol(self, text: str) -> Symbol | None:
        """The longest run of words that names a quantity."""
        for end in reversed(list(_word_ends(text))[:MOST_WORDS]):
            last = text[:end].rpartition(" ")[2].casefold()
            if last not in BEFORE_A_CONDITION and (names := self.symbols.named(text[:end])):
                return Symbol(names, text[:end])
        return None

    def _unit(self, text: str) -> tuple[str, str] | None:
        unit = unit_at(text)
        return (unit[0], "F") if self.farads and unit and unit[0].strip() == "F" else unit

    def _number(self, text: str, digits: str) -> tuple[Piece, int]:
        try:
            entry = read_entry(digits, "")
        except EntryError as error:
            if not error.readings:
                raise UnreadError(str(error)) from None
            entry = error.readings[0 if self.decimal_comma else -1]
        typed, unit = self._unit(text[len(digits) :]) or ("", None)
        length = len(digits) + len(typed)
        leaf = Number(entry.value, entry.counting_half_width, entry.digits, unit, text[:length].strip())
        return Piece("NUMBER", leaf.text, leaf), length + (_each(text[length:]) if unit is not None else 0)


def _word_ends(text: str) -> Iterator[int]:
    """Where the first word ends, the second, and so on, as long as one blank parts them."""
    position = 0
    while word := _WORD.match(text, position):
        yield word.end()
        if text[word.end() : word.end() + 1] != " ":
            return
        position = word.end() + 1


def _each(text: str) -> int:
    """The length of what only says that a value holds for each of several things."""
    each = _EACH.match(text)
    return len(each[0]) if each else 0


def _size(text: str, book: Rulebook) -> Number | None:
    try:
        return Number(read_size(text, book).value, 0.0, 3, "mm^2", text)
    except EntryError:
        return None


@lru_cache(maxsize=4096)
def unit_at(text: str) -> tuple[str, str] | None:
    """The longest unit at the beginning of a text, as written and in the spelling of tutor.base.units."""
    typed = match[0] if (match := _UNIT.match(text)) else ""
    while typed.strip(" -"):
        if (unit := _spelled(typed.strip(" -"))) and not (unit == "in" and re.match(r" ?in [a-z]", text)):
            return typed, unit
        typed = re.sub(r"(?:(?: ?(?:/|\*)| per)? ?[^\s/*]+)$", "", typed)
    return None


@lru_cache(maxsize=4096)
def _spelled(text: str) -> str | None:
    try:
        unit = read_unit(text)
    except EntryError:
        return None
    return "degF" if unit == "delta_degF" else unit

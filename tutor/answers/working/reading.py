"""Reading a line of working: its label, its sides, each a calculation or a number, whatever words stand around them."""

import re
from contextlib import suppress
from dataclasses import dataclass

from lark import Token

from tutor.answers.entry import EntryError, plain_text, read_entry, read_unit
from tutor.answers.working.expression import Expression, Number, Symbol, UnreadError, parsed
from tutor.answers.working.symbols import Symbols
from tutor.units import UnitError

LONGEST_LINE = 200
MOST_LINES = 60

_BULLET = re.compile(r"^\s*(?:[-*•]\s+|\(?\d{1,2}[.)]\s+|[a-h]\)\s+|step \d+\s*[:.]\s*)", re.IGNORECASE)
_JOINS = re.compile(r"[=≈≃≅→⇒]|->|=>|~=")
_COMMENT = re.compile(r"\s*(?:#|//|<-|\bbecause\b|\bsince\b).*$", re.IGNORECASE)
_NUMBER = re.compile(r"(?:\d|[.,](?=\d))(?:[\d.,]|[ '](?=\d{3}(?!\d)))*(?:[eE][+-]?\d+(?![A-Za-z]))?")
_ONE_UNIT = r"[A-Za-zΩµ°%]+(?:[²³]|\^[23])?"
_UNIT = re.compile(rf" ?(?:AWG|kcmil)\b|[ -]?{_ONE_UNIT}(?:[/·*]{_ONE_UNIT})*(?: per [A-Za-z°]+)?")
_WORD = re.compile(r"[A-Za-z°%µΩ][\w°%µΩ()]*(?:[ _,-](?=[A-Za-z(])[\w()]+)*")
_COMMA = re.compile(r"\d,\d{3}(?!\d)")
_FUNCTIONS = {"sqrt": "square root", "√": "square root", "min": "least", "max": "greatest"}
_OPERATORS = "+-*/^(),"


@dataclass(frozen=True)
class Line:
    """A line as read: the quantity that its label names, the label as written, and its sides in order."""

    text: str
    label: str
    quantity: str | None
    sides: tuple[Expression, ...]

    @property
    def understood(self) -> str:
        """What was read, as it is shown back."""
        told = " = ".join(side.text for side in self.sides)
        return f"{self.label} = {told}" if self.label else told


def comma_readings(text: str) -> tuple[bool, ...]:
    """The ways in which the commas of a working may be meant: parting thousands (False), or decimals (True)."""
    return (False, True) if _COMMA.search(text) else (False,)


def read_line(text: str, symbols: Symbols, *, decimal_comma: bool = False) -> Line:
    """Read one line; `decimal_comma` says how a number such as 4,333 is meant.

    Raises UnreadError, with a sentence, if there is no number or calculation in it that can be read.
    """
    if len(text) > LONGEST_LINE:
        raise UnreadError(f"The line is longer than {LONGEST_LINE} characters: write it in several.")
    try:
        plain = plain_text(_COMMENT.sub("", _BULLET.sub("", text))[:120] if text.strip() else text)
    except EntryError as error:
        raise UnreadError(str(error)) from None
    label, quantity, sides = "", None, []
    for part in _parts(plain):
        side = _side(part, symbols, decimal_comma)
        if side is not None:
            sides.append(side)
        elif not sides and not label:
            label, quantity = part, symbols.named(part)
        elif not sides:
            quantity = quantity or symbols.named(part)
    if not sides:
        raise UnreadError("No number or calculation was found in this line; it is taken as a remark.")
    if quantity is None:
        quantity = _told_around(plain, symbols)
    return Line(text.strip(), label, quantity, tuple(sides))


def _parts(plain: str) -> list[str]:
    parts = [part.strip(" .;:") for part in _JOINS.split(plain)]
    first, sign, rest = parts[0].partition(":")
    if sign and not re.search(r"\d", first):
        parts = [first.strip(), rest.strip(), *parts[1:]]
    return [part for part in parts if part]


def _told_around(plain: str, symbols: Symbols) -> str | None:
    """The quantity named by the words before the first number."""
    words = re.split(r"[\d(]", plain, maxsplit=1)[0].strip(" :=")
    if re.search(r"[*/+^]", words):
        return None
    for start in range(len(words.split())):
        if (found := symbols.named(" ".join(words.split()[start:]))) is not None:
            return found
    return None


def _side(part: str, symbols: Symbols, decimal_comma: bool) -> Expression | None:
    """The calculation in a side, without the words before and behind it; None if it holds no number."""
    for start in _starts(part, symbols):
        tokens, leaves, text = _tokens(part[start:], symbols, decimal_comma)
        while tokens:
            found = parsed(tokens, leaves, text)
            if found is not None and any(isinstance(leaf, Number) for leaf in found.leaves):
                return found
            if tokens.pop().type == "NUMBER":  # what is left out behind a calculation may hold no number
                break
    return None


def _starts(part: str, symbols: Symbols) -> list[int]:
    """Where a calculation may begin: at its first number, bracket or sign, or at a quantity's name before it."""
    first = re.search(r"[\d(√+-]|[.,]\d|sqrt", part)
    if first is None:
        return []
    found = [first.start()]
    word = _WORD.match(part)
    if word is not None and symbols.named(word[0].strip()) is not None:
        found.insert(0, 0)
    return found


def _tokens(text: str, symbols: Symbols, decimal_comma: bool) -> tuple[list[Token], list[Number | Symbol], str]:
    tokens: list[Token] = []
    leaves: list[Number | Symbol] = []
    at = 0
    while at < len(text):
        rest = text[at:]
        if rest[0] == " ":
            at += 1
        elif (number := _NUMBER.match(rest)) is not None:
            leaf, length = _number(rest, number[0], decimal_comma)
            if leaf is None:
                break
            tokens.append(Token("NUMBER", str(len(leaves))))
            leaves.append(leaf)
            at += length
        elif rest[0] == "x" and (len(rest) < 2 or not rest[1].isalpha()):
            tokens.append(Token("STAR", "*"))
            at += 1
        elif rest[0] in _OPERATORS:
            tokens.append(
                Token(
                    {
                        "(": "LPAR",
                        ")": "RPAR",
                        "+": "PLUS",
                        "-": "MINUS",
                        "*": "STAR",
                        "/": "SLASH",
                        "^": "CIRCUMFLEX",
                        ",": "COMMA",
                    }[rest[0]],
                    rest[0],
                )
            )
            at += 1
        elif (word := _function(rest)) is not None:
            tokens.append(Token("FUNCTION", _FUNCTIONS[word]))
            at += len(word)
        elif (named := _named(rest, symbols)) is not None:
            tokens.append(Token("SYMBOL", str(len(leaves))))
            leaves.append(Symbol((named[1],), named[0]))
            at += len(named[0])
        elif tokens and tokens[-1].type == "RPAR" and (unit := _unit(rest)) is not None:
            tokens.append(Token("UNIT", str(len(leaves))))
            leaves.append(Number(1.0, 0.0, 15, unit[1], unit[0]))
            at += len(unit[0])
        else:
            break
    return tokens, leaves, text[:at].strip()


def _function(rest: str) -> str | None:
    return next((word for word in _FUNCTIONS if rest.startswith(word)), None)


def _named(rest: str, symbols: Symbols) -> tuple[str, str] | None:
    """The longest run of words that names a quantity."""
    word = _WORD.match(rest)
    while word is not None:
        text = word[0]
        while text:
            if (found := symbols.named(text)) is not None:
                return text, found
            shorter = re.sub(r"[ _,-]?[^ _,-]+$", "", text)
            text = shorter if shorter != text else ""
        return None
    return None


def _number(rest: str, digits: str, decimal_comma: bool) -> tuple[Number | None, int]:
    try:
        entry = read_entry(digits, "")
    except EntryError as error:
        if not error.readings:
            return None, 0
        entry = error.readings[0 if decimal_comma else -1]
    unit = _unit(rest[len(digits) :])
    length = len(digits) + (len(unit[0]) if unit else 0)
    told = rest[:length].strip()
    return Number(entry.value, entry.half_width, entry.digits, unit[1] if unit else None, told), length


def _unit(rest: str) -> tuple[str, str] | None:
    """A unit at the beginning of a text, as written and in the spelling of tutor.units."""
    match = _UNIT.match(rest)
    if match is None or match[0].strip() == "x":
        return None
    text = match[0]
    if text.strip() in ("AWG", "kcmil"):
        return text, text.strip()
    for written in (text, text.partition(" per ")[0]):
        with suppress(EntryError, UnitError):
            return written, read_unit(written.strip(" -"))
    return None

"""Reads what people type as an answer: numbers in the world's ways of writing them, with or without a unit.

The grammar stands in entry.lark.  Decimal marks and groups follow the SI Brochure (9th edition, section 5.4.4): point
or comma is the decimal mark, a space parts groups of three.  Points, commas and apostrophes between groups are read
too; "1,234" has two readings and is asked about, never guessed.
"""

import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal, TypeAlias

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedInput, UnexpectedToken

from tutor.base.units import ABSOLUTE_TEMPERATURES, UnitError, conversion, written_unit
from tutor.entries.everyday import NOT_FINITE, ONE_VALUE, WITH_DECIMALS, in_plain_terms, typical_fault
from tutor.entries.unit_names import COUNT, conversion_for, doubtful, measured, understood_unit
from tutor.entries.verdicts import EntryVerdict

LONGEST = 120
ENTRIES_KEPT = 4096  # of those read last: a class types the same ones again and again
NEARLY = 0.9  # of a first number, from which a second one rather ends a range than is taken away from it
NEARLY_WHOLE = 0.5  # the same for two whole numbers
EXACT_DIGITS = 15  # a double holds 15 decimal digits, whatever they are

Form = Literal["number", "count", "yes-or-no"]
_Tree: TypeAlias = Tree[Any]
_Branch: TypeAlias = _Tree | Token


@dataclass(frozen=True)
class Entry:
    """A value as typed, in the unit that the question asks for.

    `half_width` is half of the last typed digit's place, in the same unit.  In arithmetic whole numbers are exact and
    numbers with decimals carry theirs along: "9*46.76" has 9 * 0.005, "1/2" has 0.  `unit` is the typed unit ('' if
    none was typed).  `digits` counts the significant digits typed; arithmetic has those of its least precise number.
    """

    value: float
    half_width: float
    unit: str
    text: str
    digits: int

    @property
    def counting_half_width(self) -> float:
        """Half of the last place that counts: zeros at the end of '1090' may only fill places, three figures count."""
        half_width = self.half_width
        for _ in range(self.digits - 3):
            if half_width < 0.5 or self.value % (20 * half_width):
                break
            half_width *= 10
        return half_width


class EntryError(ValueError):
    """An entry that is not marked: a sentence for the learner, and all `readings` that an unclear entry has."""

    def __init__(self, sentence: str, verdict: EntryVerdict = "refused", readings: tuple[Entry, ...] = ()) -> None:
        self.verdict, self.readings = verdict, readings
        super().__init__(sentence)


class WrongUnit(EntryError):  # noqa: N818 - a verdict on the answer, no fault of the program
    """A unit that measures something else than what is asked: a mistake, so the attempt counts."""

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence, "wrong")


@dataclass(frozen=True)
class _Amount:
    """A number on its way through arithmetic; a typed whole number counts as exact once it is calculated with."""

    value: float
    half_width: float
    digits: int
    whole: bool = False

    def __post_init__(self) -> None:
        if not math.isfinite(self.value) or not math.isfinite(self.half_width):
            raise OverflowError

    def as_operand(self) -> "_Amount":
        return _Amount(self.value, 0.0, EXACT_DIGITS) if self.whole else self


_SIGNS = {"-": "−–‐‑‒﹣", "*": "×·⋅∙", "/": "÷⁄∕", "'": "’‘ʼ′", '"': "″“”", "~": "∼", "µ": "μ", "Ω": "\u2126", "°": "º"}
_PLAIN = str.maketrans(
    {0xFEE0 + code: chr(code) for code in range(0x21, 0x7F)}  # full-width forms
    | dict.fromkeys((0x09, 0xA0, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000), " ")
    | {ord(sign): plain for plain, signs in _SIGNS.items() for sign in signs}
    | {ord("℃"): "°C", ord("℉"): "°F", ord("㎟"): "mm^2", ord("٫"): ".", ord("٬"): "'"}
    | {ord(sign): f" {unicodedata.normalize('NFKC', sign).replace('⁄', '/')}" for sign in "⅓⅔½¼¾⅛⅜⅝⅞"}
)
_RAISED = re.compile("[⁺⁻⁰¹²³⁴⁵⁶⁷⁸⁹]+")
_LOWERED = str.maketrans("⁺⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "+-0123456789")

_EXPONENT = r"(?:[eE](?P<exponent>[+-]?\d+))?"
_DECIMAL = re.compile(r"(?P<whole>\d*)(?:[.,](?P<decimals>\d*))?" + _EXPONENT)
_GROUPED = re.compile(
    r"(?P<whole>[1-9]\d{0,2}(?P<mark>[ '.,])\d{3}(?:(?P=mark)\d{3})*)(?:(?!(?P=mark))[.,](?P<decimals>\d*))?"
    + _EXPONENT
)
_MARKS = str.maketrans("", "", " '.,")
_MIXED = re.compile(r"(\d+) (\d{1,2})/(\d{1,2})")
_RAISED_DOT = re.compile(r"(?<![\d.,·⋅∙])(\d+)[·⋅∙](?=\d+(?![\d.,·⋅∙]))")
_YES_OR_NO = dict.fromkeys(("yes", "y", "true", "it does", "yep", "yeah", "ja"), 1.0) | dict.fromkeys(
    ("no", "n", "false", "it does not", "it doesn't", "nope", "nein"), 0.0
)
_MEASURED_BEHIND = re.compile(r"[,;:.]? (?=[^a-z]*\d)[^a-z]*(?:[a-z°%/]{1,4})?", re.IGNORECASE)
# A bare number below this is more likely meant in the whole unit: 0.03 for 3 %, 0.0015 for 1.5 mΩ.
_PARTS = {"%": ("", 0.1), "%/K": ("1/K", 0.01), "mohm": ("ohm", 0.01)}


@lru_cache(maxsize=ENTRIES_KEPT)
def read_entry(text: str, unit: str, form: Form = "number") -> Entry:
    """Read an answer to a question that asks for `unit`, in the spelling of tutor.base.units.

    Raises EntryError if the text cannot be read or has several readings, WrongUnit if its unit measures something else.
    """
    plain, typed = plain_text(text), text.strip()
    if form == "yes-or-no":
        return _read_yes_or_no(plain, typed)
    if _RAISED_DOT.search(text):
        decimal, product = (_RAISED_DOT.sub(rf"\1{sign}", text) for sign in (".", " * "))
        raise _unclear_in(unit, typed, read_entry(decimal, unit, form), read_entry(product, unit, form))
    in_plain = in_plain_terms(plain, unit, counted=form == "count")
    if fault := typical_fault(in_plain):
        raise EntryError(f"{quoted(plain)} {fault}")
    tree = _parsed(in_plain, unit)
    try:
        amounts = [_amount_and_unit(tree, grouped, unit, plain) for grouped in (False, True)]
        first, second = (_entry(amount, typed_unit, unit, typed) for amount, typed_unit in amounts)
    except ZeroDivisionError:
        raise EntryError(f"{quoted(plain)} divides by zero: type a plain number.") from None
    except OverflowError:
        raise EntryError(f"{quoted(plain)} {NOT_FINITE}") from None
    if form == "count" and first.unit:
        raise EntryError(f"{quoted(plain)} is a share, not a number of things: type a whole number, as 12.")
    if first != second:
        texts = (f"{amount.value:.15g} {written_unit(typed_unit)}" for amount, typed_unit in amounts)
        raise _unclear(plain, (first, second), texts)
    if not first.unit and unit in _PARTS:
        _ask_for_the_unit(plain, first, unit)
    return first


def _unclear(plain: str, readings: tuple[Entry, ...], texts: Iterable[str]) -> EntryError:
    """The question which of the readings, told as `texts`, is meant."""
    ways = " or as ".join(text.strip() for text in texts)
    return EntryError(f"{quoted(plain)} can be read as {ways}: type it in one of these ways.", "unclear", readings)


def _unclear_in(unit: str, plain: str, *readings: Entry) -> EntryError:
    """The same where all readings are in one unit."""
    return _unclear(plain, readings, (f"{reading.value:.15g} {written_unit(unit)}" for reading in readings))


def _ask_for_the_unit(plain: str, entry: Entry, unit: str) -> None:
    """Ask about a bare number that is so small that it may be meant in the whole unit.

    Raises EntryError for one that is.
    """
    whole_unit, most = _PARTS[unit]
    if 0 < abs(entry.value) < most:
        scale = conversion(whole_unit).scale / conversion(unit).scale
        scaled = replace(entry, value=entry.value * scale, half_width=entry.half_width * scale)
        raise _unclear_in(unit, plain, entry, scaled)


def read_unit(text: str) -> str:
    """The unit that a text names, in the spelling of tutor.base.units, or COUNT where things are counted.

    Raises EntryError if it names none.
    """
    tree = _parsed(f"1 {plain_text(text)}", "")
    if len(tree.children) != 2:
        raise EntryError(f"{quoted(text)} is not a unit.")
    return _unit(tree.children[1], "")


def plain_text(text: str) -> str:
    """Bring the many signs for one meaning to one sign.

    Raises EntryError for what is no entry at all: empty, over-long, or with characters that cannot be seen.
    """
    if len(text) > LONGEST:
        raise EntryError(f"The entry is longer than {LONGEST} characters: type one value with its unit.")
    plain = text.translate(_PLAIN).strip()
    if not plain:
        raise EntryError("The entry is empty: type an answer first.")
    if not plain.isprintable():
        raise EntryError("The entry holds a character that cannot be seen: type it afresh instead of pasting it.")
    return _RAISED.sub(lambda run: "^" + run[0].translate(_LOWERED), " ".join(plain.split()))


def quoted(plain: str) -> str:
    """An entry, or a part of one, in quotation marks and cut to 40 characters."""
    return f"“{plain}”" if len(plain) <= 40 else f"“{plain[:39]}…”"


def _read_yes_or_no(plain: str, typed: str) -> Entry:
    value = _YES_OR_NO.get(plain.lower().rstrip(".!"))
    if value is None and (word := re.match(r"[a-z]+", plain.lower())) and _MEASURED_BEHIND.fullmatch(plain, word.end()):
        value = _YES_OR_NO.get(word[0])  # no, 110.5 V
    if value is None:
        raise EntryError(f"{quoted(plain)} is neither yes nor no: type yes or no.")
    return Entry(value, 0.0, "", typed, 1)


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark.open("entry.lark", rel_to=__file__, parser="lalr")


def _parsed(plain: str, unit: str) -> _Tree:
    try:
        return _parser().parse(plain)
    except UnexpectedInput as error:
        ended = isinstance(error, UnexpectedToken) and error.token.type == "$END"
        place = "at its end, where something is missing" if ended else f"from {quoted(plain[error.pos_in_stream :])} on"
    raise EntryError(f"{quoted(plain)} cannot be read {place}: type one value, as {_example(unit)}.")


def _example(unit: str) -> str:
    return f"12.3 {written_unit(unit)}" if unit else "12"


def _entry(amount: _Amount, typed_unit: str, asked_unit: str, typed: str) -> Entry:
    """Convert an amount to the asked unit."""
    unit = typed_unit.replace(COUNT, "")
    old, new = conversion_for(unit or asked_unit, asked_unit), conversion(asked_unit)
    if old != new:
        value, scale = new.to_shown(old.to_working(amount.value)), old.scale / new.scale
        amount = _Amount(value, amount.half_width * scale, amount.digits)
    return Entry(amount.value + 0.0, amount.half_width, unit, typed, amount.digits)


def _amount_and_unit(tree: _Tree, grouped: bool, asked_unit: str, plain: str) -> tuple[_Amount, str]:
    """Evaluate a parsed entry under one reading of the comma, and understand its unit."""
    first, *further = tree.children
    amount = _amount(first, grouped)
    if _is_range(first):
        raise EntryError(f"{quoted(plain)} {ONE_VALUE}")
    if _is_fraction_behind_a_dash(first):
        raise EntryError(f"{quoted(plain)} {WITH_DECIMALS}")
    if not further:
        return amount, ""
    unit = _unit(further[0], asked_unit)
    if len(further) > 1:
        amount = _in_two_units(amount, unit, _amount(further[1], grouped), _unit(further[2], asked_unit))
    fits = (
        asked_unit == ""
        if unit == COUNT
        else conversion_for(unit, asked_unit).dimension == conversion(asked_unit).dimension
    )
    if not fits and (correction := doubtful(unit, asked_unit)):
        raise EntryError(f"{quoted(plain)} is not clear: {correction}.")
    if {unit.lstrip("kM"), asked_unit.lstrip("kM")} == {"VA", "W"}:
        raise EntryError(f"{quoted(plain)} is an apparent power: type the power in {written_unit(asked_unit)}.")
    if not fits:
        wanted = f"{measured(asked_unit)}{', in ' if asked_unit else ''}{written_unit(asked_unit)}"
        raise WrongUnit(f"{quoted(plain)} gives {measured(unit)}, but the question asks for {wanted}.")
    return amount, unit


def _unit(tree: _Tree, asked_unit: str) -> str:
    try:
        return understood_unit(tree, asked_unit)
    except UnitError as error:
        name = quoted(str(error))
    raise EntryError(f"{name} is not a unit that is known here: type the value as {_example(asked_unit)}.")


def _is_range(branch: _Branch) -> bool:
    """Tell 12-14 and 14-12, more likely ranges than subtractions, from 14 - 12 and from 150-125.5."""
    if isinstance(branch, Token) or branch.data != "subtract":
        return False
    first, last = branch.children
    if not isinstance(first, Token):
        return _is_range(first)
    if not isinstance(last, Token) or last.start_pos != (first.end_pos or 0) + 1:
        return False
    start, end = _amount(first, False), _amount(last, False)
    return end.value > (NEARLY_WHOLE if start.whole and end.whole else NEARLY) * start.value


def _is_fraction_behind_a_dash(branch: _Branch) -> bool:
    """Whether 32 - 1/4 stands there, which may be meant as 32 and a quarter."""
    if isinstance(branch, Token) or branch.data != "subtract":
        return False
    integer, part = branch.children
    if not isinstance(integer, Token) or not integer.isdigit() or isinstance(part, Token) or part.data != "divide":
        return False
    over, under = part.children
    return isinstance(over, Token) and isinstance(under, Token) and _is_proper(over, under)


def _is_proper(over: str, under: str) -> bool:
    return over.isdigit() and under.isdigit() and 0 < int(over) < int(under)


def _amount(branch: _Branch, grouped: bool) -> _Amount:
    """Evaluate arithmetic, with first-order bounds for what the typed decimals leave open."""
    if isinstance(branch, Token):
        return _mixed_number(branch) if branch.type == "MIXED" else _number(branch, grouped)
    first, *operands = branch.children
    left = _amount(first, grouped)
    if branch.data == "negate":
        return replace(left, value=-left.value)
    left = left.as_operand()
    if branch.data == "raise_to":
        return _power(left, int(str(operands[0])))
    right = _amount(operands[0], grouped).as_operand()
    match branch.data:
        case "add":
            value, half_width = left.value + right.value, left.half_width + right.half_width
        case "subtract":
            value, half_width = left.value - right.value, left.half_width + right.half_width
        case "multiply":
            value = left.value * right.value
            half_width = abs(left.value) * right.half_width + abs(right.value) * left.half_width
        case _:
            value = left.value / right.value
            half_width = (left.half_width + abs(value) * right.half_width) / abs(right.value)
    return _Amount(value, half_width, min(left.digits, right.digits))


def _power(base: _Amount, exponent: int) -> _Amount:
    slope = exponent * base.value ** (exponent - 1) if base.half_width and exponent else 0.0
    return _Amount(base.value**exponent, abs(slope) * base.half_width, base.digits)


def _number(token: Token, grouped: bool) -> _Amount:
    """Read a number whose comma is a decimal mark, or if `grouped` may part groups of three."""
    if token.type == "WORD":
        raise EntryError(f"{quoted(token)} is not a number: type one in digits.")
    readings = [match for match in (_DECIMAL.fullmatch(token), _GROUPED.fullmatch(token)) if match]
    if not readings:
        raise EntryError(
            f"{quoted(token)} is not a number: type it with one decimal mark, and spaces between groups of three."
        )
    point_is_decimal = token.count(".") == 1 and "," not in token
    read = readings[-1 if grouped and not point_is_decimal else 0]
    integer, decimals = read["whole"].translate(_MARKS), read["decimals"] or ""
    exponent = int(read["exponent"] or 0)
    value = float(f"{integer}.{decimals}e{exponent}")
    digits = (integer + decimals).lstrip("0")
    if digits and not value:
        raise OverflowError
    is_whole = not decimals and read["exponent"] is None
    return _Amount(value, float(f"5e{exponent - len(decimals) - 1}"), len(digits) or 1, is_whole)


def _mixed_number(token: Token) -> _Amount:
    """Read 32 1/4, open by half of a quarter either way."""
    parts = _MIXED.fullmatch(token)
    if parts is None or not _is_proper(parts[2], parts[3]):
        raise EntryError(f"{quoted(token)} {WITH_DECIMALS}")
    under = int(parts[3])
    return _Amount(int(parts[1]) + int(parts[2]) / under, 0.5 / under, len(parts[1].lstrip("0")) + len(parts[3]))


def _in_two_units(first: _Amount, unit: str, second: _Amount, smaller: str) -> _Amount:
    """Add up a value in two units, such as 5 ft 3 in, in its first unit."""
    if not {unit, smaller} & {COUNT, *ABSOLUTE_TEMPERATURES} and first.whole:
        large, small = conversion(unit), conversion(smaller)
        ratio = small.scale / large.scale
        if large.dimension == small.dimension and second.value * ratio < 1:
            value = math.copysign(abs(first.value) + second.value * ratio, first.value)
            return _Amount(value, second.half_width * ratio, first.digits + second.digits)
    raise EntryError("The entry has two units that do not add up to one value: type it in one unit.")

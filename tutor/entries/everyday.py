"""Brings everyday ways of writing a value to those of the grammar: labels, remarks, words for numbers, times of day.

What is wrong in a well-known way is told better here than by a parser that stops in the middle of it.

What is left out only says again what the number is, or how it was rounded; a remark that could change the value, such
as "round trip" or "in total", stays, so that the entry is refused.
"""

import re

from tutor.entries.unit_names import measures_alike

NOT_FINITE = "is too large, too small or not finite: check the powers of ten and type a plain number."
ONE_VALUE = "names more than one value: decide on one and type that."
WITH_DECIMALS = "has a fraction that cannot be read: type it with decimals, as 5.25 for five and a quarter."

# What typical wrong input looks like, and the rest of the sentence that begins with the input itself.
_FAULTS = tuple(
    (re.compile(pattern, re.IGNORECASE), sentence)
    for pattern, sentence in (
        (r"\b(nan|inf|infinity)\b|∞", NOT_FINITE),
        (r"\d ?-? ?ish\b", "is vague: decide on one value and type that."),
        (r"\b(or|to|and|between|maybe)\b|\.\.|…|;", ONE_VALUE),
        (r"±|\+ ?/ ?-|\+-", "carries a tolerance: type the value alone."),
        (r"[<>≤≥]", "is a range without an end: type the value itself."),
        (r"\?", "is a question: decide on one value and type that."),
        (r".=", "is a whole line of working: type only the result, without an equals sign before it."),
        (
            r"\^(?! ?([+-]?\d\d?(?![\d.,]| ?\^)|\( ?[+-]?\d\d? ?\)(?! ?\^)))",
            "has a power that is too large or not a whole number: type its result.",
        ),
        (r"[\[\]{}]", "has brackets that cannot be read: use round ones, ( and )."),
        (r"\b0x", "is not a decimal number: type it with the digits 0 to 9."),
        (
            r"\d ?(?!e[+-]?\d|x)[a-zΩ%°]+ ?[*/+-] ?[\d(]",
            "has a unit within a calculation: type the unit once, at the end.",
        ),
    )
)

_NAMES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety"
)
_ONES, _TENS = _NAMES.split()[:20], _NAMES.split()[20:]
_NUMBER_WORD = re.compile(
    rf"\b(?:(?P<tens>{'|'.join(_TENS)})(?:[ -](?P<unit>{'|'.join(_ONES[1:10])}))?|(?P<one>{'|'.join(_ONES)}))\b"
    rf"(?P<range>-(?=(?:{'|'.join(_NAMES.split())})\b))?",
    re.IGNORECASE,
)
_WORD = r"[^\W\d_]\w*"
_AROUND = tuple(
    (re.compile(pattern, re.IGNORECASE), new)
    for pattern, new in (
        (r"^minus (?=\d)", "-"),
        (r"^(?:so|answer|ans|result|i get|it'?s|use|need|pick|choose)\b ?[:.]? ?(?=[-+\d])", ""),
        (r"^(?:up to|max\.?|maximum) (?=[-+\d])", ""),
        (r" ?!+$", ""),
        (r" ?\((?:rounded(?: up| down| off)?|approx\.?|max\.?|each|dc|ac|[VIP](?:oc|sc|mpp?|max))\)$", ""),
        (r",? rounded(?: up| down| off)?$", ""),
        (r"(?<=[a-z\d]) (?:each|max\.?|one way)$", ""),
        (r"(?<=[a-z]) (?:breaker|fuse)$", ""),
        (r"(?<=\d) ?V(?:oc|mp|mpp)$", " V"),
        (r"(?<=\d) ?I(?:sc|mp|mpp)$", " A"),
    )
)
_LABEL = re.compile(rf"({_WORD})(?:[ ,._]+{_WORD}){{0,4}} ?= ?(?=[^=]+$)")  # Voc = 38.9
_SYMBOL = re.compile(r"([VUIPR])(?:oc|sc|mpp?|max|min|in|out)?")
_MEASURED_BY = {"V": "V", "U": "V", "I": "A", "P": "W", "R": "ohm"}
_HYPHEN = re.compile(r"(?<=[^\W_])-(?=[^\W\d_])")  # A-h, 60-amp
_CLOCK = re.compile(r"(\d{1,3})(?::([0-5]\d)(?: ?h(?:ours?|rs?)?)?| ?h ?([0-5]?\d)(?: ?m(?:in)?)?)", re.IGNORECASE)
_ONE_OF_SEVERAL = re.compile(r"(?<=\d) ?[sSpPxX]$")  # 13S is 13 in series
_MIXED_BY_HYPHEN = re.compile(r"(?<![\d.,/])(\d+)-(?=\d{1,2}/\d{1,2}(?![\d.,/]))")
_LENGTH_BEHIND = re.compile(r"(?:\"|''|'|ft|feet|foot|in|inch|inches)$", re.IGNORECASE)


def in_plain_terms(plain: str, asked_unit: str, *, counted: bool = False) -> str:
    """An entry without what people write around its value, its words for numbers in digits.

    Where a length is asked for or told, 32-1/4 is a mixed number; where hours are, 1:30 and 1h30 are hours and minutes.
    `counted` says that things are counted: then 13S is 13 of them.
    """
    if (label := _LABEL.match(plain)) and _may_name(label[1], asked_unit):
        plain = plain[label.end() :]
    for pattern, new in _AROUND:
        plain = pattern.sub(new, plain)
    plain = _HYPHEN.sub(" ", _NUMBER_WORD.sub(_digits, plain))
    if counted:
        plain = _ONE_OF_SEVERAL.sub("", plain)
    if measures_alike(asked_unit, "m") or _LENGTH_BEHIND.search(plain):
        plain = _MIXED_BY_HYPHEN.sub(r"\1 ", plain)
    if asked_unit == "h" and (clock := _CLOCK.fullmatch(plain)):
        plain = f"{clock[1]} h {clock[2] or clock[3]} min"
    return plain


def _may_name(word: str, asked_unit: str) -> bool:
    """Whether a label may name what is asked for; I = 62 names no voltage."""
    symbol = _SYMBOL.fullmatch(word)
    return symbol is None or measures_alike(_MEASURED_BY[symbol[1]], asked_unit)


def _digits(word: re.Match[str]) -> str:
    behind = " to " if word["range"] else ""  # twelve-thirteen is no subtraction
    if word["one"]:
        return f"{_ONES.index(word['one'].lower())}{behind}"
    tens = 20 + 10 * _TENS.index(word["tens"].lower())
    return f"{tens + (_ONES.index(word['unit'].lower()) if word['unit'] else 0)}{behind}"


def typical_fault(plain: str) -> str | None:
    """The rest of a sentence that begins with the entry itself, for an entry that is wrong in a well-known way."""
    return next((sentence for pattern, sentence in _FAULTS if pattern.search(plain)), None)

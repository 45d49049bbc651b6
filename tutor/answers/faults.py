"""What typical wrong input looks like, told better than by a parser that stops in the middle of it."""

import re

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


def typical_fault(plain: str) -> str | None:
    """The rest of a sentence that begins with the entry itself, for an entry that is wrong in a well-known way."""
    return next((sentence for pattern, sentence in _FAULTS if pattern.search(plain)), None)

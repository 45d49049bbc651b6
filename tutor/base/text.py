"""Text from outside where it could steer what stands around it: on paper, on a terminal."""

import unicodedata

JOINERS = "\u200c\u200d"
"""They shape letters in Persian and in the scripts of India, and steer nothing else."""

_STEERING = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def visible(text: str) -> str:
    """The text with every control character, the bidirectional ones among them, written out as '\\u202e'."""
    return "".join(escaped(character) if steers(character) else character for character in text)


def steers(character: str) -> bool:
    """Whether a character changes how others are shown, or has no picture of its own."""
    return character not in JOINERS and unicodedata.category(character) in _STEERING


def escaped(character: str) -> str:
    """A character written out by its number."""
    point = ord(character)
    return f"\\u{point:04x}" if point <= 0xFFFF else f"\\U{point:08x}"


def counted(number: int, singular: str, plural: str = "") -> str:
    """'1 learner', '3 learners'; `plural` where the plural is no plain 's', as in ('line has', 'lines have')."""
    return f"{number} {singular if number == 1 else plural or f'{singular}s'}"

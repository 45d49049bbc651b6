"""Text for paper: what would steer the text around it is shown instead of obeyed."""

import re
import unicodedata

# Joiners shape letters in Persian and in the scripts of India, and steer nothing else.
_JOINERS = "\u200c\u200d"
_STEERING = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_LONGEST_RUN = 20
_UNBROKEN = re.compile(rf"[^\s\u00ad\u200b-]{{{_LONGEST_RUN}}}(?=[^\s\u00ad\u200b-])")
_BREAK = "\u200b"


def visible(text: str) -> str:
    """The text with every control character, the bidirectional ones among them, written out as '\\u202e'."""
    return "".join(_shown(character) for character in text)


def _shown(character: str) -> str:
    if character in _JOINERS or unicodedata.category(character) not in _STEERING:
        return character
    point = ord(character)
    return f"\\u{point:04x}" if point <= 0xFFFF else f"\\U{point:08x}"


def breakable(text: str) -> str:
    """The text with places to break in runs that a line may not hold."""
    return _UNBROKEN.sub(rf"\g<0>{_BREAK}", text)


def right_to_left(text: str) -> bool:
    """Whether the first letter that has a direction runs from right to left."""
    directions = (unicodedata.bidirectional(character) for character in text)
    return next((direction != "L" for direction in directions if direction in ("L", "R", "AL")), False)

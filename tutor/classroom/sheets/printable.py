"""Text for paper: what would steer the text around it is shown instead of obeyed."""

import re
import unicodedata
from functools import lru_cache

from fontTools.ttLib import TTFont

from tutor.paths import content_root

FONTS = content_root() / "assets" / "fonts"

# Joiners shape letters in Persian and in the scripts of India, and steer nothing else.
_JOINERS = "\u200c\u200d"
_STEERING = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_LONG_RUN = re.compile(r"([^\s-]{21,})")
_BROKEN_INTO = 8
_SHORT = 60


def visible(text: str) -> str:
    """The text with every control character, the bidirectional ones among them, written out as '\\u202e'."""
    return "".join(_shown(character) for character in text)


def printable(text: str) -> str:
    """The visible text with every character that none of the sheets' fonts has written out in the same way."""
    return "".join(one if one.isascii() or ord(one) in _covered() else _escaped(one) for one in visible(text))


@lru_cache(maxsize=1)
def _covered() -> frozenset[int]:
    """All that the sheets' fonts have, with the joiners, which need no picture."""
    fonts = (TTFont(path, fontNumber=0, lazy=True) for path in FONTS.glob("*.tt?"))
    return frozenset(map(ord, _JOINERS)).union(*(font.getBestCmap() for font in fonts))


def _shown(character: str) -> str:
    if character in _JOINERS or unicodedata.category(character) not in _STEERING:
        return character
    return _escaped(character)


def _escaped(character: str) -> str:
    point = ord(character)
    return f"\\u{point:04x}" if point <= 0xFFFF else f"\\U{point:08x}"


def pieces(text: str) -> list[tuple[str, bool]]:
    """The text in pieces, each with whether a line may be broken beside it: in runs that a line may not hold."""
    found: list[tuple[str, bool]] = []
    for at, part in enumerate(_LONG_RUN.split(text)):
        if at % 2:
            found += [(part[start : start + _BROKEN_INTO], True) for start in range(0, len(part), _BROKEN_INTO)]
        elif part:
            found.append((part, False))
    return found


def short(text: str) -> str:
    """The text, cut to what the head of a page holds."""
    return text if len(text) <= _SHORT else f"{text[:_SHORT]}…"


def right_to_left(text: str) -> bool:
    """Whether the first letter that has a direction runs from right to left."""
    directions = (unicodedata.bidirectional(character) for character in text)
    return next((direction != "L" for direction in directions if direction in ("L", "R", "AL")), False)

"""Text for paper: what would steer the text around it is shown instead of obeyed."""

import re
import unicodedata
from functools import lru_cache

from fontTools.ttLib import TTFont

from tutor.base.paths import content_root
from tutor.base.text import JOINERS, escaped, visible

FONTS = content_root() / "assets" / "fonts"

_LONG_RUN = re.compile(r"([^\s-]{21,})")
_BROKEN_INTO = 8
_SHORT = 60


def printable(text: str) -> str:
    """The visible text with every character that none of the sheets' fonts has written out in the same way."""
    return "".join(
        character if character.isascii() or ord(character) in _covered() else escaped(character)
        for character in visible(text)
    )


@lru_cache(maxsize=1)
def _covered() -> frozenset[int]:
    """All that the sheets' fonts have, with the joiners, which need no picture."""
    fonts = (TTFont(path, fontNumber=0, lazy=True) for path in FONTS.glob("*.tt?"))
    return frozenset(map(ord, JOINERS)).union(*(font.getBestCmap() for font in fonts))


def pieces(text: str) -> list[tuple[str, bool]]:
    """The text in pieces, each with whether a line may be broken beside it: in runs that a line may not hold."""
    characters: list[tuple[str, bool]] = []
    for position, part in enumerate(_LONG_RUN.split(text)):
        if position % 2:
            characters += [(part[start : start + _BROKEN_INTO], True) for start in range(0, len(part), _BROKEN_INTO)]
        elif part:
            characters.append((part, False))
    return characters


def short(text: str) -> str:
    """The text, cut to what the head of a page holds."""
    return text if len(text) <= _SHORT else f"{text[:_SHORT]}…"


def right_to_left(text: str) -> bool:
    """Whether the first letter that has a direction runs from right to left."""
    directions = (unicodedata.bidirectional(character) for character in text)
    return next((direction != "L" for direction in directions if direction in ("L", "R", "AL")), False)

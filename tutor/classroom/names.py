"""When two ways of writing a name or a number mean the same person."""

import unicodedata


def tidy(text: str) -> str:
    """A name as it is kept: composed, without control characters, single spaces between its words."""
    composed = unicodedata.normalize("NFC", text)
    return " ".join("".join(c if unicodedata.category(c) != "Cc" else " " for c in composed).split())


def same_name(one: str, other: str) -> bool:
    """Whether two texts name the same: in any letter case, width and spacing."""
    return _key(one) == _key(other)


def _key(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())

"""Reads an answer that is one of a few words."""

from collections.abc import Sequence

from tutor.answers.entry import Entry, EntryError, plain_text, quoted


def read_choice(text: str, choices: Sequence[str]) -> Entry:
    """Read one of the choices; the entry's value is its place among them, from 0.

    Raises EntryError, naming them, for anything else.
    """
    plain = plain_text(text)
    words = plain.casefold().removeprefix("the ").rstrip(".")
    for place, choice in enumerate(choices):
        if words == choice.casefold():
            return Entry(float(place), 0.0, "", text.strip(), 1)
    raise EntryError(f"{quoted(plain)} is none of the choices: type one of {', '.join(choices)}.")

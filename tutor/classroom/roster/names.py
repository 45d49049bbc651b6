"""When two ways of writing a name or a number mean the same person."""

import unicodedata
from collections.abc import Iterable, Iterator

from tutor.classroom.models import Member

MOST_MARKS = (
    30  # on one letter: the Stream-Safe Text Format of UAX #15; composing more takes the square of their number
)


def tidy(text: str) -> str:
    """A name as it is kept: composed, without control characters, single spaces between its words."""
    composed = text if text.isascii() else unicodedata.normalize("NFC", "".join(_few_marks(text)))
    return " ".join("".join(c if unicodedata.category(c) != "Cc" else " " for c in composed).split())


def _few_marks(text: str) -> Iterator[str]:
    marks = 0
    for c in text:
        marks = marks + 1 if unicodedata.combining(c) else 0
        if marks <= MOST_MARKS:
            yield c


def same_name(text: str, reference: str) -> bool:
    """Whether two texts name the same: in any letter case, width and spacing, whatever in them cannot be seen.

    Nothing names nobody, not even who has no name.
    """
    return _key(text) == _key(reference) != ""


def _key(text: str) -> str:
    visible = (c for c in unicodedata.normalize("NFKC", text).casefold() if unicodedata.category(c) != "Cf")
    return " ".join("".join(visible).split())


def called(member: Member) -> str:
    """A member by name and number, as people tell one from another."""
    return f"{member.name} ({member.number})" if member.name and member.number else member.name or member.number


class Roll:
    """Members, found again by number where both have one, else by name."""

    def __init__(self, members: Iterable[Member] = ()) -> None:
        self._by_number: dict[str, Member] = {}
        self._by_name: dict[str, Member] = {}
        self._by_name_alone: dict[str, Member] = {}
        for member in members:
            self.add(member)

    def find_member(self, member: Member) -> Member | None:
        """The member that another way of writing means."""
        if not member.number:
            return self._by_name.get(_key(member.name)) if member.name else None
        of_number = self._by_number.get(_key(member.number))
        return of_number or (self._by_name_alone.get(_key(member.name)) if member.name else None)

    def add(self, member: Member) -> None:
        """Put a member on the roll, or in the place of the one with that number or name."""
        if member.number:
            self._by_number[_key(member.number)] = member
            alone = self._by_name_alone.get(_key(member.name))
            if alone is not None and alone.id == member.id:
                del self._by_name_alone[_key(member.name)]
        if member.name:
            self._by_name.setdefault(_key(member.name), member)
            if not member.number:
                self._by_name_alone[_key(member.name)] = member

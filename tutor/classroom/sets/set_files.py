"""Practice sets as files: read and checked against the content, proposed by lesson and level, written back as YAML."""

from collections.abc import Callable, Collection
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import yaml

from tutor.base.errors import FaultyRequestError
from tutor.classroom.models import MOST_PROBLEMS, Item, PracticeSet
from tutor.content.errors import ContentError
from tutor.content.files import Document, Key, read_yaml, validated
from tutor.content.library import Library
from tutor.content.models import RulebookId

_FEW_LISTED = 8


class SetError(FaultyRequestError, ValueError):
    """A practice set that does not fit the content; a sentence that says how to mend it."""


def read_set(path: Path, library: Library, text: str | None = None) -> PracticeSet:
    """Read a practice set's file, or its text if that is given, and check it.

    A time without an offset is one of the set's own time zone.
    Raises ContentError with file, line and mend for the first fault.
    """
    document = read_yaml(path, text)
    if isinstance(document.data, dict):
        _check_zone(document)
        for name in ("opens", "closes"):
            if isinstance(document.data.get(name), str):
                document.data[name] = _with_zone(document.data[name], str(document.data.get("zone", "UTC")))
    practice_set = validated(PracticeSet, document, document.data)

    def fault(key: Key, sentence: str, mend: str) -> ContentError:
        return document.fault(key, sentence, mend)

    _check(practice_set, library, fault)
    return practice_set


def check_set(practice_set: PracticeSet, library: Library) -> None:
    """Check a practice set that was made without a file against the content.

    Raises SetError for the first fault.
    """

    def fault(_key: Key, sentence: str, mend: str) -> SetError:
        return SetError(f"{sentence} {mend}")

    try:
        ZoneInfo(practice_set.zone)
    except (KeyError, ValueError, OSError):
        raise SetError(_no_zone(practice_set.zone)) from None
    _check(practice_set, library, fault)


def written_set(practice_set: PracticeSet) -> str:
    """A practice set as the text of its YAML file; reading it gives the same set."""
    data = practice_set.model_dump(mode="json", exclude_defaults=True)
    return yaml.safe_dump(data, sort_keys=False, allow_unicode=True, width=110)


def proposed_items(
    library: Library, lessons: Collection[str], problems: int, level: int | None = None, rulebook: RulebookId = "us"
) -> list[Item]:
    """Items for so many problems from lessons, evenly over the exercises that fit, easier ones first.

    `level` is the highest one taken. Raises SetError if a lesson is unknown or no exercise fits.
    """
    if not 1 <= problems <= MOST_PROBLEMS:
        raise SetError(f"A set holds 1 to {MOST_PROBLEMS} problems, not {problems}. Choose fewer.")
    unknown = next((lesson for lesson in lessons if lesson not in library.lessons), None)
    if unknown is not None:
        raise SetError(f"There is no lesson '{unknown}'. {_choose(library.lessons)}")
    fitting = [
        id_
        for id_, exercise in library.exercises.items()
        if exercise.lesson in lessons
        and (level is None or exercise.level <= level)
        and rulebook in _rulebooks(library, id_)
    ]
    if not fitting:
        raise SetError(
            "No exercise of these lessons has this level and rulebook. Choose a higher level or a lesson more."
        )
    if problems < len(fitting):
        fitting = [fitting[position * len(fitting) // problems] for position in range(problems)]
    per_exercise, remainder = divmod(problems, len(fitting))
    return [Item(exercise=id_, problems=per_exercise + (position < remainder)) for position, id_ in enumerate(fitting)]


def _check(practice_set: PracticeSet, library: Library, fault: Callable[[Key, str, str], Exception]) -> None:
    for position, item in enumerate(practice_set.items):
        if item.exercise not in library.declared and item.exercise not in library.orders:
            near = [id_ for id_ in library.exercises if _alike(id_, item.exercise)]
            raise fault(
                ("items", position, "exercise"),
                f"There is no exercise '{item.exercise}'.",
                _choose(near) if near else "'coldmorning exercises' lists them.",
            )
        allowed = _rulebooks(library, item.exercise)
        if practice_set.rulebook not in allowed:
            raise fault(
                ("items", position, "exercise"),
                f"'{item.exercise}' cannot be set under the rulebook {practice_set.rulebook}.",
                f"Choose 'rulebook: {allowed[0]}', or another exercise.",
            )
        asks = _asks(library, item.exercise, practice_set.rulebook)
        if item.ask is not None and item.ask not in asks:
            raise fault(("items", position, "ask"), f"'{item.exercise}' does not ask for '{item.ask}'.", _choose(asks))


def _rulebooks(library: Library, exercise: str) -> list[RulebookId]:
    """The rulebooks that an exercise can be set under; an order rests on no tables, so any will do."""
    return ["us", "iec"] if exercise in library.orders else library.declared[exercise].exercise.rulebooks


def _asks(library: Library, exercise: str, book: RulebookId) -> list[str]:
    if exercise in library.orders:
        return list(library.orders[exercise].exercise.asks)
    return list(library.declared[exercise].under(book).exercise.asks)


def _alike(id_: str, wanted: str) -> bool:
    words = {*wanted.split("-")} - {"in", "of", "the", "a", "on", "for", "at"}
    return bool(words & {*id_.split("-")})


def _choose(options: Collection[str]) -> str:
    listed = list(options)[:_FEW_LISTED]
    return f"Choose one of {', '.join(listed)}{', ...' if len(options) > len(listed) else ''}."


def _check_zone(document: Document) -> None:
    zone = document.data.get("zone", "UTC")
    try:
        ZoneInfo(zone)
    except (KeyError, ValueError, OSError, TypeError, AttributeError):
        raise document.fault(("zone",), _no_zone(str(zone))) from None


def _no_zone(zone: str) -> str:
    return f"There is no time zone '{zone[:60]}'. Write one as 'Europe/Lisbon', 'America/Halifax' or 'UTC'."


def _with_zone(text: str, zone: str) -> Any:
    """A moment as typed, in the set's time zone where it names none; any other text as it is."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        return text
    return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))

"""Everything that content files hold, read once into one frozen library."""

import pickle
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from dataclasses import fields as fields_of
from functools import lru_cache
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar, get_args

from pydantic import TypeAdapter, ValidationError

from tutor.base import cache
from tutor.base.paths import content_root
from tutor.base.units import conversion, convert, written_unit
from tutor.content.errors import ContentError
from tutor.content.figures import Renderer, SpecialFigure, Sweep
from tutor.content.files import Document, Key, read_text, read_yaml, validated
from tutor.content.isolation import check_isolation
from tutor.content.models import (
    FOR_ALL,
    Agreement,
    Amount,
    Charger,
    EnergySource,
    Exercise,
    Hazard,
    Identifier,
    LessonHeader,
    Module,
    Name,
    OrderExercise,
    Place,
    Quantity,
    RulebookId,
    Source,
    without_standing,
)
from tutor.content.tables import DeclaredTable, read_tables

MOST_FILES = 500
LONGEST_LESSON = 65_536  # characters; bounds of what a browser has to lay out
LONGEST_LINE = 1200
DEEPEST_LINE = re.compile(r"[\s>*+-]{40}")
MOST_ENTRIES = 500  # quantities, parts, cautions of one file: more than twice what the built-in files hold
T = TypeVar("T")

# What a folder of content holds beside exercises, lessons, figures and tables: files of entries by their ids.
_ENTRIES: dict[str, tuple[str, Any]] = {
    "quantities": ("assets/quantities.yaml", Quantity),
    "modules": ("assets/parts/modules.yaml", Module),
    "chargers": ("assets/parts/chargers.yaml", Charger),
    "places": ("assets/parts/places.yaml", Place),
    "hazards": ("assets/hazards.yaml", Hazard),
    "sources": ("assets/sources.yaml", Source),
    "agreements": ("assets/agreements.yaml", Agreement),
}
PARTS = ("modules", "chargers", "places")
_TABLES, _EDITIONS = "assets/tables/tables.yaml", "assets/tables/rulebooks.yaml"
_FILES = (
    "exercises/*/*.yaml",
    "lessons/*/lesson.md",
    "assets/figures/*.yaml",
    *(path for path, _ in _ENTRIES.values()),
    _TABLES,
    _EDITIONS,
)
_ID = {"quantities": TypeAdapter(Name)}
_ANY_ID = TypeAdapter(Identifier)
MARKERS = ("{figure}", "{worked example}", "{faded example}", "{problems}", "{cautions}", "{sources}")


@dataclass(frozen=True)
class Lesson:
    """One topic's page: its header and its parts, text or one of MARKERS, in order."""

    header: LessonHeader
    parts: tuple[str, ...]
    document: Document = field(repr=False, compare=False)


@dataclass(frozen=True)
class Declared:
    """An exercise and the file that declares it, so that a later fault can be told with its line."""

    exercise: Exercise
    document: Document = field(repr=False, compare=False)

    def under(self, rulebook: RulebookId) -> "Declared":
        """The same as it is under a rulebook.

        Raises ContentError if what differs there does not fit.
        """
        if rulebook not in self.exercise.in_rulebook:
            return self
        fields = self.exercise.under(rulebook)
        return Declared(validated(Exercise, self.document, fields, ("in_rulebook", rulebook)), self.document)


@dataclass(frozen=True)
class DeclaredOrder:
    """An exercise that asks for an order, and the file that declares it."""

    exercise: OrderExercise
    document: Document = field(repr=False, compare=False)


@dataclass(frozen=True)
class DeclaredFigure:
    """A figure and the file that declares it."""

    figure: Sweep | SpecialFigure
    document: Document = field(repr=False, compare=False)


@dataclass(frozen=True)
class Origin:
    """Where an entry stands: its file, and its key there."""

    document: Document
    key: Key = ()

    def fault(self, key: Key, fault: str, mend: str = "") -> ContentError:
        """An error at a key of the entry."""
        return self.document.fault((*self.key, *key), fault, mend)

    def __str__(self) -> str:
        return f"{self.document.path}, line {self.document.line(self.key)}"


@dataclass(frozen=True, eq=False)  # each is read once, and is itself alone
class Library:
    """All content by id: what one folder holds and, beside it, all of `base`.

    `origins` tells where each entry stands, by its kind (the name of the field) and id.
    """

    quantities: Mapping[str, Quantity]
    modules: Mapping[str, Module]
    chargers: Mapping[str, Charger]
    places: Mapping[str, Place]
    hazards: Mapping[str, Hazard]
    sources: Mapping[str, Source]
    agreements: Mapping[str, Agreement]
    lessons: Mapping[str, Lesson]
    declared: Mapping[str, Declared]
    orders: Mapping[str, DeclaredOrder]
    figures: Mapping[str, DeclaredFigure]
    tables: Mapping[str, DeclaredTable]
    editions: Mapping[str, str]
    origins: Mapping[tuple[str, str], Origin] = field(repr=False)
    base: "Library | None" = field(default=None, repr=False)

    def cautions(self, ids: Iterable[str], rulebook: str) -> dict[str, str]:
        """The cautions of these ids as they read under a rulebook, by their ids."""
        return {id_: self.hazards[id_].text_under(rulebook) for id_ in ids}

    def around(self, exercise: str) -> "Library":
        """What an exercise rests on: for a built-in one the built-in content alone.

        A folder beside it neither changes its draws nor binds it by further agreements and cautions.
        """
        built_in = self.base is not None and (exercise in self.base.declared or exercise in self.base.orders)
        return self.base if self.base is not None and built_in else self

    @property
    def exercises(self) -> dict[str, Exercise | OrderExercise]:
        """The exercises by id, in the order of their lessons and levels."""
        order = {id_: lesson.header.order for id_, lesson in self.lessons.items()}
        declared: list[Declared | DeclaredOrder] = [*self.declared.values(), *self.orders.values()]
        exercises = [content.exercise for content in declared]
        exercises.sort(key=lambda exercise: (order.get(exercise.lesson, 99), exercise.level, exercise.id))
        return {exercise.id: exercise for exercise in exercises}


@lru_cache(maxsize=1)
def _built_in() -> Library:
    """The built-in content, from the user's cache if it was read and checked before, byte for byte the same."""
    root = content_root()
    name = f"content-{cache.hashed([cache.code_version(), *contents(root)])}.pickle"
    if (library := _unpickled(cache.read(name))) is not None:
        return library
    library = read_folder(root, None)
    fields = {entry.name: dict(getattr(library, entry.name)) for entry in fields_of(Library) if entry.name != "base"}
    cache.write(name, pickle.dumps(fields, protocol=pickle.HIGHEST_PROTOCOL))
    return library


def _unpickled(pickled: bytes | None) -> Library | None:
    """The library that the cache holds: only ever this user's own file, and what this code wrote; else None."""
    try:
        fields: dict[str, Any] = pickle.loads(pickled or b"")
        return Library(**{kind: MappingProxyType(group) for kind, group in fields.items()}, base=None)
    except (pickle.UnpicklingError, EOFError, AttributeError, ImportError, IndexError, TypeError, ValueError):
        return None


def contents(folder: Path) -> Iterator[bytes]:
    """What a folder of content holds, file by file, each after its name."""
    for path in (path for pattern in (*_FILES, "assets/tables/*.csv") for path in some_files(folder, pattern)):
        yield str(path).encode()
        yield read_text(path).encode()


def load(extra: Path | None = None) -> Library:
    """The built-in content and, beside it, a folder of the user's own, laid out in the same way.

    Raises ContentError with file, line and mend for the first fault.
    """
    if extra is None:
        return _built_in()
    if not extra.is_dir():
        raise ContentError(extra, 0, "there is no such folder.", "Name a folder that holds exercises/ or lessons/.")
    _check_files(extra)
    return read_folder(extra, _built_in())


def read_folder(folder: Path, base: Library | None) -> Library:
    """Read a folder of content beside that of `base`; no id may be in both.

    Raises ContentError for the first fault; for a clash it names both places.
    """
    tables = read_tables(folder / "assets" / "tables", base.tables if base else {})
    entries = {kind: _entries(kind, folder) for kind in _ENTRIES}
    exercises = list(map(read_exercise, some_files(folder, "exercises/*/*.yaml")))
    entries |= {
        "lessons": _by_id(read_lesson(path) for path in some_files(folder, "lessons/*/lesson.md")),
        "exercises": _by_id(exercises),
        "figures": {path.stem: _figure(path) for path in some_files(folder, "assets/figures/*.yaml")},
        "editions": _editions(folder),
    }
    merged = {kind: _merged(kind, group, base) for kind, group in entries.items()}
    origins = {(kind, id_): origin for kind, group in entries.items() for id_, (_, origin) in group.items()}
    by_id = merged.pop("exercises")
    lessons = sorted(merged.pop("lessons").items(), key=lambda item: item[1].header.order)
    library = Library(
        **{kind: MappingProxyType(group) for kind, group in merged.items()},
        lessons=MappingProxyType(dict(lessons)),
        declared=MappingProxyType({id_: entry for id_, entry in by_id.items() if isinstance(entry, Declared)}),
        orders=MappingProxyType({id_: entry for id_, entry in by_id.items() if isinstance(entry, DeclaredOrder)}),
        tables=MappingProxyType(_with_tables(tables, base)),
        origins=MappingProxyType((dict(base.origins) if base else {}) | origins),
        base=base,
    )
    _check_references(library, entries)
    return library


Entries = dict[str, tuple[Any, Origin]]


def _entries(kind: str, folder: Path) -> Entries:
    name, model = _ENTRIES[kind]
    entries: Entries = {}
    for path in some_files(folder, name):
        document = read_yaml(path)
        if not isinstance(document.data, dict):
            raise document.fault((), "a mapping from id to fields is expected.")
        if len(document.data) > MOST_ENTRIES:
            raise document.fault((), f"at most {MOST_ENTRIES} entries are read here.", "Take some away.")
        for id_, data in document.data.items():
            try:
                _ID.get(kind, _ANY_ID).validate_python(id_)
            except ValidationError:
                mend = "Use lower-case letters and digits, words joined as in the built-in files."
                raise document.fault((id_,), f"'{id_}' is no id.", mend) from None
            entries[id_] = (validated(model, document, data, (id_,)), Origin(document, (id_,)))
    return entries


def _editions(folder: Path) -> Entries:
    entries: Entries = {}
    for path in some_files(folder, _EDITIONS):
        document = read_yaml(path)
        for id_, edition in document.data.items() if isinstance(document.data, dict) else ():
            if id_ not in get_args(RulebookId) or not isinstance(edition, str):
                raise document.fault((id_,), f"there is no rulebook '{id_}'.", _choose(get_args(RulebookId)))
            entries[id_] = (edition, Origin(document, (id_,)))
    return entries


def _by_id(read: Iterable[Lesson | Declared | DeclaredOrder]) -> Entries:
    entries: Entries = {}
    for content in read:
        header = content.header if isinstance(content, Lesson) else content.exercise
        origin = Origin(content.document, ("id",))
        if header.id in entries:
            raise _clash(
                "lesson" if isinstance(content, Lesson) else "exercise", header.id, origin, entries[header.id][1]
            )
        entries[header.id] = (content, origin)
    return entries


_ONE = {"quantities": "quantity", "editions": "base edition"}  # other kinds lose their s


def _merged(kind: str, group: Entries, base: Library | None) -> dict[str, Any]:
    """The entries of a folder beside those of its base."""
    before: dict[str, Any] = {}
    if base is not None:
        before = {**base.declared, **base.orders} if kind == "exercises" else dict(getattr(base, kind))
    for id_, (_, origin) in group.items():
        if id_ in before and base is not None:
            raise _clash(_ONE.get(kind, kind.removesuffix("s")), id_, origin, base.origins[kind, id_])
    return before | {id_: value for id_, (value, _) in group.items()}


def _with_tables(tables: Mapping[str, DeclaredTable], base: Library | None) -> dict[str, DeclaredTable]:
    before = dict(base.tables) if base else {}
    for name, table in tables.items():
        if name in before and table.document is not before[name].document:
            origin, earlier = (Origin(declared.document, declared.key) for declared in (table, before[name]))
            raise _clash("table", name, origin, earlier)
    return before | dict(tables)


def _clash(kind: str, id_: str, origin: Origin, earlier: Origin) -> ContentError:
    return origin.fault((), f"there is another {kind} '{id_}', in {earlier}.", "Give this one another id.")


def _check_files(folder: Path) -> None:
    """Refuse a file in a folder of the user's own that nothing reads; practice sets may lie beside these folders."""
    read = {path for pattern in _FILES for path in some_files(folder, pattern)}
    if (tables := folder / _TABLES).is_file():
        declared = read_yaml(tables).data
        named = declared.values() if isinstance(declared, dict) else ()
        read |= {tables.parent / str(table.get("file")) for table in named if isinstance(table, dict)}
    read.add(folder / "assets/tables/editions.csv")
    for path in (path for suffix in ("yaml", "yml", "md", "csv") for path in some_files(folder, f"*/**/*.{suffix}")):
        if path not in read and path.name.lower() != "readme.md":
            raise ContentError(path, 1, "nothing reads this file.", f"It may be one of {', '.join(_FILES)}.")


def some_files(folder: Path, pattern: str) -> list[Path]:
    """The files of a folder that fit a pattern, in order.

    Raises ContentError if there are more than MOST_FILES.
    """
    listed = list(islice(folder.glob(pattern), MOST_FILES + 1))
    if len(listed) > MOST_FILES:
        raise ContentError(folder, 0, f"more than {MOST_FILES} files are called {pattern}.", "Split the folder.")
    return sorted(listed)


def read_exercise(path: Path) -> Declared | DeclaredOrder:
    """Read one exercise file.

    Raises ContentError.
    """
    document = read_yaml(path)
    asks_for_order = isinstance(document.data, dict) and document.data.get("kind") == "order"
    exercise: Exercise | OrderExercise
    if asks_for_order:
        exercise = validated(OrderExercise, document, document.data)
    else:
        exercise = validated(Exercise, document, document.data)
    if exercise.id != path.stem:
        raise document.fault(
            ("id",), f"the id is '{exercise.id}' but the file is named '{path.stem}'.", "Make them equal."
        )
    if isinstance(exercise, OrderExercise):
        return DeclaredOrder(exercise, document)
    return Declared(exercise, document)


def _figure(path: Path) -> tuple[DeclaredFigure, Origin]:
    document = read_yaml(path)
    renderer = document.data.get("renderer", "sweep") if isinstance(document.data, dict) else "sweep"
    if renderer not in ("sweep", *get_args(Renderer)):
        mend = _choose(("sweep", *get_args(Renderer)))
        raise document.fault(("renderer",), f"there is no renderer '{renderer}'.", mend)
    model: type[Sweep | SpecialFigure] = Sweep if renderer == "sweep" else SpecialFigure
    return DeclaredFigure(validated(model, document, document.data), document), Origin(document)


def read_lesson(path: Path) -> Lesson:
    """Read one lesson: front matter between two '---' lines, then Markdown with markers on lines of their own.

    Raises ContentError.
    """
    text = read_text(path)
    if len(text) > LONGEST_LESSON:
        raise ContentError(path, 0, f"the lesson is longer than {LONGEST_LESSON} characters.", "Make two of it.")
    lines = text.splitlines()
    if "---" not in lines[1:] or lines[0] != "---":
        raise ContentError(path, 1, "the front matter is missing.", "Begin with '---', the header's fields and '---'.")
    end = lines.index("---", 1)
    document = read_yaml(path, "\n".join(lines[1:end]), first_line=2)
    header = validated(LessonHeader, document, document.data)
    parts: list[str] = []
    for number, line in enumerate(lines[end + 1 :], start=end + 2):
        if len(line) > LONGEST_LINE:
            raise ContentError(path, number, f"the line is longer than {LONGEST_LINE} characters.", "Break it.")
        if DEEPEST_LINE.match(line):
            raise ContentError(path, number, "quotes and lists are nested too deep here.", "Take some levels away.")
        try:
            without_standing(line)
        except ValueError as error:
            raise ContentError(path, number, f"{error}.", "Leave it out here.") from None
        if line.strip() in MARKERS:
            parts += [line.strip(), ""]
        elif parts:
            parts[-1] += line + "\n"
        else:
            parts.append(line + "\n")
    for marker in MARKERS:
        if marker not in parts:
            raise document.fault((), f"the lesson has no line '{marker}'.", "Put it where that part belongs.")
        if parts.count(marker) > 1:
            raise document.fault((), f"the lesson has the line '{marker}' more than once.", "Keep one of them.")
    return Lesson(header, tuple(part for part in parts if part.strip()), document)


def _check_references(library: Library, entries: Mapping[str, Entries]) -> None:
    """Check that what a folder's entries name is there."""
    for hazard, origin in entries["hazards"].values():
        for index, name in enumerate(hazard.goes_with):
            if name not in library.quantities and name not in get_args(EnergySource):
                raise origin.fault(("goes_with", index), f"'{name}' is no quantity and no source.")
    for quantity, origin in entries["quantities"].values():
        if quantity.share_of is not None and quantity.share_of not in library.quantities:
            raise origin.fault(("share_of",), f"'{quantity.share_of}' is not in the glossary.", "Check its spelling.")
    for kind in PARTS:
        for part, origin in entries[kind].values():
            _check_part(library, part, origin)
    for declared, _ in entries["exercises"].values():
        check_exercise(library, declared)
    for declared, origin in entries["figures"].values():
        for index, id_ in enumerate(declared.figure.exercises if isinstance(declared.figure, Sweep) else ()):
            if id_ not in library.declared:
                raise origin.fault(("exercises", index), f"there is no exercise '{id_}'.", "Check its spelling.")
    for lesson, _ in entries["lessons"].values():
        _check_lesson(library, lesson)


def _check_part(library: Library, part: Module | Charger | Place, origin: Origin) -> None:
    """Check that what a part's label says is in the glossary's unit, and plausible."""
    for name, amount in part:
        quantity = library.quantities.get(name)
        if quantity is None or not isinstance(amount, Amount):
            continue
        if conversion(quantity.unit).dimension != conversion(amount.unit).dimension:
            fault = f"'{name}' is in '{written_unit(quantity.unit)}', but is written as {amount}."
            raise origin.fault((name,), fault, "Mend its unit.")
        low, high = quantity.plausible or (0.0, 1.0)
        if not low <= convert(amount.value, amount.unit, quantity.unit) <= high:
            fault = f"{name}: {amount} is not plausible, which is {low:g} to {high:g}{_spaced(quantity.unit)}."
            raise origin.fault((name,), fault, "Mend the value or its unit.")


def _spaced(unit: str) -> str:
    return f" {written_unit(unit)}" if unit else ""


def _check_lesson(library: Library, lesson: Lesson) -> None:
    """Check that a lesson's figure, exercises, cautions and sources exist, and that its example's cautions are its."""
    header, document = lesson.header, lesson.document
    _check_named(library, header, document)
    if header.figure not in library.figures:
        mend = f"Add assets/figures/{header.figure}.yaml. {_choose(library.figures)}"
        raise document.fault(("figure",), f"there is no figure '{header.figure}'.", mend)
    named = [(("exercises", index), id_) for index, id_ in enumerate(header.exercises)]
    for key, id_ in [*named, (("example",), header.example)]:
        if id_ not in library.declared and id_ not in library.orders:
            raise document.fault(key, f"there is no exercise '{id_}'.", "Check its spelling.")
    for id_ in library.exercises[header.example].safety:
        if id_ not in header.safety:
            raise document.fault(("safety",), f"the caution '{id_}' of the worked example is missing.", f"Add '{id_}'.")


def check_exercise(library: Library, declared: Declared | DeclaredOrder) -> None:
    """Check that an exercise's lesson, cautions and sources exist, and that an order makes every source safe.

    Raises ContentError.
    """
    exercise, document = declared.exercise, declared.document
    if exercise.lesson not in library.lessons:
        raise document.fault(("lesson",), f"there is no lesson '{exercise.lesson}'.", _choose(library.lessons))
    _check_named(library, exercise, document)
    if isinstance(exercise, OrderExercise):
        check_isolation(exercise, document)
    _check_fitting(library, exercise, document)
    if isinstance(declared, Declared):
        _check_diagram(library, declared, ())
        for book in declared.exercise.in_rulebook:
            _check_diagram(library, declared.under(book), ("in_rulebook", book))
    for index, id_ in enumerate(exercise.other_methods if isinstance(exercise, Exercise) else ()):
        if id_ not in library.declared:
            raise document.fault(("other_methods", index), f"there is no exercise '{id_}'.", "Check its spelling.")


def _check_diagram(library: Library, declared: Declared, place: Key) -> None:
    """Check that a diagram names nothing but quantities of its exercise, in every question."""
    exercise, document, diagram = declared.exercise, declared.document, declared.exercise.diagram
    if diagram is None:
        return
    quantities = {*exercise.givens, *exercise.relations}
    for ask in ("", *diagram.when_asked):
        key = (*place, "diagram", *(("when_asked", ask) if ask else ()))
        if ask and ask not in quantities:
            raise document.fault(key, f"the exercise has no quantity '{ask}' to ask for.", _choose(quantities))
        shown = validated(type(diagram), document, diagram.asked(ask), key)
        for role, name in shown.names:
            if name not in quantities:
                fault = f"the diagram's {role}: the exercise has no quantity '{name}'."
                raise document.fault((*key, role), fault, _choose(quantities))
            if role in shown.counts and library.quantities[name].kind != "count":
                fault = f"the diagram's {role}: '{name}' is no whole number."
                raise document.fault((*key, role), fault, "Name a quantity of the kind count.")


def _check_fitting(library: Library, exercise: Exercise | OrderExercise, document: Document) -> None:
    """Check that no caution is missing that goes with what the exercise works with."""
    if isinstance(exercise, OrderExercise):
        names: set[str] = set(exercise.isolation)
    else:
        names = {*exercise.givens, *exercise.relations}
    story = " ".join(exercise.story).lower()
    for id_, hazard in library.hazards.items():
        reasons = [name for name in hazard.goes_with if name in names]
        reasons += [words for words in hazard.mentioned if re.search(rf"\b{re.escape(words)}", story)]
        if reasons and id_ not in exercise.safety:
            fault = f"the caution '{id_}' is missing, which goes with '{reasons[0]}'."
            raise document.fault(("safety",), fault, f"Add '{id_}'.")


def _check_named(library: Library, content: Exercise | OrderExercise | LessonHeader, document: Document) -> None:
    if FOR_ALL not in content.safety:
        raise document.fault(("safety",), f"the caution '{FOR_ALL}' is missing.", "Every exercise and lesson shows it.")
    for field_name, entries in (("safety", library.hazards), ("sources", library.sources)):
        for index, id_ in enumerate(getattr(content, field_name)):
            if id_ not in entries:
                raise document.fault((field_name, index), f"{field_name}: there is no '{id_}'.", _choose(entries))


def _choose(entries: Iterable[str]) -> str:
    return "Choose one of " + ", ".join(sorted(entries)) + "."

"""Everything that content files hold, read once into one frozen library."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar, get_args

from tutor.content.errors import ContentError
from tutor.content.figures import Renderer, SpecialFigure, Sweep
from tutor.content.files import Document, Key, read_text, read_yaml, validated
from tutor.content.isolation import check_isolation
from tutor.content.models import (
    FOR_ALL,
    Agreement,
    Charger,
    EnergySource,
    Exercise,
    Hazard,
    LessonHeader,
    Model,
    Module,
    OrderExercise,
    Place,
    Quantity,
    RulebookId,
    Source,
    without_standing,
)
from tutor.paths import content_root

MOST_FILES = 500
LONGEST_LESSON = 65_536  # characters; bounds of what a browser has to lay out
LONGEST_LINE = 1200
DEEPEST_LINE = re.compile(r"[\s>*+-]{40}")
T = TypeVar("T", bound=Model)

_OWN_FILES = ("exercises/*/*.yaml", "lessons/*/lesson.md", "assets/figures/*.yaml")
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
class Library:
    """All content by id."""

    quantities: Mapping[str, Quantity]
    modules: Mapping[str, Module]
    chargers: Mapping[str, Charger]
    places: Mapping[str, Place]
    hazards: Mapping[str, Hazard]
    sources: Mapping[str, Source]
    lessons: Mapping[str, Lesson]
    declared: Mapping[str, Declared]
    orders: Mapping[str, DeclaredOrder] = field(default_factory=dict)
    agreements: Mapping[str, Agreement] = field(default_factory=dict)
    figures: Mapping[str, DeclaredFigure] = field(default_factory=dict)

    def cautions(self, ids: Iterable[str], rulebook: str) -> dict[str, str]:
        """The cautions of these ids as they read under a rulebook, by their ids."""
        return {id_: self.hazards[id_].text_under(rulebook) for id_ in ids}

    @property
    def exercises(self) -> dict[str, Exercise | OrderExercise]:
        """The exercises by id, in the order of their lessons and levels."""
        order = {id_: lesson.header.order for id_, lesson in self.lessons.items()}
        chosen: list[Declared | DeclaredOrder] = [*self.declared.values(), *self.orders.values()]
        chosen.sort(
            key=lambda one: (order.get(one.exercise.lesson, 99), one.exercise.level, one.exercise.id),
        )
        return {one.exercise.id: one.exercise for one in chosen}


def load(extra: Path | None = None) -> Library:
    """Read the built-in content and, beside it, the exercises, lessons and figures of a folder of the user's own.

    It is laid out as the built-in one: exercises/TOPIC/NAME.yaml, lessons/TOPIC/lesson.md, assets/figures/NAME.yaml.
    Raises ContentError with file, line and mend for the first fault.
    """
    root = content_root()
    roots = [root] if extra is None else [root, _own_folder(extra)]
    parts = root / "assets" / "parts"
    declared, orders = _exercises(roots)
    library = Library(
        quantities=_by_id(Quantity, root / "assets" / "quantities.yaml"),
        modules=_by_id(Module, parts / "modules.yaml"),
        chargers=_by_id(Charger, parts / "chargers.yaml"),
        places=_by_id(Place, parts / "places.yaml"),
        hazards=_by_id(Hazard, root / "assets" / "hazards.yaml"),
        sources=_by_id(Source, root / "assets" / "sources.yaml"),
        lessons=_lessons(roots),
        declared=declared,
        orders=orders,
        agreements=_by_id(Agreement, root / "assets" / "agreements.yaml"),
        figures=_figures(roots),
    )
    _check_references(library, root)
    return library


def _own_folder(folder: Path) -> Path:
    if not folder.is_dir():
        raise ContentError(folder, 0, "there is no such folder.", "Name a folder that holds exercises/ or lessons/.")
    _check_files(folder)
    return folder


def _check_files(folder: Path) -> None:
    """Refuse a file in a folder of the user's own that nothing reads; practice sets may lie beside these folders."""
    read = {path for pattern in _OWN_FILES for path in some_files(folder, pattern)}
    for path in (path for suffix in ("yaml", "yml", "md", "csv") for path in some_files(folder, f"*/**/*.{suffix}")):
        if path not in read and path.name.lower() != "readme.md":
            raise ContentError(path, 1, "nothing reads this file.", f"It may be one of {', '.join(_OWN_FILES)}.")


def _by_id(model: type[T], path: Path) -> Mapping[str, T]:
    document = read_yaml(path)
    if not isinstance(document.data, dict):
        raise document.fault((), "a mapping from id to fields is expected.")
    return MappingProxyType({id_: validated(model, document, data, (id_,)) for id_, data in document.data.items()})


def some_files(folder: Path, pattern: str) -> list[Path]:
    """The files of a folder that fit a pattern, in order.

    Raises ContentError if there are more than MOST_FILES.
    """
    found = list(islice(folder.glob(pattern), MOST_FILES + 1))
    if len(found) > MOST_FILES:
        raise ContentError(folder, 0, f"more than {MOST_FILES} files are called {pattern}.", "Split the folder.")
    return sorted(found)


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


def _exercises(roots: Iterable[Path]) -> tuple[Mapping[str, Declared], Mapping[str, DeclaredOrder]]:
    declared: dict[str, Declared | DeclaredOrder] = {}
    for root in roots:
        for path in some_files(root, "exercises/*/*.yaml"):
            one = read_exercise(path)
            if one.exercise.id in declared:
                raise one.document.fault(
                    ("id",), f"there is another exercise '{one.exercise.id}'.", "Give this one another id."
                )
            declared[one.exercise.id] = one
    orders = {id_: one for id_, one in declared.items() if isinstance(one, DeclaredOrder)}
    return MappingProxyType({id_: one for id_, one in declared.items() if isinstance(one, Declared)}), orders


def _figures(roots: Iterable[Path]) -> Mapping[str, DeclaredFigure]:
    figures: dict[str, DeclaredFigure] = {}
    for path in (path for root in roots for path in some_files(root, "assets/figures/*.yaml")):
        document = read_yaml(path)
        if path.stem in figures:
            other = figures[path.stem].document.path
            raise document.fault(
                (), f"there is another figure '{path.stem}', in {other}.", "Give this file another name."
            )
        renderer = document.data.get("renderer", "sweep") if isinstance(document.data, dict) else "sweep"
        if renderer not in ("sweep", *get_args(Renderer)):
            mend = _choose(("sweep", *get_args(Renderer)))
            raise document.fault(("renderer",), f"there is no renderer '{renderer}'.", mend)
        model: type[Sweep | SpecialFigure] = Sweep if renderer == "sweep" else SpecialFigure
        figures[path.stem] = DeclaredFigure(validated(model, document, document.data), document)
    return MappingProxyType(figures)


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


def _lessons(roots: Iterable[Path]) -> Mapping[str, Lesson]:
    lessons: dict[str, Lesson] = {}
    for root in roots:
        for path in some_files(root, "lessons/*/lesson.md"):
            lesson = read_lesson(path)
            if lesson.header.id in lessons:
                raise lesson.document.fault(
                    ("id",), f"there is another lesson '{lesson.header.id}'.", "Give this one another id."
                )
            lessons[lesson.header.id] = lesson
    return MappingProxyType(dict(sorted(lessons.items(), key=lambda item: item[1].header.order)))


def _check_references(library: Library, root: Path) -> None:
    for id_, hazard in library.hazards.items():
        for at, name in enumerate(hazard.goes_with):
            if name not in library.quantities and name not in get_args(EnergySource):
                hazards = read_yaml(root / "assets" / "hazards.yaml")
                raise hazards.fault((id_, "goes_with", at), f"'{name}' is no quantity and no source.")
    everything: list[Declared | DeclaredOrder] = [*library.declared.values(), *library.orders.values()]
    for one in everything:
        check_exercise(library, one)
    for figure in library.figures.values():
        for at, id_ in enumerate(figure.figure.exercises if isinstance(figure.figure, Sweep) else ()):
            if id_ not in library.declared:
                raise figure.document.fault(("exercises", at), f"there is no exercise '{id_}'.", "Check its spelling.")
    for lesson in library.lessons.values():
        _check_lesson(library, lesson)


def _check_lesson(library: Library, lesson: Lesson) -> None:
    """Check that a lesson's figure, exercises, cautions and sources exist, and that its example's cautions are its."""
    header, document = lesson.header, lesson.document
    _check_named(library, header, document)
    if header.figure not in library.figures:
        mend = f"Add assets/figures/{header.figure}.yaml. {_choose(library.figures)}"
        raise document.fault(("figure",), f"there is no figure '{header.figure}'.", mend)
    named = [(("exercises", at), id_) for at, id_ in enumerate(header.exercises)]
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
    for at, id_ in enumerate(exercise.other_methods if isinstance(exercise, Exercise) else ()):
        if id_ not in library.declared:
            raise document.fault(("other_methods", at), f"there is no exercise '{id_}'.", "Check its spelling.")


def _check_diagram(library: Library, declared: Declared, place: Key) -> None:
    """Check that a diagram names nothing but quantities of its exercise, in every question."""
    exercise, document, diagram = declared.exercise, declared.document, declared.exercise.diagram
    if diagram is None:
        return
    own = {*exercise.givens, *exercise.relations}
    for ask in ("", *diagram.when_asked):
        key = (*place, "diagram", *(("when_asked", ask) if ask else ()))
        if ask and ask not in own:
            raise document.fault(key, f"the exercise has no quantity '{ask}' to ask for.", _choose(own))
        asked = validated(type(diagram), document, diagram.asked(ask), key)
        for role, name in asked.names:
            if name not in own:
                fault = f"the diagram's {role}: the exercise has no quantity '{name}'."
                raise document.fault((*key, role), fault, _choose(own))
            if role in asked.counts and library.quantities[name].kind != "count":
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
    for field_name, known in (("safety", library.hazards), ("sources", library.sources)):
        for at, id_ in enumerate(getattr(content, field_name)):
            if id_ not in known:
                raise document.fault((field_name, at), f"{field_name}: there is no '{id_}'.", _choose(known))


def _choose(known: Iterable[str]) -> str:
    return "Choose one of " + ", ".join(sorted(known)) + "."

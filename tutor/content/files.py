"""Reading content files as data: bounded, never evaluated, each fault told with its line and its mend.

YAML is read from its events, so a huge, endless, deep or self-referring file is refused before anything is built.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from stat import S_ISREG
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from tutor.content.errors import ContentError

MAX_BYTES = 262_144
MAX_DEPTH = 12
MAX_EVENTS = 60_000
LONGEST_KEY = 60  # no field and no id is longer; a fault tells the whole key
MOST_DIGITS = 18  # a longer whole number stays text, which no field reads as a number that is not finite

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_PLAIN: Any = yaml.resolver.Resolver()
_MEANT: dict[str, Callable[[str], Any]] = {
    "tag:yaml.org,2002:int": lambda text: int(text) if len(text) <= MOST_DIGITS else text,
    "tag:yaml.org,2002:float": float,
    "tag:yaml.org,2002:bool": lambda text: text.lower() in ("true", "yes", "on"),
    "tag:yaml.org,2002:null": lambda text: None,  # noqa: ARG005
}

Key = tuple[str | int, ...]
M = TypeVar("M", bound=BaseModel)


@dataclass
class Document:
    """A file's data and the line of each of its keys and items."""

    path: Path
    data: Any
    lines: dict[Key, int] = field(default_factory=dict)

    def line(self, key: Key) -> int:
        """The line of a key, or of the nearest key around it."""
        while key and key not in self.lines:
            key = key[:-1]
        return self.lines.get(key, 1)

    def fault(self, key: Key, fault: str, mend: str = "") -> ContentError:
        """An error at a key of this file."""
        return ContentError(self.path, self.line(key), fault, mend)


def read_text(path: Path) -> str:
    """Read a text file of at most MAX_BYTES bytes in UTF-8.

    Raises ContentError if it is missing, no regular file (a pipe may never end), too large or in another encoding.
    """
    try:
        if not S_ISREG(path.stat().st_mode):
            raise OSError(0, "it is no regular file")
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except OSError as error:
        raise ContentError(
            path, 0, f"the file cannot be read ({error.strerror}).", "Check its name and rights."
        ) from None
    if len(raw) > MAX_BYTES:
        raise _too_large(path)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise ContentError(path, line, "the file is not UTF-8 text.", "Save it in the encoding UTF-8.") from None


def _too_large(path: Path) -> ContentError:
    return ContentError(path, 0, f"the file is larger than {MAX_BYTES // 1024} KiB.", "Split it into smaller files.")


def check_printable(path: Path, text: str, first_line: int = 1) -> None:
    """Raise ContentError at the first character that no page could show."""
    if unprintable := yaml.reader.Reader.NON_PRINTABLE.search(text):
        line = text.count("\n", 0, unprintable.start()) + first_line
        fault = f"the file holds a character that cannot be printed (U+{ord(unprintable[0]):04X})."
        raise ContentError(path, line, fault, "Take it out, or save the file in the encoding UTF-8.")


def read_yaml(path: Path, text: str | None = None, first_line: int = 1) -> Document:
    """Read a YAML file (or a part of one, given as text that starts at `first_line`) as plain data.

    Raises ContentError for anything but mappings, lists and plain values, written once and without aliases.
    """
    text = read_text(path) if text is None else text
    if len(text) > MAX_BYTES:
        raise _too_large(path)
    check_printable(path, text, first_line)
    document = Document(path, None)
    builder = _Builder(document, first_line)
    try:
        document.data = builder.build(_bounded(yaml.parse(text, Loader=_Loader), path, first_line))
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        line = (mark.line if mark else 0) + first_line
        problem = getattr(error, "problem", None) or "this is not YAML"
        raise ContentError(
            path, line, f"the YAML cannot be read: {problem}.", "Check indents, colons, quotes."
        ) from None
    return document


def _bounded(events: Iterator[Any], path: Path, first_line: int) -> Iterator[Any]:
    depth = 0
    for count, event in enumerate(events):
        line = event.start_mark.line + first_line
        if count > MAX_EVENTS:
            raise ContentError(path, line, "the file holds too many values.", "Split it into smaller files.")
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise ContentError(path, line, "anchors and aliases (& and *) are not read.", "Write the value out.")
        if getattr(event, "tag", None) and not getattr(event, "tag", "").startswith("tag:yaml.org,2002:str"):
            raise ContentError(path, line, f"the tag {event.tag[:LONGEST_KEY]} is not read.", "Write a plain value.")
        depth += isinstance(event, yaml.CollectionStartEvent) - isinstance(event, yaml.CollectionEndEvent)
        if depth > MAX_DEPTH:
            raise ContentError(path, line, f"values are nested more than {MAX_DEPTH} deep.", "Flatten them.")
        if isinstance(event, yaml.DocumentStartEvent) and count > 1:
            raise ContentError(path, line, "the file holds a second document.", "Keep one document in a file.")
        yield event


class _Builder:
    """Turns events into data; depth is bounded by _bounded, so plain recursion is safe."""

    def __init__(self, document: Document, first_line: int) -> None:
        self.document, self.first_line = document, first_line

    def build(self, events: Iterator[Any]) -> Any:
        data = None
        for event in events:
            if isinstance(event, yaml.NodeEvent):
                data = self._node(event, events, ())
        return data

    def _node(self, event: Any, events: Iterator[Any], key: Key) -> Any:
        self.document.lines.setdefault(key, event.start_mark.line + self.first_line)
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(event)
        if isinstance(event, yaml.SequenceStartEvent):
            items: list[Any] = []
            while not isinstance(item := next(events), yaml.SequenceEndEvent):
                items.append(self._node(item, events, (*key, len(items))))
            return items
        return self._mapping(events, key)

    def _mapping(self, events: Iterator[Any], key: Key) -> dict[str, Any]:
        mapping: dict[str, Any] = {}
        while not isinstance(event := next(events), yaml.MappingEndEvent):
            line = event.start_mark.line + self.first_line
            if not isinstance(event, yaml.ScalarEvent):
                raise ContentError(self.document.path, line, "a key has to be a word.", "Write 'word: value'.")
            if len(event.value) > LONGEST_KEY:
                fault = f"the key '{event.value[:20]}...' is longer than {LONGEST_KEY} characters."
                raise ContentError(self.document.path, line, fault, "Shorten it.")
            if event.value in mapping:
                raise ContentError(self.document.path, line, f"'{event.value}' is written twice.", "Keep one of them.")
            self.document.lines[(*key, event.value)] = line
            mapping[event.value] = self._node(next(events), events, (*key, event.value))
        return mapping

    def _scalar(self, event: Any) -> Any:
        if not event.implicit[0]:
            return event.value
        tag = _PLAIN.resolve(yaml.ScalarNode, event.value, (True, False))
        try:
            return _MEANT[tag](event.value) if tag in _MEANT else event.value
        except ValueError:
            return event.value


def validated(model: type[M], document: Document, data: Any, key: Key = ()) -> M:
    """Check data against a model.

    Raises ContentError for the first fault, with its line in the document.
    """
    if not isinstance(data, dict):
        raise document.fault(
            key, f"a mapping of {model.__name__.lower()} fields is expected.", "Write 'field: value' lines."
        )
    try:
        return model.model_validate(data)
    except ValidationError as error:
        faults = error.errors(include_url=False)
        first = next((fault for fault in faults if fault["type"] == "extra_forbidden"), faults[0])
        path_inside = tuple(part for part in first["loc"] if not str(part).endswith(("Given", "Diagram")))
        field_name = ".".join(map(str, path_inside))
        raise document.fault(
            (*key, *path_inside), f"{field_name}: {_message(first)}" if path_inside else _message(first)
        ) from None


_TOLD = {
    "missing": "this field is missing. Add it.",
    "extra_forbidden": "there is no such field. Check its spelling, or take it away.",
    "string_type": "text is expected here.",
    "int_type": "a whole number is expected here.",
    "float_type": "a number is expected here.",
    "float_parsing": "a number is expected here.",
    "finite_number": "a finite number is expected here.",
    "tuple_type": "a list of two values ('[low, high]') is expected here.",
    "model_type": "a mapping ('name: value' lines), or for a value its number and unit ('41.3 V'), is expected here.",
    "union_tag_not_found": "name a part, or write 'from', 'one_of', or 'lowest', 'highest' and 'step'.",
    "dict_type": "a mapping ('name: value' lines) is expected here.",
    "list_type": "a list ('- value' lines) is expected here.",
    "string_pattern_mismatch": "use lower-case letters and digits, words joined as in the built-in files.",
    "recursion_loop": "the value refers to itself.",
    "too_long": "at most {max_length} are read here. Take some away.",
    "string_too_long": "the text is longer than {max_length} characters. Shorten it.",
}


def _message(error: Any) -> str:
    message = _TOLD.get(error["type"], str(error["msg"]).removeprefix("Value error, ") + ".")
    return message.format(**error["ctx"]) if error["type"].endswith("too_long") else message

"""Sheets as data for the templates: text made safe to print, drawings and formulas kept once."""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from typing import Any, TypeAlias

from tutor.classroom.sheets.content import LearnerKey, LearnerSheet, Style
from tutor.classroom.sheets.printable import pieces, right_to_left, short

Data: TypeAlias = dict[str, Any]

_FORMULAS = {"symbol", "formula"}
_OWN = {"name", "number", "notes"}


@dataclass
class Shared:
    """What many problems have in common, once each: drawings by their SVG, each with a name, and formulas as LaTeX.

    `shown` makes text safe for where it will stand.
    """

    shown: Callable[[str], str]
    drawings: dict[str, str] = field(default_factory=dict)
    formulas: set[str] = field(default_factory=set)

    def drawing(self, svg: str) -> str:
        """Keep a drawing; give its name."""
        return self.drawings.setdefault(svg, f"drawing-{len(self.drawings) + 1}")

    def formula(self, latex: str) -> str:
        """Keep a formula; it is its own name."""
        self.formulas.add(latex)
        return latex


def style_data(style: Style, shared: Shared) -> Data:
    """The style, its date as people write it."""
    day = f"{style.date.day} {style.date:%B %Y}"
    return {
        **asdict(style),
        "title": _typed_text(style.title, shared),
        "caution": shared.shown(style.caution),
        "date": day,
    }


def people_data(people: Iterable[LearnerSheet | LearnerKey], shared: Shared) -> list[Data]:
    """Each one's sheet or key; drawings and formulas go to what is shared and are told by their names."""
    return [_walked(asdict(person), "", shared) for person in people]


def _walked(value: Any, name: str, shared: Shared) -> Any:
    match value:
        case dict():
            return {key: _walked(inside, key, shared) for key, inside in value.items()}
        case list() | tuple():
            return [_walked(inside, name, shared) for inside in value]
        case str() if name == "svg":
            return shared.drawing(value)
        case str() if name in _FORMULAS:
            return shared.formula(value)
        case str() if name in _OWN:
            return _typed_text(value, shared)
        case str():
            return shared.shown(value)
        case _:
            return value


def _typed_text(text: str, shared: Shared) -> Data:
    """What a person has typed: whole, in pieces for long runs, and short for the head of a page, with its direction."""
    shown = shared.shown(text)
    return {"text": shown, "pieces": pieces(shown), "short": short(shown), "rtl": right_to_left(text)}

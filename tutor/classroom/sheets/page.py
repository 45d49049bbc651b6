"""Sheets and answer keys as one HTML page each: for screen readers, for larger text, without any script."""

import base64
from collections.abc import Iterable
from functools import lru_cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from tutor.base.text import visible
from tutor.classroom.sheets.content import LearnerKey, LearnerSheet, Style
from tutor.classroom.sheets.data import Shared, people_data, style_data
from tutor.classroom.sheets.formula import mathml
from tutor.classroom.sheets.pdf import TEMPLATES


def sheets_page(style: Style, sheets: Iterable[LearnerSheet]) -> str:
    """All learners' sheets as one page."""
    return _filled(style, sheets, key=False)


def key_page(style: Style, keys: Iterable[LearnerKey]) -> str:
    """The answer key as one page."""
    return _filled(style, keys, key=True)


def _filled(style: Style, people: Iterable[LearnerSheet | LearnerKey], *, key: bool) -> str:
    shared = Shared(visible)
    printed = people_data(people, shared)
    sources = {name: _source(svg) for svg, name in shared.drawings.items()}
    most = max((len(person["problems"]) for person in printed), default=0)
    return _template().render(
        print=style_data(style, shared), people=printed, sources=sources, key=key, most_places=most
    )


def _source(svg: str) -> str:
    """A drawing as an address that holds it; as a picture it can run nothing."""
    return f"data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()}"


@lru_cache(maxsize=1)
def _template() -> Template:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    environment.filters["formula"] = lambda latex: Markup(mathml(latex))  # made of MathML elements only
    return environment.get_template("page.html")

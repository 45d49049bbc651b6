"""Sheets and keys as PDF.  The templates get everything as data; nothing of it is ever read as their markup."""

import json
import os
import tempfile
from collections.abc import Callable, Iterable
from functools import lru_cache
from pathlib import Path
from typing import Literal

import typst

from tutor.classroom.sheets.content import LearnerKey, LearnerSheet, Style
from tutor.classroom.sheets.data import Shared, people_data, style_data
from tutor.classroom.sheets.formula import parts
from tutor.paths import content_root


@lru_cache(maxsize=1)
def _compiler() -> typst.Compiler:
    folder = content_root() / "assets"
    return typst.Compiler(
        root=str(folder / "sheet"), font_paths=[str(folder / "fonts")], ignore_system_fonts=True
    )


def sheets_pdf(style: Style, sheets: Iterable[LearnerSheet]) -> bytes:
    return _compiled("learners.typ", style, sheets)


def key_pdf(style: Style, keys: Iterable[LearnerKey]) -> bytes:
    return _compiled("key.typ", style, keys)


def _compiled(template: str, style: Style, people) -> bytes:
    shared = Shared()
    data = {
        "print": style_data(style),
        "people": people_data(people, shared),
        "formulas": {latex: parts(latex) for latex in sorted(shared.formulas) if latex},
        "drawings": {name: svg for svg, name in shared.drawings.items()},
    }
    source = content_root() / "assets" / "sheet" / template
    return _compiler().compile(
        input=str(source), sys_inputs={"data": json.dumps(data, ensure_ascii=False)}, pdf_standards="ua-1",
    )

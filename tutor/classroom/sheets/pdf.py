"""Sheets and answer keys as PDF.  The templates get all text as data; nothing of it is read as their markup.

One learner after the other is set and the parts are then joined, so that memory does not grow with the class.
"""

import io
import json
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Final

import typst
from pypdf import PdfWriter
from pypdf.generic import NameObject, TextStringObject

from tutor.base.paths import content_root
from tutor.classroom.sheets.content import LearnerKey, LearnerSheet, Style
from tutor.classroom.sheets.data import Shared, people_data, style_data
from tutor.classroom.sheets.formula import parts
from tutor.classroom.sheets.printable import FONTS, printable

ACCESSIBLE: Final = "ua-1"  # PDF/UA-1, ISO 14289-1
TEMPLATES = content_root() / "assets" / "sheet"

# The compiler keeps what its last ten documents needed. Empty ones in between push it out: half the memory.
_EMPTY = 4
_AT_ONCE = 2
_local = threading.local()

Progress = Callable[[int], None]


def sheets_pdf(style: Style, sheets: Iterable[LearnerSheet], progress: Progress | None = None) -> bytes:
    """All learners' sheets, each from a new page; `progress` is told how many are done.

    The sheet of a single learner is PDF/UA.  Raises ValueError if there is none.
    """
    return _joined(style, _set_one_by_one("learners.typ", style, sheets, progress))


def key_pdf(style: Style, keys: Sequence[LearnerKey], progress: Progress | None = None) -> bytes:
    """The marking strip and after it each learner's answers with worked solutions.

    Raises ValueError if there is no learner.
    """
    if not keys:
        raise ValueError("There is no learner to print for; put one on the roster first.")

    def all_parts() -> Iterator[bytes]:
        yield _compiled("strip.typ", style, keys)
        yield from _set_one_by_one("key.typ", style, keys, progress)

    return _joined(style, all_parts())


def _set_one_by_one(
    template: str, style: Style, people: Iterable[LearnerSheet | LearnerKey], progress: Progress | None
) -> Iterator[bytes]:
    """Each one's part, in order; two are set at once, since the compiler leaves Python to others meanwhile."""

    def compile_person(person: LearnerSheet | LearnerKey) -> bytes:
        pdf = _compiled(template, style, [person])
        for _ in range(_EMPTY):
            compiler().compile(b"")
        return pdf

    with ThreadPoolExecutor(_AT_ONCE) as threads:
        for count, pdf in enumerate(threads.map(compile_person, people), start=1):
            yield pdf
            if progress:
                progress(count)


def _joined(style: Style, pdfs: Iterable[bytes]) -> bytes:
    """The parts as one document; a single part stays as it is."""
    writer = PdfWriter()
    count, last = 0, b""
    for last in pdfs:
        writer.append(io.BytesIO(last))
        count += 1
    if not count:
        raise ValueError("There is no learner to print for; put one on the roster first.")
    if count == 1:
        return last
    writer.add_metadata({"/Title": style.title})
    writer.root_object[NameObject("/Lang")] = TextStringObject("en")
    joined = io.BytesIO()
    writer.write(joined)
    return joined.getvalue()


def inputs(style: Style, people: Sequence[LearnerSheet | LearnerKey]) -> dict[str, str]:
    """What a template gets: one JSON text with the style, the people, and the formulas and drawings they share."""
    shared = Shared(printable)
    data = {
        "print": style_data(style, shared),
        "people": people_data(people, shared),
        "formulas": {latex: parts(latex) for latex in sorted(shared.formulas) if latex},
        "drawings": {name: svg for svg, name in shared.drawings.items()},
    }
    return {"data": json.dumps(data, ensure_ascii=False)}


def _compiled(template: str, style: Style, people: Sequence[LearnerSheet | LearnerKey]) -> bytes:
    source, data = str(TEMPLATES / template), inputs(style, people)
    try:
        pdf = compiler().compile(source, sys_inputs=data, pdf_standards=ACCESSIBLE)
    except typst.TypstError as error:
        if "PDF/UA" not in str(error):
            raise
        pdf = compiler().compile(source, sys_inputs=data)  # signs that no one font has together are left blank
    if not isinstance(pdf, bytes):
        raise TypeError(f"{template} was not made into one PDF")
    return pdf


def compiler() -> typst.Compiler:
    """This thread's compiler: it reads the templates' folder only, and no fonts but those shipped with it."""
    if not hasattr(_local, "compiler"):
        _local.compiler = typst.Compiler(root=str(TEMPLATES), font_paths=[str(FONTS)], ignore_system_fonts=True)
    thread_compiler: typst.Compiler = _local.compiler
    return thread_compiler

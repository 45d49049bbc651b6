"""A problem whose exercise has changed since it was handed out, printed from what was kept of it, without a diagram."""

from collections.abc import Iterator
from dataclasses import dataclass

from tutor.classroom.keeping import cautions_of
from tutor.classroom.models import Handed
from tutor.classroom.sheets.content import (
    LONG,
    MOST_LINES,
    GivenRow,
    PrintedProblem,
    WorkedLine,
    WorkedProblem,
)
from tutor.content.library import Library
from tutor.content.models import FOR_ALL
from tutor.entries.kinds import capitalised, label
from tutor.units import conversion, written

WHY = "The exercise has changed since this was handed out. These values were kept then; answers are marked by them."


@dataclass(frozen=True)
class Changed:
    """A handed problem that the content of today would give other values."""

    handed: Handed
    library: Library


def printed_as_kept(place: int, of: Changed, *, steps: bool) -> PrintedProblem:
    """The problem on its learner's sheet."""
    handed, kept = of.handed, of.handed.kept
    on_the_way = [name for name in handed.expected if name not in (handed.ask, kept.evidence)]
    proof = [kept.evidence] if kept.evidence else []
    return PrintedProblem(
        place=place,
        code=handed.code,
        title=kept.title,
        story=" ".join(kept.story),
        question=kept.task,
        answers=tuple(_label(handed, name) for name in [*proof, handed.ask]),
        cautions=_cautions(of),
        lines=MOST_LINES,
        actions=tuple((letter, words) for letter, _, words in (line.partition(": ") for line in kept.listed)),
        givens=_givens(of),
        steps=tuple(_label(handed, name) for name in on_the_way) if steps else (),
        long=sum(map(len, [*kept.story, *kept.listed, kept.task])) > LONG,
    )


def worked_as_kept(place: int, of: Changed) -> WorkedProblem:
    """The problem in the key, with the values kept of its steps."""
    handed = of.handed
    return WorkedProblem(
        place=place,
        code=handed.code,
        title=handed.kept.title,
        question=handed.kept.task,
        givens=_givens(of),
        lines=tuple(_lines(handed)),
        answer=handed.answer,
        cautions=_cautions(of),
    )


def _cautions(of: Changed) -> tuple[str, ...]:
    return tuple(text for id_, text in cautions_of(of.handed, of.library).items() if id_ != FOR_ALL)


def _givens(of: Changed) -> tuple[GivenRow, ...]:
    quantities, words = of.library.quantities, of.handed.kept.words
    return tuple(
        GivenRow(quantities[name].symbol if name in quantities else "", capitalised(words.get(name, name)), amount.text)
        for name, amount in of.handed.givens.items()
    )


def _label(handed: Handed, name: str) -> str:
    kept = handed.kept
    choices = kept.choices if name == handed.ask else ()
    return label(kept.words.get(name, name), kept.kinds.get(name, "number"), kept.units.get(name, ""), choices)


def _lines(handed: Handed) -> Iterator[WorkedLine]:
    yield _line("As handed out", WHY, "")
    for name, value in handed.expected.items():
        if name != handed.ask and handed.kept.kinds.get(name) in ("number", "count"):
            unit = handed.kept.units.get(name, "")
            shown = written(conversion(unit).to_shown(value), unit)
            yield _line(capitalised(handed.kept.words.get(name, name)), "", shown)


def _line(title: str, why: str, numbers: str) -> WorkedLine:
    return WorkedLine(title=title, why=why, formula="", spoken="", numbers=numbers, value="", source="")

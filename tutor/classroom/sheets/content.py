"""What stands on a sheet and in an answer key, as plain data; formulas and symbols are LaTeX."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

Paper = Literal["a4", "us-letter"]

FEWEST_LINES, MOST_LINES = 3, 8
LONG = 1300  # characters; what is shorter fits a page with its givens, diagram and room to work


@dataclass(frozen=True, kw_only=True)
class Style:
    """What all pages share: the set's title and date, the paper, and the caution that stands on every page."""

    title: str
    date: date
    caution: str
    paper: Paper = "a4"
    large: bool = False


@dataclass(frozen=True)
class Shape:
    """One drawing as SVG and its size in pixels."""

    svg: str
    width: float
    height: float


@dataclass(frozen=True)
class Picture:
    """A diagram in a wide and a narrow drawing, and the sentence that says what both show."""

    wide: Shape
    narrow: Shape
    words: str


@dataclass(frozen=True)
class GivenRow:
    """One given as told: symbol, words, value with unit."""

    symbol: str
    words: str
    value: str


@dataclass(frozen=True, kw_only=True)
class PrintedProblem:
    """One problem on a learner's sheet.

    `actions` are those to be put in order, each with its letter; `steps` and `answers` are the labels of what is to be
    filled in; `lines` is the least room to work; a `long` one may fill more than a page.
    """

    place: int
    code: str
    title: str
    story: str
    question: str
    answers: tuple[str, ...]
    cautions: tuple[str, ...]
    lines: int
    actions: tuple[tuple[str, str], ...] = ()
    givens: tuple[GivenRow, ...] = ()
    picture: Picture | None = None
    steps: tuple[str, ...] = ()
    long: bool = False


@dataclass(frozen=True, kw_only=True)
class LearnerSheet:
    """One learner's sheet; `notes` are the instructor's own lines to them."""

    name: str
    number: str
    problems: tuple[PrintedProblem, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class WorkedLine:
    """One line of a worked solution; for an order there is no formula and no numbers."""

    title: str
    why: str
    formula: str
    spoken: str
    numbers: str
    value: str
    source: str


@dataclass(frozen=True, kw_only=True)
class WorkedProblem:
    """One problem in the answer key."""

    place: int
    code: str
    title: str
    question: str
    givens: tuple[GivenRow, ...]
    lines: tuple[WorkedLine, ...]
    answer: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LearnerKey:
    """The answers and worked solutions of one learner's sheet."""

    name: str
    number: str
    problems: tuple[WorkedProblem, ...]

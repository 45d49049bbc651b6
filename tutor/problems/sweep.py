"""A given moved along an axis: what the relations of exercises come to on the way, and whether limits are kept."""

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, get_args

from tutor.base.units import conversion, written
from tutor.content.errors import ContentError
from tutor.content.figures import Case, Curve, Limit, Sweep, Swept
from tutor.content.files import Key, validated
from tutor.content.library import Declared, DeclaredFigure, Library
from tutor.content.models import PLACEHOLDER, Amount, Exercise, RulebookId, filled, merged
from tutor.expression.evaluate import NO_VALUE, holds_at_most
from tutor.expression.tree import Comparison, Node, names
from tutor.problems.draw import Option, pools, range_amounts, size_amount
from tutor.problems.method import needed
from tutor.problems.problem import Problem
from tutor.problems.question import Question
from tutor.trade.rulebooks import Rulebook, TableError
from tutor.trade.site import year_of_temperatures

_BEYOND = 3  # so many whole numbers are shown beyond the last one that keeps what must not be exceeded
_MOST_ROWS = 21  # of a figure's table, that it can be read
_MID_JANUARY = 15.0
_SITE = ("record_low", "hottest_cell", "january_mean", "july_mean")
_SHARED = ("givens", "relations", "why", "mistakes")
Values = Mapping[str, float]


@dataclass(frozen=True)
class Axis:
    """What moves: its values as shown and their texts, and where the chosen one stands (None: nowhere).

    `told` are the points that stand in the table.  A `named` axis has places for sizes or choices in their order.
    """

    words: str
    unit: str
    shown: list[float]
    texts: list[str]
    told: Sequence[int]
    here: float | None = None
    whole: bool = False
    named: bool = False


@dataclass(frozen=True)
class Line:
    """A quantity along the axis and at the chosen point (working units; None where it has no value).

    `broken` is the limit that it breaks at each point, `marked` the point that carries its value, `reach` how far it
    goes on until it breaks one, `fails` why it cannot be used.  A `trap` comes of a mistake; a `thin` one is not what
    is chosen, or cannot be used.
    """

    words: str
    of: str
    values: list[float | None]
    broken: list[Limit | None]
    here: float | None = None
    marked: int | None = None
    reach: str = ""
    fails: str = ""
    trap: bool = False
    thin: bool = False


@dataclass(frozen=True)
class Level:
    """A line across the figure at a value in working units."""

    words: str
    value: float
    deadly: bool = False


@dataclass(frozen=True)
class Traced:
    """All that a figure shows; `title` says what its lines are."""

    problem: Problem
    title: str
    axis: Axis
    lines: list[Line]
    sentence: str
    levels: list[Level] = field(default_factory=list)
    band: tuple[float, float] | None = None
    fits: str = ""
    stepped: bool = False


@dataclass(frozen=True)
class FigureQuestion:
    """A declared sweep under a rulebook, with the question that holds its givens and relations."""

    sweep: Sweep
    question: Question
    _trees: dict[str, Node] = field(default_factory=dict, compare=False)

    def tree(self, text: str, key: Key = ()) -> Node:
        """An expression of the declaration.

        Raises ContentError if it cannot be read, or names what the figure has not.
        """
        if text not in self._trees:
            tree = self.question.parsed(key or (text,), text)
            quantities = {*self.question.exercise.givens, *self.question.relations}
            if unknown := sorted(names(tree) - quantities):
                fault = f"'{text}': the figure has no quantity '{unknown[0]}'."
                raise self.fault(key, fault, f"It has {', '.join(sorted(quantities))}.")
            self._trees[text] = tree
        return self._trees[text]

    def fault(self, key: Key, fault: str, mend: str = "") -> ContentError:
        """An error at a key of the declaration, or of what differs under the rulebook."""
        document = self.question.document
        under = ("in_rulebook", self.question.rulebook.id, *key)
        return document.fault(under if under in document.lines else key, fault, mend)

    def check(self) -> None:
        """Prove that all names are known, and that every curve has values in the figure.

        Raises ContentError with file, line and mend.
        """
        sweep, exercise = self.sweep, self.question.exercise
        names_by_kind = {
            "quantity": {*exercise.givens, *self.question.relations},
            "given": {*exercise.givens},
            "control": {role for role, _ in pools(self.question)},
            "mistake": {*exercise.mistakes},
        }
        for key, kind, name in _names(sweep):
            if name not in names_by_kind[kind]:
                mend = f"It has {', '.join(sorted(names_by_kind[kind]))}."
                raise self.fault(key, f"the figure has no {kind} '{name}'.", mend)
        if repeated := next((name for name in sweep.controls if sweep.controls.count(name) > 1), None):
            raise self.fault(("controls",), f"'{repeated}' is listed twice.", "Keep one of them.")
        for role, pool in pools(self.question):
            shelf = [option.name for option in pool if option.name]
            if shelf and role in sweep.start and sweep.start[role] not in shelf:
                raise self.fault(("start", role), f"there is no '{sweep.start[role]}'.", f"Choose {', '.join(shelf)}.")
        for key, text in comparisons(sweep):
            if not isinstance(self.tree(text, key), Comparison):
                raise self.fault(key, f"'{text}' compares nothing.", "Write 'left <= right' or 'left >= right'.")
        problem = self.problem({})
        fillable = names_by_kind["quantity"] | problem.parts.keys() | {"bound", "curve", "trap"}
        for key, sentence in _sentences(sweep):
            for name in PLACEHOLDER.findall(sentence):
                if name.removeprefix("-") not in fillable:
                    raise self.fault(key, f"the figure has no '{name}' to tell.", "Check its spelling.")
        for index, line in enumerate(traced(self, problem).lines):
            if not any(value is not None for value in line.values):
                raise self.fault(
                    ("curves", index), f"'{line.of}' has no value anywhere in the figure.", "Check the range."
                )

    def value(self, text: str, values: Values) -> float | None:
        """What an expression comes to; None where something that it rests on has no value."""
        tree = self.tree(text)
        return self.question.relation(tree)(values) if names(tree) <= values.keys() else None

    def amount(self, name: str, text: str, key: Key) -> Amount:
        """A given's value as the declaration writes it: '10 A', or a conductor by its trade name.

        Raises ContentError.
        """
        quantity = self.question.library.quantities[name]
        with suppress(TableError, ValueError):
            if quantity.kind == "size":
                return size_amount(self.question.rulebook.size_named(text))
            amount = Amount.model_validate(text)
            if conversion(amount.unit).dimension == conversion(quantity.unit).dimension:
                return amount
        mend = f"Write a number and its unit, as '24 V'; here the unit is that of '1 {quantity.unit}'."
        if quantity.kind == "size":
            mend = f"Choose one of {', '.join(size.name for size in self.question.rulebook.sizes)}."
        raise self.fault(key, f"'{text}' is no value of '{name}'.", mend)

    def problem(self, chosen: Mapping[str, Option]) -> Problem:
        """The problem of the chosen parts and givens; the others are as the figure starts, or the first there is."""
        shown: dict[str, Amount] = {}
        parts: dict[str, str] = {}
        for role, pool in pools(self.question):
            option = chosen.get(role, pool[0])
            shown |= {**pool[0].shown, **option.shown}
            if option.name:
                parts[role.replace(" ", "_")] = option.name
        shown |= self.start
        for option in chosen.values():
            shown |= option.shown
        values = {name: amount.working for name, amount in shown.items()}
        unit = self.question.shown_unit(self.question.ask, shown)
        return Problem(self.question, 0, parts, shown, values, follow(self.question, values), unit)

    @property
    def start(self) -> dict[str, Amount]:
        """The values of givens to begin with."""
        givens = ((name, text) for name, text in self.sweep.start.items() if name in self.question.exercise.givens)
        return {name: self.amount(name, text, ("start", name)) for name, text in givens}

    def keeps(self, limit: Limit, values: Values) -> bool:
        """Whether a limit is kept; what has no value breaks it."""
        value, bound = values.get(limit.of), self.value(limit.bound, values)
        if value is None or bound is None:
            return False
        return bool(holds_at_most(value, bound) if limit.most else holds_at_most(bound, value))


def rulebooks_of(library: Library, sweep: Sweep) -> list[RulebookId]:
    """The rulebooks under which all exercises of a figure can be set."""
    exercises = [library.declared[id_].exercise for id_ in sweep.exercises]
    return [id_ for id_ in get_args(RulebookId) if all(id_ in exercise.rulebooks for exercise in exercises)]


def figure_question(library: Library, declared: DeclaredFigure, book: Rulebook) -> FigureQuestion:
    """Compile a declared sweep: the givens and relations of its exercises, in which its own take their places.

    Raises ContentError with file, line and mend.
    """
    document = declared.document
    assert isinstance(declared.figure, Sweep)
    place: Key = ("in_rulebook", book.id) if book.id in declared.figure.in_rulebook else ()
    sweep = validated(Sweep, document, declared.figure.under(book.id), place)
    exercises = [library.declared[id_].under(book.id).exercise for id_ in sweep.exercises]
    fields = [exercise.model_dump(mode="json", by_alias=True, exclude_unset=True) for exercise in exercises]
    replacing = sweep.model_dump(mode="json", by_alias=True, include={"givens", "relations"}, exclude_unset=True)
    data = {name: value for name, value in fields[0].items() if name not in ("in_rulebook", "within", "holds_for")}
    for name in _SHARED:
        shared = {
            entry: value
            for exercise_fields in reversed(fields)
            for entry, value in exercise_fields.get(name, {}).items()
        }
        data[name] = merged(shared, replacing.get(name, {}))
    data["givens"] = {name: given for name, given in data["givens"].items() if name not in data["relations"]}
    first_curve = sweep.curves[0].of
    if first_curve not in data["relations"]:
        fault, mend = f"the figure has no quantity '{first_curve}'.", f"It has {', '.join(data['relations'])}."
        raise document.fault((*place, "curves", 0, "of"), fault, mend)
    data |= {"id": document.path.stem, "asks": {first_curve: sweep.axis}, "limits": []}
    exercise = validated(Exercise, document, data)
    return FigureQuestion(sweep, Question(library, Declared(exercise, document), first_curve, book))


def _names(sweep: Sweep) -> Iterator[tuple[Key, str, str]]:
    """What a declaration names: where, of which kind, and the name."""
    if sweep.swept:
        yield ("swept", "quantity"), "given", sweep.swept.quantity
    yield from ((("along",), "given", name) for name in (_SITE if sweep.along else ()))
    yield from ((("band", index), "quantity", name) for index, name in enumerate(sweep.band or ()))
    yield from ((("controls", index), "control", name) for index, name in enumerate(sweep.controls))
    yield from ((("start", name), "control", name) for name in sweep.start)
    yield from ((("limits", index, "of"), "quantity", limit.of) for index, limit in enumerate(sweep.limits))
    for index, curve in enumerate(sweep.curves):
        yield ("curves", index, "of"), "quantity", curve.of
        yield from ((("curves", index, "given", name), "given", name) for name in curve.given)
        if curve.mistake:
            yield ("curves", index, "mistake"), "mistake", curve.mistake


def comparisons(sweep: Sweep) -> Iterator[tuple[Key, str]]:
    """What a declaration compares, and what has to stand on one axis, as comparisons."""
    first = sweep.curves[0].of
    yield from ((("curves", index, "of"), f"{first} <= {curve.of}") for index, curve in enumerate(sweep.curves))
    yield from (
        (("curves", index, "carries"), curve.carries) for index, curve in enumerate(sweep.curves) if curve.carries
    )
    for index, limit in enumerate(sweep.limits):
        yield ("limits", index, "most" if limit.most else "least"), f"{limit.of} <= {limit.bound}"
        yield ("limits", index, "of"), f"{first} <= {limit.of}"
    yield from ((("levels", index, "at"), f"{first} <= {level.at}") for index, level in enumerate(sweep.levels))
    yield from ((("band", index), f"{first} <= {name}") for index, name in enumerate(sweep.band or ()))
    for index, part in enumerate(sweep.says):
        for place, case in enumerate([] if isinstance(part, str) else part):
            if case.when:
                yield ("says", index, place, "when"), case.when


def _sentences(sweep: Sweep) -> Iterator[tuple[Key, str]]:
    for index, part in enumerate(sweep.says):
        yield from (
            (("says", index), words) for words in ([part] if isinstance(part, str) else [case.says for case in part])
        )
    yield from ((("limits", index, "words"), limit.words) for index, limit in enumerate(sweep.limits))
    yield from ((("levels", index, "words"), level.words) for index, level in enumerate(sweep.levels))
    for index, curve in enumerate(sweep.curves):
        yield from ((("curves", index), words) for words in (curve.seems, curve.deceives))
    if sweep.choice:
        yield from ((("choice", part), words) for part, words in sweep.choice)


def follow(question: Question, givens: Values, relations: Mapping[str, Node] | None = None) -> dict[str, float]:
    """All that the relations come to; what has no value (beyond a table, say) is left out, and what rests on it."""
    return next(_followed(question, [givens], question.relations if relations is None else relations))


def _followed(
    question: Question, points: Sequence[Values], relations: Mapping[str, Node]
) -> Iterator[dict[str, float]]:
    """The same at several points, which all tell the same quantities."""
    steps = [(name, question.relation(relations[name])) for name in needed(relations, relations, points[0])]
    for known in points:
        values = dict(known)
        for name, relation in steps:
            with suppress(KeyError, *NO_VALUE):
                values[name] = relation(values)
        yield {name: value for name, value in values.items() if math.isfinite(value)}


def traced(figure: FigureQuestion, problem: Problem) -> Traced:
    """Follow a declared sweep around the chosen values."""
    sweep, values, texts = figure.sweep, {**problem.known, **problem.values}, Texts(problem)
    axis, points = _axis(figure, problem, sweep.swept) if sweep.swept else _year(problem)
    followed = [_Followed(figure, problem, curve, points) for curve in sweep.curves]
    lines = [curve_trace.line for curve_trace in followed]
    sentences = [_sentence(figure, values, texts, part) for part in sweep.says]
    sentences += [curve_trace.seeming(values) for curve_trace in followed]
    sentences += [_chosen(figure, followed), _between(texts, axis, lines)]
    bounds = [(limit.bound, limit.words, limit.of, limit.deadly) for limit in sweep.limits]
    bounds += [(level.at, level.words, sweep.curves[0].of, False) for level in sweep.levels]
    levels = [
        Level(filled(words, Texts(problem, {"bound": problem.text_of(quantity_name, value)})), value, deadly)
        for text, words, quantity_name, deadly in bounds
        if (value := figure.value(text, values)) is not None
    ]
    band = (values[sweep.band[0]], values[sweep.band[1]]) if sweep.band else None
    return Traced(
        problem, sweep.axis, axis, lines, " ".join(filter(None, sentences)), levels, band, sweep.fits, sweep.stepped
    )


class Texts(dict[str, str]):
    """The texts of a problem's parts and quantities by name, '' for what has no value; '-NAME' turns the sign."""

    def __init__(self, problem: Problem, more: Mapping[str, str] | None = None, values: Values | None = None) -> None:
        super().__init__({**problem.parts, **(more or {})})
        self.problem, self.values_by_name = problem, problem.values if values is None else values

    def __missing__(self, key: str) -> str:
        name = key.removeprefix("-")
        if name == key and name in self.problem.shown:
            return self.problem.text_of(name)
        if name not in self.values_by_name:
            return ""
        value = self.values_by_name[name]
        return self.problem.text_of(name, value if name == key else -value)

    def get(self, key: str, default: Any = "") -> Any:
        """As `[]`: nothing is missing."""
        return self[key] or default


def table_points(count: int) -> Sequence[int]:
    """The points of an axis that stand in the figure's table."""
    return range(0, count, math.ceil(count / _MOST_ROWS))


def _axis(figure: FigureQuestion, problem: Problem, swept: Swept) -> tuple[Axis, list[dict[str, float]]]:
    name, unit = swept.quantity, swept.lowest.unit
    quantity = problem.question.library.quantities[name]
    counted = quantity.kind == "count"
    amounts = range_amounts(swept)
    if counted:
        amounts = amounts[: _last_shown(figure, problem, [{name: amount.working} for amount in amounts])]
    axis = Axis(
        quantity.words,
        unit,
        [amount.value for amount in amounts],
        [amount.text for amount in amounts],
        table_points(len(amounts)),
        conversion(unit).to_shown(problem.known[name]) if name in figure.sweep.controls else None,
        counted,
    )
    return axis, [{name: amount.working} for amount in amounts]


def _last_shown(figure: FigureQuestion, problem: Problem, points: list[dict[str, float]]) -> int:
    """How many of the points of whole numbers are worth showing: a few beyond the last that exceeds nothing."""
    most = [limit for limit in figure.sweep.limits if limit.most]
    everywhere = [{**problem.known, **point} for point in points]
    followed = list(_followed(problem.question, everywhere, problem.question.relations))
    keeping = [index for index, values in enumerate(followed) if all(figure.keeps(limit, values) for limit in most)]
    fewest = next((index for index, values in enumerate(followed) if not _short_of(figure, values)), 0)
    return max(keeping[-1] if keeping else 0, fewest) + 1 + _BEYOND


def _short_of(figure: FigureQuestion, values: Values) -> bool:
    return any(not figure.keeps(limit, values) for limit in figure.sweep.limits if limit.least)


def _year(problem: Problem) -> tuple[Axis, list[dict[str, float]]]:
    """The days of a teaching year (see tutor.trade.site) with their coldest morning and their hottest cell."""
    year = year_of_temperatures(*(problem.known[name] for name in _SITE))
    days = [float(day) for day in year.day]
    texts = [f"{date(2001, 1, 1) + timedelta(days=int(day)):%B %d}" for day in days]
    first = min(range(len(days)), key=lambda index: abs(days[index] - _MID_JANUARY))
    axis = Axis("", "", days, texts, range(first, len(days), len(days) // 12))
    pairs = zip(year.coldest_morning, year.hottest_cell, strict=True)
    return axis, [{"record_low": float(low), "hottest_cell": float(high)} for low, high in pairs]


class _Followed:
    """A curve followed along the axis, and all the values that it comes to at the chosen point."""

    def __init__(self, figure: FigureQuestion, problem: Problem, curve: Curve, points: list[dict[str, float]]) -> None:
        question, self.figure, self.problem, self.curve = problem.question, figure, problem, curve
        relations: Mapping[str, Node] = question.relations
        if curve.mistake:
            relations = question.slipped(curve.mistake, question.exercise.mistakes[curve.mistake].slips[0])
        place = ("curves", figure.sweep.curves.index(curve), "given")
        curve_givens = {name: figure.amount(name, text, (*place, name)).working for name, text in curve.given.items()}
        known = {**problem.known, **curve_givens}
        along = list(_followed(question, [{**known, **point} for point in points], relations))
        self.here = follow(question, known, relations)
        values = [here.get(curve.of) for here in along]
        limits = [limit for limit in figure.sweep.limits if limit.of == curve.of and not curve.mistake]
        carries = curve.carries is None or bool(figure.value(curve.carries, self.here))
        chosen = all(
            problem.known[name] == value for name, value in curve_givens.items() if name in figure.sweep.controls
        )
        reached = [value for value in values if value is not None]
        extreme = {"highest": max, "lowest": min}.get(curve.mark or "")
        self.line = Line(
            curve.words,
            curve.of,
            values,
            [next((limit for limit in limits if not figure.keeps(limit, here)), None) for here in along],
            self.here.get(curve.of),
            values.index(extreme(reached)) if extreme and reached else None,
            _reach(figure, problem, along, limits) if limits and not figure.sweep.stepped else "",
            fails="" if carries else curve.fails,
            trap=curve.mistake is not None,
            thin=not (carries and chosen),
        )

    @property
    def limits(self) -> list[Limit]:
        """The limits that its quantity has to keep."""
        return [limit for limit in self.figure.sweep.limits if limit.of == self.curve.of]

    @property
    def keeps_all(self) -> bool:
        """Whether every limit is kept at the chosen point."""
        return all(self.figure.keeps(limit, self.here) for limit in self.limits)

    def seeming(self, values: Values) -> str:
        """What is said of a mistake's value; more where it hides that a limit is broken."""
        if self.line.here is None or not self.curve.seems:
            return ""
        seeming = {**values, self.curve.of: self.line.here}
        hidden = any(
            not self.figure.keeps(limit, values) and self.figure.keeps(limit, seeming) for limit in self.limits
        )
        trap = {"trap": self.problem.text_of(self.curve.of, self.line.here)}
        return filled(self.curve.deceives if hidden and self.curve.deceives else self.curve.seems, trap)

    def said(self, words: str) -> str:
        """A sentence with this curve's values, its name as {curve}, and the limit of its quantity as {bound}."""
        bound = self.figure.value(self.limits[0].bound, self.here) if self.limits else None
        texts = {
            "curve": self.curve.words,
            "bound": "" if bound is None else self.problem.text_of(self.curve.of, bound),
        }
        return filled(words, Texts(self.problem, texts, self.here))


def _reach(figure: FigureQuestion, problem: Problem, along: list[dict[str, float]], limits: list[Limit]) -> str:
    """The swept value at which a curve first breaks its limit, along a straight line between two points."""
    swept, limit = figure.sweep.swept, limits[0]
    if swept is None or problem.question.library.quantities[swept.quantity].kind == "count":
        return ""
    for before, after in pairwise(along):
        if figure.keeps(limit, before) and not figure.keeps(limit, after) and limit.of in after:
            bound = figure.value(limit.bound, before)
            assert bound is not None
            share = (bound - before[limit.of]) / (after[limit.of] - before[limit.of])
            start, end = before[swept.quantity], after[swept.quantity]
            unit = conversion(swept.lowest.unit)
            return written(unit.to_shown(start + share * (end - start)), swept.lowest.unit, 3)
    return ""


def _sentence(figure: FigureQuestion, values: Values, texts: Texts, part: str | list[Case]) -> str:
    """A sentence with its values, or the first of several cases that holds and whose values are all there."""
    cases = [Case(when=None, says=part)] if isinstance(part, str) else part
    holding = (case for case in cases if case.when is None or figure.value(case.when, values))
    return next(filter(None, (filled(case.says, texts) for case in holding)), "")


def _chosen(figure: FigureQuestion, followed: Sequence[_Followed]) -> str:
    """What is said of the first curve that will do, and of an earlier one that only seems to."""
    choice = figure.sweep.choice
    if choice is None:
        return ""
    good = next((curve_trace for curve_trace in followed if curve_trace.keeps_all and not curve_trace.line.thin), None)
    trap = next((curve_trace for curve_trace in followed if curve_trace.keeps_all and curve_trace.line.thin), None)
    sentence = good.said(choice.says) if good else followed[0].said(choice.none)
    return f"{sentence} {trap.said(choice.trap)}" if trap else sentence


def _between(texts: Texts, axis: Axis, lines: list[Line]) -> str:
    """From where to where on an axis of whole numbers every limit is kept, and what comes beyond."""
    if not axis.whole or axis.here is not None:
        return ""
    broken = [(line, index, limit) for line in lines for index, limit in enumerate(line.broken) if limit]
    fitting = sorted(set(range(len(axis.shown))) - {index for _, index, _ in broken})
    sentences = [f"No {axis.words} fits."]
    if fitting:
        sentences = [f"The {axis.words} may be {axis.texts[fitting[0]]} to {axis.texts[fitting[-1]]}."]
    short = [fault for fault in broken if fault[2].least and (not fitting or fault[1] < fitting[0])]
    over = [fault for fault in broken if fault[2].most and (not fitting or fault[1] > fitting[-1])]
    for line, index, limit in short[-1:] + over[:1]:
        text = texts.problem.text_of(line.of, line.values[index])
        sentences.append(f"With {axis.texts[index]}, the {line.words} is {text}, {limit.broken}: {limit.harm}.")
    return " ".join(sentences)

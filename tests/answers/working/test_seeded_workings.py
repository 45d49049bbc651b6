"""Workings written in many styles, right ones and ones with one seeded fault: is the first wrong line found?

The lines are written here from the relations and the numbers alone, without the program's own reader.
"""

import math
from contextlib import suppress
from random import Random

import pytest

from tutor.answers.working.judging import check_working
from tutor.engine.algebra import Literal, Name, Operation, Power
from tutor.engine.draw import draw
from tutor.units import conversion, written_unit

WORKINGS = 300
OPENINGS = ("", "so ", "which gives ", "then ", "-> ")


def is_plain(question):
    """Whether every step is a number that can be written down: no simulated day, no yes or no, no words."""
    kinds = {question.library.quantities[step.name].kind for step in question.right.steps}
    return kinds <= {"number", "count"} and all(
        step.kind != "trace" and len(step.trees) == 1 for step in question.right.steps
    )


@pytest.fixture(scope="module")
def questions(engine):
    found = []
    for id_, declared in engine.library.declared.items():
        for book in declared.exercise.rulebooks:
            for ask in declared.under(book).exercise.asks:
                question = engine.question(id_, ask, book)
                if is_plain(question) and len(question.right.steps) > 1:
                    found.append(question)
    assert len({question.exercise.id for question in found}) >= 40
    return found


class Writer:
    """Somebody who writes a working down, with a style of their own."""

    def __init__(self, problem, random):
        self.problem, self.random = problem, random
        self.figures = random.choice((4, 4, 5))
        self.comma = random.random() < 0.2

    def number(self, value, figures=None):
        text = f"{value:.{figures or self.figures}g}"
        text = f"{float(text):.10f}".rstrip("0").rstrip(".") if "e" in text else text
        return text.replace(".", ",") if self.comma else text

    def shown(self, name, value):
        return conversion(self.problem.unit_of(name)).to_shown(value)

    def kept(self, name, value):
        """The value that stands on the paper once it is rounded."""
        if self.problem.question.library.quantities[name].kind == "count":
            return value
        text = self.number(self.shown(name, value)).replace(",", ".")
        return conversion(self.problem.unit_of(name)).to_working(float(text))

    def in_numbers(self, tree, values):
        """A smooth relation in numbers; None where the units told are not those that are calculated with."""
        match tree:
            case Name(id_):
                unit = self.problem.unit_of(id_)
                plain = conversion(unit).scale == 1 and conversion(unit).offset == 0
                if not plain and not unit.startswith("%"):
                    return None
                text = self.number(values[id_], 12)
                return f"({text})" if values[id_] < 0 else text
            case Literal(text, unit):
                return text if not unit or conversion(unit).scale == 1 else None
            case Operation(sign, left, right):
                one, other = self.in_numbers(left, values), self.in_numbers(right, values)
                if one is None or other is None:
                    return None
                sign = {"*": self.random.choice("*×x"), "/": self.random.choice("/÷")}.get(sign, sign)
                return f"({one} {sign} {other})"
            case Power(base, exponent):
                inside = self.in_numbers(base, values)
                return None if inside is None else f"{inside}^{exponent}"
        return None

    def line(self, step, values, value, *, calculation=None):
        """One line for a step; `calculation` asks for one with an expression, or without."""
        in_degrees = conversion(self.problem.unit_of(step.name)).offset != 0
        smooth = step.kind == "solve" and not in_degrees and calculation is not False
        expression = self.in_numbers(step.trees[0], values) if smooth else None
        expression = expression if expression != self.number(value) else None
        unit = written_unit(self.problem.unit_of(step.name))
        result = f"{self.number(self.shown(step.name, value))} {unit}".strip()
        if self.problem.question.library.quantities[step.name].kind == "count":
            result = f"{value:.0f}"
        if step.name in self.problem.question.discrete and expression is None:
            return f"{step.name.replace('_', ' ')} = {result}"
        if expression is None:
            return self.random.choice(
                (f"{step.name.replace('_', ' ')} = {result}", f"{step.name.replace('_', ' ')}: {result}")
            )
        if unit.startswith("%"):
            result = f"{self.number(value)}"
        bare = expression.removeprefix("(").removesuffix(")") if expression.count("(") == 1 else expression
        label = self.random.choice((f"{step.name.replace('_', ' ')} = ", ""))
        return f"{'' if label else self.random.choice(OPENINGS)}{label}{bare} = {result}"


def written(writer, steps, faulty=None, factor=1.0):
    """The lines of a working along these steps; at the place `faulty` the result is `factor` times what it is."""
    problem, own, lines = writer.problem, {}, []
    relation = problem.question.relation
    for at, step in enumerate(steps):
        values = {**problem.known, **problem.values, **own}
        value = relation(step.whole)(values) * (factor if at == faulty else 1.0)
        lines.append(writer.line(step, values, value, calculation=True if at == faulty else None))
        own[step.name] = writer.kept(step.name, value)
    return lines, own


def test_right_workings_in_varied_styles_raise_no_alarm(questions):
    random = Random("right workings")
    alarms = []
    for number in range(WORKINGS):
        question = random.choice(questions)
        problem = draw(question, number)
        lines, _ = written(Writer(problem, random), question.right.steps)
        working = check_working(problem, "\n".join(lines))
        if working.first_wrong is not None or not working.reaches_answer:
            at = working.first_wrong
            said = "no answer" if at is None else f"{working.lines[at].verdict}: {working.lines[at].words}"
            alarms.append((question.exercise.id, question.ask, lines, at, said))
    print(f"\nfalse alarms: {len(alarms)} of {WORKINGS}", *alarms, sep="\n")
    assert len(alarms) <= WORKINGS / 100


def faulty_working(questions, random, number):
    """A working with one fault, and the place of the first wrong line."""
    while True:
        question = random.choice(questions)
        problem = draw(question, number)
        writer = Writer(problem, random)
        steps = question.right.steps
        if random.random() < 0.5:
            places = [
                at
                for at, step in enumerate(steps)
                if step.kind == "solve"
                and step.name not in question.discrete
                and writer.in_numbers(step.trees[0], {**problem.known, **problem.values})
                and not problem.unit_of(step.name).startswith("%")
                and conversion(problem.unit_of(step.name)).offset == 0
            ]
            if places:
                place = random.choice(places)
                with suppress(ValueError):  # a table may end before what follows
                    lines, _ = written(writer, steps, place, random.choice((0.9, 1.1, 1.25, 0.5, 10)))
                    return problem, lines, place, "arithmetic"
            continue
        way = random.choice(question.wrong)
        if way.slip.misread or [s.name for s in way.method.steps] != [s.name for s in steps]:
            continue
        place = next(
            (at for at, (one, two) in enumerate(zip(way.method.steps, steps, strict=True)) if one.trees != two.trees),
            None,
        )
        if place is None or any(len(step.trees) > 1 for step in way.method.steps):
            continue
        try:
            lines, own = written(writer, way.method.steps)
        except (ValueError, ZeroDivisionError, OverflowError):
            continue
        name = steps[place].name
        right = problem.values[name]
        if math.isfinite(own[name]) and abs(own[name] - right) > 2 * max(
            question.tolerance(name, right), 0.02 * abs(right)
        ):
            return problem, lines, place, f"method {way.mistake}"


def test_the_first_wrong_line_is_found(questions):
    random = Random("faulty workings")
    missed = []
    for number in range(WORKINGS):
        problem, lines, place, fault = faulty_working(questions, random, number)
        working = check_working(problem, "\n".join(lines))
        if working.first_wrong != place:
            missed.append((problem.question.exercise.id, problem.ask, fault, lines, place, working.first_wrong))
    print(f"\nmissed: {len(missed)} of {WORKINGS}", *missed, sep="\n")
    assert len(missed) <= WORKINGS / 20

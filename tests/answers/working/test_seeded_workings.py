"""Workings written in many styles, right ones and ones with one seeded fault: is the first wrong line found?

The lines are written here from the relations and the numbers alone, without the program's own reader.
"""

import math
from dataclasses import dataclass, field
from random import Random

import pytest

from tutor.answers.working.judging import check_working
from tutor.base.units import conversion, written_unit
from tutor.expression.tree import Call, Literal, Name, Negative, Operation, Power, rebuilt, replace_names, walk
from tutor.problems.draw import draw
from tutor.problems.wrong_method import declared_mistakes
from tutor.trade.rulebooks import TableError

WORKINGS = 300
NO_VALUE = (TableError, ValueError, ZeroDivisionError, OverflowError, KeyError)
OPENINGS = ("", "", "so ", "then ", "-> ", "that gives ", "which makes ", "therefore ")
ENDINGS = ("", "", "", " (rounded)", ".", "  # see the label", ", as on the label", " in all")
BULLETS = ("", "", "", "{}) ", "{}. ", "- ", "Step {}: ")
REMARKS = ("Given: the data sheet", "Now the next step", "Cold makes the voltage rise", "The label holds at the test")
UNLIKE = {"V": "A", "A": "W", "W": "V", "ohm": "V", "Wh": "W", "A*h": "V", "h": "A", "m": "V", "ft": "A", "K": "V"}
NUMBERS = ("number", "count")
BIND = {"+": 1, "-": 1, "*": 2, "/": 2}


@dataclass
class Style:
    """How somebody writes: figures, signs, units within the arithmetic, names before it, steps run together."""

    figures: int
    comma: bool
    minus: str
    times: str
    over: str
    units: bool
    naming: str
    bullets: str
    equals: str
    split: float
    joined: float


def a_style(random):
    return Style(
        figures=random.choice((4, 4, 5, 6)),
        comma=random.random() < 0.2,
        minus=random.choice("-−–"),
        times=random.choice((" × ", "*", " x ", " · ", " * ")),
        over=random.choice((" / ", "/", " ÷ ")),
        units=random.random() < 0.5,
        naming=random.choice(("name", "words", "symbol", "none", "none", "mixed")),
        bullets=random.choice(BULLETS),
        equals=random.choice((" = ", " = ", "=", " ≈ ", " is ")),
        split=random.choice((0.0, 0.3, 0.6)),
        joined=random.choice((0.0, 0.0, 0.5)),
    )


@dataclass
class Writer:
    """Somebody who writes a working down, with a style of their own; `fault` seeds one at the step of that name."""

    problem: object
    random: Random
    fault: str = ""
    at: str = ""
    style: Style = None
    lines: list = field(default_factory=list)
    place: int | None = None

    def __post_init__(self):
        self.style = self.style or a_style(self.random)
        self.quantities = self.problem.question.library.quantities
        self.values = {**self.problem.known, **self.problem.values}

    def digits(self, value, figures=None):
        text = f"{float(f'{value:.{figures or self.style.figures}g}'):.8f}".rstrip("0").rstrip(".")
        text = text.replace(".", ",") if self.style.comma else text
        return text.replace("-", self.style.minus)

    def shown(self, name, value):
        return conversion(self.problem.unit_of(name)).to_shown(value)

    def result(self, name, value, *, unit=True):
        """A step's value as it is written."""
        quantity = self.quantities[name]
        if quantity.kind in ("answer", "choice", "size"):
            return self.problem.text_of(name, value)
        if quantity.kind == "count":
            return f"{value:.0f}" + self.random.choice(("", " modules" if "module" in name else ""))
        told = written_unit(self.problem.unit_of(name)) if unit else ""
        if self.fault == "unit" and name == self.at:
            told = UNLIKE.get(self.problem.unit_of(name), "V")
        return f"{self.digits(self.shown(name, value))} {told}".strip()

    def kept(self, name, value):
        """The value that stands on the paper once it is rounded."""
        if self.quantities[name].kind != "number":
            return value
        told = float(f"{self.shown(name, value):.{self.style.figures}g}")
        return conversion(self.problem.unit_of(name)).to_working(told)

    def leaf(self, name):
        """A quantity's number within arithmetic; None where it cannot stand there without its unit."""
        unit, value = self.problem.unit_of(name), self.values[name]
        exact = 12 if name in self.problem.known else self.style.figures
        if self.quantities[name].kind == "size":
            return None
        if conversion(unit).offset or unit == "degC":
            degrees = self.digits(value, exact if unit == "degC" else self.style.figures + 2)
            return f"{degrees} °C" if self.style.units else degrees
        if self.style.units and unit:
            return f"{self.digits(self.shown(name, value), exact)} {written_unit(unit)}"
        if conversion(unit).scale == 1:
            return self.digits(value, exact)
        if unit in ("%", "%/K"):
            share = self.digits(100 * value, exact)
            return self.random.choice((self.digits(value, 12), f"({share}/100)"))
        return None

    def written(self, node):
        """A relation in numbers; None where that cannot be."""
        match node:
            case Name(id_):
                text = self.leaf(id_)
                return text if text is None or text[0] not in "-−–" else f"({text})"
            case Literal(text, unit):
                text = text.replace(".", ",") if self.style.comma else text
                return f"{text} {written_unit(unit)}" if self.style.units and unit not in ("", "1/K") else text
            case Negative(operand):
                inside = self.written(operand)
                return None if inside is None else f"({self.style.minus}{inside})"
            case Power(base, exponent):
                inside = self.written(base)
                return None if inside is None else f"({inside})^{exponent}"
            case Operation(sign, left, right):
                one, other = self.within(left, BIND[sign]), self.within(right, BIND[sign] + (sign in "-/"))
                if one is None or other is None:
                    return None
                signs = {"+": " + ", "-": f" {self.style.minus} ", "*": self.style.times, "/": self.style.over}
                return f"{one}{signs[sign]}{other}"
            case Call("least" | "greatest", arguments, _):
                inside = [self.written(argument) for argument in arguments]
                function = "min" if node.function == "least" else "max"
                return None if None in inside or self.style.comma else f"{function}({', '.join(inside)})"
        return None

    def within(self, node, binds):
        text = self.written(node)
        loose = isinstance(node, Operation) and BIND[node.sign] < binds
        return f"({text})" if text is not None and loose else text

    def label(self, name):
        kind = self.style.naming
        kind = self.random.choice(("name", "words", "symbol", "none")) if kind == "mixed" else kind
        letters = "".join(one for one in self.quantities[name].symbol if one.isalnum())
        plain = "\\" not in self.quantities[name].symbol and letters
        called = {
            "name": name.replace("_", " "),
            "words": self.quantities[name].words,
            "symbol": letters if plain else "",
        }
        return called.get(kind, "")

    def put(self, text, *, fault=False):
        if self.random.random() < 0.04:
            self.lines.append(self.random.choice(REMARKS))
        if fault and self.place is None:
            self.place = len(self.lines)
        self.lines.append(self.style.bullets.format(len(self.lines) + 1) + text)

    def run(self, steps, changed=()):
        """Write the lines along these steps; those that are `changed` are where a wrong way departs."""
        steps = list(steps)
        for at, step in enumerate(steps):
            value = self.problem.question.relation(step.whole)(self.values)
            if isinstance(value, bool):
                value = float(value)
            if self.fault == "arithmetic" and step.name == self.at:
                value *= self.random.choice((0.9, 1.1, 1.03, 0.5, 10, 0.97))
            tree = step.trees[0] if len(step.trees) == 1 else None
            fault = step.name in changed or step.name == self.at
            last = at == len(steps) - 1
            if self.may_join(step, tree, steps[at + 1 :], fault=fault, last=last):
                new = steps[at + 1]
                joined = replace_names(
                    new.trees[0], lambda name, tree=tree, step=step: tree if name == step.name else Name(name)
                )
                steps[at + 1] = type(new)(new.name, new.kind, (joined,))
                self.values[step.name] = value
                continue
            self.step(step, tree, value, fault=fault)
            self.values[step.name] = self.kept(step.name, value)
        return self.lines

    def may_join(self, step, tree, following, *, fault, last):
        if fault or last or tree is None or step.kind != "solve" or self.random.random() >= self.style.joined:
            return False
        new, *others = following
        uses_once = len(new.trees) == 1 and sum(one == Name(step.name) for one in walk(new.trees[0])) == 1
        alone = not any(step.name in one.uses for one in others) and new.name != self.at
        return new.kind == "solve" and uses_once and alone and self.written(tree) is not None

    def step(self, step, tree, value, *, fault):
        label, told = self.label(step.name), self.result(step.name, value)
        calculation = (
            tree if isinstance(tree, Operation | Call) and self.quantities[step.name].kind in NUMBERS else None
        )
        text = self.written(calculation) if calculation is not None else None
        if text is not None and not self.style.units and self.fault != "arithmetic":
            calculation = self.split_up(calculation, fault=fault)
            text = self.written(calculation)
        if conversion(self.problem.unit_of(step.name)).offset and self.problem.unit_of(step.name) == "degF":
            text = None
        if text is None:
            named = label or step.name.replace("_", " ")
            joint = self.random.choice((" = ", ": ", " is "))
            self.put(f"{named}{joint}{told}", fault=fault)
            return
        scaled = conversion(self.problem.unit_of(step.name)).scale != 1
        with_unit = self.style.units or scaled or self.fault == "unit" or self.random.random() < 0.7
        bare = self.result(step.name, value, unit=with_unit)
        opening = f"{label}{self.random.choice((' = ', ': '))}" if label else self.random.choice(OPENINGS)
        self.put(f"{opening}{text}{self.style.equals}{bare}{self.random.choice(ENDINGS)}", fault=fault)

    def split_up(self, tree, *, fault):
        """Work out an inner part on a line of its own first, and use its result."""
        if fault or self.random.random() >= self.style.split:
            return tree
        inner = [node for node in walk(tree) if isinstance(node, Operation) and node != tree]
        if not inner:
            return tree
        part = self.random.choice(inner)
        text = self.written(part)
        value = self.problem.question.relation(part)(self.values)
        if text is None or value <= 0:
            return tree
        told = f"{float(f'{value:.{self.style.figures + 1}g}'):.8f}".rstrip("0").rstrip(".")
        self.put(f"{text} = {told.replace('.', ',') if self.style.comma else told}")
        return _put_in(tree, part, Literal(told))


def _put_in(tree, part, new):
    if tree == part:
        return new
    parts = [_put_in(inner, part, new) for inner in _parts(tree)]
    return rebuilt(tree, parts) if parts else tree


def _parts(tree):
    match tree:
        case Operation(_, left, right):
            return [left, right]
        case Negative(operand):
            return [operand]
        case Power(base, _):
            return [base]
        case Call(_, arguments, _):
            return list(arguments)
    return []


@pytest.fixture(scope="module")
def questions(engine):
    """Every exercise with numbers, under each of its rulebooks, for each quantity that it asks for."""
    found = []
    for id_, declared in engine.library.declared.items():
        for book in declared.exercise.rulebooks:
            for ask in declared.under(book).exercise.asks:
                question = engine.question(id_, ask, book)
                if len(question.right.steps) > 1:
                    found.append(question)
    assert len({question.exercise.id for question in found}) >= 60
    return found


def test_right_workings_in_varied_styles_raise_no_alarm(questions):
    random = Random("right workings")
    alarms, reached = [], 0
    for number in range(WORKINGS):
        question = random.choice(questions)
        problem = draw(question, number)
        lines = Writer(problem, random).run(question.right.steps)
        working = check_working(problem, "\n".join(lines))
        reached += working.reaches_answer
        if (at := working.first_wrong) is not None:
            said = f"{working.lines[at].verdict}: {working.lines[at].words}"
            alarms.append((question.exercise.id, question.ask, number, lines, at, said))
    print(f"\nfalse alarms: {len(alarms)} of {WORKINGS}; the answer was recognised in {reached}", *alarms, sep="\n")
    assert len(alarms) <= WORKINGS / 100
    assert reached >= 0.9 * WORKINGS


def calculated(problem, random):
    """The steps in which a fault of arithmetic can be seen: those written out as a calculation."""
    trial = Writer(problem, random)
    steps = problem.question.right.steps
    named = [
        step.name
        for step in steps
        if step.kind == "solve"
        and len(step.trees) == 1
        and not isinstance(step.trees[0], Name)
        and trial.quantities[step.name].kind == "number"
        and problem.unit_of(step.name) != "degF"
        and abs(problem.values[step.name]) > 1e-6
    ]
    return [name for name in named if any(_writes(problem, random, steps, name) for _ in range(3))]


def _writes(problem, random, steps, name):
    tree = next(step.trees[0] for step in steps if step.name == name)
    return Writer(problem, random).written(tree) is not None


def departing(problem, way):
    """The values along a wrong way, and the first step in which it differs to be seen; None if none does."""
    right = {step.name: step.trees for step in problem.question.right.steps}
    misread = set(way.misread)
    known = dict(problem.known)
    for name in misread & problem.shown.keys():
        known[name] = conversion(way.misread[name]).to_working(problem.shown[name].value)
    try:
        values = way.method.values(known)
    except NO_VALUE:
        return None
    for step in way.method.steps:
        if right.get(step.name) != step.trees or step.uses & misread:
            if step.name not in right or not math.isfinite(values[step.name]):
                return None
            told = problem.values[step.name]
            if abs(values[step.name] - told) <= 0.02 * abs(told) + 2 * problem.question.tolerance(step.name, told):
                return None
            return known, step.name
    return None


def faulty_working(questions, random, number):
    """A working with one fault, and the place of the first wrong line."""
    while True:
        question = random.choice(questions)
        problem = draw(question, number)
        fault = random.choice(("arithmetic", "method", "method", "unit"))
        try:
            if fault != "method":
                names = calculated(problem, random)
                if not names:
                    continue
                writer = Writer(problem, random, fault, random.choice(names))
                lines = writer.run(question.right.steps)
                if fault == "arithmetic" and not any(sign in lines[writer.place] for sign in "+-−–*×x·/÷"):
                    continue
                return problem, lines, writer.place, fault
            if not declared_mistakes(question):
                continue
            way = random.choice(declared_mistakes(question))
            if (found := departing(problem, way)) is None:
                continue
            writer = Writer(problem, random)
            writer.values.update(found[0])
            lines = writer.run(way.method.steps, changed={found[1]})
            return problem, lines, writer.place, f"method {way.id}"
        except NO_VALUE:
            continue


def test_the_first_wrong_line_is_found(questions):
    random = Random("faulty workings")
    missed = []
    for number in range(WORKINGS):
        problem, lines, place, fault = faulty_working(questions, random, number)
        working = check_working(problem, "\n".join(lines))
        if working.first_wrong != place:
            missed.append((problem.question.exercise.id, problem.ask, number, fault, lines, place, working.first_wrong))
    print(f"\nmissed: {len(missed)} of {WORKINGS}", *missed, sep="\n")
    assert len(missed) <= WORKINGS / 20

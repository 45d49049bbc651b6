"""What all tests share: the built-in content, its questions, and the long properties kept out of ordinary runs."""

import importlib.util
import math
import os
import shutil
import time
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from zlib import crc32

import pint
import pytest
from hypothesis import settings

from tutor.answers.marking import mark
from tutor.base.units import conversion
from tutor.classroom.models import Answer, AssignedProblem, Member, Outcome, ProblemRecord, ProblemSnapshot
from tutor.classroom.sets.snapshots import assigned_from
from tutor.content.library import load
from tutor.expression.tree import Call, Comparison, Literal, Name, Negative, Operation, Power
from tutor.problems.draw import draw
from tutor.problems.question import Engine
from tutor.problems.sweep import follow

# Test files are no package, so a neighbour is loaded by its path; its fixtures are for all tests.
_spec = importlib.util.spec_from_file_location("databases", Path(__file__).with_name("databases.py"))
_databases = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_databases)
postgresql_server = _databases.postgresql_server
store_address = _databases.store_address

# Continuous integration looks at the same examples each time; at a desk every run looks at others.
settings.register_profile("desk", deadline=None)
settings.load_profile("desk")
settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("ci")


@pytest.hookimpl(tryfirst=True)  # before pytest selects by its marks
def pytest_collection_modifyitems(config, items):
    """Leave the long forms to `pytest -m long` and `-m million`; tests that are called by their name run in any case.

    Of a test marked `one_in(n)` all cases but each n-th are long, and of the tests on both databases two thirds on the
    second one, but for the tests of the store itself.
    """
    cases = Counter()
    for item in items:
        on = getattr(item, "callspec", None) and item.callspec.params.get("store_address")
        if on == "postgresql" and item.path.parent.name != "store" and crc32(item.nodeid.encode()) % 3:
            item.add_marker("long")
        sparse = item.get_closest_marker("one_in")
        if sparse is not None:
            test = (item.path, item.originalname)
            # Each property begins elsewhere, so that together they come to every question.
            if (cases[test] + crc32(item.originalname.encode())) % sparse.args[0]:
                item.add_marker("long")
            cases[test] += 1
    if config.option.markexpr or any("::" in argument for argument in config.args):
        return
    long = [item for item in items if item.get_closest_marker("long") or item.get_closest_marker("million")]
    config.hook.pytest_deselected(items=long)
    items[:] = [item for item in items if item not in set(long)]


def pytest_terminal_summary(terminalreporter):
    """Print the ratios that the benchmarks measured, whether their goals are reached or not."""
    reports = [
        report for kind in ("passed", "failed", "xfailed", "xpassed") for report in terminalreporter.getreports(kind)
    ]
    ratios = [
        f"{name}: {value:.2f}"
        for report in reports
        if report.when == "call"
        for name, value in report.user_properties
        if name.endswith("ratio")
    ]
    if ratios:
        terminalreporter.section("ratios to the references of tests/benchmarks")
        terminalreporter.write_line("\n".join(ratios))


def _is_discrete(question):
    kinds = {question.library.quantities[step.name].kind for step in question.right.steps}
    return "answer" in kinds or any(step.kind in ("round", "look up", "choose") for step in question.right.steps)


# A test that takes one of these runs for each such entry of `asks` of every built-in exercise.
QUESTIONS = {
    "question": lambda question: True,
    "discrete_question": _is_discrete,
    "turned_question": lambda question: question.reversed,
    "bounded_question": lambda question: bool(question.limits),
}


@lru_cache(maxsize=1)
def _built_in():
    """Every question, under each rulebook that makes a difference to it."""
    engine = Engine(load())
    questions = []
    for id_, declared in engine.library.declared.items():
        for at, book in enumerate(declared.exercise.rulebooks):
            if at == 0 or book in declared.exercise.in_rulebook:
                questions += [engine.question(id_, ask, book) for ask in declared.under(book).exercise.asks]
    return questions


def pytest_generate_tests(metafunc):
    """Give a test its questions."""
    for name in QUESTIONS.keys() & set(metafunc.fixturenames):
        chosen = [question for question in _built_in() if QUESTIONS[name](question)]
        ids = [f"{one.exercise.id}:{one.ask}:{one.rulebook.id}" for one in chosen]
        metafunc.parametrize(name, chosen, ids=ids, scope="session")


@pytest.fixture(scope="session")
def chromium_path():
    """Chromium's program: the headless shell, which has no windows to draw, or else the whole browser."""
    found = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    return found or _databases.leave_out("Chromium is not installed (Debian: apt-get install chromium-headless-shell)")


@pytest.fixture(scope="session")
def drawn():
    """drawn(question, number): a problem as draw gives it, drawn once for all tests that look at it in a row."""
    return lru_cache(maxsize=2048)(draw)


@pytest.fixture(scope="session")
def bounded_questions():
    """All questions whose answer has to respect a limit, but those that are answered by yes or no."""
    return [question for question in _built_in() if question.limits and not question.evidence]


@pytest.fixture(scope="session")
def library():
    return load()


@pytest.fixture(scope="session")
def engine(library):
    return Engine(library)


@pytest.fixture(scope="session")
def relations(engine):
    """relations(exercise, rulebook, **known): all that an exercise's relations come to, in working units."""

    def relations(exercise, rulebook="us", **known):
        return follow(engine.question(exercise, rulebook_id=rulebook), known)

    return relations


@pytest.fixture(scope="session")
def wait_until():
    """wait_until(holds, seconds): look again and again until it holds; whether it came to that in time."""

    def wait_until(holds, seconds=30.0):
        deadline = time.monotonic() + seconds
        while not holds():
            if time.monotonic() > deadline:
                return False
            time.sleep(0.05)
        return True

    return wait_until


REGISTRY = pint.UnitRegistry()


def in_working_unit(number, unit):
    """A value as told in the unit that relations are worked in, by pint's own conversion."""
    if unit in ("degC", "degF"):
        return REGISTRY.Quantity(float(number), unit).to("degC").magnitude
    factors = unit.replace("%", "percent").replace("^", "**") or "dimensionless"
    return REGISTRY.Quantity(float(number), factors).to_base_units().magnitude


def evaluated(node, values, rounded, functions):  # noqa: PLR0912 - one case for each node of the algebra
    """The value of a tree; `rounded` is applied to the result of every operation."""

    def inner(part):
        return evaluated(part, values, rounded, functions)

    match node:
        case Literal(text, unit):
            return in_working_unit(text, unit)
        case Name(id_):
            return values[id_]
        case Operation("+", left, right):
            return rounded(inner(left) + inner(right))
        case Operation("-", left, right):
            return rounded(inner(left) - inner(right))
        case Operation("*", left, right):
            return rounded(inner(left) * inner(right))
        case Operation(_, left, right):
            return rounded(inner(left) / inner(right))
        case Negative(operand):
            return -inner(operand)
        case Power(base, exponent):
            return rounded(inner(base) ** exponent)
        case Comparison("<=", left, right):
            return float(inner(left) <= inner(right) * (1 + 1e-9))
        case Comparison(_, left, right):
            return float(inner(left) * (1 + 1e-9) >= inner(right))
        case Call("round_down", (argument,), _):
            return float(math.floor(inner(argument) + 1e-9))
        case Call("round_up", (argument,), _):
            return float(math.ceil(inner(argument) - 1e-9))
        case Call("least", arguments, _):
            return min(map(inner, arguments))
        case Call("greatest", arguments, _):
            return max(map(inner, arguments))
        case Call("sqrt", (argument,), _):
            return rounded(math.sqrt(inner(argument)))
        case Call(function, arguments, table):
            return functions[f"{function}__{table}"](*map(inner, arguments))
    raise AssertionError(f"an operation that a right way may not use: {node}")


@pytest.fixture(scope="session")
def work_out():
    """work_out(problem, rounded): the value of each step, every operation's result passed through `rounded`."""

    def work_out(problem, rounded=lambda value: value):
        values = {}
        for name, amount in problem.shown.items():
            values[name] = in_working_unit(amount.value, amount.unit)
            if amount.unit == "degF":
                values[name] = rounded(values[name])
        for step in problem.question.right.steps:
            values[step.name] = evaluated(problem.tree_of(step), values, rounded, problem.question.functions)
        return {step.name: values[step.name] for step in problem.question.right.steps}

    return work_out


@pytest.fixture(scope="session")
def evaluate_tree(engine):
    """evaluate_tree(tree, values, rounded, functions): the value of one tree of the algebra."""
    usual = engine.question("most-modules-in-series").functions

    def evaluate_tree(tree, values, rounded=lambda value: value, functions=usual):
        return evaluated(tree, values, rounded, functions)

    return evaluate_tree


def as_typed(problem, name, value, figures):
    """A value in working units as a learner would type it."""
    if problem.question.library.quantities[name].kind in ("answer", "choice", "size"):
        return problem.text_of(name, value)
    return f"{conversion(problem.unit_of(name)).to_shown(value):.{figures}g}"


@pytest.fixture(scope="session")
def mark_values():
    """mark_values(problem, values): the marking of values typed in, with the step that a yes or no has to come with."""

    def mark_values(problem, values, figures=10):
        evidence = problem.question.evidence
        steps = {evidence: as_typed(problem, evidence, values[evidence], figures)} if evidence in values else {}
        return mark(problem, as_typed(problem, problem.ask, values[problem.ask], figures), steps)

    return mark_values


CLASS_BEGAN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def an_answer(id_, handed, verdict="right", **more):
    """A counted answer, typed on the screen half a minute after the one before."""
    at = CLASS_BEGAN + timedelta(seconds=30 * id_)
    kept = {"key": f"key-{id_}", "source": "screen", "entry": "13", "seconds": 30.0}
    return Answer(id=id_, handed=handed.id, at=at, verdict=verdict, **{**kept, **more})


def a_record(ask):
    """What an earlier version kept of a problem of which no more is known than what is asked."""
    texts = dict.fromkeys(("title", "task"), "")
    lists = {name: [] for name in ("story", "listed", "choices")}
    maps = {name: {} for name in ("parts", "units", "tolerances")}
    flags = dict.fromkeys(("tabled", "bounded", "said"), False)
    more = {"words": {ask: ask}, "kinds": {ask: "count"}, "accepted": (13.0, 13.0), "evidence": None, "order": None}
    return ProblemRecord(**texts, **lists, **maps, **flags, **more, profile=(1, 0, 1))


def an_outcome(member, place, *answers, exercise="most-modules-in-series", problem=None, **more):
    """An outcome; each of `answers` is a verdict or the fields of an answer. `problem` is what was handed out."""
    kept = {"version": "0", "number": place, "ask": "modules_in_series", "rulebook": "us", "answer": "13"}
    id_ = 1000 * member.id + place
    code = f"C{member.id:03}-{place}"
    if problem is not None:
        handed = replace(assigned_from(problem, member, place, code), id=id_)
    else:
        fields = {**kept, "exercise": exercise, **more}
        snapshot = ProblemSnapshot(record=a_record(fields["ask"]))
        expected = {"expected": {fields["ask"]: 13.0}, "snapshot": snapshot}
        handed = AssignedProblem(id=id_, member=member, place=place, code=code, **{**expected, **fields})
    told = [one if isinstance(one, dict) else {"verdict": one} for one in answers]
    return Outcome(handed=handed, answers=[an_answer(100 * id_ + at, handed, **one) for at, one in enumerate(told)])


def a_class(table):
    """Outcomes from rows of 1 (right), 0 (wrong), None (open) and 'excused', a row a member."""
    outcomes = []
    for at, row in enumerate(table, start=1):
        member = Member(id=at, name=f"Learner {at}", number=f"n{at}")
        for place, score in enumerate(row, start=1):
            answers = [{1: "right", 0: "wrong"}[score]] if score in (0, 1) else []
            outcomes.append(an_outcome(member, place, *answers, excused=score == "excused"))
    return outcomes


@pytest.fixture(scope="session")
def make():
    """The makers of invented classes, by name: answer, outcome, class."""
    return {"answer": an_answer, "outcome": an_outcome, "class": a_class, "start": CLASS_BEGAN}

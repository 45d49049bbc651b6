"""What anybody may type: no error of the language comes of it, and no line or entry costs more than a moment."""

import importlib.util
import logging
import time
from pathlib import Path
from random import Random

import pytest

from tutor.answers import size
from tutor.answers.choice import read_choice
from tutor.answers.entry import EntryError, read_entry
from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.answers.working import judging
from tutor.answers.working.judging import MOST_OPERANDS, WorkingError, check_working
from tutor.answers.working.reading import LONGEST_LINE, MOST_LINES
from tutor.engine.order import OrderProblem
from tutor.engine.question import RequestError
from tutor.engine.setting import set_problem

_spec = importlib.util.spec_from_file_location("hostile", Path(__file__).with_name("hostile.py"))
hostile = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(hostile)

MOMENT = 0.05  # s of processor time for a line or an entry
LARGEST = 2.0  # s of processor time for the largest working
LINES_TOGETHER = 10
LONGEST_ENTRY = 120
"""How far a busy machine may stretch processor time in an ordinary run; the long form is run on a quiet one."""
BUSY = 4


@pytest.fixture(scope="module")
def problems(engine):
    """One problem of every exercise that asks for numbers."""
    declared = engine.library.declared
    found = [set_problem(engine, id_, None, 3, declared[id_].exercise.rulebooks[0]) for id_ in declared]
    return [one for one in found if not isinstance(one, OrderProblem)]


def known_of(problem):
    """The numbers and words of a problem, which mean most to the reader."""
    numbers = [f"{value:.4g}" for value in problem.values.values()]
    told = [amount.text for amount in problem.shown.values()] + [
        f"{amount.value:g}" for amount in problem.shown.values()
    ]
    names = [problem.question.library.quantities[name].words for name in problem.values]
    return (*numbers, *told, *names, "1", "2", "1,234")


@pytest.fixture
def line_seconds(monkeypatch):
    """The processor time of each line of the workings that are checked, all its readings together, by its text."""
    spent = {}
    judged = judging._line

    def timed(at, text, *others):
        start = time.thread_time()
        line = judged(at, text, *others)
        spent[at, text] = spent.get((at, text), 0.0) + time.thread_time() - start
        return line

    monkeypatch.setattr(judging, "_line", timed)
    return spent


@pytest.mark.parametrize(
    ("workings", "bound"), [(250, BUSY * MOMENT), pytest.param(10_000, MOMENT, marks=pytest.mark.million)]
)
def test_no_line_of_a_working_breaks_the_reader_or_takes_long(problems, line_seconds, caplog, workings, bound):
    random = Random(f"lines {workings}")
    worst = (0.0, "")
    for at in range(workings):
        problem = problems[at % len(problems)]
        known = known_of(problem)
        lines = [hostile.text(random, LONGEST_LINE, known) for _ in range(LINES_TOGETHER)]
        line_seconds.clear()
        try:
            judged = check_working(problem, "\n".join(lines))
        except WorkingError:
            continue
        assert all(line.words for line in judged.lines)
        assert not caplog.records, (problem.question.exercise.id, lines)
        worst = max(worst, *((seconds, text) for (_, text), seconds in line_seconds.items()))
    print(f"{workings * LINES_TOGETHER} lines, the slowest {worst[0] * 1000:.1f} ms: {worst[1]!r}")
    assert worst[0] < bound, worst


def readers(problem):
    """Every way in which an entry is read for a problem."""
    question = problem.question
    quantity = question.library.quantities[problem.ask]
    yield lambda text: mark(problem, text)
    yield lambda text: own_amounts(question, {next(iter(question.known)): text})
    yield lambda text: size.read_size(text, question.rulebook)
    yield lambda text: read_choice(text, quantity.choices or ["source", "load"])
    for unit in ("", "V", "%", "%/K", "mohm", "degC"):
        yield lambda text, unit=unit: read_entry(text, unit)


@pytest.mark.parametrize(
    ("entries", "bound"), [(6000, BUSY * MOMENT), pytest.param(300_000, MOMENT, marks=pytest.mark.million)]
)
def test_no_entry_breaks_the_reader_or_takes_long(problems, caplog, entries, bound):
    random = Random(f"entries {entries}")
    worst = (0.0, "")
    for at in range(entries):
        problem = problems[at % len(problems)]
        text = hostile.text(random, LONGEST_ENTRY, known_of(problem) if at % 50 == 0 else ())
        read = random.choice(list(readers(problem)))
        start = time.thread_time()
        try:
            read(text)
        except (EntryError, RequestError) as error:
            assert str(error)
        worst = max(worst, (time.thread_time() - start, text))
    assert not caplog.records
    print(f"{entries} entries, the slowest {worst[0] * 1000:.1f} ms: {worst[1]!r}")
    assert worst[0] < bound, worst

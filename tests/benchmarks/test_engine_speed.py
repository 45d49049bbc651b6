"""Drawing and marking, each beside its reference in the same run; ratios are asserted, times only printed."""

import hashlib
import math
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from statistics import median, quantiles

import pytest
import sympy

from tutor.answers.marking import mark
from tutor.content.library import load
from tutor.problems.draw import draw
from tutor.problems.question import Engine

pytestmark = pytest.mark.long

EXERCISE = "most-modules-in-series"
NUMBERS = range(1, 301)


@pytest.fixture(scope="module")
def engine() -> Engine:
    return Engine(load())


class ByHand:
    """most-modules-in-series as one would write it without an engine: the same parts, relations and screening."""

    def __init__(self, library) -> None:
        modules = library.modules.values()
        self.modules = [(m.module_voc.value, m.module_vmp.value, m.voc_coefficient.value / 100) for m in modules]
        self.places = [place.record_low.working for place in library.places.values()]
        self.limits = [charger.input_voltage_max.value for charger in library.chargers.values()]

    def draw(self, number: int) -> int:
        best, sound = None, 0
        for attempt in range(600):
            digest = hashlib.shake_128(f"{EXERCISE} {number} {attempt}".encode()).digest(12)
            words = struct.unpack(">3I", digest)
            voc, vmp, share = self.modules[words[0] % len(self.modules)]
            low = self.places[words[1] % len(self.places)]
            limit = self.limits[words[2] % len(self.limits)]
            answer, left_open = self.screened(voc, vmp, share, low, limit)
            if answer is None:
                continue
            sound += 1
            if best is None or left_open < best[0]:
                best = (left_open, answer)
            if best[0] == (False, False, 0) or (sound >= 6 and not best[0][0]):
                break
        return best[1]

    def screened(self, voc: float, vmp: float, share: float, low: float, limit: float) -> tuple[int | None, tuple]:
        cold = voc * (1 + share * (low - 25))
        fit = limit / cold
        answer = math.floor(fit + 1e-9 * max(1, fit))
        if not 3 <= answer <= 18:
            return None, ()
        voltages = [voc, vmp * (1 + share * (low - 25)), voc * (1 - share * (low - 25)), voc * 1.25]
        wrong = {
            "cold": (3, {math.floor(limit / voltages[0])}),
            "operating": (1, {math.floor(limit / voltages[1])}),
            "sign": (1, {math.floor(limit / voltages[2])}),
            "up": (2, {math.ceil(fit), math.floor(fit + 0.5)}),
            "one off": (2, {math.floor(limit / voc) - 1}),
            "flat": (1, {math.floor(limit / voltages[3])}),
        }
        if any(answer in values for _, values in wrong.values()):
            return None, ()
        if self.fit_rounded(voc, share, low, limit) != (answer, answer):
            return None, ()
        whole, bits, meet = sum(weight for weight, _ in wrong.values()), 0.0, False
        for value in {value for _, values in wrong.values() for value in values}:
            weights = sorted(weight for weight, values in wrong.values() if value in values)
            if len(weights) > 1:
                bits -= sum(weight / whole * math.log2(weight / sum(weights)) for weight in weights)
                meet = meet or weights[-1] * weights[-2] >= 6
        cancels = any(answer in (math.ceil(limit / one), math.floor(limit / one + 0.5)) for one in voltages)
        return answer, (meet, cancels, bits)

    def fit_rounded(self, voc: float, share: float, low: float, limit: float) -> tuple[int, int]:
        """The counts at both ends of what rounding every result on the way to three figures can lead to."""
        coldest = (low, low) if low == round(low) else widened(low, low)
        fall = widened(coldest[0] - 25, coldest[1] - 25)
        rise = widened(share * fall[1], share * fall[0])
        factor = widened(1 + rise[0], 1 + rise[1])
        cold = widened(voc * factor[0], voc * factor[1])
        fit = widened(limit / cold[1], limit / cold[0])
        return math.floor(fit[0]), math.floor(fit[1])


def widened(low: float, high: float) -> tuple[float, float]:
    place = 10.0 ** (math.floor(math.log10(max(abs(low), abs(high)))) - 2)
    if low == high and abs(round(low / place) * place - low) <= 1e-9 * abs(low):
        return low, high
    return low - place / 2, high + place / 2


def seconds(*works: Callable[[int], object]) -> list[list[float]]:
    """For each kind of work the fastest of five goes at each number, in turns, so that what else the machine does
    counts for little and for both."""
    times: list[list[float]] = [[] for _ in works]
    for number in NUMBERS:
        goes = [[timed(work, number) for work in works] for _ in range(5)]
        for kind, times_of_kind in zip(zip(*goes, strict=True), times, strict=True):
            times_of_kind.append(min(kind))
    return times


def timed(work: Callable[[int], object], number: int) -> float:
    began = time.process_time()
    work(number)
    return time.process_time() - began


def test_drawing_takes_at_most_five_times_what_code_written_by_hand_takes(engine, benchmark, record_property):
    question = engine.question(EXERCISE)
    by_hand = ByHand(engine.library)
    assert [draw(question, n).answer.value for n in NUMBERS] == [by_hand.draw(n) for n in NUMBERS]
    ours, reference = seconds(lambda n: draw(question, n), by_hand.draw)
    ratio = sum(ours) / sum(reference)
    print(f"\ndraw: mean ratio {ratio:.1f}, ours p99 {1000 * quantiles(ours, n=100)[98]:.1f} ms")
    record_property("drawing, ours to code by hand: ratio", ratio)
    benchmark(draw, question, 1)
    assert ratio <= 5


def test_marking_is_fifty_times_faster_than_sympy_solving_and_substituting_afresh(engine, benchmark, record_property):
    question = engine.question(EXERCISE)
    problems = [draw(question, number) for number in range(1, 21)]
    for problem in problems:
        mark(problem, "7")  # the parser is built at first use

    def afresh(problem) -> float:
        names = "voc share low limit cold fit count"
        voc, share, low, limit, cold, fit, count = sympy.symbols(names)
        values = {
            voc: problem.known["module_voc"],
            share: problem.known["voc_coefficient"],
            low: problem.known["record_low"],
            limit: problem.known["input_voltage_max"],
        }
        ways = [voc * (1 + share * (low - 25)), voc, voc * (1 - share * (low - 25)), 1.25 * voc]
        found = []
        for way in ways:
            relations = [cold - way, fit * cold - limit, count - sympy.floor(fit)]
            solved = sympy.solve(relations[:2], [cold, fit], dict=True)[0]
            found.append(float(sympy.floor(solved[fit].subs(values))))
        return found[0]

    def timed(work: Callable) -> float:
        times = []
        for problem in problems:
            began = time.perf_counter()
            work(problem)
            times.append(time.perf_counter() - began)
        return median(times)

    assert [afresh(problem) for problem in problems] == [problem.answer.value for problem in problems]
    ours, reference = timed(lambda problem: mark(problem, "7 modules")), timed(afresh)
    print(f"\nmark: {reference / ours:.0f} times faster than afresh, ours {1000 * ours:.2f} ms")
    record_property("marking, solving afresh to ours: ratio", reference / ours)
    benchmark(mark, problems[0], "7 modules")
    assert reference / ours >= 50


def test_naming_among_the_most_ways_keeps_that_pace(engine, record_property):
    """The question with the most wrong ways, single and in pairs, beside sympy working out a single one afresh."""
    questions = [
        engine.question(id_, ask)
        for id_, declared in engine.library.declared.items()
        if "us" in declared.exercise.rulebooks
        for ask in declared.exercise.asks
    ]
    question = max(questions, key=lambda one: len(draw(one, 1).wrong_methods.all))
    problems = [draw(question, number) for number in range(1, 101)]
    mark(problems[0], "1.2345")  # compiled at first use

    def afresh() -> object:
        share, low, limit = sympy.symbols("share low limit")
        voltages = sympy.symbols("voltage fit")
        solved = sympy.solve([voltages[0] - 40 * (1 + share * (low - 25)), voltages[1] * voltages[0] - limit], voltages)
        return sympy.floor(solved[0][1].subs({share: -0.0027, low: -24.0, limit: 450.0}))

    def milliseconds(work: Callable[[], object]) -> float:
        began = time.perf_counter()
        work()
        return 1000 * (time.perf_counter() - began)

    named = [milliseconds(lambda problem=problem: mark(problem, "1")) for problem in problems]
    unexplained = [milliseconds(lambda problem=problem: mark(problem, "1.2345")) for problem in problems]
    reference = median(milliseconds(afresh) for _ in range(20))
    ratio = reference / median(named + unexplained)
    count = f"{len(problems[0].wrong_methods.all)} ways, {len(problems[0].wrong_pairs.all)} pairs"
    told = f"median {median(named):.2f} and {median(unexplained):.2f} ms, p99 {quantiles(named, n=100)[98]:.2f} ms"
    print(f"\nname among {count}: {told}; one way afresh {reference:.1f} ms")
    record_property("naming among the most ways, one way afresh to ours: ratio", ratio)
    assert ratio >= 3


COMPILED = """
from tutor.content.library import load
from tutor.problems.draw import draw
from tutor.problems.question import Engine

def used():
    return int(open("/proc/self/statm").read().split()[1]) * 4096 / 1e6

engine = Engine(load())
before = used()
for id_, declared in engine.library.declared.items():
    for book in declared.exercise.rulebooks:
        for ask in declared.under(book).exercise.asks:
            problem = draw(engine.question(id_, ask, book), 1)
            for methods in (problem.wrong_methods, problem.wrong_pairs):
                compiled = [method.relations for method in methods.all]
print(before, used() - before)
"""


def test_all_exercises_compiled_fit_into_little_memory(record_property):
    """Every question under every rulebook with all its wrong ways, beside the libraries and the content alone."""
    done = subprocess.run([sys.executable, "-c", COMPILED], capture_output=True, text=True, check=True, timeout=600)
    before, compiled = map(float, done.stdout.split())
    print(f"\nall exercises compiled: {compiled:.0f} MB above {before:.0f} MB")
    record_property("memory, all exercises compiled to libraries and content: ratio", compiled / before)
    assert compiled < 150

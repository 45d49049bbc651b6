"""Drawing order problems: the same everywhere, and no reason that speaks of an action the problem leaves out."""

import json
import os
import subprocess
import sys
from string import ascii_uppercase

import pytest

from tutor.base.paths import content_root
from tutor.content.errors import ContentError
from tutor.content.library import load, read_exercise
from tutor.content.models import Amount
from tutor.problems.draw import draw
from tutor.problems.order import OrderQuestion, draw_order
from tutor.problems.solution import worked_solution
from tutor.trade.rulebooks import rulebook

ORDERS = [(id_, ask) for id_, one in load().orders.items() for ask in one.exercise.asks]
NUMBERS = range(1, 21)

ALL_ORDERS = """
import json
from tutor.content.library import load
from tutor.problems.order import draw_order
from tutor.problems.question import Engine
from tutor.operations.json_forms import problem_json

engine = Engine(load())
print(json.dumps([
    problem_json(draw_order(engine.order_question(id_, ask), number), solution=True)
    for id_, one in engine.library.orders.items()
    for ask in one.exercise.asks
    for number in range(1, 31)
]))
"""


@pytest.fixture(params=ORDERS, ids=":".join)
def problems(request, engine):
    """Twenty problems of one question."""
    return [draw_order(engine.order_question(*request.param), number) for number in NUMBERS]


def test_two_processes_draw_the_same_problems():
    def in_a_process(hash_seed):
        done = subprocess.run(
            [sys.executable, "-c", ALL_ORDERS],
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        )
        return json.loads(done.stdout)

    one, other = in_a_process("1"), in_a_process("20202")
    assert len(one) >= 240
    assert one == other


def test_a_problem_shows_what_was_declared(problems):
    exercise = problems[0].question.exercise
    for problem in problems:
        listed = list(problem.letters.values())
        actions = {*problem.done, *(one for one in listed if one in exercise.actions)}
        assert list(problem.letters) == list(ascii_uppercase[: len(listed)])
        assert len(set(listed)) == len(listed)
        assert actions >= set(exercise.indispensable)
        assert len(actions) == exercise.shown
        assert 1 <= len([one for one in listed if one in exercise.traps]) <= 2
        assert not set(problem.done) & set(listed)
    assert len({tuple(problem.letters.values()) for problem in problems}) >= 15


def test_the_worked_solution_tells_the_whole_procedure_and_marks_what_is_left_out(problems):
    exercise = problems[0].question.exercise
    assert len({arrow.why for arrow in exercise.arrows}) >= 10
    for problem in problems:
        lines = worked_solution(problem)
        assert sorted(line.name for line in lines) == sorted(exercise.actions)
        assert [line.value for line in lines if line.value] == [problem.letter_of(one) for one in problem.right_order]
        for at, line in enumerate(lines):
            earlier = {before.name for before in lines[:at]}
            reasons = {arrow.first: arrow.why for arrow in exercise.arrows if arrow.then == line.name}
            assert set(reasons) <= earlier
            assert all(why in line.why for why in reasons.values())
            assert bool(reasons) is (line.why != "Nothing has to come before it.")
            mark = line.text.removesuffix(f": {exercise.actions[line.name]}")
            listed = line.name in problem.letters.values()
            left = "Done already" if line.name in problem.done else "Not listed in this problem"
            assert mark == (problem.letter_of(line.name) if listed else left)


def test_every_source_is_opened_locked_and_measured_in_every_problem(problems):
    """EN 50110-1 (from memory): disconnect, secure against closing again, prove dead."""
    exercise = problems[0].question.exercise
    assert exercise.isolation
    for problem in problems:
        shown = {*problem.done, *problem.letters.values()}
        words = " ".join([*problem.story, *map(problem.words, shown)]).lower()
        for source, isolation in exercise.isolation.items():
            assert {isolation.opening, isolation.lock, isolation.measurement} <= {*shown, "story"}
            assert source.removesuffix("y") in words
        assert all(word in words for word in ("open", "lock", "measure"))


@pytest.mark.parametrize("exercise", sorted({id_ for id_, _ in ORDERS}))
def test_every_reason_is_told_somewhere(engine, exercise):
    question = engine.order_question(exercise)
    told = " ".join(line.why for number in range(1, 101) for line in worked_solution(draw_order(question, number)))
    assert [arrow.id for arrow in question.exercise.arrows if arrow.why not in told] == []


def test_the_actions_done_could_have_been_done_in_that_order(problems):
    exercise = problems[0].question.exercise
    for problem in problems:
        there = [*problem.done, *problem.right_order]
        places = {action: at for at, action in enumerate(there)}
        assert all(
            places[arrow.first] < places[arrow.then]
            for arrow in exercise.arrows
            if arrow.first in places and arrow.then in places
        )


def test_a_chain_that_a_problem_may_cut_is_refused(tmp_path):
    """Without its own arrow, 'part-connectors' would have to come before 'bolt-on' and nobody could say why."""
    sound = (content_root() / "exercises" / "switch-on-order" / "replacing-a-module.yaml").read_text(encoding="utf-8")
    lines = [line for line in sound.splitlines() if "first: part-connectors, then: bolt-on" not in line]
    path = tmp_path / "replacing-a-module.yaml"
    path.write_text("\n".join(lines), encoding="utf-8")
    declared = read_exercise(path)
    with pytest.raises(ContentError, match="'bolt-on' waits for 'part-connectors' only by way of") as caught:
        OrderQuestion(load(), declared.exercise, declared.document, "order", rulebook("us"))
    assert "line " in str(caught.value)


@pytest.mark.parametrize(
    ("exercise", "first", "then"),
    [
        # Common practice, no source: the battery's breaker goes on before the power button.
        ("switching-on", "close-battery", "press-power"),
        ("connecting-a-new-battery", "close-battery", "press-power"),
        # Common practice, no source: the array is connected with its disconnect open.
        ("switching-on", "join-string", "close-array"),
        ("replacing-a-module", "join-connectors", "close-disconnect"),
        # NFPA 70-2017 690.33 (third-party transcription): connectors that are not made to break current are not to be
        # opened under load, so the disconnect opens first.
        ("switching-off", "open-array", "part-connectors"),
        ("replacing-a-module", "open-disconnect", "part-connectors"),
        # EN 50110-1 (from memory): disconnect, secure against closing again, prove dead.
        ("switching-off", "open-array", "lock-all"),
        ("switching-off", "open-supply", "lock-all"),
        ("switching-off", "open-battery", "lock-all"),
        ("switching-off", "lock-all", "measure-dead"),
        ("connecting-a-new-battery", "measure-dead", "bolt-to-inverter"),
    ],
)
def test_what_the_trade_holds(engine, exercise, first, then):
    question = engine.order_question(exercise)
    assert question.reason(first, then) is not None
    assert question.reason(then, first) is None


@pytest.mark.parametrize(
    ("exercise", "ask", "own", "value"),
    [
        # By hand (Ohm's law): 58 V / 30 Ω = 1.933 A, 58² / 30 = 112.1 W; 48 V / 15 Ω = 3.2 A, 153.6 W.
        ("pre-charge-resistor", "precharge_current", {"precharge_resistor": "30 ohm", "full": "58 V"}, 1.9333),
        ("pre-charge-resistor", "precharge_power", {"precharge_resistor": "30 ohm", "full": "58 V"}, 112.13),
        ("pre-charge-resistor", "precharge_power", {"precharge_resistor": "15 ohm", "full": "48 V"}, 153.6),
        # By hand: 5 · 15 Ω · 10 mF = 0.75 s; 5 · 30 Ω · 10 mF = 1.5 s.
        ("pre-charge-time", "precharge_time", {"precharge_resistor": "15 ohm"}, 0.75),
        ("pre-charge-time", "precharge_time", {"precharge_resistor": "30 ohm"}, 1.5),
        # By hand: 12 mΩ / 3 + 2 · 1 mΩ = 6 mΩ, and 57 V over it drives 9,500 A.
        ("inrush-without-pre-charge", "inrush_current", {"full": "57 V"}, 9500.0),
    ],
)
def test_the_numbers_of_inrush_and_pre_charge(engine, exercise, ask, own, value):
    fixed = {
        "pre-charge-resistor": {},
        "pre-charge-time": {"inverters_in_parallel": "1", "input_capacitance": "10 mF"},
        "inrush-without-pre-charge": {
            "battery_resistance": "12 mohm",
            "batteries_in_parallel": "3",
            "cable_resistance": "1 mohm",
        },
    }[exercise]
    texts = {("battery_voltage_full" if name == "full" else name): text for name, text in (fixed | own).items()}
    amounts = {name: Amount.model_validate(text) for name, text in texts.items()}
    problem = draw(engine.question(exercise, ask), 1, amounts)
    assert problem.values[ask] == pytest.approx(value, rel=1e-4)

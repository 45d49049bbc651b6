"""Slips derived from relations: which there are, what they lead to, and how they are told, against plain arithmetic."""

import pytest

from tutor.content.models import Amount
from tutor.expression.evaluate import NO_VALUE
from tutor.problems.draw import draw

INVERTER = {"inverter_power": "2500 W", "inverter_efficiency": "85 %", "battery_voltage_low": "22 V"}
LABEL = {"module_voc": "41.3 V", "module_vmp": "34.4 V", "voc_coefficient": "-0.27 %/K", "record_low": "-24 degC"}
RUN = {"run_current": "4 A", "run_length": "100 ft", "battery_voltage": "24 V", "conductor_size": "16 AWG"}


def set_up(engine, exercise, given, ask=None):
    question = engine.question(exercise, ask)
    amounts = {
        name: draw(question, 1).shown[name].model_validate(text) if name != "conductor_size" else None
        for name, text in given.items()
    }
    return draw(question, 1, {name: amount for name, amount in amounts.items() if amount is not None})


def led_to(problem, some):
    """What each wrong method leads to for the quantity asked, by its words, in working units."""
    found = {}
    for way in some.all:
        try:
            values = way.follow(problem.shown, {**problem.known, **problem.values}, {}, problem.ask)
        except NO_VALUE:
            continue
        found[way.words] = values[problem.ask]
    return found


# By hand: 2500 W / 0.85 / 22 V = 133.69 A.
@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("the inverter's efficiency left out", 2500 / 22),
        ("multiplied by the inverter's efficiency instead of divided by it", 2500 * 0.85 / 22),
        ("the inverter's efficiency applied twice", 2500 / 0.85 / 0.85 / 22),
        ("× (2 − inverter efficiency) instead of ÷ (inverter efficiency)", 2500 * 1.15 / 22),
        ("a per cent not divided by 100: the inverter's efficiency", 2500 / 85 / 22),
        ("a thousand times too much", 1000 * 2500 / 0.85 / 22),
        ("the battery's nominal voltage used where the battery's lowest voltage belongs", 2500 / 0.85 / 24),
    ],
)
def test_slips_in_a_product(engine, words, value):
    problem = set_up(engine, "inverter-input-current", INVERTER)
    assert led_to(problem, problem.wrong_methods)[words] == pytest.approx(value, rel=1e-9)


# By hand: 41.3 V * (1 + 0.0027 * 49) = 46.76 V.
@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("25\u00a0°C left out", 41.3 * (1 - 0.0027 * -24)),
        ("25\u00a0°C added instead of taken away", 41.3 * (1 - 0.0027 * (-24 + 25))),
        ("the difference taken the other way round", 41.3 * (1 - 0.0027 * 49)),
        ("20 °C taken for 25 °C", 41.3 * (1 + 0.0027 * 44)),
        ("the minus of the record low lost", 41.3 * (1 + 0.0027 * 1)),
        ("the record low in kelvin where degrees Celsius belong", 41.3 * (1 - 0.0027 * (249.15 - 25))),
        ("the module's operating voltage used where the module's open-circuit voltage belongs", 34.4 * 1.1323),
    ],
)
def test_slips_in_a_sum(engine, words, value):
    problem = set_up(engine, "most-modules-in-series", LABEL, "cold_voltage")
    assert led_to(problem, problem.wrong_methods)[words] == pytest.approx(value, rel=1e-9)


def test_a_fahrenheit_number_taken_for_celsius(engine):
    problem = set_up(engine, "most-modules-in-series", LABEL | {"record_low": "-11.2 degF"}, "cold_voltage")
    taken = led_to(problem, problem.wrong_methods)["°F taken for °C: the record low"]
    assert taken == pytest.approx(41.3 * (1 - 0.0027 * (-11.2 - 25)), rel=1e-9)


def test_slips_in_rounding(engine):
    problem = set_up(engine, "most-modules-in-series", LABEL | {"input_voltage_max": "450 V"})  # 9.62 fit, so nine
    found = led_to(problem, problem.wrong_methods)
    assert (found["rounded up"], found["rounded nearest"], found["one taken off"], found["one added"]) == (
        10,
        10,
        8,
        10,
    )


def test_slips_in_a_table(engine):
    """NFPA 70 Chapter 9 Table 8 (2017), stranded, uncoated: 12 AWG 1.98, 14 AWG 3.14, 10 AWG 1.24 ohm per 1,000 ft."""
    drawn = (draw(engine.question("drop-on-a-run"), number) for number in range(200))
    problem = next(one for one in drawn if one.text_of("conductor_size") == "12 AWG")
    found = led_to(problem, problem.wrong_methods)
    right = problem.values[problem.ask]
    rows = {found["the table read one row too early"] / right, found["the table read one row too late"] / right}
    assert sorted(rows) == [pytest.approx(1.24 / 1.98, rel=1e-6), pytest.approx(3.14 / 1.98, rel=1e-6)]


def test_a_pair_is_both_slips_at_once(engine):
    problem = set_up(engine, "inverter-input-current", INVERTER)
    words = "the inverter's loss left out, and multiplied by the battery's lowest voltage instead of divided by it"
    assert led_to(problem, problem.wrong_pairs)[words] == pytest.approx(2500 * 22, rel=1e-9)


def test_every_exercise_invites_slips_that_nobody_declared(question):
    problem = draw(question, 1)
    smooth = any(step.kind == "solve" and not step.turned for step in question.right.steps)
    derived = [way for way in problem.wrong_methods.all if way.origin == "derived"]
    assert len(derived) >= 3 or not smooth
    assert len({way.id for way in problem.wrong_methods.all if way.origin == "derived"}) == len(derived)


def test_an_own_value_stays_as_it_is(engine):
    problem = set_up(engine, "inverter-input-current", INVERTER)
    way = next(
        one for one in problem.wrong_methods.all if one.words.startswith("the battery's nominal voltage used where")
    )
    own = {"battery_power": 3000.0}
    values = way.follow(problem.shown, {**problem.known, **problem.values, **own}, own, problem.ask)
    assert values[problem.ask] == pytest.approx(3000 / 24)


def test_slips_without_a_value_are_told_so(engine):
    problem = set_up(engine, "most-modules-in-series", LABEL | {"record_low": "25 degC"}, "cold_voltage")
    assert all(isinstance(value, float) for value in led_to(problem, problem.wrong_methods).values())
    assert Amount.model_validate("25 degC").working == 25.0

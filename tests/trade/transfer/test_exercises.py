"""The exercises that rest on the simulation: their losses are given, or the story says where they are left."""

import pytest

from tutor.answers.own import own_amounts
from tutor.problems.draw import draw
from tutor.problems.problem_factory import make_problem

DAY = {
    "load_power": "450 W",
    "source_order": "array, battery, supply",
    "stored_energy": "2800 Wh",
    "battery_energy": "10000 Wh",
    "low_cutoff": "20 %",
    "return_threshold": "60 %",
    "inverter_efficiency": "90 %",
    "idle_power": "20 W",
    "array_power": "1000 W",
    "outage_start": "3 h",
    "outage_length": "9 h",
    "moment": "22 h",
}


def feeder(engine, **changes):
    own = own_amounts(engine.question("source-at-a-moment", "feeding_source", "us"), DAY | changes)
    return make_problem(engine, "source-at-a-moment", "feeding_source", 1, "us", own).text_of("feeding_source")


def test_a_battery_that_stores_less_reaches_its_return_threshold_later_or_never(engine):
    """By hand.  520 W bring 2,800 Wh down to 2,000 Wh after 1.54 h, and the supply takes over until 3 h.

    All is dark in the outage until the array, less 20 W, charges with 980 W from 7.25 h on.  With 95 % stored, 6,000 Wh
    are reached after 4.30 h, at 11.55 h; then 480 W are left for 5.70 h, so 8,600 Wh at 17.25 h last for 12.7 h, and
    the battery feeds at 22 h.  With 30 % stored, 13.6 h of sun would be needed.
    """
    assert feeder(engine, battery_charge_efficiency="95 %") == "battery"
    assert feeder(engine, battery_charge_efficiency="30 %") == "supply"


def test_the_inverters_own_draw_decides_whether_the_array_is_enough(engine):
    """450 W / 0.9 = 500 W: 505 W of the array are enough without the 20 W of its own, and too little with them."""
    noon = {"moment": "10 h", "array_power": "505 W", "stored_energy": "9000 Wh", "battery_charge_efficiency": "90 %"}
    assert feeder(engine, **noon, idle_power="0 W") == "array"
    assert feeder(engine, **noon, idle_power="20 W") == "array and battery"


@pytest.mark.parametrize("book", ["us", "iec"])
def test_wherever_a_supply_is_passed_through_the_own_draw_is_given_or_said(engine, book):
    checked = set()
    for id_, exercise in engine.library.exercises.items():
        if exercise.lesson != "transfer" or not {"supply_current", "input_limit", "feeding_source"} & {
            *exercise.relations,
            *exercise.givens,
        }:
            continue
        for number in (1, 2, 3):
            problem = draw(engine.question(id_, None, book), number)
            story = " ".join(problem.story)
            assert "idle_power" in problem.shown or "own draw" in story or "draws itself" in story, id_
        checked.add(id_)
    assert len(checked) == 5


@pytest.mark.parametrize("id_", ["source-at-a-moment", "runtime-after-outage"])
def test_what_a_battery_loses_is_given_or_said(engine, id_):
    problem = draw(engine.question(id_, None, "us"), 1)
    assert "battery_charge_efficiency" in problem.shown or "the battery itself loses" in " ".join(problem.story)

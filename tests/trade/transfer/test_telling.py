"""Traces told in sentences."""

import pytest

from tutor.trade.transfer import Load, Point, Source, System, simulate, tell
from tutor.trade.transfer.words import clock, span

H = 3600.0
WH = 3600.0


def told(day, hours=24.0, day_start=6 * H, stored=3000 * WH, loads=(("refrigerator", 1.0, True),), **changes):
    values = {
        "inverter_power": 3000.0,
        "battery_capacity": 3000 * WH,
        "inverter_efficiency": 0.9,
        "low_cutoff": 0.2,
        "return_threshold": 0.4,
        "transfer_time": 0.02,
        "load_priority": (Source.SUPPLY, Source.ARRAY, Source.BATTERY),
    }
    trace = simulate(System(tuple(Load(*one) for one in loads), **(values | changes)), day, hours * H, stored)
    return [sentence.replace("\u00a0", " ") for sentence in tell(trace, day_start)]


OUTAGE = [Point(0, (480,), supply_available=True), Point(8 * H, (480,))]


def test_an_outage_from_failing_to_empty():
    assert told(OUTAGE) == [
        "At 06:00 the supply feeds 480 W.",
        "At 14:00 the supply fails; the transfer takes 20 ms, which the refrigerator rides through; "
        "from then on the battery feeds 480 W through the inverter, drawing 533 W.",
        "At 18:30 the battery is down to its low cut-off of 20 %; from then on nothing feeds the loads.",
        "At 18:30:01 the refrigerator drops out; from then on nothing feeds the loads.",
    ]


def test_without_a_day_start_the_time_since_the_start_is_told():
    assert told(OUTAGE, 9.0, None)[1].startswith("After 8 h the supply fails;")
    assert told(OUTAGE, 9.0, None)[0].startswith("At the start the supply feeds")


@pytest.mark.parametrize(
    ("rides", "words"),
    [
        ((0.02, 0.02, 0.02), "which the lamp, the pump and the radio ride through;"),
        ((0.02, 0.01, 0.02), "which the lamp and the radio ride through but the pump does not;"),
        ((0.0, 0.01, 0.02), "which the radio rides through but the lamp and the pump do not;"),
        ((0.0, 0.01, 0.019), "which the lamp, the pump and the radio do not ride through;"),
    ],
)
def test_who_rides_through(rides, words):
    loads = [(name, ride, False) for name, ride in zip(("lamp", "pump", "radio"), rides, strict=True)]
    day = [Point(0, (10, 20, 30), supply_available=True), Point(8 * H, (10, 20, 30))]
    assert f"the transfer takes 20 ms, {words}" in told(day, loads=loads)[1]


def test_a_load_that_is_off_rides_through_nothing():
    day = [Point(0, (480, 0), supply_available=True), Point(8 * H, (480, 0))]
    loads = (("refrigerator", 1.0, True), ("lamp", 1.0, True))
    assert "which the refrigerator rides through;" in told(day, loads=loads)[1]


def test_what_is_charged_and_not_taken():
    day = [Point(0, (480,), 600, True)]
    assert told(day, 1.0, stored=1500 * WH, charge_power=1000, charger_efficiency=0.8) == [
        "At 06:00 the supply feeds 480 W, the array charges the battery with 600 W and "
        "the supply charges the battery with 400 W, which takes 500 W of it."
    ]
    assert told(day, 1.0) == ["At 06:00 the supply feeds 480 W and 600 W of the array's power is not taken."]


def test_an_overload_is_told_with_its_limits():
    day = [Point(0, (4000,), supply_available=True), Point(8 * H, (4000,)), Point(9 * H, (300,))]
    sentences = told(day, 10.0, overload_power=6000, overload_time=5)
    assert "the load of 4000 W is above the inverter's 3000 W, which it bears for 5 s" in sentences[1]
    assert sentences[2] == (
        "At 14:00:05 the load of 4000 W has been above the inverter's 3000 W for 5 s, and it shuts down; "
        "from then on nothing feeds the loads."
    )
    assert sentences[4].startswith("At 15:00 the loads now ask for 300 W; ")
    assert "the load of 4000 W is more than the 3000 W that the inverter can give" in told(day, 10.0)[1]


def test_restoration_is_told():
    day = [Point(0, (480,)), Point(H, (480,), supply_available=True)]
    sentences = told(day, 2.0, qualification_delay=120)
    assert sentences[0].endswith("drawing 533 W, because the supply is absent.")
    assert "the supply is back and is watched for 2 min before it is used" in sentences[1]
    assert sentences[2].startswith("At 07:02 the supply is accepted; the transfer takes 20 ms")


def test_a_reason_that_no_event_tells_is_told():
    day = [Point(0, (480,), supply_available=True), Point(H, (2500,), supply_available=True)]
    sentences = told(day, 1.2, pass_through_max=10, supply_voltage=200)
    assert sentences[1].endswith("because the loads ask for more than the pass-through limit allows.")


def test_what_falls_on_the_end_is_told():
    trace_end = 1 + 4.5
    sentences = told([Point(0, (480,), supply_available=True), Point(H, (480,))], trace_end, transfer_time=0.0)
    assert sentences[1].startswith("At 07:00 the supply fails; the transfer takes no time; from then on")
    assert sentences[2] == (
        "At 11:30 the battery is down to its low cut-off of 20 %; nothing feeds the loads any more."
    )


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.02, "20 ms"), (0.0167, "16.7 ms"), (5, "5 s"), (90, "1 min 30 s"), (16200, "4 h 30 min"), (3600, "1 h")],
)
def test_durations(seconds, text):
    assert span(seconds).replace("\u00a0", " ") == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(0, "00:00"), (50_400, "14:00"), (23_405.02, "06:30:05"), (86_400 + 8100, "02:15 on day 2")]
)
def test_clock_times(seconds, text):
    assert clock(seconds) == text

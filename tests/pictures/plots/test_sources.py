"""Figures on shared loads, the simulated day and inrush.  Expected values are worked by hand beside each test."""

import pytest

from tutor.pictures.looks import DARK, LIGHT
from tutor.pictures.plots.inrush import inrush
from tutor.pictures.plots.shared_load import Shared, SharedLoad, shared_load
from tutor.pictures.plots.transfer_day import transfer_day
from tutor.trade.inrush import PreCharge
from tutor.trade.transfer import Load, Point, Source, System, simulate

HOUR, KWH = 3600.0, 3.6e6
STRIP = Shared("the circuit", 2000.0, 1.25, "the rule")
PLAN = PreCharge(48.0, 0.02, 0.01, 25.0, 1.5)


def day(transfer_time=0.01, load=500.0, stored=4.0, **changes):
    """Supply from midnight, gone from 9:00 to 17:00; 400 W of array from 8:00 to 17:00."""
    system = System(
        loads=(Load("computer", ride_through=0.016),),
        inverter_power=2500.0,
        battery_capacity=5 * KWH,
        inverter_efficiency=0.9,
        idle_power=25.0,
        low_cutoff=0.2,
        return_threshold=0.4,
        pass_through_max=16.0,
        supply_voltage=230.0,
        transfer_time=transfer_time,
        load_priority=(Source.SUPPLY, Source.ARRAY, Source.BATTERY),
        **changes,
    )
    schedule = [
        Point(0.0, (load,), 0.0, supply_available=True),
        Point(8 * HOUR, (load,), 400.0, supply_available=True),
        Point(9 * HOUR, (load,), 400.0),
        Point(17 * HOUR, (load,), 0.0, supply_available=True),
    ]
    return simulate(system, schedule, 24 * HOUR, stored * KWH)


def traces(figure):
    return {trace.name: trace for trace in figure.data if trace.name}


def texts(figure):
    return " ".join(note.text for note in figure.layout.annotations)


def drawings(look):
    loads = [SharedLoad("refrigerator", 400.0, True), SharedLoad("kettle", 1200.0, False)]
    return {
        "shared_load": shared_load(STRIP, loads, look),
        "transfer_day": transfer_day(day(), look),
        "inrush": inrush(PLAN, look),
    }


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["shared_load", "transfer_day", "inrush"])
def test_every_figure_has_ground_sentence_and_table(name, look):
    figure, sentence, rows = drawings(look)[name]
    assert figure.layout.paper_bgcolor == figure.layout.plot_bgcolor == look.ground
    assert figure.layout.font.color == look.text
    assert sentence.endswith(".")
    assert len({tuple(row) for row in rows}) == 1


@pytest.mark.parametrize("name", ["shared_load", "transfer_day"])
def test_bars_differ_by_pattern_and_not_by_colour_alone(name):
    bars = [trace for trace in drawings(LIGHT)[name].figure.data if trace.type == "bar"]
    assert len({trace.marker.pattern.shape for trace in bars}) == len(bars)


# Loads on one inverter or circuit


def test_continuous_loads_count_by_their_factor():
    # 1.25 × 400 W + 1200 W = 1700 W, 300 W below 2000 W; the 80 % line stands at 1600 W
    figure, sentence, rows = drawings(LIGHT)["shared_load"]
    assert "1.25 × 400\u00a0W + 1200\u00a0W = 1700\u00a0W" in sentence
    assert "leaves 300\u00a0W" in sentence
    assert "counts 1.25 times (the rule)" in sentence
    assert "80\u00a0%: 1600\u00a0W" in texts(figure)
    assert rows[1]["Added up"] == "1600\u00a0W"
    assert list(traces(figure)["kettle"].base) == [400.0]


def test_within_the_limit_but_not_for_hours():
    # 1.25 × 1700 W = 2125 W, 125 W above 2000 W
    sentence = shared_load(STRIP, [SharedLoad("heater", 1700.0, True)], LIGHT).sentence
    assert "125\u00a0W too much for hours." in sentence


def test_above_the_limit_is_an_overload():
    sentence = shared_load(STRIP, [SharedLoad("kettle", 2100.0, False)], LIGHT).sentence
    assert "100\u00a0W too much: it is overloaded" in sentence


def test_exactly_at_the_limit_is_allowed():
    assert "leaves 0\u00a0W" in shared_load(STRIP, [SharedLoad("heater", 1600.0, True)], LIGHT).sentence
    assert "leaves 0\u00a0W" in shared_load(STRIP, [SharedLoad("kettle", 2000.0, False)], LIGHT).sentence


def test_without_a_factor_there_is_no_line_below_the_limit():
    figure, sentence, _ = shared_load(Shared("it", 2000.0, 1.0, ""), [SharedLoad("heater", 1900.0, True)], LIGHT)
    assert "80" not in texts(figure)
    assert "leaves 100\u00a0W" in sentence


def test_nothing_shared_and_no_limit():
    assert "Nothing is on the circuit" in shared_load(STRIP, [], LIGHT).sentence
    with pytest.raises(ValueError, match="above 0"):
        shared_load(Shared("it", 0.0, 1.25, ""), [], LIGHT)


# The simulated day


def test_bands_follow_the_sources():
    figure = transfer_day(day(), LIGHT).figure
    supply = traces(figure)["supply"]
    assert list(supply.base) == pytest.approx([0.0, 17.0], abs=0.01)
    assert list(supply.x) == pytest.approx([9.0, 7.0], abs=0.01)
    for source in ("array", "battery"):
        assert list(traces(figure)[source].base) == pytest.approx([9.0], abs=0.01)
        assert list(traces(figure)[source].x) == pytest.approx([8.0], abs=0.01)
    assert list(traces(figure)["nothing"].x) == []


def test_the_battery_falls_by_what_the_array_does_not_give():
    # 500 W / 0.9 + 25 W − 400 W = 180.6 W over 8 h: 1.444 kWh of 4 kWh, 2.556 kWh left
    figure, sentence, _ = transfer_day(day(), LIGHT)
    assert min(traces(figure)["battery energy"].y) == pytest.approx(2.556, abs=0.001)
    assert "falls to 2.56\u00a0kWh at the lowest" in sentence


def test_the_supply_current_is_the_loads_over_the_voltage():
    # 500 W / 230 V = 2.174 A
    current = traces(transfer_day(day(), LIGHT).figure)["supply current"]
    assert current.y[0] == pytest.approx(2.174, abs=0.001)
    assert "pass-through limit" in texts(transfer_day(day(), LIGHT).figure)


def test_the_day_is_told():
    sentence = transfer_day(day(), LIGHT).sentence
    assert "by the supply until 09:00, then by the array and the battery until 17:00" in sentence
    assert "They get all that they ask for but for the moments of transfer" in sentence


def test_a_slow_transfer_drops_the_computer_and_marks_it():
    figure, sentence, _ = transfer_day(day(transfer_time=0.02), LIGHT)
    assert "At 09:00 the computer drops out, the transfer taking 20\u00a0ms" in sentence
    assert list(traces(figure)["a load drops out"].x) == pytest.approx([9.0, 17.0], abs=0.01)
    assert "a load drops out" not in traces(transfer_day(day(), LIGHT).figure)


def test_an_empty_battery_leaves_the_loads_without_power():
    # 2 kWh − 1 kWh (cut-off) over 900 W / 0.9 + 25 W − 400 W = 625 W: 1.6 h after 9:00, at 10:36
    figure, sentence, rows = transfer_day(day(load=900.0, stored=2.0), LIGHT)
    dark = traces(figure)["nothing"]
    assert dark.base[0] == pytest.approx(10.6, abs=0.01)
    assert "then by nothing until" in sentence
    assert any(row["Fed by"] == "nothing" and row["Loads get"] == "0\u00a0W" for row in rows)


def test_clock_times_may_start_in_the_morning():
    figure, sentence, rows = transfer_day(day(), LIGHT, day_start=6 * HOUR)
    assert rows[0]["From"] == "06:00"
    assert figure.layout.xaxis.range == (6.0, 30.0)
    assert "by the supply until 15:00" in sentence


def test_a_restless_day_is_cut_short_in_words_but_not_in_the_table():
    points = [Point(at * HOUR, (500.0,), supply_available=at % 2 == 0) for at in range(12)]
    trace = simulate(day().system, points, 12 * HOUR, 5 * KWH)
    _, sentence, rows = transfer_day(trace, LIGHT)
    assert "and so on with 7 more changes" in sentence
    assert len(rows) >= 12


# Inrush


def test_peaks_with_and_without_pre_charge():
    # 48 V / 20 mΩ = 2400 A; 48 V / 25.02 Ω = 1.918 A; R·C = 25.02 Ω × 10 mF = 0.2502 s; after 1.5 s
    # exp(−5.995) = 0.249 % of 2400 A is left: 5.98 A
    figure, sentence, rows = inrush(PLAN, LIGHT)
    assert "drives 2400\u00a0A for an instant" in sentence
    assert "it is 1.92\u00a0A" in sentence
    assert "closes with 5.98\u00a0A" in sentence
    assert [row["First current"] for row in rows] == ["2400\u00a0A", "1.92\u00a0A", "5.98\u00a0A"]
    assert max(figure.data[0].y) == pytest.approx(2400.0)
    assert max(figure.data[1].y) == pytest.approx(5.98, abs=0.01)
    assert figure.layout.yaxis.range == figure.layout.yaxis2.range


def test_too_short_a_pre_charge_is_said():
    # after 0.3 s exp(−1.199) = 30.2 % of 2400 A is left: 724 A
    sentence = inrush(PreCharge(48.0, 0.02, 0.01, 25.0, 0.3), LIGHT).sentence
    assert "closes with 724\u00a0A. That is too soon" in sentence
    assert "too soon" not in inrush(PLAN, LIGHT).sentence


def test_a_circuit_without_resistance_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        inrush(PreCharge(48.0, 0.0, 0.01, 25.0, 1.0), LIGHT)

"""Figures on wires and fuses.  Table values: NFPA 70-2017 (third-party transcription), IEC in reproductions."""

import numpy as np
import pytest

from tutor.content.errors import ContentError
from tutor.pictures.looks import DARK, LIGHT
from tutor.pictures.plots.fuse_between import Circuit, fuse_between

SOUND = Circuit(
    load=108, needed=135, fuse=150, ampacity=175, largest_fuse=175, melting=202.5, fault=4800, breaking_capacity=10000
)


def traces(figure):
    return {trace.name: trace for trace in figure.data if trace.name}


def texts(figure):
    return " ".join(note.text for note in figure.layout.annotations)


@pytest.fixture
def drop_length(drawn):
    """The drop of a run: current, voltage, one-way length."""

    def draw_with(book, current, voltage, length, look=LIGHT):
        return drawn(
            "drop-length", {"run_current": current, "battery_voltage": voltage, "run_length": length}, book, look
        )

    return draw_with


@pytest.fixture
def ampacity_ambient(drawn):
    """The ampacity of a size under a load, with its insulation, air and terminals (°C), two conductors together."""

    def draw_with(book, size, load, insulation=90, air=40, terminals=60, look=LIGHT):
        values = {"conductor_size": size, "run_current": load, "conductors_grouped": "2"}
        degrees = {"insulation_rating": insulation, "ambient": air, "terminal_rating": terminals}
        return drawn("ampacity-ambient", values | {name: f"{at} degC" for name, at in degrees.items()}, book, look)

    return draw_with


@pytest.fixture
def strings_and_fuses(drawn):
    """The fault current of so many strings, from the label's short-circuit current and largest fuse."""

    def draw_with(book, strings, short_circuit="9.50 A", fuse="20 A", look=LIGHT):
        values = {"strings_in_parallel": str(strings), "module_isc": short_circuit, "module_fuse_max": fuse}
        return drawn("strings-and-fuses", values, book, look)

    return draw_with


@pytest.fixture
def drawings(drop_length, ampacity_ambient, strings_and_fuses):
    """Every figure in a look, by its name."""
    return lambda look: {
        "drop_length": drop_length("us", "10 A", "24 V", "40 ft", look),
        "ampacity_ambient": ampacity_ambient("us", "8 AWG", "32 A", look=look),
        "fuse_between": fuse_between(SOUND, look),
        "strings_and_fuses": strings_and_fuses("us", 3, look=look),
    }


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["drop_length", "ampacity_ambient", "fuse_between", "strings_and_fuses"])
def test_every_figure_has_ground_sentence_and_table(name, look, drawings):
    figure, sentence, rows = drawings(look)[name]
    assert figure.layout.paper_bgcolor == figure.layout.plot_bgcolor == look.ground
    assert figure.layout.font.color == look.text
    assert sentence.endswith(".")
    assert len({tuple(row) for row in rows}) == 1


@pytest.mark.parametrize("name", ["drop_length", "ampacity_ambient"])
def test_named_lines_differ_by_dash_and_not_by_colour_alone(name, drawings):
    figure = drawings(LIGHT)[name].figure
    dashes = {trace.name: trace.line.dash for trace in figure.data if trace.mode == "lines"}
    assert len(set(dashes.values())) == len(dashes) > 1


# The drop against length


def at(line, x):
    """The height of a line at a place of its axis."""
    return float(np.interp(x, line.x, line.y))


def test_the_drop_of_a_size_is_worked_out_both_ways(drawings):
    # Chapter 9 Table 8: 10 AWG stranded 1.24 Ω, 6 AWG 0.491 Ω per 1,000 ft at 75 °C.
    # 2 × 10 A × 40 ft × 1.24 Ω/kft = 0.992 V, 4.13 % of 24 V; 6 AWG: 0.393 V, 1.64 %
    figure, sentence, rows = drawings(LIGHT)["drop_length"]
    (row,) = (row for row in rows if row["One-way length of the run"] == "40\u00a0ft")
    assert row["10 AWG"] == "4.133\u00a0%"
    line = traces(figure)["10 AWG"]
    assert at(line, 80.0) == pytest.approx(2 * 4.1333, rel=1e-4)
    assert "over 40\u00a0ft one way" in sentence
    assert (
        "6 AWG is the smallest that carries the current and stays within 3\u00a0%: it loses 0.3928\u00a0V" in sentence
    )
    assert "advice, not law" in sentence
    assert "advice, not law" in texts(figure)


def test_the_longest_run_within_the_advice_is_in_the_table(drawings):
    # 3 % of 24 V is 0.72 V; 0.72 V / (2 × 10 A × 1.24 Ω/kft) = 29.03 ft
    figure, _, rows = drawings(LIGHT)["drop_length"]
    assert rows[-1]["One-way length of the run"] == "Limit reached at"
    assert rows[-1]["10 AWG"] == "29\u00a0ft"
    assert at(traces(figure)["10 AWG"], 29.03) == pytest.approx(3.0, rel=1e-3)


def test_metric_resistance_is_brought_to_the_working_temperature(drop_length):
    # IEC 60228 class 2: 16 mm² 1.15 Ω/km at 20 °C; at 70 °C × (1 + 0.00393 × 50) = 1.376 Ω/km.
    # 2 × 40 A × 5 m × 1.376 Ω/km = 0.550 V, 4.59 % of 12 V
    figure = drop_length("iec", "40 A", "12 V", "5 m").figure
    assert at(traces(figure)["16 mm²"], 5.0) == pytest.approx(4.59, abs=0.005)


def test_a_size_that_drops_little_but_is_too_thin_is_warned_of(drop_length):
    # 1 ft of 14 AWG at 50 A and 48 V: 2 × 50 × 1 × 3.14 Ω/kft = 0.314 V, 0.65 %; yet its 60 °C column has 15 A.
    figure, sentence, _ = drop_length("us", "50 A", "48 V", "1 ft")
    assert at(traces(figure)["14 AWG"], 1.0) == pytest.approx(0.654, abs=0.005)
    assert "14 AWG would lose little enough, yet it may not carry this current" in sentence
    assert "14 AWG: too thin" in texts(figure)
    assert traces(figure)["14 AWG"].line.color == LIGHT.quiet
    assert traces(figure)["14 AWG"].line.width < traces(figure)["2 AWG"].line.width


def test_a_size_carries_its_ampacity_and_not_an_ampere_more(drop_length):
    # Table 310.16, 60 °C column: 10 AWG 30 A; 125 % of 24 A is 30 A, of 25 A 31.25 A
    assert "10 AWG is the smallest that carries" in drop_length("us", "24 A", "48 V", "10 ft").sentence
    assert "6 AWG is the smallest that carries" in drop_length("us", "25 A", "48 V", "10 ft").sentence


def test_a_run_that_no_size_serves_is_said(drop_length):
    assert "None of these sizes both carries" in drop_length("us", "100 A", "12 V", "200 ft").sentence


def test_a_run_without_voltage_has_no_drop_to_draw(drop_length):
    figure, sentence, _ = drop_length("us", "10 A", "0 V", "40 ft")
    assert all(height is None for height in traces(figure)["10 AWG"].y)
    assert "None of these sizes both carries" in sentence


# Ampacity against ambient


def test_ninety_degree_wire_on_sixty_degree_terminals_gets_the_terminals_ampacity(drawings):
    # Table 310.15(B)(16): 8 AWG 55 A at 90 °C, 40 A at 60 °C; (B)(2)(a): 36 to 40 °C, 0.91: 50.05 A
    figure, sentence, _ = drawings(LIGHT)["ampacity_ambient"]
    assert "may carry 50.05\u00a0A" in sentence
    assert "40\u00a0A may be used: the terminals decide" in sentence
    # 125 % of 32 A is exactly 40 A
    assert "before correction, 40\u00a0A, is within the terminals' 40\u00a0A" in sentence
    assert "after correction, 32\u00a0A, is within 40\u00a0A" in sentence
    assert "terminals, 60\u00a0°C: 40\u00a0A" in texts(figure)
    assert "125% of the load: 40\u00a0A" in texts(figure)
    assert "the load: 32\u00a0A" in texts(figure)


def test_one_ampere_more_fails_the_test_before_correction(ampacity_ambient):
    sentence = ampacity_ambient("us", "8 AWG", "33 A").sentence
    assert "41.25\u00a0A, is more than the terminals' 40\u00a0A: choose a larger" in sentence  # 1.25 × 33 A


def test_each_line_steps_down_with_the_tables_bands_and_ends_where_they_end(drawings):
    # (B)(2)(a): 60 °C insulation ends at 55 °C, 75 °C at 70 °C; 8 AWG at 75 °C in 70 °C air: 50 A × 0.33 = 16.5 A
    figure = drawings(LIGHT)["ampacity_ambient"].figure
    lines = {
        name: [(x, y) for x, y in zip(line.x, line.y, strict=True) if y is not None]
        for name, line in traces(figure).items()
    }
    assert lines["60 °C insulation"][-1][0] == 55.0
    assert lines["75 °C insulation"][-1] == (70.0, pytest.approx(16.5))
    assert all(
        np.diff([y for _, y in lines[name]]).max() < 0
        for name in ("60 °C insulation", "75 °C insulation", "90 °C insulation")
    )
    assert {trace.line.shape for trace in figure.data if trace.mode == "lines"} == {"vh"}


def test_air_beyond_the_table_has_no_ampacity(ampacity_ambient):
    sentence = ampacity_ambient("us", "8 AWG", "5 A", insulation=60, air=60).sentence
    assert "has no ampacity in air of 60\u00a0°C: the table ends below this temperature" in sentence
    assert "may be used" not in sentence


def test_iec_has_one_test_without_a_factor(ampacity_ambient):
    # IEC 60364-5-52 Table B.52.5, method B1: 10 mm² XLPE 75 A; Table B.52.14: 65 °C, 0.65: 48.75 A
    figure, sentence, _ = ampacity_ambient("iec", "10 mm²", "50 A", air=65, terminals=70)
    assert "48.75\u00a0A may be used: the air and the insulation decide" in sentence
    assert "The load's 50\u00a0A is more than" in sentence
    assert "125" not in texts(figure) + sentence


def test_a_size_that_the_rulebook_has_not_is_refused(ampacity_ambient):
    with pytest.raises(ContentError, match="is no value of 'conductor_size'"):
        ampacity_ambient("us", "9 AWG", "5 A")


def test_a_size_without_ampacity_is_given_none(ampacity_ambient):
    figure, sentence, _ = ampacity_ambient("us", "18 AWG", "5 A")
    assert "has no ampacity" in sentence
    assert all(height is None for height in traces(figure)["90 °C insulation"].y)


# A fuse between load, conductor and fault


def test_a_sound_circuit_rises_step_by_step():
    figure, sentence, rows = fuse_between(SOUND, LIGHT)
    assert [row["In order"] for row in rows] == ["yes"] * 5
    assert "the fuse protects the conductor" in sentence
    assert "✖" not in texts(figure)
    assert list(traces(figure)["in order"].x) == [108, 150, 175, 4800, 10000]


@pytest.mark.parametrize(
    ("changed", "row", "words"),
    [
        ({"fuse": 125}, 1, "the load asks for a fuse of 135\u00a0A at least"),
        (
            {"fuse": 200, "melting": 270},
            2,
            "below 200\u00a0A the fuse does not open, and an overload burns the conductor",
        ),
        ({"fault": 120}, 3, "never opens the fuse"),
        ({"fault": 180}, 3, "may take hours"),
        ({"fault": 12000}, 4, "it may burst"),
    ],
)
def test_what_is_out_of_order_is_named(changed, row, words):
    figure, sentence, rows = fuse_between(Circuit(**{**vars(SOUND), **changed}), LIGHT)
    assert rows[row]["In order"] == "no"
    assert words in sentence
    assert texts(figure).count("✖") == 1
    assert len(traces(figure)["out of order"].x) == 1


def test_the_next_standard_rating_up_is_said_where_the_rulebook_allows_it():
    # 240.4(B): 170 A is no standard rating, 175 A is the next one up
    _, sentence, rows = fuse_between(Circuit(**{**vars(SOUND), "fuse": 175, "ampacity": 170}), LIGHT)
    assert rows[2]["In order"] == "yes"
    assert "the rulebook allows it the next standard rating up" in sentence


def test_a_small_conductors_own_limit_counts():
    # 240.4(D): 14 AWG, 20 A in the 75 °C column, has 15 A at the most
    small = Circuit(10, 12.5, 20, 20, 15, 27, 500, 5000)
    assert fuse_between(small, LIGHT).rows[2]["In order"] == "no"


def test_a_current_of_nothing_has_no_place_on_the_axis():
    with pytest.raises(ValueError, match="above 0"):
        fuse_between(Circuit(**{**vars(SOUND), "load": 0}), LIGHT)


# Strings and their fuses


def test_the_other_strings_current_is_compared_with_the_modules_fuse(strings_and_fuses):
    # By custom (no source): 2 × 1.25 × 9.5 A = 23.75 A above 20 A; 690.9: 1.5625 × 9.5 A = 14.84 A, so 15 A
    _, sentence, rows = strings_and_fuses("us", 3)
    assert "drive up to 23.75\u00a0A into a faulty one: 1.25 times 9.50\u00a0A from each" in sentence
    assert "each string needs a fuse" in sentence
    assert "15\u00a0A is the smallest standard rating" in sentence
    assert [row["Limits"] for row in rows[:3]] == ["no fuses needed", "no fuses needed", "each string needs a fuse"]


def test_iec_counts_without_a_factor(strings_and_fuses):
    # IEC 62548:2016 (trade article): 2 × 9.5 A = 19 A, within 20 A
    _, sentence, rows = strings_and_fuses("iec", 3)
    assert "drive up to 19\u00a0A into a faulty one: 9.50\u00a0A from each" in sentence
    assert "no fuses are needed as far as the modules go" in sentence
    assert rows[3]["Limits"] == "each string needs a fuse"


def test_strings_for_which_no_fuse_is_made_are_said(strings_and_fuses):
    # 1.5625 × 12 A = 18.75 A; 20 A is the next rating, above the module's 19 A
    assert "cannot be connected in parallel like this" in strings_and_fuses("us", 4, "12.0 A", "19 A").sentence


def test_one_string_stands_alone(strings_and_fuses):
    assert "stands alone" in strings_and_fuses("us", 1).sentence


def test_no_bar_above_the_modules_fuse_is_called_free_of_fuses(strings_and_fuses):
    for short_circuit in np.arange(3.0, 20.0, 0.7):
        bars = traces(strings_and_fuses("us", 3, f"{short_circuit:.2f} A").figure)["no fuses needed"]
        assert all(height <= 20.0 for height in bars.y)

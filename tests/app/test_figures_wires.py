"""Figures on wires and fuses.  Table values: NFPA 70-2017 (third-party transcription), IEC in reproductions."""

import numpy as np
import pytest

from tutor.app.figures.ampacity_ambient import Load, ampacity_ambient
from tutor.app.figures.drop_length import Run, drop_length
from tutor.app.figures.fuse_between import Circuit, fuse_between
from tutor.app.figures.strings_and_fuses import strings_and_fuses
from tutor.content.models import Amount
from tutor.looks import DARK, LIGHT
from tutor.trade.conductors import Laid
from tutor.trade.rulebooks import TableError, rulebook

US, IEC = rulebook("us"), rulebook("iec")
amount = Amount.model_validate
ISC, FUSE_MAX = amount("9.50 A"), amount("20 A")
FOOT = 0.3048
SOUND = Circuit(
    load=108, needed=135, fuse=150, ampacity=175, largest_fuse=175, melting=202.5, fault=4800, breaking_capacity=10000
)


def traces(figure):
    return {trace.name: trace for trace in figure.data if trace.name}


def texts(figure):
    return " ".join(note.text for note in figure.layout.annotations)


def drawings(look):
    laid = Laid(90.0, 40.0, 2, 60.0)
    return {
        "drop_length": drop_length(US, Run(10.0, 24.0, 40 * FOOT), look),
        "ampacity_ambient": ampacity_ambient(US, Load(32.0, US.size_named("8 AWG")), laid, look),
        "fuse_between": fuse_between(SOUND, look),
        "strings_and_fuses": strings_and_fuses(US, 3, ISC, FUSE_MAX, look),
    }


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["drop_length", "ampacity_ambient", "fuse_between", "strings_and_fuses"])
def test_every_figure_has_ground_sentence_and_table(name, look):
    figure, sentence, rows = drawings(look)[name]
    assert figure.layout.paper_bgcolor == figure.layout.plot_bgcolor == look.ground
    assert figure.layout.font.color == look.text
    assert sentence.endswith(".")
    assert len({tuple(row) for row in rows}) == 1


@pytest.mark.parametrize("name", ["drop_length", "ampacity_ambient"])
def test_named_lines_differ_by_dash_and_not_by_colour_alone(name):
    figure = drawings(LIGHT)[name].figure
    dashes = {trace.name: trace.line.dash for trace in figure.data if trace.mode == "lines"}
    assert len(set(dashes.values())) == len(dashes)


# The drop against length


def test_the_drop_of_a_size_is_worked_out_both_ways():
    # Chapter 9 Table 8: 10 AWG stranded 1.24 Ω, 6 AWG 0.491 Ω per 1,000 ft at 75 °C.
    # 2 × 10 A × 40 ft × 1.24 Ω/kft = 0.992 V, 4.13 % of 24 V; 6 AWG: 0.393 V, 1.64 %
    figure, sentence, rows = drawings(LIGHT)["drop_length"]
    dropped = {row["Size"]: row["Drop"] for row in rows}
    assert dropped["10 AWG"] == "4.13\u00a0%"
    line = traces(figure)["10 AWG"]
    assert line.x[1] == pytest.approx(80.0)
    assert line.y[1] == pytest.approx(2 * 4.1333, rel=1e-4)
    assert "40\u00a0ft one way" in sentence
    assert "6 AWG is the smallest that carries the current and stays within 3\u00a0%: it loses 0.393\u00a0V" in sentence
    assert "advice, not law" in sentence
    assert "advice, not law" in texts(figure)


def test_the_longest_run_within_the_advice_is_in_the_table():
    # 3 % of 24 V is 0.72 V; 0.72 V / (2 × 10 A × 1.24 Ω/kft) = 29.03 ft
    rows = drawings(LIGHT)["drop_length"].rows
    assert rows[1]["Longest run within 3\u00a0%"] == "29\u00a0ft"


def test_metric_resistance_is_brought_to_the_working_temperature():
    # IEC 60228 class 2: 16 mm² 1.15 Ω/km at 20 °C; at 70 °C × (1 + 0.00393 × 50) = 1.376 Ω/km.
    # 2 × 40 A × 5 m × 1.376 Ω/km = 0.550 V, 4.59 % of 12 V
    rows = drop_length(IEC, Run(40.0, 12.0, 5.0), LIGHT).rows
    assert rows[2]["Size"] == "16 mm²"
    assert rows[2]["Drop"] == "4.59\u00a0%"


def test_a_size_that_drops_little_but_is_too_thin_is_warned_of():
    # 1 ft of 14 AWG at 50 A and 48 V: 2 × 50 × 1 × 3.14 Ω/kft = 0.314 V, 0.65 %; yet its 60 °C column has 15 A.
    figure, sentence, rows = drop_length(US, Run(50.0, 48.0, FOOT), LIGHT)
    assert "14 AWG would lose little enough, yet it may not carry this current" in sentence
    assert "14 AWG: too thin" in texts(figure)
    assert rows[0]["Carries the current"] == "no"


def test_a_run_that_no_size_serves_is_said():
    _, sentence, rows = drop_length(US, Run(100.0, 12.0, 60.0), LIGHT)
    assert "None of these sizes both carries" in sentence
    assert rows[0]["Drop"] == "more than there is"


def test_a_run_without_current_or_voltage_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        drop_length(US, Run(0.0, 12.0, 5.0), LIGHT)


# Ampacity against ambient


def test_ninety_degree_wire_on_sixty_degree_terminals_gets_the_terminals_ampacity():
    # Table 310.15(B)(16): 8 AWG 55 A at 90 °C, 40 A at 60 °C; (B)(2)(a): 36 to 40 °C, 0.91: 50.05 A
    figure, sentence, _ = drawings(LIGHT)["ampacity_ambient"]
    assert "may carry 50.1\u00a0A" in sentence
    assert "What counts is 40\u00a0A: the terminals decide" in sentence
    # 125 % of 32 A is exactly 40 A
    assert "passes both tests" in sentence
    assert "terminals, 60\u00a0°C: 40\u00a0A" in texts(figure)
    assert "125\u00a0% of the load: 40\u00a0A" in texts(figure)


def test_one_ampere_more_fails_the_test_before_correction():
    laid = Laid(90.0, 40.0, 2, 60.0)
    sentence = ampacity_ambient(US, Load(33.0, US.size_named("8 AWG")), laid, LIGHT).sentence
    assert "41.2\u00a0A, are more than the terminals' 40\u00a0A" in sentence  # 1.25 × 33 A = 41.25 A
    assert "choose a larger one" in sentence


def test_each_line_steps_down_with_the_tables_bands_and_ends_where_they_end():
    # (B)(2)(a): 60 °C insulation ends at 55 °C, 75 °C at 70 °C; 8 AWG at 75 °C in 70 °C air: 50 A × 0.33 = 16.5 A
    figure = drawings(LIGHT)["ampacity_ambient"].figure
    lines = traces(figure)
    assert lines["60 °C insulation"].x[-1] == 55.0
    assert lines["75 °C insulation"].x[-1] == 70.0
    assert lines["75 °C insulation"].y[-1] == pytest.approx(16.5)
    assert all(
        np.diff(lines[name].y).max() < 0 for name in ("60 °C insulation", "75 °C insulation", "90 °C insulation")
    )


def test_air_beyond_the_table_has_no_ampacity():
    laid = Laid(60.0, 60.0, 2, 60.0)
    sentence = ampacity_ambient(US, Load(5.0, US.size_named("8 AWG")), laid, LIGHT).sentence
    assert "has no ampacity: the table ends below this temperature" in sentence


def test_iec_has_one_test_without_a_factor():
    # IEC 60364-5-52 Table B.52.5, method B1: 10 mm² XLPE 75 A; Table B.52.14: 65 °C, 0.65: 48.75 A
    laid = Laid(90.0, 65.0, 2, 70.0)
    figure, sentence, _ = ampacity_ambient(IEC, Load(50.0, IEC.size_named("10 mm²")), laid, LIGHT)
    assert "What counts is 48.8\u00a0A: the air and the insulation decide" in sentence
    assert "The load's 50\u00a0A are more than" in sentence
    assert "125" not in texts(figure)


def test_a_size_without_ampacity_is_refused():
    with pytest.raises(TableError):
        ampacity_ambient(US, Load(5.0, US.size_named("18 AWG")), Laid(90.0, 40.0, 2, 60.0), LIGHT)


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


def test_the_other_strings_current_is_compared_with_the_modules_fuse():
    # By custom (no source): 2 × 1.25 × 9.5 A = 23.75 A above 20 A; 690.9: 1.5625 × 9.5 A = 14.84 A, so 15 A
    _, sentence, rows = strings_and_fuses(US, 3, ISC, FUSE_MAX, LIGHT)
    assert "2 × 1.25 × 9.50\u00a0A" in sentence
    assert "each string needs a fuse" in sentence
    assert "15\u00a0A is the smallest standard rating" in sentence
    assert [row["Fuses"] for row in rows[:3]] == ["no fuses needed", "no fuses needed", "each string needs a fuse"]


def test_iec_counts_without_a_factor():
    # IEC 62548:2016 (trade article): 2 × 9.5 A = 19 A, within 20 A
    _, sentence, rows = strings_and_fuses(IEC, 3, ISC, FUSE_MAX, LIGHT)
    assert "2 × 9.50\u00a0A = 19\u00a0A" in sentence
    assert "no fuses are needed as far as the modules go" in sentence
    assert rows[3]["Fuses"] == "each string needs a fuse"


def test_strings_for_which_no_fuse_is_made_are_said():
    # 1.5625 × 12 A = 18.75 A; 20 A is the next rating, above the module's 19 A
    assert "cannot be paralleled so" in strings_and_fuses(US, 4, amount("12.0 A"), amount("19 A"), LIGHT).sentence


def test_one_string_stands_alone():
    assert "stands alone" in strings_and_fuses(US, 1, ISC, FUSE_MAX, LIGHT).sentence
    with pytest.raises(ValueError, match="there has to be a string"):
        strings_and_fuses(US, 0, ISC, FUSE_MAX, LIGHT)


def test_no_bar_above_the_modules_fuse_is_called_free_of_fuses():
    for short_circuit in np.arange(3.0, 20.0, 0.7):
        figure = strings_and_fuses(US, 3, amount(f"{short_circuit:.2f} A"), FUSE_MAX, LIGHT).figure
        assert all(height <= 20.0 for height in traces(figure)["no fuses needed"].y)

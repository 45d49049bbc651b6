"""Expected values are worked by hand beside each test, from the straight line V·(1 + coefficient·(T − 25 °C))."""

from dataclasses import replace

import numpy as np
import pytest

from tutor.content.models import Module
from tutor.pictures.looks import DARK, LIGHT
from tutor.pictures.plots.iv_curve import iv_curve
from tutor.pictures.plots.sweep import sweep as draw
from tutor.problems.sweep import figure_question, traced
from tutor.trade.modules import Label, fit
from tutor.trade.rulebooks import rulebook

MODULE = {
    "module_voc": "41.3 V",
    "module_vmp": "34.2 V",
    "voc_coefficient": "-0.27 %/K",
    "vmp_coefficient": "-0.35 %/K",
}
SITE = {"record_low": "-24 degC", "hottest_cell": "68 degC", "january_mean": "-8 degC", "july_mean": "17 degC"}
WINDOW = {"input_voltage_max": "450 V", "input_voltage_min": "120 V", "input_voltage_best": "200 V"}
SHEET = Module.model_validate(
    {
        "name": "A module",
        "cells": 60,
        "module_power": "400 W",
        "module_voc": "41.30 V",
        "module_vmp": "34.20 V",
        "module_isc": "12.40 A",
        "module_imp": "11.70 A",
        "voc_coefficient": "-0.27 %/K",
        "vmp_coefficient": "-0.35 %/K",
        "power_coefficient": "-0.34 %/K",
        "isc_coefficient": "0.05 %/K",
        "module_fuse_max": "20 A",
        "module_system_voltage": "1000 V",
        "nominal_cell_temperature": "45 degC",
    }
)
LABEL = Label(41.3, 34.2, 12.4, 11.7, -0.0027, 0.0005)


def traces(figure):
    return {trace.name: trace for trace in figure.data if trace.name}


@pytest.fixture
def cold_year(drawn):
    """The year of a string of so many modules, with other values in the place of those above."""
    return lambda count, look=LIGHT, **other: drawn(
        "cold-year", MODULE | SITE | WINDOW | {"modules_in_series": str(count)} | other, look=look, place="Birch Hollow"
    )


@pytest.fixture
def series_window(drawn):
    """Strings of modules with these voltages at 25 °C, which is neither cold nor hot, against a window's limits."""

    def draw_with(highest, operating, limit, best, look=LIGHT):
        module = {"module_voc": f"{highest} V", "module_vmp": f"{operating} V"}
        window = {"input_voltage_max": f"{limit} V", "input_voltage_min": "20 V", "input_voltage_best": f"{best} V"}
        mild = {"record_low": "25 degC", "hottest_cell": "25 degC"}
        return drawn("series-window", module | window | mild, look=look)

    return draw_with


@pytest.fixture
def hot_afternoon(drawn):
    """So many modules with cells at 68 °C."""
    values = MODULE | WINDOW | {"hottest_cell": "68 degC"}
    return lambda count, look=LIGHT: drawn("hot-afternoon", values | {"modules_in_series": str(count)}, look=look)


@pytest.fixture
def drawings(cold_year, series_window, hot_afternoon):
    """Every figure in a look, by its name."""
    return lambda look: {
        "cold_year": cold_year(9, look),
        "series_window": series_window(46.76, 29.05, 450, 200, look),
        "hot_afternoon": hot_afternoon(4, look),
        "iv_curve": iv_curve(SHEET, fit(LABEL), 700.0, 60.0, look),
    }


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["cold_year", "series_window", "hot_afternoon", "iv_curve"])
def test_every_figure_has_ground_sentence_and_table(name, look, drawings):
    figure, sentence, rows = drawings(look)[name]
    assert figure.layout.paper_bgcolor == figure.layout.plot_bgcolor == look.ground
    assert figure.layout.font.color == look.text
    assert sentence.endswith(".")
    assert len({tuple(row) for row in rows}) == 1


@pytest.mark.parametrize("name", ["cold_year", "hot_afternoon", "iv_curve"])
def test_named_lines_differ_by_dash_and_not_by_colour_alone(name, drawings):
    figure = drawings(LIGHT)[name].figure
    dashes = {trace.name: trace.line.dash for trace in figure.data if trace.mode == "lines" and trace.name}
    assert len(set(dashes.values())) == len(dashes) > 1


def test_the_coldest_morning_and_the_hottest_afternoon_are_worked_out(cold_year):
    # 9 × 41.3 V × (1 + 0.0027 × 49) = 420.9 V; 9 × 34.2 V × (1 − 0.0035 × 43) = 261.5 V
    figure, sentence, rows = cold_year(9)
    assert np.max(traces(figure)["open circuit, coldest morning"].y) == pytest.approx(420.88, abs=0.01)
    assert np.min(traces(figure)["operating, hottest afternoon"].y) == pytest.approx(261.48, abs=0.01)
    assert (
        "Birch Hollow, 9 in series. On the coldest morning, at −24\u00a0°C, the string reaches 420.9\u00a0V."
        in sentence
    )
    assert "29.12\u00a0V below the input's limit of 450\u00a0V, so the input survives" in sentence
    assert "operates at 261.5\u00a0V. The input works best from 200\u00a0V, so it charges well" in sentence
    assert len(rows) == 12
    assert rows[0]["open circuit, coldest morning"] == "420.9\u00a0V"


def test_one_module_more_destroys_the_input(cold_year):
    # 10 × 41.3 V × (1 + 0.0027 × 49) = 467.6 V
    figure, sentence, rows = cold_year(10)
    assert "17.64\u00a0V above the input's limit of 450\u00a0V, so the input is destroyed" in sentence
    assert rows[0]["Limits"] == "destroys the input"
    above = [trace for trace in figure.data if trace.mode == "lines" and trace.line.color == LIGHT.danger]
    assert min(height for height in above[0].y if height is not None) > 450


def test_a_string_exactly_at_the_limit_survives(cold_year):
    # 10 × 30.0 V × (1 + 0.002 × 50) = 330 V: the limit itself is allowed
    module = {"module_voc": "30.0 V", "module_vmp": "25.0 V", "voc_coefficient": "-0.2 %/K"}
    drawing = cold_year(10, record_low="-25 degC", input_voltage_max="330 V", input_voltage_min="60 V", **module)
    assert "the input survives" in drawing.sentence
    assert {row["Limits"] for row in drawing.rows} == {"fits"}


@pytest.mark.parametrize(
    ("count", "words"),
    # 34.2 V × 0.8495 = 29.05 V a module: 116.2 V, 145.3 V, 203.4 V
    [
        (4, "3.788\u00a0V below the 120\u00a0V from which the input charges, so it does not charge"),
        (5, "145.3\u00a0V. That is enough to charge, but below the 200\u00a0V"),
        (7, "it charges well"),
    ],
)
def test_the_hot_end_is_said(count, words, cold_year):
    assert words in cold_year(count).sentence


def test_a_southern_place_has_its_cold_morning_in_july(cold_year):
    south = {"record_low": "-12 degC", "hottest_cell": "66 degC", "january_mean": "16 degC", "july_mean": "2 degC"}
    figure, _, rows = cold_year(5, **south)
    trace = traces(figure)["open circuit, coldest morning"]
    assert 180 < trace.x[np.argmax(trace.y)] < 213
    # 5 × 41.3 V × (1 + 0.0027 × 37) = 227.1 V
    assert rows[6]["Day"].startswith("July")
    assert rows[6]["open circuit, coldest morning"] == "227.1\u00a0V"


def test_fewest_and_most_modules_are_found_and_marked(series_window):
    # Common practice, no source: 28 V operating into 200 V is 7.14, so 8; 37.95 V at -25 °C into 500 V is 13.18, so 13.
    figure, sentence, rows = series_window(37.95, 28.0, 500, 200)
    assert "The number of modules in series may be 8 to 13." in sentence
    assert "With 7, the operating voltage is 196\u00a0V, too few" in sentence
    assert "With 14, the highest voltage is 531.3\u00a0V, too many: on the coldest morning" in sentence
    assert list(traces(figure)["highest voltage: fits"].x) == [8, 9, 10, 11, 12, 13]
    assert [row["Limits"] for row in rows] == ["too few"] * 7 + ["fits"] * 6 + ["too many"] * 3


def test_a_window_that_no_string_fits_is_said(series_window):
    # 2 × 45 V = 90 V is the most below 100 V; 80 V / 25 V = 3.2, so 4 would be needed
    figure, sentence, _ = series_window(45.0, 25.0, 100, 80)
    assert "No number of modules in series fits." in sentence
    assert "With 3, the operating voltage is 75\u00a0V, too few" in sentence
    assert "With 3, the highest voltage is 135\u00a0V, too many" in sentence
    assert "highest voltage: fits" not in traces(figure)


def test_no_bar_above_the_limit_is_called_fitting(series_window):
    fitting = 0
    for limit in np.arange(50.0, 600.0, 7.3):
        bars = traces(series_window(46.76, 29.05, limit, 45).figure).get("highest voltage: fits")
        fitting += bool(bars)
        assert bars is None or all(height <= limit for height in bars.y)
    assert fitting > 60


def test_the_open_circuit_coefficient_hides_a_string_that_is_too_low(hot_afternoon):
    # 4 × 34.2 V × (1 − 0.0035 × 43) = 116.2 V; with −0.0027: 120.9 V
    sentence = hot_afternoon(4).sentence
    assert "operates at 116.2\u00a0V. It is 3.788\u00a0V below the 120\u00a0V" in sentence
    assert "seem to be 120.9\u00a0V, enough to charge, which it is not" in sentence
    assert "which it is not" not in hot_afternoon(5).sentence


def test_the_curve_at_the_labels_conditions_has_the_labels_points():
    _, sentence, rows = iv_curve(SHEET, fit(LABEL), 1000.0, 25.0, LIGHT)
    assert [row["Now"] for row in rows[:4]] == ["41.30\u00a0V", "34.20\u00a0V", "12.40\u00a0A", "11.70\u00a0A"]
    assert all(row["Now"] == row["On the label"] for row in rows)
    assert "most power 400.1\u00a0W" in sentence  # 34.2 V × 11.7 A


def test_the_dullest_light_still_draws():
    figure, _, _ = iv_curve(SHEET, fit(LABEL), 20.0, -20.0, LIGHT)
    assert all(np.isfinite(np.asarray(trace.y, float)).all() for trace in figure.data)


def test_words_of_anybodys_are_never_read_as_tags(library):
    traced_words = "<a href='https://elsewhere.example'>here</a>"
    declared = library.figures["hot-afternoon"]
    curve = declared.figure.curves[0].model_copy(update={"words": traced_words})
    sweep = declared.figure.model_copy(update={"axis": traced_words, "curves": [curve, *declared.figure.curves[1:]]})
    hostile = replace(library, figures={"hot-afternoon": replace(declared, figure=sweep)})
    figure = figure_question(hostile, hostile.figures["hot-afternoon"], rulebook("us"))
    shown = draw(traced(figure, figure.problem({})), LIGHT).figure.to_json()
    assert "elsewhere.example" in shown
    assert "<a" not in shown
    assert "\\u003ca" not in shown

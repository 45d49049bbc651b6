"""Expected values are worked by hand beside each test, from the straight line V·(1 + coefficient·(T − 25 °C))."""

import numpy as np
import pytest

from tutor.app.figures.base import LabelVoltages, Window
from tutor.app.figures.cold_year import Site, cold_year
from tutor.app.figures.hot_afternoon import hot_afternoon
from tutor.app.figures.iv_curve import iv_curve
from tutor.app.figures.series_window import series_window
from tutor.content.models import Module
from tutor.looks import DARK, LIGHT
from tutor.trade.modules import Label, fit

MODULE = LabelVoltages(voc=41.3, vmp=34.2, voc_coefficient=-0.0027, vmp_coefficient=-0.0035)
SITE = Site("Birch Hollow", record_low=-24.0, hottest_cell=68.0, january_mean=-8.0, july_mean=17.0)
WINDOW = Window(highest=450.0, lowest=120.0, best=200.0)
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


def drawings(look):
    parameters = fit(LABEL)
    return {
        "cold_year": cold_year(9, MODULE, SITE, WINDOW, look),
        "series_window": series_window(46.76, 29.05, WINDOW, look),
        "hot_afternoon": hot_afternoon(4, MODULE, 68.0, WINDOW, look),
        "iv_curve": iv_curve(SHEET, parameters, 700.0, 60.0, look),
    }


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["cold_year", "series_window", "hot_afternoon", "iv_curve"])
def test_every_figure_has_ground_sentence_and_table(name, look):
    figure, sentence, rows = drawings(look)[name]
    assert figure.layout.paper_bgcolor == figure.layout.plot_bgcolor == look.ground
    assert figure.layout.font.color == look.text
    assert sentence.endswith(".")
    assert len({tuple(row) for row in rows}) == 1


@pytest.mark.parametrize("name", ["cold_year", "hot_afternoon", "iv_curve"])
def test_named_lines_differ_by_dash_and_not_by_colour_alone(name):
    figure = drawings(LIGHT)[name].figure
    dashes = {trace.name: trace.line.dash for trace in figure.data if trace.mode == "lines"}
    assert len(set(dashes.values())) == len(dashes)


def test_the_coldest_morning_and_the_hottest_afternoon_are_worked_out():
    # 9 × 41.3 V × (1 + 0.0027 × 49) = 420.9 V; 9 × 34.2 V × (1 − 0.0035 × 43) = 261.5 V
    figure, sentence, rows = cold_year(9, MODULE, SITE, WINDOW, LIGHT)
    assert np.max(traces(figure)["open circuit, coldest morning"].y) == pytest.approx(420.88, abs=0.01)
    assert np.min(traces(figure)["operating, hottest afternoon"].y) == pytest.approx(261.48, abs=0.01)
    assert "stands at 420.9\u00a0V, 29.1\u00a0V below the input's limit of 450 V: the input survives" in sentence
    assert "operates at 261.5\u00a0V, 61.5\u00a0V above the 200 V" in sentence
    assert len(rows) == 12
    assert rows[0]["Open circuit"] == "420.9\u00a0V"


def test_one_module_more_destroys_the_input():
    # 10 × 41.3 V × (1 + 0.0027 × 49) = 467.6 V
    assert "17.6\u00a0V above the input's limit of 450 V: the input is destroyed" in (
        cold_year(10, MODULE, SITE, WINDOW, LIGHT).sentence
    )


def test_a_string_exactly_at_the_limit_survives():
    # 10 × 30.0 V × (1 + 0.002 × 50) = 330 V: the limit itself is allowed
    module = LabelVoltages(voc=30.0, vmp=25.0, voc_coefficient=-0.002, vmp_coefficient=-0.003)
    site = Site("Birch Hollow", -25.0, 68.0, -8.0, 17.0)
    assert "the input survives" in cold_year(10, module, site, Window(330.0, 60.0, 100.0), LIGHT).sentence


@pytest.mark.parametrize(
    ("count", "words"),
    # 34.2 V × 0.8495 = 29.05 V a module: 116.2 V, 145.3 V, 203.4 V
    [(4, "it does not"), (5, "enough to charge, but 54.7\u00a0V below"), (7, "it charges well")],
)
def test_the_hot_end_is_said(count, words):
    assert words in cold_year(count, MODULE, SITE, WINDOW, LIGHT).sentence


def test_a_southern_place_has_its_cold_morning_in_july():
    site = Site("Tussock Flat", -12.0, 66.0, 16.0, 2.0)
    figure, _, rows = cold_year(5, MODULE, site, WINDOW, LIGHT)
    trace = traces(figure)["open circuit, coldest morning"]
    assert 180 < trace.x[np.argmax(trace.y)] < 213
    assert rows[6]["Coldest morning"] == "−12\u00a0°C"


def test_fewest_and_most_modules_are_found_and_marked():
    # Common practice, no source: 28 V operating into 200 V is 7.14, so 8; 37.95 V at -25 °C into 500 V is 13.18, so 13.
    figure, sentence, rows = series_window(37.95, 28.0, Window(500.0, 60.0, 200.0), LIGHT)
    assert "At least 8 are needed to operate at 200 V; 13 at most, for 14 would stand at 531.3\u00a0V" in sentence
    assert figure.layout.xaxis.title.text == "modules in series: fewest 8, most 13"
    assert list(traces(figure)["highest: fits"].x) == [8, 9, 10, 11, 12, 13]
    assert [row["Fits the window"] for row in rows] == ["too few"] * 7 + ["fits"] * 6 + ["too many"] * 2


def test_a_window_that_no_string_fits_is_said():
    # 2 × 45 V = 90 V is the most below 100 V; 80 V / 25 V = 3.2, so 4 would be needed
    figure, sentence, _ = series_window(45.0, 25.0, Window(100.0, 40.0, 80.0), LIGHT)
    assert "No number of them fits: 4 are needed to operate at 80 V, but 2 at most" in sentence
    assert list(traces(figure)["highest: fits"].x) == []
    assert "none fits" in figure.layout.xaxis.title.text


def test_no_bar_above_the_limit_is_called_fitting():
    for limit in np.arange(50.0, 600.0, 7.3):
        figure = series_window(46.76, 29.05, Window(limit, 20.0, 45.0), LIGHT).figure
        assert all(height <= limit for height in traces(figure)["highest: fits"].y)


def test_the_open_circuit_coefficient_hides_a_string_that_is_too_low():
    # 4 × 34.2 V × (1 − 0.0035 × 43) = 116.2 V; with −0.0027: 120.9 V
    _, sentence, _ = hot_afternoon(4, MODULE, 68.0, WINDOW, LIGHT)
    assert "operates at 116.2\u00a0V, 3.8\u00a0V below the 120 V" in sentence
    assert "seem to be 120.9\u00a0V, enough to charge, which it is not" in sentence


def test_the_curve_at_the_labels_conditions_has_the_labels_points():
    _, sentence, rows = iv_curve(SHEET, fit(LABEL), 1000.0, 25.0, LIGHT)
    assert [row["Now"] for row in rows[:4]] == ["41.30\u00a0V", "34.20\u00a0V", "12.40\u00a0A", "11.70\u00a0A"]
    assert all(row["Now"] == row["On the label"] for row in rows)
    assert "most power 400.1\u00a0W" in sentence  # 34.2 V × 11.7 A


def test_the_dullest_light_still_draws():
    figure, _, _ = iv_curve(SHEET, fit(LABEL), 20.0, -20.0, LIGHT)
    assert all(np.isfinite(np.asarray(trace.y, float)).all() for trace in figure.data)

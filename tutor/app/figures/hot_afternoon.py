"""A string's operating voltage as its cells heat up: by its own coefficient, and by the open-circuit one."""

import numpy as np
import plotly.graph_objects as go

from tutor.app.figures.base import Drawn, LabelVoltages, Rows, Window, add_level, blank, degrees, volts
from tutor.looks import Look
from tutor.trade.strings import STANDARD_CELL, voltage_at
from tutor.units import written

HOTTEST_SHOWN = 85.0


def hot_afternoon(count: int, module: LabelVoltages, hottest_cell: float, window: Window, look: Look) -> Drawn:
    """Draw the operating voltage against cell temperature (°C), with the right coefficient and the open-circuit one."""
    cells = np.linspace(STANDARD_CELL, max(HOTTEST_SHOWN, hottest_cell + 5), 13)
    lines = (
        ("operating coefficient", module.vmp_coefficient, look.line_2, "solid", "circle"),
        ("open-circuit coefficient (wrong here)", module.voc_coefficient, look.line_1, "dash", "x"),
    )
    figure = blank(look, "cell temperature (°C)", "operating voltage of the string (V)")
    add_level(figure, look, window.lowest, f"no charging below {window.lowest:g} V")
    if window.best > window.lowest:
        add_level(figure, look, window.best, f"best from {window.best:g} V")
    for name, coefficient, colour, dash, symbol in lines:
        voltages = count * voltage_at(module.vmp, coefficient, cells)
        at_hottest = count * voltage_at(module.vmp, coefficient, hottest_cell)
        line = {"color": colour, "width": 3, "dash": dash}
        hover = "%{x:.0f} °C: %{y:.1f} V<extra></extra>"
        figure.add_trace(go.Scatter(x=cells, y=voltages, name=name, mode="lines", line=line, hovertemplate=hover))
        marker = {"symbol": symbol, "size": 12, "color": colour}
        figure.add_trace(
            go.Scatter(
                x=[hottest_cell], y=[at_hottest], mode="markers", marker=marker, showlegend=False, hoverinfo="skip"
            )
        )
        figure.add_annotation(
            x=hottest_cell,
            y=at_hottest,
            text=f"<b>{volts(at_hottest)}</b>",
            ax=0,
            ay=28 if symbol == "circle" else -28,
            bgcolor=look.ground,
            bordercolor=colour,
            arrowcolor=colour,
            arrowhead=0,
        )
    return Drawn(figure, _sentence(count, module, hottest_cell, window), _rows(count, module, cells))


def _sentence(count: int, module: LabelVoltages, hottest_cell: float, window: Window) -> str:
    right = count * voltage_at(module.vmp, module.vmp_coefficient, hottest_cell)
    wrong = count * voltage_at(module.vmp, module.voc_coefficient, hottest_cell)
    holds = f"{volts(abs(right - window.lowest))} {'above' if right >= window.lowest else 'below'}"
    result = (
        f"With cells at {written(hottest_cell, 'degC')} the string of {count} operates at {volts(right)}, "
        f"{holds} the {window.lowest:g} V from which the input charges."
    )
    trap = f" Taken with the open-circuit coefficient it would seem to be {volts(wrong)}"
    seems = (
        ", enough to charge, which it is not." if right < window.lowest <= wrong else f", {volts(wrong - right)} more."
    )
    return result + trap + seems


def _rows(count: int, module: LabelVoltages, cells: np.ndarray) -> Rows:
    return [
        {
            "Cells": degrees(cell),
            "Operating coefficient": volts(count * voltage_at(module.vmp, module.vmp_coefficient, cell)),
            "Open-circuit coefficient (wrong)": volts(count * voltage_at(module.vmp, module.voc_coefficient, cell)),
        }
        for cell in map(float, cells)
    ]

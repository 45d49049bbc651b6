"""A string's voltages over a year at its site, against the charger's input window."""

from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go

from tutor.app.figures.base import Drawn, LabelVoltages, Rows, Window, add_window, blank, degrees, volts
from tutor.looks import Look
from tutor.trade.site import YearOfTemperatures, year_of_temperatures
from tutor.trade.strings import most_in_series, voltage_at
from tutor.units import written

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MID_MONTH = [15, 45, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349]


@dataclass(frozen=True)
class Site:
    """A place's temperatures (°C)."""

    name: str
    record_low: float
    hottest_cell: float
    january_mean: float
    july_mean: float


def cold_year(count: int, module: LabelVoltages, site: Site, window: Window, look: Look) -> Drawn:
    """Draw the open-circuit voltage of each coldest morning and the operating voltage of each hottest afternoon.

    The year is a teaching curve (see tutor.trade.site).  Raises ValueError for temperatures that make no year.
    """
    year = year_of_temperatures(site.record_low, site.hottest_cell, site.january_mean, site.july_mean)
    cold = count * voltage_at(module.voc, module.voc_coefficient, year.coldest_morning)
    hot = count * voltage_at(module.vmp, module.vmp_coefficient, year.hottest_cell)
    figure = blank(look, "", "string voltage (V)")
    add_window(figure, look, window)
    for name, voltage, colour, dash in (
        ("open circuit, coldest morning", cold, look.line_1, "solid"),
        ("operating, hottest afternoon", hot, look.line_2, "dash"),
    ):
        line = {"color": colour, "width": 3, "dash": dash}
        hover = "%{y:.1f} V<extra></extra>"
        figure.add_trace(go.Scatter(x=year.day, y=voltage, name=name, mode="lines", line=line, hovertemplate=hover))
    coldest, hottest = int(np.argmin(year.coldest_morning)), int(np.argmax(year.hottest_cell))
    for at, voltage, temperature, symbol, colour, side in (
        (coldest, cold[coldest], site.record_low, "triangle-up", look.line_1, 1),
        (hottest, hot[hottest], site.hottest_cell, "triangle-down", look.line_2, -1),
    ):
        words = f"{written(temperature, 'degC')}: <b>{volts(voltage)}</b>"
        figure.add_trace(_marker(year.day[at], voltage, symbol, colour, look))
        figure.add_annotation(_callout(year.day[at], voltage, words, colour, side=side, look=look))
    figure.update_xaxes(tickvals=_MID_MONTH[::2], ticktext=MONTHS[::2], range=[0, 365])
    figure.update_yaxes(range=[0, 1.12 * max(window.highest, float(cold.max()))])
    return Drawn(figure, _sentence(count, float(cold.max()), float(hot.min()), site, window), _rows(year, cold, hot))


def _marker(day: float, voltage: float, symbol: str, colour: str, look: Look) -> go.Scatter:
    marker = {"symbol": symbol, "size": 14, "color": colour, "line": {"color": look.ground, "width": 1}}
    return go.Scatter(x=[day], y=[voltage], mode="markers", marker=marker, showlegend=False, hoverinfo="skip")


def _callout(day: float, voltage: float, words: str, colour: str, *, side: int, look: Look) -> dict[str, object]:
    """Words in a box below (1) or above (-1) a point, clear of the left edge."""
    at_edge = day < 120
    return {
        "x": day,
        "y": voltage,
        "text": words,
        "bgcolor": look.ground,
        "bordercolor": colour,
        "borderpad": 2,
        "xanchor": "left" if at_edge else "center",
        "ax": 14 if at_edge else 0,
        "ay": 32 * side,
        "arrowcolor": colour,
        "arrowhead": 0,
    }


def _sentence(count: int, highest: float, lowest: float, site: Site, window: Window) -> str:
    modules = "1 module" if count == 1 else f"{count} modules in series"
    room = volts(abs(window.highest - highest))
    survives = (
        f"{room} below the input's limit of {window.highest:g} V: the input survives"
        if count <= most_in_series(window.highest, highest / count)
        else f"{room} above the input's limit of {window.highest:g} V: the input is destroyed"
    )
    return (
        f"{site.name}, {modules}. On the coldest morning, at {written(site.record_low, 'degC')}, the string stands at "
        f"{volts(highest)}, {survives}. On the hottest afternoon, with cells at "
        f"{written(site.hottest_cell, 'degC')}, it operates at {volts(lowest)}, {_charging(lowest, window)}."
    )


def _charging(lowest: float, window: Window) -> str:
    if lowest < window.lowest:
        return (
            f"{volts(window.lowest - lowest)} below the {window.lowest:g} V from which the input charges: it does not"
        )
    if lowest < window.best:
        return f"enough to charge, but {volts(window.best - lowest)} below the input's best of {window.best:g} V"
    return f"{volts(lowest - window.best)} above the {window.best:g} V from which the input works best: it charges well"


def _rows(year: YearOfTemperatures, cold: np.ndarray, hot: np.ndarray) -> Rows:
    columns = (year.coldest_morning, cold, year.hottest_cell, hot)
    at_months = [np.interp(_MID_MONTH, year.day, column) for column in columns]
    return [
        {
            "Month": month,
            "Coldest morning": degrees(morning),
            "Open circuit": volts(open_circuit),
            "Hottest cell": degrees(cell),
            "Operating": volts(operating),
        }
        for month, morning, open_circuit, cell, operating in zip(MONTHS, *at_months, strict=True)
    ]

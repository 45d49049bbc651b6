"""The current into an inverter's empty capacitors, with and without pre-charge, on one and the same scale."""

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from tutor.base.units import written
from tutor.content.figures import SpecialFigure
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import TEXT_SIZE, Drawn, Rows, blank
from tutor.trade.inrush import Charging, PreCharge
from tutor.trade.rulebooks import Rulebook

_SHOWN = 6.0  # time constants: after them a quarter of a per cent is left
_POINTS = 61


def from_controls(_figure: SpecialFigure, _book: Rulebook, chosen: Mapping[str, Any], look: Look) -> Drawn:
    """Draw the declared figure with what the learner chose."""
    return inrush(PreCharge(**chosen), look)


def inrush(plan: PreCharge, look: Look) -> Drawn:
    """Draw the current (A) against time: above with the main switch closed at once, below with pre-charge first.

    Raises ValueError for values that make no circuit.
    """
    at_once = Charging(plan.voltage, plan.resistance, plan.capacitance)
    figure = blank(look, "", "current (A)")
    figure.update_layout(
        height=520,
        showlegend=False,
        yaxis={"domain": [0.58, 1]},
        yaxis2={**figure.layout.yaxis.to_plotly_json(), "domain": [0, 0.4]},
        xaxis={"anchor": "y", "title": "milliseconds"},
        xaxis2={**figure.layout.xaxis.to_plotly_json(), "anchor": "y2", "title": "seconds"},
    )
    top = 1.15 * at_once.peak_current
    figure.update_yaxes(range=[0, top], tickformat="~g")
    first = _curve(at_once, 0.0, 1000.0)
    figure.add_trace(_line(first, "x", "y", look.danger, "solid"))
    slow, closing_charge = plan.through_resistor, plan.after_closing
    end = max(1.25 * plan.time, plan.time + 20 * closing_charge.time_constant)
    before = [end / 400 * step for step in range(401) if end / 400 * step <= plan.time]
    joined = [(time, slow.current(time)) for time in before]
    joined += [(plan.time + time, current) for time, current in _curve(closing_charge, 0.0, 1.0)] + [(end, 0.0)]
    figure.add_trace(_line(joined, "x2", "y2", look.line_1, "solid"))
    _add_closing(figure, look, plan)
    _add_words(figure, look, 0.98, f"main switch at once: <b>{_amperes(at_once.peak_current)}</b>", look.danger)
    _add_words(figure, look, 0.38, f"pre-charge first: at most <b>{_amperes(plan.peak_current)}</b>", look.line_1)
    return Drawn(figure, _sentence(plan, at_once), _rows(plan, at_once))


def _amperes(current: float) -> str:
    """Write a current to three figures, thousands to ten amperes."""
    return written(round(current, -1) if current >= 1000 else current, "A", 3)


def _seconds(time: float) -> str:
    return written(time, "s", 3) if time >= 0.1 else written(1000 * time, "ms", 3)


def _curve(charging: Charging, start: float, scale: float) -> list[tuple[float, float]]:
    """Times, counted in `scale` a second, and currents (A) over six time constants."""
    step = _SHOWN * charging.time_constant / (_POINTS - 1)
    return [(scale * (start + index * step), charging.current(index * step)) for index in range(_POINTS)]


def _line(points: list[tuple[float, float]], x_axis: str, y_axis: str, colour: str, dash: str) -> go.Scatter:
    return go.Scatter(
        x=[time for time, _ in points],
        y=[current for _, current in points],
        xaxis=x_axis,
        yaxis=y_axis,
        mode="lines",
        line={"color": colour, "width": 3, "dash": dash},
        fill="tozeroy",
        fillpattern={"shape": "/" if x_axis == "x" else "", "fgcolor": colour, "bgcolor": "rgba(0,0,0,0)", "size": 8},
        hovertemplate="%{x:.3g}: %{y:.3g} A<extra></extra>",
    )


def _add_closing(figure: go.Figure, look: Look, plan: PreCharge) -> None:
    peak = plan.after_closing.peak_current
    figure.add_annotation(
        x=plan.time,
        xref="x2",
        y=peak,
        yref="y2",
        text=f"main switch closes: <b>{_amperes(peak)}</b>",
        ax=0,
        ay=-34,
        xanchor="right",
        bgcolor=look.ground,
        bordercolor=look.line_1,
        borderpad=2,
        arrowcolor=look.line_1,
        arrowhead=0,
        font={"size": TEXT_SIZE - 1},
    )


def _add_words(figure: go.Figure, look: Look, height: float, words: str, colour: str) -> None:
    figure.add_annotation(
        text=words,
        xref="paper",
        yref="paper",
        x=1,
        y=height,
        xanchor="right",
        yanchor="top",
        font={"color": colour, "size": TEXT_SIZE},
        bgcolor=look.ground,
        showarrow=False,
    )


def _sentence(plan: PreCharge, at_once: Charging) -> str:
    slow, closing_charge = plan.through_resistor, plan.after_closing
    peak = _amperes(at_once.peak_current)
    opening = (
        f"Closed at once onto empty capacitors, {written(plan.voltage, 'V', 3)} over "
        f"{written(1000 * plan.resistance, 'mohm', 3)} drives {peak} for an instant, falling to a third in about "
        f"{_seconds(at_once.time_constant)}: contacts weld, fuses may open."
    )
    slowly = (
        f" Through {written(plan.resistor, 'ohm', 3)} it is {_amperes(slow.peak_current)}, falling to a third in about "
        f"{_seconds(slow.time_constant)}."
    )
    reached = written(closing_charge.charged, "V", 3)
    closing = f" After {_seconds(plan.time)} the capacitors stand at {reached}, and the main switch closes with "
    end = f"{_amperes(closing_charge.peak_current)}."
    short = " That is too soon: wait longer." if closing_charge.peak_current > slow.peak_current * _TOO_SOON else ""
    return opening + slowly + closing + end + short


_TOO_SOON = 20.0  # so many times the pre-charge current at the closing calls for more patience: our own choice


def _rows(plan: PreCharge, at_once: Charging) -> Rows:
    parts = (
        ("main switch at once", at_once),
        ("through the pre-charge resistor", plan.through_resistor),
        (f"main switch after {_seconds(plan.time)}", plan.after_closing),
    )
    return [
        {
            "Charging": words,
            "First current": _amperes(charging.peak_current),
            "Falls to 37 % in": _seconds(charging.time_constant),
            "Heat in the resistance": written(charging.heat, "J", 3),
        }
        for words, charging in parts
    ]

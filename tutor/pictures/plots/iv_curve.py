"""A module's current and power against its voltage, at a chosen sun and cell temperature, beside its label's."""

from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from typing import Any

import plotly.graph_objects as go

from tutor.base.units import with_unit, written
from tutor.content.figures import SpecialFigure
from tutor.content.models import Amount, Module
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import Drawn, Rows, blank
from tutor.trade.modules import (
    STANDARD_IRRADIANCE,
    DiodeParameters,
    FitError,
    KeyPoints,
    Label,
    curve,
    fit,
    key_points,
)
from tutor.trade.rulebooks import Rulebook
from tutor.trade.site import STANDARD_CELL


@lru_cache(maxsize=256)
def _diode(module: Module) -> DiodeParameters:
    return fit(Label(**{value.name: getattr(module, value.name).working for value in fields(Label)}))


def from_controls(_figure: SpecialFigure, _book: Rulebook, chosen: Mapping[str, Any], look: Look) -> Drawn:
    """Draw the declared figure with what the learner chose.

    Raises ValueError for a label that no curve goes through.
    """
    module = chosen["module"]
    try:
        diode = _diode(module)
    except FitError as error:
        raise ValueError(f"There is no curve for {module.name}. {error}") from None
    return iv_curve(module, diode, chosen["irradiance"], chosen["cell_temperature"], look)


def iv_curve(
    module: Module, parameters: DiodeParameters, irradiance: float, cell_temperature: float, look: Look
) -> Drawn:
    """Draw a module's I-V above P-V at an irradiance (W/m²) and a cell temperature (°C), its label's curve dashed.

    Raises ValueError for a negative irradiance.
    """
    figure = blank(look, "", "current (A)")
    figure.update_layout(
        height=520,
        yaxis={"domain": [0.56, 1], "rangemode": "tozero"},
        yaxis2={
            **figure.layout.yaxis.to_plotly_json(),
            "domain": [0, 0.44],
            "title": "power (W)",
            "rangemode": "tozero",
        },
        xaxis={"anchor": "y2", "title": "voltage (V)", "rangemode": "tozero"},
    )
    label = (STANDARD_IRRADIANCE, STANDARD_CELL)
    points = key_points(parameters, irradiance, cell_temperature)
    for words, condition, colour, dash in (
        ("on the label", label, look.quiet, "dash"),
        ("now", (irradiance, cell_temperature), look.line_1, "solid"),
    ):
        traced = curve(parameters, *condition)
        line = {"color": colour, "width": 3 if words == "now" else 2, "dash": dash}
        for values, axis, unit in ((traced.current, "y", "A"), (traced.power, "y2", "W")):
            figure.add_trace(
                go.Scatter(
                    x=traced.voltage,
                    y=values,
                    yaxis=axis,
                    name=f"{words}: {condition[0]:.0f} W/m², {condition[1]:.0f} °C".replace("-", "−"),
                    showlegend=axis == "y",
                    mode="lines",
                    line=line,
                    hovertemplate=f"%{{x:.1f}} V, %{{y:.1f}} {unit}<extra></extra>",
                )
            )
    _mark_points(figure, points, look)
    return Drawn(figure, _sentence(module.name, points, irradiance, cell_temperature), _rows(module, points))


def _mark_points(figure: go.Figure, key_points: KeyPoints, look: Look) -> None:
    points = (
        (0.0, key_points.isc, "y", "Isc", "square", "bottom right"),
        (key_points.vmp, key_points.imp, "y", "Vmp, Imp", "diamond", "bottom left"),
        (key_points.voc, 0.0, "y", "Voc", "circle", "top left"),
        (key_points.vmp, key_points.power, "y2", "Pmax", "diamond", "bottom center"),
    )
    for voltage, value, axis, text, symbol, side in points:
        figure.add_trace(
            go.Scatter(
                x=[float(voltage)],
                y=[float(value)],
                yaxis=axis,
                mode="markers+text",
                text=[f"<b>{text}</b>"],
                textposition=side,
                textfont={"color": look.text},
                marker={"symbol": symbol, "size": 11, "color": look.line_1, "line": {"color": look.ground, "width": 1}},
                showlegend=False,
                cliponaxis=False,
                hoverinfo="skip",
            )
        )


def _sentence(name: str, points: KeyPoints, irradiance: float, cell_temperature: float) -> str:
    return (
        f"{name} in {written(round(irradiance), 'W/m^2')} with cells at {written(cell_temperature, 'degC')}: "
        f"open circuit {written(float(points.voc), 'V')}, short circuit {written(float(points.isc), 'A')}, most power "
        f"{written(float(points.power), 'W')} at {written(float(points.vmp), 'V')} and "
        f"{written(float(points.imp), 'A')}. "
        "Less sun takes the current down, warmer cells take the voltage down."
    )


def _rows(module: Module, points: KeyPoints) -> Rows:
    """Each value as the label prints it, beside the one now with as many decimals."""
    quantities = (
        ("Open-circuit voltage Voc", module.module_voc, points.voc),
        ("Operating voltage Vmp", module.module_vmp, points.vmp),
        ("Short-circuit current Isc", module.module_isc, points.isc),
        ("Operating current Imp", module.module_imp, points.imp),
        ("Power Pmax", module.module_power, points.power),
    )
    return [
        {"Quantity": words, "On the label": printed.text, "Now": _as_printed(float(value), printed)}
        for words, printed, value in quantities
    ]


def _as_printed(value: float, printed: Amount) -> str:
    return with_unit(f"{value:.{printed.decimals}f}", printed.unit)

"""What all figures share: what they take and give, and their common look."""

from dataclasses import dataclass
from typing import NamedTuple

import plotly.graph_objects as go

from tutor.looks import Look
from tutor.units import written

HEIGHT = 400
TEXT_SIZE = 14
Rows = list[dict[str, str]]


class Drawn(NamedTuple):
    """A figure, the sentence that says what it shows, and the rows of the table that holds its numbers."""

    figure: go.Figure
    sentence: str
    rows: Rows


@dataclass(frozen=True)
class LabelVoltages:
    """A module's voltages at 25 °C cells (V) and their coefficients (share per kelvin)."""

    voc: float
    vmp: float
    voc_coefficient: float
    vmp_coefficient: float


@dataclass(frozen=True)
class Window:
    """A charger input's voltages (V): destroyed above `highest`, charges from `lowest`, works best from `best`."""

    highest: float
    lowest: float
    best: float


def volts(voltage: float) -> str:
    """Write a string's voltage to a tenth of a volt."""
    return f"{voltage:.1f}\u00a0V"


def degrees(temperature: float) -> str:
    """Write a temperature to a whole degree Celsius."""
    return written(round(temperature), "degC")


def blank(look: Look, x_title: str, y_title: str) -> go.Figure:
    """Make an empty figure on a ground of its own, with every colour and size set."""
    figure = go.Figure()
    axis = {
        "gridcolor": look.raised,
        "linecolor": look.edge,
        "tickcolor": look.edge,
        "ticks": "outside",
        "zeroline": False,
        "showline": True,
        "fixedrange": True,
        "automargin": True,
    }
    figure.update_layout(
        template="none",
        height=HEIGHT,
        margin={"l": 8, "r": 12, "t": 16, "b": 8},
        paper_bgcolor=look.ground,
        plot_bgcolor=look.ground,
        font={"family": "Source Sans, sans-serif", "size": TEXT_SIZE, "color": look.text},
        legend={"orientation": "h", "yref": "container", "y": 0, "yanchor": "bottom", "x": 0, "bgcolor": look.ground},
        hovermode="closest",
        dragmode=False,
    )
    figure.update_xaxes(title=x_title, **axis)
    figure.update_yaxes(title=y_title, **axis)
    return figure


def add_level(figure: go.Figure, look: Look, height: float, words: str, *, deadly: bool = False) -> None:
    """Draw a level of the input across the figure with its words, a deadly one's at the right, others' at the left."""
    colour = look.danger if deadly else look.quiet
    line = {"color": colour, "width": 3 if deadly else 1.5, "dash": "solid" if deadly else "dot"}
    figure.add_shape(type="line", xref="paper", x0=0, x1=1, y0=height, y1=height, line=line)
    figure.add_annotation(
        text=words,
        xref="paper",
        x=1 if deadly else 0.005,
        y=height,
        xanchor="right" if deadly else "left",
        yanchor="bottom" if deadly else "top",
        font={"color": colour, "size": TEXT_SIZE - 1},
        bgcolor=look.ground,
        borderpad=1,
        showarrow=False,
    )


def add_window(figure: go.Figure, look: Look, window: Window) -> None:
    """Shade the input's window and draw its three levels."""
    band = {"y0": window.lowest, "y1": window.highest, "fillcolor": look.band, "line_width": 0, "layer": "below"}
    figure.add_shape(type="rect", xref="paper", x0=0, x1=1, **band)
    add_level(figure, look, window.highest, f"destroyed above {window.highest:g} V", deadly=True)
    add_level(figure, look, window.lowest, f"charges from {window.lowest:g} V")
    if window.best > window.lowest:
        add_level(figure, look, window.best, f"best from {window.best:g} V")

"""What all figures share: what they take and give, and their common look."""

from typing import Any, NamedTuple

import plotly.graph_objects as go

from tutor.pictures.looks import Look

HEIGHT = 400
TEXT_SIZE = 14
Rows = list[dict[str, str]]


class Drawn(NamedTuple):
    """A figure, the sentence that says what it shows, and the rows of the table that holds its numbers."""

    figure: go.Figure
    sentence: str
    rows: Rows


def layout(look: Look, x_title: str, y_title: str) -> dict[str, Any]:
    """The layout of a figure on a ground of its own, with every colour and size set."""
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
    return {
        "template": "none",
        "height": HEIGHT,
        "margin": {"l": 8, "r": 12, "t": 16, "b": 8},
        "paper_bgcolor": look.ground,
        "plot_bgcolor": look.ground,
        "font": {"family": "Source Sans, sans-serif", "size": TEXT_SIZE, "color": look.text},
        "legend": {
            "orientation": "h",
            "yref": "container",
            "y": 0,
            "yanchor": "bottom",
            "x": 0,
            "bgcolor": look.ground,
        },
        "hovermode": "closest",
        "dragmode": False,
        "xaxis": {"title": {"text": x_title}, **axis},
        "yaxis": {"title": {"text": y_title}, **axis},
    }


def blank(look: Look, x_title: str, y_title: str) -> go.Figure:
    """Make an empty figure."""
    return go.Figure(layout=layout(look, x_title, y_title))

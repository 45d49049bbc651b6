"""The loads that share one inverter or circuit, added up against its limit and the 80 % line."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

from tutor.base.units import written
from tutor.content.figures import SpecialFigure
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import Drawn, Rows, blank
from tutor.trade.rulebooks import Rulebook

_PATTERNS = ("", "/", ".", "x", "\\", "-", "|", "+")


@dataclass(frozen=True)
class SharedLoad:
    """A load's name and power (W), and whether it runs for three hours or more."""

    name: str
    power: float
    continuous: bool


@dataclass(frozen=True)
class Shared:
    """What the loads share: its name, its limit (W) and the factor on continuous loads (1.25 makes the 80 % line).

    `rule` says where the factor comes from.
    """

    name: str
    limit: float
    continuous_factor: float
    rule: str

    @property
    def continuous_limit(self) -> float:
        """The largest continuous load (W)."""
        return self.limit / self.continuous_factor


def from_controls(_figure: SpecialFigure, book: Rulebook, chosen: Mapping[str, Any], look: Look) -> Drawn:
    """Draw the declared figure with what the learner chose; a circuit has the rulebook's factor."""
    name, values = chosen["shared"]
    limit = values["power"] if "power" in values else values["current"] * values["voltage"]
    factor = book.figures["continuous_factor"]
    shared = Shared(f"the {name}", limit, values.get("factor", factor.value), values.get("rule", factor.row["source"]))
    return shared_load(shared, [SharedLoad(name, **load) for name, load in chosen["loads"]], look)


def shared_load(shared: Shared, loads: list[SharedLoad], look: Look) -> Drawn:
    """Draw the loads as steps, each from where the one before ended, against the two lines.

    Raises ValueError unless the limit is above 0 and the factor is at least 1.
    """
    if not (shared.limit > 0 and shared.continuous_factor >= 1):
        raise ValueError("the limit has to be above 0 and the factor at least 1")
    figure = blank(look, "power, added up (W)", "")
    reached = 0.0
    for index, load in enumerate(loads):
        over = reached + load.power > shared.limit
        _add_load(figure, look, -index, reached, load, _PATTERNS[index % len(_PATTERNS)], over=over)
        reached += load.power
    _add_line(figure, look, shared.limit, f"limit: {written(shared.limit, 'W')}", deadly=True)
    if shared.continuous_factor > 1:
        share = written(100 / shared.continuous_factor, "%", 3)
        _add_line(figure, look, shared.continuous_limit, f"{share}: {written(shared.continuous_limit, 'W')}")
    figure.update_xaxes(range=[0, 1.08 * max(shared.limit, reached)])
    figure.update_yaxes(range=[-max(len(loads), 1) + 0.4, 1.5], showticklabels=False, ticks="", showgrid=False)
    figure.update_layout(showlegend=False, bargap=0.5)
    return Drawn(figure, _sentence(shared, loads), _rows(shared, loads))


def _add_load(
    figure: go.Figure, look: Look, height: int, start: float, load: SharedLoad, pattern: str, *, over: bool
) -> None:
    colour = look.danger if over else look.line_2 if load.continuous else look.line_1
    figure.add_trace(
        go.Bar(
            x=[load.power],
            base=[start],
            y=[height],
            width=0.42,
            orientation="h",
            name=load.name,
            marker={
                "color": look.ground if pattern else colour,
                "line": {"color": colour, "width": 2},
                "pattern": {"shape": pattern, "fgcolor": colour, "bgcolor": look.ground, "size": 7},
            },
            hovertemplate="%{x:.0f} W<extra></extra>",
        )
    )
    long = ", for hours" if load.continuous else ""
    figure.add_annotation(
        text=f"{load.name}{long}: <b>{written(load.power, 'W')}</b>",
        xref="paper",
        x=0.01,
        xanchor="left",
        y=height + 0.24,
        yanchor="bottom",
        bgcolor=look.ground,
        font={"size": 14},
        showarrow=False,
    )


def _add_line(figure: go.Figure, look: Look, power: float, words: str, *, deadly: bool = False) -> None:
    colour = look.danger if deadly else look.text
    line = {"color": colour, "width": 3 if deadly else 2, "dash": "solid" if deadly else "dash"}
    figure.add_shape(type="line", yref="paper", y0=0, y1=1, x0=power, x1=power, line=line)
    figure.add_annotation(
        text=f"<b>{words}</b>" if deadly else words,
        x=power,
        xanchor="right",
        yref="paper",
        y=1 if deadly else 0.92,
        yanchor="top",
        font={"color": colour, "size": 13},
        bgcolor=look.ground,
        showarrow=False,
    )


def _sums(loads: list[SharedLoad]) -> tuple[float, float]:
    """All the loads' power, and the continuous ones'."""
    return sum(load.power for load in loads), sum(load.power for load in loads if load.continuous)


def _sentence(shared: Shared, loads: list[SharedLoad]) -> str:
    total, continuous = _sums(loads)
    limit = written(shared.limit, "W")
    if not loads:
        return f"Nothing is on {shared.name}, whose limit is {limit}."
    opening = f"{shared.name[:1].upper()}{shared.name[1:]}: together the loads take {written(total, 'W')} of {limit}"
    if total > shared.limit:
        return f"{opening}, {written(total - shared.limit, 'W')} too much: it is overloaded while all of them run."
    weighted = shared.continuous_factor * continuous + total - continuous
    counted = _counted(shared, continuous, total - continuous)
    if weighted <= shared.limit:
        return f"{opening}. {counted}That leaves {written(shared.limit - weighted, 'W')} for others."
    return f"{opening}. {counted}That is {written(weighted - shared.limit, 'W')} too much for hours."


def _counted(shared: Shared, continuous: float, brief: float) -> str:
    """How the continuous loads count, where they count for more."""
    if not continuous or shared.continuous_factor == 1:
        return ""
    addend = f" + {written(brief, 'W')}" if brief else ""
    factor = f"{shared.continuous_factor:g}"
    weighted = shared.continuous_factor * continuous + brief
    return (
        f"What runs for hours counts {factor} times ({shared.rule}): "
        f"{factor} × {written(continuous, 'W')}{addend} = {written(weighted, 'W')}. "
    )


def _rows(shared: Shared, loads: list[SharedLoad]) -> Rows:
    rows, reached = [], 0.0
    for load in loads:
        reached += load.power
        rows.append(
            {
                "Load": load.name,
                "Power": written(load.power, "W"),
                "Runs for hours": "yes" if load.continuous else "no",
                "Added up": written(reached, "W"),
                "Share of the limit": written(100 * reached / shared.limit, "%", 3),
            }
        )
    return rows

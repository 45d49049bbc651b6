"""A simulated day: which source feeds the loads, the battery's energy, and the current taken from the supply."""

import math
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from tutor.base.units import written
from tutor.content.figures import SpecialFigure
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import TEXT_SIZE, Drawn, Rows, blank
from tutor.problems.day import SimulatedDay
from tutor.trade.rulebooks import Rulebook
from tutor.trade.transfer import Interval, Kind, Mode, Source, Trace
from tutor.trade.transfer.words import clock, span

NOTHING = "nothing"
_ROWS = (Source.SUPPLY.value, Source.ARRAY.value, Source.BATTERY.value, NOTHING)
_PATTERNS = {Source.SUPPLY.value: "", Source.ARRAY.value: ".", Source.BATTERY.value: "/", NOTHING: "x"}
_HOUR = 3600.0
_KWH = 3.6e6
_STORED = 0.8  # of the capacity, at midnight
_MOST_TOLD = 5  # changes in the sentence; the table has all
_LEAST_SHARE = 0.0005  # of the energy asked for: what is less is a matter of seconds a day
_LEAST_SHOWN = 60.0  # s: what is shorter than a minute is a transfer, marked but not drawn as a band


def from_controls(figure: SpecialFigure, _book: Rulebook, chosen: Mapping[str, Any], look: Look) -> Drawn:
    """Draw the declared day with what the learner chose; the battery is at 80 % of its capacity at midnight."""
    assert figure.day is not None
    orders = list(figure.controls["order"].options)
    values = {
        **chosen,
        "order": orders.index(chosen["order"][0]),
        "back": chosen["lost"] + chosen["length"],
        "stored": _STORED * chosen["capacity"],
    }
    events = [event for event in figure.day.events if event.at != "back" or values["back"] < 24 * _HOUR]
    day = figure.day.model_copy(update={"events": events})
    simulated = SimulatedDay(day, {"order": orders, "charging": ["array", "array, supply"]})
    return transfer_day(simulated.trace(*(float(values[name]) for name in simulated.names)), look)


def transfer_day(trace: Trace, look: Look, day_start: float = 0.0) -> Drawn:
    """Draw a trace against clock time; `day_start` is what the clock shows at time 0 (s after midnight)."""
    figure = blank(look, "", "")
    _lay_out(figure, trace, day_start)
    for source in _ROWS:
        _add_bands(figure, look, source, _joined(trace, source), day_start)
    _add_dropped(figure, look, trace, day_start)
    _add_battery(figure, look, trace, day_start)
    _add_supply_current(figure, look, trace, day_start)
    for height, words in ((1.0, "fed by"), (0.55, "battery (kWh)"), (0.22, "from the supply (A)")):
        _add_title(figure, look, height, words)
    return Drawn(figure, _sentence(trace, day_start), _rows(trace, day_start))


def _lay_out(figure: go.Figure, trace: Trace, day_start: float) -> None:
    start, end = ((day_start + time) / _HOUR for time in (trace.intervals[0].start, trace.intervals[-1].end))
    stride = next(step for step in (0.25, 0.5, 1, 2, 4, 6, 12, 24, math.inf) if (end - start) / step <= 4)
    ticks = [stride * index for index in range(math.ceil(start / stride), math.floor(end / stride) + 1)]
    axis = figure.layout.yaxis.to_plotly_json()
    figure.update_layout(
        height=600,
        showlegend=False,
        barmode="overlay",
        margin={"t": 28, "r": 26},
        xaxis={
            "anchor": "y3",
            "ticklabeloverflow": "allow",
            "range": [start, end],
            "tickvals": ticks,
            "ticktext": ["24:00" if tick == 24 else clock(tick * _HOUR).split(" ")[0] for tick in ticks],
        },
        yaxis={
            "domain": [0.63, 1],
            "range": [-len(_ROWS) + 0.45, 0.55],
            "tickvals": [-index for index in range(len(_ROWS))],
            "ticktext": list(_ROWS),
        },
        yaxis2={**axis, "domain": [0.3, 0.55], "range": [0, 1.12 * trace.system.battery_capacity / _KWH]},
        yaxis3={**axis, "domain": [0, 0.22], "range": [0, _top_current(trace)]},
    )


def _top_current(trace: Trace) -> float:
    system = trace.system
    currents = [interval.flow.supply_power / system.supply_voltage for interval in trace.intervals]
    limit = system.pass_through_max if math.isfinite(system.pass_through_max) else 0.0
    return 1.2 * max(*currents, limit, 1.0)


def _fed_by(interval: Interval) -> list[str]:
    return [source.value for source in interval.flow.sources] or ([NOTHING] if interval.flow.asked > 0 else [])


def _joined(trace: Trace, source: str) -> list[tuple[float, float]]:
    """The stretches (s) in which a source feeds the loads, neighbours joined."""
    stretches: list[tuple[float, float]] = []
    for interval in trace.intervals:
        if source not in _fed_by(interval):
            continue
        if stretches and stretches[-1][1] == interval.start:
            stretches[-1] = (stretches[-1][0], interval.end)
        else:
            stretches.append((interval.start, interval.end))
    return stretches


def _add_bands(
    figure: go.Figure, look: Look, source: str, stretches: list[tuple[float, float]], day_start: float
) -> None:
    shown = [(start, end) for start, end in stretches if end - start >= _LEAST_SHOWN]
    colour = look.danger if source == NOTHING else look.line_1
    figure.add_trace(
        go.Bar(
            x=[(end - start) / _HOUR for start, end in shown],
            base=[(day_start + start) / _HOUR for start, _ in shown],
            y=[-_ROWS.index(source)] * len(shown),
            orientation="h",
            width=0.62,
            name=source,
            marker={
                "color": look.ground if _PATTERNS[source] else colour,
                "line": {"color": colour, "width": 2},
                "pattern": {"shape": _PATTERNS[source], "fgcolor": colour, "bgcolor": look.ground, "size": 7},
            },
            customdata=[f"{clock(day_start + start)} to {clock(day_start + end)}" for start, end in shown],
            hovertemplate=f"{source}: %{{customdata}}<extra></extra>",
        )
    )


def _add_dropped(figure: go.Figure, look: Look, trace: Trace, day_start: float) -> None:
    dropped = [event for event in trace.events if event.kind is Kind.LOAD_DROPPED]
    if not dropped:
        return
    figure.add_trace(
        go.Scatter(
            x=[(day_start + event.time) / _HOUR for event in dropped],
            y=[-_ROWS.index(NOTHING)] * len(dropped),
            mode="markers",
            name="a load drops out",
            marker={"symbol": "x", "size": 13, "color": look.danger, "line": {"color": look.ground, "width": 2}},
            customdata=[event.words for event in dropped],
            hovertemplate="%{customdata}<extra></extra>",
        )
    )


def _add_battery(figure: go.Figure, look: Look, trace: Trace, day_start: float) -> None:
    first = trace.intervals[0]
    figure.add_trace(
        go.Scatter(
            x=[(day_start + time) / _HOUR for time in (first.start, *(interval.end for interval in trace.intervals))],
            y=[
                stored / _KWH for stored in (first.stored_start, *(interval.stored_end for interval in trace.intervals))
            ],
            yaxis="y2",
            mode="lines",
            line={"color": look.line_2, "width": 3},
            name="battery energy",
            hovertemplate="%{y:.2f} kWh<extra></extra>",
        )
    )
    system = trace.system
    levels = ((system.low_energy, "inverter stops", "dash", "top"), (system.return_energy, "returns", "dot", "bottom"))
    for energy, words, dash, side in levels:
        _add_line(figure, look, "y2", energy / _KWH, words, dash, side)


def _add_supply_current(figure: go.Figure, look: Look, trace: Trace, day_start: float) -> None:
    voltage = trace.system.supply_voltage
    times = [(day_start + interval.start) / _HOUR for interval in trace.intervals]
    currents = [interval.flow.supply_power / voltage for interval in trace.intervals]
    figure.add_trace(
        go.Scatter(
            x=[*times, (day_start + trace.intervals[-1].end) / _HOUR],
            y=[*currents, currents[-1]],
            yaxis="y3",
            mode="lines",
            line={"color": look.line_1, "width": 3, "shape": "hv"},
            name="supply current",
            hovertemplate="%{y:.1f} A<extra></extra>",
        )
    )
    if math.isfinite(trace.system.pass_through_max):
        _add_line(figure, look, "y3", trace.system.pass_through_max, "pass-through limit", "dash", "top")


def _add_line(figure: go.Figure, look: Look, axis: str, height: float, words: str, dash: str, side: str) -> None:
    line = {"color": look.quiet, "width": 1.5, "dash": dash}
    figure.add_shape(type="line", xref="paper", x0=0, x1=1, yref=axis, y0=height, y1=height, line=line)
    figure.add_annotation(
        text=words,
        xref="paper",
        x=0.995,
        xanchor="right",
        yref=axis,
        y=height,
        yanchor=side,
        font={"color": look.quiet, "size": TEXT_SIZE - 1},
        showarrow=False,
    )


def _add_title(figure: go.Figure, look: Look, height: float, words: str) -> None:
    figure.add_annotation(
        text=f"<b>{words}</b>",
        xref="paper",
        yref="paper",
        x=0,
        y=height,
        xanchor="left",
        yanchor="bottom",
        bgcolor=look.ground,
        showarrow=False,
    )


def _sentence(trace: Trace, day_start: float) -> str:
    changes = _changes(trace)
    ends = [f"until {clock(day_start + 60 * round(start / 60))}" for start, _ in changes[1:]]
    stretches = [f"{_fed_words(fed)} {end}" for (_, fed), end in zip(changes, [*ends, "to the end"], strict=True)]
    further = len(changes) - _MOST_TOLD
    remainder = f", and so on with {further} more changes, all in the table" if further > 0 else ""
    lowest = min(min(interval.stored_start, interval.stored_end) for interval in trace.intervals)
    return (
        f"The loads are fed {', then '.join(stretches[:_MOST_TOLD])}{remainder}. {_served_words(trace)}; "
        f"the battery falls to {written(lowest / _KWH, 'kWh', 3)} at the lowest.{_dropped_words(trace, day_start)}"
    )


def _served_words(trace: Trace) -> str:
    totals = trace.totals
    if totals.unserved < _LEAST_SHARE * totals.asked:
        return "They get all that they ask for" + (" but for the moments of transfer" if totals.unserved else "")
    return f"They get {written(100 * totals.served / totals.asked, '%', 3)} of the energy that they ask for"


def _changes(trace: Trace) -> list[tuple[float, tuple[str, ...]]]:
    """When (s) what feeds the loads changes, and to what; transfers are left out."""
    changes: list[tuple[float, tuple[str, ...]]] = []
    for interval in trace.intervals:
        fed = tuple(_fed_by(interval))
        if interval.mode is not Mode.TRANSFER and (not changes or changes[-1][1] != fed):
            changes.append((interval.start, fed))
    return changes


def _fed_words(fed: tuple[str, ...]) -> str:
    if not fed:
        return "by nothing, asking for nothing,"
    return "by nothing" if fed == (NOTHING,) else "by the " + " and the ".join(fed)


def _dropped_words(trace: Trace, day_start: float) -> str:
    dropped = [event for event in trace.events if event.kind is Kind.LOAD_DROPPED]
    if not dropped:
        return ""
    first = dropped[0]
    duration = f", the transfer taking {span(trace.system.transfer_time)}" if trace.system.transfer_time else ""
    return f" At {clock(day_start + first.time)} {first.words}{duration}."


def _rows(trace: Trace, day_start: float) -> Rows:
    return [
        {
            "From": clock(day_start + interval.start),
            "For": span(interval.duration),
            "Fed by": " and ".join(_fed_by(interval)) or "no load",
            "Loads get": written(interval.flow.served, "W", 3),
            "Battery at the end": written(interval.stored_end / _KWH, "kWh", 3),
            "From the supply": written(interval.flow.supply_power / trace.system.supply_voltage, "A", 3),
        }
        for interval in trace.intervals
    ]

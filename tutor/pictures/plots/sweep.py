"""Any declared sweep: lines over a given, or bars over a whole number, with the limits that they have to keep."""

import html
import math
from typing import Any

import plotly.graph_objects as go

from tutor.base.units import conversion, written_unit
from tutor.entries.kinds import capitalised
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import TEXT_SIZE, Drawn, Rows, layout
from tutor.problems.sweep import Level, Line, Traced

MONTHS = ("Jan", "Mar", "May", "Jul", "Sep", "Nov")
_MID_MONTH = (15, 74, 135, 196, 258, 319)
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")
_MOST_BOXES = 3  # with more lines than these, boxes with values would hide each other
_MOST_NAMES = 6  # on an axis, that they fit a phone
_ROOM = 1.12  # so many times the highest value is the top of the figure
_MOST_OVER_LEVELS = 2.4  # so many times the highest level is the top at the most, that what fits is not flattened
Part = dict[str, Any]


def sweep(traced: Traced, look: Look) -> Drawn:
    """Draw what was traced, with the sentence that says it and the rows of its numbers."""
    bars = traced.axis.whole and bool(traced.fits)
    traces = _bars(traced, look) if bars else _lines(traced, look)
    crowded = len(traced.lines) > _MOST_BOXES
    points, boxes = ([], _names(traced, look)) if crowded else _marks(traced, look)
    shapes = [_rule(look, _shown(traced, level.value), level) for level in traced.levels]
    words = [
        _words(look, _shown(traced, level.value), level, right=level.deadly or index % 2 == 1)
        for index, level in enumerate(traced.levels)
    ]
    if traced.band:
        low, high = (_shown(traced, value) for value in traced.band)
        shapes.insert(0, _across(low, high) | {"type": "rect", "fillcolor": look.band, "line": {"width": 0}})
    if traced.axis.here is not None and not bars:
        line = {"color": look.text, "width": 1.5, "dash": "dot"}
        shapes.append(_upright(traced.axis.here) | {"line": line})
    laid_out = layout(look, _title(traced.axis.words, traced.axis.unit), _title(traced.title, _unit(traced)))
    legend = bars or len(traced.lines) > 1
    laid_out |= {"shapes": shapes, "annotations": words + boxes, "bargap": 0.3, "showlegend": legend}
    laid_out["xaxis"] |= _x_range(traced, bars=bars)
    laid_out["yaxis"] |= _y_range(traced)
    return Drawn(go.Figure([*traces, *points], laid_out), traced.sentence, _rows(traced))


def _title(words: str, unit: str) -> str:
    return f"{_plain(words)} ({written_unit(unit)})" if unit else _plain(words)


def _plain(words: str) -> str:
    """Words for the drawing, in which nothing is read as a link or a tag."""
    return html.escape(words, quote=False)


def _unit(traced: Traced) -> str:
    """The unit of the lines; sizes and choices are told by their names."""
    question, quantity = traced.problem.question, traced.lines[0].of
    return question.shown_unit(quantity, traced.problem.shown) if _is_number(traced, quantity) else ""


def _is_number(traced: Traced, quantity: str) -> bool:
    return traced.problem.question.library.quantities[quantity].kind in ("number", "count")


def _shown(traced: Traced, value: float) -> float:
    return conversion(_unit(traced)).to_shown(value)


def _height(traced: Traced, quantity: str, value: float) -> float | str:
    """Where a value stands: a number, or the name of a size or a choice."""
    return _shown(traced, value) if _is_number(traced, quantity) else traced.problem.text_of(quantity, value)


def _heights(traced: Traced, line: Line) -> list[float | str | None]:
    return [None if value is None else _height(traced, line.of, value) for value in line.values]


def _colour(traced: Traced, line: Line, look: Look) -> str:
    if line.thin:
        return look.quiet
    return look.line_1 if line.of == traced.lines[0].of and not line.trap else look.line_2


def _lines(traced: Traced, look: Look) -> list[Part]:
    """A line for each curve, told apart by its dashes; what breaks a deadly limit is drawn once more, thick."""
    traces: list[Part] = []
    shape = {"shape": "vh"} if traced.stepped else {}
    hover = f"%{{x}}: %{{y:.4~g}} {written_unit(_unit(traced))}<extra></extra>"
    for index, line in enumerate(sorted(traced.lines, key=lambda line: line.thin)):
        heights, dash = _heights(traced, line), _DASHES[index % len(_DASHES)]
        style = {"color": _colour(traced, line, look), "width": 1.5 if line.thin else 3, "dash": dash, **shape}
        shared = {"type": "scatter", "mode": "lines", "x": traced.axis.shown}
        traces.append(shared | {"y": heights, "name": _plain(line.words), "line": style, "hovertemplate": hover})
        over = [height if limit and limit.deadly else None for height, limit in zip(heights, line.broken, strict=True)]
        if any(height is not None for height in over):
            style = {"color": look.danger, "width": 5}
            traces.append(shared | {"y": over, "line": style, "showlegend": False, "hoverinfo": "skip"})
    return traces


def _bars(traced: Traced, look: Look) -> list[Part]:
    """The first quantity as bars that say by their pattern whether all limits are kept, the others as diamonds."""
    states, (first, *further), xs = _states(traced), traced.lines, traced.axis.shown
    deadly = {limit.broken for line in traced.lines for limit in line.broken if limit and limit.deadly}
    heights, hover, traces = _heights(traced, first), "%{x}: %{y:.4~g}<extra></extra>", []
    for state in sorted(set(states), key=states.index):
        chosen = [index for index, bar_state in enumerate(states) if bar_state == state]
        colour = look.danger if state in deadly else look.line_1
        outline = {"color": colour, "width": [5 if xs[index] == traced.axis.here else 2 for index in chosen]}
        pattern = {"shape": "/" if state in deadly else "", "fgcolor": colour, "bgcolor": look.ground, "size": 7}
        traces.append(
            {
                "type": "bar",
                "x": [xs[index] for index in chosen],
                "y": [heights[index] for index in chosen],
                "name": _plain(f"{first.words}: {state}" if further else state),
                "marker": {
                    "color": colour if state == traced.fits else look.ground,
                    "line": outline,
                    "pattern": pattern,
                },
                "hovertemplate": hover,
            }
        )
    marker = {"symbol": "diamond", "size": 11, "color": look.ground, "line": {"color": look.line_2, "width": 3}}
    shared = {"type": "scatter", "mode": "markers", "x": xs, "marker": marker, "hovertemplate": hover}
    return traces + [shared | {"y": _heights(traced, line), "name": _plain(line.words)} for line in further]


def _states(traced: Traced) -> list[str]:
    """For each point what a value is that keeps every limit, or the words of the first limit that a line breaks."""
    broken = [[line.broken[index] for line in traced.lines] for index in range(len(traced.axis.shown))]
    return [next((limit.broken for limit in limits if limit), traced.fits) for limits in broken]


def _marks(traced: Traced, look: Look) -> tuple[list[Part], list[Part]]:
    """Points with their values in boxes: those that the declaration marks, and those where the chosen value stands."""
    axis, points, boxes = traced.axis, [], []
    for line in (line for line in traced.lines if not line.thin):
        x, value = axis.here, line.here
        if line.marked is not None:
            x, value = axis.shown[line.marked], line.values[line.marked]
        if x is None or value is None:
            continue
        colour, height = _colour(traced, line, look), _height(traced, line.of, value)
        marker = {"symbol": "x" if line.trap else "circle", "size": 12, "color": colour}
        shared = {"type": "scatter", "mode": "markers", "showlegend": False, "hoverinfo": "skip"}
        points += [] if axis.whole else [shared | {"x": [x], "y": [height], "marker": marker}]
        right = x > (axis.shown[0] + axis.shown[-1]) / 2
        box = {"bgcolor": look.ground, "bordercolor": colour, "arrowcolor": colour, "arrowhead": 0, "borderpad": 2}
        place = {"x": x, "y": height, "ax": -14 if right else 14, "xanchor": "right" if right else "left"}
        lower = line is traced.lines[0] and not axis.whole
        text = {"text": f"<b>{traced.problem.text_of(line.of, value)}</b>", "ay": 30 if lower else -28}
        boxes.append(box | place | text | {"font": {"size": TEXT_SIZE}})
    return points, boxes


def _names(traced: Traced, look: Look) -> list[Part]:
    """Each line's name where it leaves the figure, one below the other."""
    xs, boxes = traced.axis.shown, []
    _, top = _y_range(traced).get("range", (0, math.inf))
    for index, line in enumerate(traced.lines):
        heights = [height for height in _heights(traced, line) if isinstance(height, float)]
        inside = max(
            (place for place, height in enumerate(heights) if height <= (0.96 - 0.09 * index) * top), default=0
        )
        edge = inside == len(xs) - 1
        text = f"{line.words}: {line.fails}" if line.fails else line.words
        sides = {"xanchor": "right", "yanchor": "bottom"} if edge else {"xanchor": "left", "yanchor": "middle"}
        font = {"color": _colour(traced, line, look), "size": TEXT_SIZE - 1}
        place = {"x": xs[inside], "y": heights[inside] if heights else 0}
        boxes.append(place | sides | {"text": _plain(text), "font": font, "bgcolor": look.ground, "showarrow": False})
    return boxes


def _across(low: float, high: float) -> Part:
    return {"xref": "paper", "x0": 0, "x1": 1, "y0": low, "y1": high, "layer": "below"}


def _upright(x: float) -> Part:
    return {"type": "line", "yref": "paper", "y0": 0, "y1": 1, "x0": x, "x1": x}


def _rule(look: Look, height: float, level: Level) -> Part:
    colour = look.danger if level.deadly else look.quiet
    line = {"color": colour, "width": 3 if level.deadly else 1.5, "dash": "solid" if level.deadly else "dot"}
    return _across(height, height) | {"type": "line", "line": line, "layer": "above"}


def _words(look: Look, height: float, level: Level, *, right: bool) -> Part:
    """A level's words at the left or the right of the figure, a deadly one's above it, others' below it."""
    return {
        "x": 1 if right else 0.005,
        "xanchor": "right" if right else "left",
        "yanchor": "bottom" if level.deadly else "top",
        "text": _plain(level.words),
        "xref": "paper",
        "y": height,
        "font": {"color": look.danger if level.deadly else look.quiet, "size": TEXT_SIZE - 1},
        "bgcolor": look.ground,
        "borderpad": 1,
        "showarrow": False,
    }


def _x_range(traced: Traced, *, bars: bool) -> Part:
    axis = traced.axis
    if not axis.words:
        return {"tickvals": _MID_MONTH, "ticktext": MONTHS, "range": [0, 365]}
    if axis.named:
        stride = math.ceil(len(axis.shown) / _MOST_NAMES)
        return {"tickvals": axis.shown[::stride], "ticktext": axis.texts[::stride]}
    if bars:
        return {"dtick": 1 if len(axis.shown) <= 12 else 2}
    return {"range": [axis.shown[0], axis.shown[-1]]}


def _y_range(traced: Traced) -> Part:
    heights = [height for line in traced.lines for height in _heights(traced, line) if height is not None]
    numbers = [height for height in heights if isinstance(height, float)]
    if len(numbers) < len(heights):
        values = sorted({value for line in traced.lines for value in (*line.values, line.here) if value is not None})
        order = [_height(traced, traced.lines[0].of, value) for value in values]
        return {"type": "category", "categoryorder": "array", "categoryarray": order}
    levels = [_shown(traced, level.value) for level in traced.levels]
    if not numbers or min(numbers) < 0:
        return {}
    top = max(numbers + levels)
    return {"range": [0, _ROOM * min(top, _MOST_OVER_LEVELS * max(levels) if levels else top)]}


def _rows(traced: Traced) -> Rows:
    """A row for each point that the axis tells, and one for how far each line keeps its limit."""
    title, lines, rows = capitalised(traced.axis.words) or "Day", traced.lines, []
    for index in traced.axis.told:
        row = {title: traced.axis.texts[index]}
        for line in lines:
            value = line.values[index]
            row[line.words] = "none" if value is None else traced.problem.text_of(line.of, value)
        if traced.fits and len({line.of for line in lines if not line.trap}) == sum(not line.trap for line in lines):
            row["Limits"] = _states(traced)[index]
        rows.append(row)
    if any(line.reach for line in lines):
        reached = {line.words: line.reach or "not in this figure" for line in lines}
        rows.append(dict.fromkeys(rows[0], "") | {title: "Limit reached at"} | reached)
    return rows

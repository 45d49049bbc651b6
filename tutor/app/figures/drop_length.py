"""The share of its voltage that a run loses against its length, for a handful of sizes, with the usual advice."""

from dataclasses import dataclass

import plotly.graph_objects as go

from tutor.app.figures.base import Drawn, Rows, add_level, blank
from tutor.looks import Look
from tutor.trade.conductors import Laid, carries, drop, longest_run, resistance, terminal_temperature
from tutor.trade.rulebooks import Rulebook, Size
from tutor.units import conversion, written

SIZES = {
    "us": ("14 AWG", "10 AWG", "6 AWG", "2 AWG", "2/0 AWG"),
    "iec": ("2.5 mm²", "6 mm²", "16 mm²", "35 mm²", "70 mm²"),
}
COPPER = {"us": 75.0, "iec": 70.0}  # °C: a conductor that carries all that its terminals' column allows
LENGTH_UNIT = {"us": "ft", "iec": "m"}
_DASHES = ("solid", "dash", "dot", "dashdot", "longdash")
_SHOWN_ABOVE_ADVICE = 2.4  # so many times the advice is the top of the figure


@dataclass(frozen=True)
class Run:
    """A run's current (A), the voltage it starts with (V) and its one-way length (m)."""

    current: float
    voltage: float
    length: float


def drop_length(book: Rulebook, run: Run, look: Look) -> Drawn:
    """Draw the voltage drop in per cent against the one-way length for a few of the rulebook's sizes.

    Sizes that may not carry the current at 30 °C are drawn thin and say so.  Raises ValueError unless current and
    voltage are above 0.
    """
    if not (run.current > 0 and run.voltage > 0):
        raise ValueError("the run's current and voltage have to be above 0")
    sizes = [book.size_named(name) for name in SIZES[book.id]]
    unit = LENGTH_UNIT[book.id]
    advice = book.number("drop_dc_high")
    top, end = _SHOWN_ABOVE_ADVICE * advice, conversion(unit).to_shown(2 * run.length)
    figure = blank(look, f"one-way length ({unit})", "voltage drop (% of the voltage)")
    _add_advice(figure, look, advice)
    for at, (size, dash) in enumerate(zip(sizes, _DASHES, strict=True)):
        thick = carries(book, size.area, _laid(book, run), run.current)
        share = _share(book, size, run, 2 * run.length)
        colour = look.line_1 if thick else look.quiet
        line = {"color": colour, "width": 3 if thick else 1.5, "dash": dash}
        figure.add_trace(
            go.Scatter(x=[0, end], y=[0, 100 * share], name=size.name, mode="lines", line=line, hovertemplate=_HOVER)
        )
        reach = min(1.0, (0.96 - 0.09 * at) * top / share)
        words = size.name if thick else f"{size.name}: too thin"
        _add_name(figure, look, (reach * end, 100 * reach * share), words, colour, at_edge=reach == 1)
    _add_length(figure, conversion(unit).to_shown(run.length), _length(run.length, unit), look)
    figure.update_xaxes(range=[0, end])
    figure.update_yaxes(range=[0, 100 * top], ticksuffix=" %")
    figure.update_layout(showlegend=False, margin={"t": 28})
    return Drawn(figure, _sentence(book, sizes, run, advice), _rows(book, sizes, run, advice))


_HOVER = "%{fullData.name}, %{x:.0f}: %{y:.1f} %<extra></extra>"


def _laid(book: Rulebook, run: Run) -> Laid:
    column = terminal_temperature(book, run.current)
    return Laid(insulation=column, terminals=column)


def _share(book: Rulebook, size: Size, run: Run, length: float) -> float:
    return drop(run.current, length, resistance(book, size.area, COPPER[book.id])) / run.voltage


def _add_advice(figure: go.Figure, look: Look, advice: float) -> None:
    add_level(figure, look, 100 * advice, f"{written(100 * advice, '%')}: advice, not law")


def _add_name(
    figure: go.Figure, look: Look, at: tuple[float, float], words: str, colour: str, *, at_edge: bool
) -> None:
    """Write a size beside its line, above it at the right edge."""
    figure.add_annotation(
        x=at[0],
        y=at[1],
        text=words,
        xanchor="right" if at_edge else "left",
        yanchor="bottom" if at_edge else "middle",
        font={"color": colour, "size": 13},
        bgcolor=look.ground,
        showarrow=False,
    )


def _add_length(figure: go.Figure, length: float, words: str, look: Look) -> None:
    line = {"color": look.text, "width": 1.5, "dash": "dot"}
    figure.add_shape(type="line", yref="paper", y0=0, y1=1, x0=length, x1=length, line=line)
    figure.add_annotation(
        x=length,
        yref="paper",
        y=1,
        yanchor="bottom",
        text=f"<b>{words}</b>",
        showarrow=False,
    )


def _sentence(book: Rulebook, sizes: list[Size], run: Run, advice: float) -> str:
    unit = LENGTH_UNIT[book.id]
    one_way, both = _length(run.length, unit), _length(2 * run.length, unit)
    told = (
        f"{written(run.current, 'A', 3)} at {written(run.voltage, 'V', 3)} over {one_way} one way, {both} of copper "
        f"there and back, with the copper at {written(COPPER[book.id], 'degC')}."
    )
    within = [size for size in sizes if _share(book, size, run, run.length) <= advice]
    carrying = [size for size in sizes if carries(book, size.area, _laid(book, run), run.current)]
    good = next((size for size in sizes if size in within and size in carrying), None)
    if good is None:
        found = f"None of these sizes both carries the current and stays within {written(100 * advice, '%')}."
    else:
        lost = _share(book, good, run, run.length)
        found = (
            f"Of these sizes {good.name} is the smallest that carries the current and stays within "
            f"{written(100 * advice, '%')}: it loses {written(lost * run.voltage, 'V', 3)}, {_percent(lost)}."
        )
    trap = next((size for size in within if size not in carrying), None)
    warning = f" {trap.name} would lose little enough, yet it may not carry this current at all." if trap else ""
    return f"{told} {found}{warning} The {written(100 * advice, '%')} are common practice: advice, not law."


def _length(metres: float, unit: str) -> str:
    return written(round(conversion(unit).to_shown(metres), 6), unit, 3)


def _percent(share: float) -> str:
    return "more than there is" if share >= 1 else written(100 * share, "%", 3)


def _rows(book: Rulebook, sizes: list[Size], run: Run, advice: float) -> Rows:
    unit = LENGTH_UNIT[book.id]
    reaches = [
        longest_run(advice * run.voltage, run.current, resistance(book, size.area, COPPER[book.id])) for size in sizes
    ]
    return [
        {
            "Size": size.name,
            "Drop": _percent(_share(book, size, run, run.length)),
            f"Longest run within {written(100 * advice, '%')}": _length(reach, unit),
            "Carries the current": "yes" if carries(book, size.area, _laid(book, run), run.current) else "no",
        }
        for size, reach in zip(sizes, reaches, strict=True)
    ]

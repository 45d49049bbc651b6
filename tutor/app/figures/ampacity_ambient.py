"""A conductor's ampacity against the air around it, with what its terminals allow and what the load needs."""

from dataclasses import dataclass, replace

import plotly.graph_objects as go

from tutor.app.figures.base import Drawn, Rows, blank
from tutor.looks import Look
from tutor.trade.conductors import Laid, corrected_ampacity, terminal_ampacity
from tutor.trade.rulebooks import Rulebook, Size, TableError
from tutor.units import written

COOLEST, HOTTEST = 10.0, 80.0  # °C: the ends of the figure
INSULATIONS = {"us": {60.0: "60 °C", 75.0: "75 °C", 90.0: "90 °C"}, "iec": {70.0: "PVC, 70 °C", 90.0: "XLPE, 90 °C"}}
_DASHES = ("dot", "dash", "solid")


@dataclass(frozen=True)
class Load:
    """A continuous current (A) that a size has to carry."""

    current: float
    size: Size


def ampacity_ambient(book: Rulebook, load: Load, laid: Laid, look: Look) -> Drawn:
    """Draw the corrected ampacity for each insulation, the terminals' limit and the load's two needs.

    `laid` says the insulation that is meant, the air's temperature, how many conductors lie together and the terminals.
    Raises TableError if the size is in no ampacity table of the rulebook, or the terminals' column is not.
    """
    figure = blank(look, "air temperature (°C)", "current (A)")
    columns = list(INSULATIONS[book.id])
    for column, dash in zip(columns, _DASHES[-len(columns) :], strict=True):
        airs, amperes = _curve(book, load.size, replace(laid, insulation=column))
        meant = column == laid.insulation
        line = {"color": look.line_1 if meant else look.quiet, "width": 4 if meant else 2, "dash": dash, "shape": "vh"}
        name = f"{INSULATIONS[book.id][column]} insulation"
        hover = "up to %{x:.0f} °C: %{y:.1f} A<extra></extra>"
        figure.add_trace(go.Scatter(x=airs, y=amperes, name=name, mode="lines", line=line, hovertemplate=hover))
    terminals = terminal_ampacity(book, load.size.area, laid)
    words = f"terminals, {written(_column(laid), 'degC')}: {written(terminals, 'A')}"
    _add_level(figure, look, terminals, words, colour=look.line_2, dash="longdashdot", right=True)
    factor = book.number("continuous_factor")
    if factor > 1:
        words = f"{written(100 * factor, '%')} of the load: {written(factor * load.current, 'A', 3)}"
        _add_level(figure, look, factor * load.current, words, colour=look.text, dash="dash")
    _add_level(figure, look, load.current, f"the load: {written(load.current, 'A', 3)}", colour=look.text, dash="solid")
    if (now := _corrected(book, load.size, laid)) is not None:
        _add_point(figure, look, laid.ambient, now)
    figure.update_layout(height=460)
    top = _table_top(book, load.size, laid)
    figure.update_xaxes(range=[COOLEST, HOTTEST])
    figure.update_yaxes(range=[0, 1.15 * max(top, terminals, factor * load.current)])
    return Drawn(figure, _sentence(book, load, laid), _rows(book, load, laid))


def _curve(book: Rulebook, size: Size, laid: Laid) -> tuple[list[float], list[float]]:
    """The tops of the table's bands of air temperature and the ampacity in each, as far as the table goes."""
    tops = [COOLEST, *(top for top in book.tables[laid.ambient_factor].listed("ambient") if COOLEST < top <= HOTTEST)]
    found = [(top, _corrected(book, size, replace(laid, ambient=top))) for top in tops]
    known = [(top, ampacity) for top, ampacity in found if ampacity is not None]
    return [top for top, _ in known], [ampacity for _, ampacity in known]


def _corrected(book: Rulebook, size: Size, laid: Laid) -> float | None:
    """The ampacity after both factors; None in air for which the table gives none."""
    try:
        return corrected_ampacity(book, size.area, laid)
    except TableError:
        return None


def _column(laid: Laid) -> float:
    return laid.insulation if laid.terminals is None else min(laid.insulation, laid.terminals)


def _table_top(book: Rulebook, size: Size, laid: Laid) -> float:
    curves = (_curve(book, size, replace(laid, insulation=column))[1] for column in INSULATIONS[book.id])
    return max(ampacity for amperes in curves for ampacity in amperes)


def _add_point(figure: go.Figure, look: Look, air: float, ampacity: float) -> None:
    marker = {"symbol": "circle", "size": 13, "color": look.line_1, "line": {"color": look.ground, "width": 2}}
    figure.add_trace(
        go.Scatter(x=[air], y=[ampacity], mode="markers", marker=marker, showlegend=False, hoverinfo="skip")
    )
    left = air > (COOLEST + HOTTEST) / 2
    figure.add_annotation(
        x=air,
        y=ampacity,
        text=f"<b>{written(ampacity, 'A', 3)}</b>",
        xanchor="right" if left else "left",
        ax=-16 if left else 16,
        ay=-48,
        bgcolor=look.ground,
        bordercolor=look.line_1,
        borderpad=2,
        arrowcolor=look.line_1,
        arrowhead=0,
    )


def _add_level(
    figure: go.Figure, look: Look, height: float, words: str, *, colour: str, dash: str, right: bool = False
) -> None:
    line = {"color": colour, "width": 2, "dash": dash}
    figure.add_shape(type="line", xref="paper", x0=0, x1=1, y0=height, y1=height, line=line)
    figure.add_annotation(
        text=words,
        xref="paper",
        x=0.995 if right else 0.005,
        y=height,
        xanchor="right" if right else "left",
        yanchor="bottom" if right else "top",
        font={"color": colour, "size": 13},
        bgcolor=look.ground,
        borderpad=1,
        showarrow=False,
    )


def _sentence(book: Rulebook, load: Load, laid: Laid) -> str:
    insulation = f"{INSULATIONS[book.id][laid.insulation]} insulation"
    air = f"{load.size.name} with {insulation} in air of {written(laid.ambient, 'degC')}"
    together = f", {laid.conductors} conductors together," if laid.conductors > 1 else ""
    corrected = _corrected(book, load.size, laid)
    if corrected is None:
        return f"{air}{together} has no ampacity: the table ends below this temperature, so choose better insulation."
    terminals = terminal_ampacity(book, load.size.area, laid)
    usable = min(corrected, terminals)
    decides = "the terminals decide" if terminals < corrected else "the air and the insulation decide"
    told = (
        f"{air}{together} may carry {written(corrected, 'A', 3)}; terminals of {written(_column(laid), 'degC')} allow "
        f"{written(terminals, 'A', 3)}. What counts is {written(usable, 'A', 3)}: {decides}."
    )
    return f"{told} {_needs(book, load.current, usable, terminals)}"


def _needs(book: Rulebook, current: float, usable: float, terminals: float) -> str:
    """The two tests of a continuous load in words, or the one where the rulebook has no factor."""
    factor = book.number("continuous_factor")
    after = (
        f"{written(current, 'A', 3)} {'are within' if current <= usable else 'are more than'} {written(usable, 'A', 3)}"
    )
    if factor == 1:
        verdict = "the conductor will do" if current <= usable else "choose a larger one"
        return f"The load's {after}: {verdict}."
    need = factor * current
    passes = "are within" if need <= terminals else "are more than"
    before = (
        f"{written(100 * factor, '%')} of the load before correction, {written(need, 'A', 3)}, {passes} the terminals' "
        f"{written(terminals, 'A', 3)}"
    )
    good = current <= usable and need <= terminals
    verdict = "the conductor passes both tests" if good else "choose a larger one"
    return f"{before}; 100 % after correction, {after}: {verdict}."


def _rows(book: Rulebook, load: Load, laid: Laid) -> Rows:
    bands = [COOLEST, *(top for top in book.tables[laid.ambient_factor].listed("ambient") if COOLEST < top <= HOTTEST)]
    rows = []
    for top in bands:
        row = {"Air up to": written(top, "degC")}
        for column, words in INSULATIONS[book.id].items():
            ampacity = _corrected(book, load.size, replace(laid, insulation=column, ambient=top))
            row[words] = "none" if ampacity is None else written(ampacity, "A", 3)
        rows.append(row)
    return rows

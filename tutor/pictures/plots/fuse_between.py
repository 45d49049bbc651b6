"""A fuse between load, conductor and fault: five currents that have to rise, each from the one before."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

from tutor.base.units import written
from tutor.content.figures import SpecialFigure
from tutor.pictures.looks import Look
from tutor.pictures.plots.base import Drawn, Rows, blank
from tutor.trade.conductors import Laid, current_drawn, terminal_temperature, usable_ampacity
from tutor.trade.protection import fault_current, largest_device
from tutor.trade.rulebooks import Rulebook

HOLDS, FAILS = "holds", "fails"


@dataclass(frozen=True)
class Circuit:
    """Currents of a protected circuit (A).

    `needed` is the rating that the load asks of its fuse; `largest_fuse` the largest that the rulebook allows for the
    conductor, `melting` the current that surely melts this fuse.
    """

    load: float
    needed: float
    fuse: float
    ampacity: float
    largest_fuse: float
    melting: float
    fault: float
    breaking_capacity: float


@dataclass(frozen=True)
class _Test:
    """One step of the stair: the current on it, whether it holds against the step before, and what follows."""

    name: str
    current: float
    holds: bool
    words: str


def from_controls(_figure: SpecialFigure, book: Rulebook, chosen: Mapping[str, Any], look: Look) -> Drawn:
    """Draw the declared figure with what the learner chose: a load and a fault, or those of an inverter's battery.

    The conductor lies alone in conduit at 30 °C, on terminals as the rulebook takes them to be; the load is continuous.
    """
    load, fault = chosen.get("load"), chosen.get("fault")
    if load is None or fault is None:
        _, voltages = chosen["battery"]
        load = current_drawn(chosen["power"], voltages["lowest"], chosen["efficiency"])
        fault = fault_current(voltages["full"], chosen["resistance"])
    size, fuse, column = chosen["size"].area, chosen["fuse"], terminal_temperature(book, load)
    ampacity = usable_ampacity(book, size, Laid(insulation=column, terminals=column))
    circuit = Circuit(
        load=load,
        needed=book.number("continuous_factor") * load,
        fuse=fuse,
        ampacity=ampacity,
        largest_fuse=largest_device(book, size, ampacity, ratings="fuse_ratings"),
        melting=book.number("fusing_current_factor") * fuse,
        fault=fault,
        breaking_capacity=chosen["breaking_capacity"],
    )
    return fuse_between(circuit, look)


def fuse_between(circuit: Circuit, look: Look) -> Drawn:
    """Draw the circuit's five currents as a stair on a logarithmic axis and say what protects what.

    Raises ValueError unless every current is above 0.
    """
    tests = _tests(circuit)
    if not all(test.current > 0 for test in tests):
        raise ValueError("every current of the circuit has to be above 0")
    figure = blank(look, "current (A), tenfold from line to line", "")
    for index, test in enumerate(tests):
        _add_step(figure, look, -index, test)
    for name, symbol, colour in ((HOLDS, "circle", look.line_1), (FAILS, "x", look.danger)):
        chosen = [(test.current, -index) for index, test in enumerate(tests) if test.holds == (name == HOLDS)]
        figure.add_trace(
            go.Scatter(
                x=[current for current, _ in chosen],
                y=[height for _, height in chosen],
                name="in order" if name == HOLDS else "out of order",
                mode="markers",
                marker={"symbol": symbol, "size": 14, "color": colour},
                hovertemplate="%{x:.0f} A<extra></extra>",
                showlegend=True,
            )
        )
    highest = max(test.current for test in tests)
    lowest = min(test.current for test in tests)
    figure.update_xaxes(
        type="log", dtick=1, range=[math.log10(lowest) - 0.4, math.log10(highest) + 0.15], tickformat="~g"
    )
    figure.update_yaxes(range=[-len(tests) + 0.4, 0.75], showticklabels=False, ticks="", showgrid=False)
    return Drawn(figure, _sentence(circuit, tests), _rows(tests))


def _tests(circuit: Circuit) -> list[_Test]:
    fuse, fault = written(circuit.fuse, "A", 3), written(circuit.fault, "A", 3)
    return [
        _Test("load", circuit.load, True, f"the load draws {written(circuit.load, 'A', 3)}"),
        _Test("fuse", circuit.fuse, circuit.needed <= circuit.fuse, _fuse_words(circuit, fuse)),
        _Test("conductor", circuit.ampacity, circuit.fuse <= circuit.largest_fuse, _conductor_words(circuit, fuse)),
        _Test("fault", circuit.fault, circuit.fault >= circuit.melting, _fault_words(circuit, fault)),
        _Test(
            "fuse can break",
            circuit.breaking_capacity,
            circuit.fault <= circuit.breaking_capacity,
            _breaking_words(circuit, fault),
        ),
    ]


def _fuse_words(circuit: Circuit, fuse: str) -> str:
    need = written(circuit.needed, "A", 3)
    if circuit.fuse >= circuit.needed:
        return f"the {fuse} fuse carries the load for good, which asks for {need} at least"
    return f"the load asks for a fuse of {need} at least: at {fuse} it opens, or ages, in everyday use"


def _conductor_words(circuit: Circuit, fuse: str) -> str:
    ampacity = written(circuit.ampacity, "A", 3)
    if circuit.fuse <= circuit.ampacity and circuit.fuse <= circuit.largest_fuse:
        return f"it opens before the conductor, good for {ampacity}, is too hot: the fuse protects the conductor"
    if circuit.fuse <= circuit.largest_fuse:
        return f"the conductor is good for {ampacity} and the rulebook allows it the next standard rating up, {fuse}"
    most = written(circuit.largest_fuse, "A", 3)
    return (
        f"the conductor, good for {ampacity}, may have a fuse of {most} at most: below {fuse} the fuse does not open, "
        "and an overload burns the conductor"
    )


def _fault_words(circuit: Circuit, fault: str) -> str:
    if circuit.fault >= circuit.melting:
        return f"a fault of {fault} surely melts the fuse"
    if circuit.fault > circuit.fuse:
        return f"a fault of {fault} is so little above the fuse's rating that it may take hours to open"
    return f"a fault of {fault} never opens the fuse: it goes on"


def _breaking_words(circuit: Circuit, fault: str) -> str:
    capacity = written(circuit.breaking_capacity, "A", 3)
    if circuit.fault <= circuit.breaking_capacity:
        return f"the fuse can break up to {capacity}, so it ends the fault"
    return f"the fuse can break {capacity} at most: at {fault} it may burst and its arc goes on burning"


def _add_step(figure: go.Figure, look: Look, height: int, test: _Test) -> None:
    colour = look.line_1 if test.holds else look.danger
    line = {"color": colour, "width": 3 if test.holds else 2, "dash": "solid" if test.holds else "dash"}
    figure.add_shape(
        type="line", xref="paper", x0=0, x1=1, y0=height, y1=height, line={"color": look.raised}, layer="below"
    )
    figure.add_trace(
        go.Scatter(
            x=[0.01, test.current], y=[height, height], mode="lines", line=line, showlegend=False, hoverinfo="skip"
        )
    )
    figure.add_annotation(
        text=f"{'' if test.holds else '✖ '}{test.name}: <b>{written(test.current, 'A', 3)}</b>",
        xref="paper",
        x=0.01,
        xanchor="left",
        y=height + 0.08,
        yanchor="bottom",
        font={"color": look.text if test.holds else look.danger, "size": 14},
        showarrow=False,
    )


def _sentence(circuit: Circuit, tests: list[_Test]) -> str:
    failing = [test for test in tests if not test.holds]
    if not failing:
        words = "; ".join(test.words for test in tests)
        return f"The currents rise from step to step: {words}."
    words = "; ".join(test.words for test in failing)
    holding = [test.words for test in tests[1:] if test.holds]
    others_hold = f" The rest holds: {'; '.join(holding)}." if holding else ""
    return f"With a load of {written(circuit.load, 'A', 3)} this does not hold: {words}.{others_hold}"


def _rows(tests: list[_Test]) -> Rows:
    return [
        {
            "Current": test.name,
            "Value": written(test.current, "A", 3),
            "In order": "yes" if test.holds else "no",
            "What it means": test.words,
        }
        for test in tests
    ]

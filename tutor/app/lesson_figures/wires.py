"""Figures on conductors and their fuses, with the choices that a learner moves."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import streamlit as st

from tutor.app import theme
from tutor.app.lesson_figures.controls import choose_rating, choose_size, put, told_rulebook
from tutor.trade.conductors import Laid, current_drawn, terminal_temperature, usable_ampacity
from tutor.trade.protection import fault_current, largest_device
from tutor.trade.rulebooks import Rulebook

if TYPE_CHECKING:
    from tutor.app.figures.fuse_between import Circuit

# V: nominal; lowest in use and full at rest, 1.75 V and 2.12 V for each lead-acid cell (from memory).
_BATTERIES = {12: (10.5, 12.7), 24: (21.0, 25.4), 48: (42.0, 50.9)}
_SIZES = {"us": "8 AWG", "iec": "10 mm²"}
_BATTERY_SIZES = {"us": "2/0 AWG", "iec": "70 mm²"}
_BATTERY_FUSES = {"us": 150.0, "iec": 160.0}
_CONDITIONS = "Copper in conduit at 30 °C, alone, on terminals as they usually are; the load runs for hours."
_BREAKING = (1000, 2000, 5000, 10000, 20000, 50000, 100000, 200000)
_FAULTS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000)


@st.fragment
def battery_fuse_figure() -> None:
    """A fuse between an inverter, its battery cable and a dead short."""
    from tutor.app.figures.fuse_between import fuse_between  # noqa: PLC0415 - plotly only where a figure is shown

    book = told_rulebook()
    power = st.slider("Inverter's rated power (W)", 300, 5000, 2000, 100)
    nominal = st.select_slider("Battery's nominal voltage (V)", list(_BATTERIES), 24)
    efficiency = st.slider("Inverter's efficiency (%)", 75, 98, 88)
    lowest, full = _BATTERIES[nominal]
    load = current_drawn(float(power), lowest, efficiency / 100)
    size = choose_size(book, "Cable", _BATTERY_SIZES[book.id])
    fuse = choose_rating("Fuse", _ratings(book, 10, 800), _BATTERY_FUSES[book.id])
    resistance = st.slider("Resistance of battery and cables together (mΩ)", 1, 50, 5)
    breaking = choose_rating("What the fuse can break at this voltage", _BREAKING, 10000)
    st.caption(_CONDITIONS)
    fault = fault_current(full, resistance / 1000)
    put(fuse_between(_circuit(book, load, size.area, fuse, fault, breaking), theme.look()), "battery fuse")


@st.fragment
def fuse_between_figure() -> None:
    """A fuse or breaker between a load, its conductor and a fault."""
    from tutor.app.figures.fuse_between import fuse_between  # noqa: PLC0415 - plotly only where a figure is shown

    book = told_rulebook()
    load = st.slider("Load (A)", 1, 200, 24)
    size = choose_size(book, "Conductor", _SIZES[book.id])
    fuse = choose_rating("Fuse or breaker", _ratings(book, 10, 400), 40.0)
    fault = choose_rating("Current of a fault", _FAULTS, 1000)
    breaking = choose_rating("What the device can break at this voltage", _BREAKING, 5000)
    st.caption(_CONDITIONS)
    put(fuse_between(_circuit(book, float(load), size.area, fuse, fault, breaking), theme.look()), "fuse between")


def _ratings(book: Rulebook, least: float, most: float) -> Sequence[float]:
    return [rating for rating in book.tables["fuse_ratings"].sizes if least <= rating <= most]


def _circuit(book: Rulebook, load: float, area: float, fuse: float, fault: float, breaking: float) -> "Circuit":
    """The circuit of a continuous load (A) on a size (m²) in conduit at 30 °C, with the column of usual terminals."""
    from tutor.app.figures.fuse_between import Circuit  # noqa: PLC0415 - plotly only where a figure is shown

    column = terminal_temperature(book, load)
    ampacity = usable_ampacity(book, area, Laid(insulation=column, terminals=column))
    return Circuit(
        load=load,
        needed=book.number("continuous_factor") * load,
        fuse=fuse,
        ampacity=ampacity,
        largest_fuse=largest_device(book, area, ampacity, ratings="fuse_ratings"),
        melting=book.number("fusing_current_factor") * fuse,
        fault=fault,
        breaking_capacity=breaking,
    )

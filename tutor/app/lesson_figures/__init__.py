"""The lessons' live figures: the choices that a learner moves, and the figure that follows."""

from collections.abc import Callable

import streamlit as st

from tutor.app.lesson_figures import sources, strings, wires
from tutor.app.lesson_figures.sweeps import show_sweep
from tutor.app.session import library
from tutor.content.figures import SpecialFigure

RENDERERS: dict[str, Callable[[], None]] = {
    "battery-fuse": wires.battery_fuse_figure,
    "fuse-between": wires.fuse_between_figure,
    "inrush": sources.inrush_figure,
    "iv-curve": strings.iv_curve_figure,
    "shared-load": sources.shared_load_figure,
    "transfer-day": sources.transfer_day_figure,
}


def show(name: str) -> None:
    """Show a lesson's figure by its name."""
    st.header("Try it", anchor=False)
    figure = library().figures[name].figure
    if isinstance(figure, SpecialFigure):
        RENDERERS[figure.renderer]()
    else:
        show_sweep(name)

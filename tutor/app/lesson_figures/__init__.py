"""The lessons' live figures: the choices that a learner moves, and the figure that follows."""

from collections.abc import Callable

import streamlit as st

from tutor.app.lesson_figures import sources, strings, wires

_FIGURES: dict[str, Callable[[], None]] = {
    "cold-year": strings.cold_year_figure,
    "iv-curve": strings.iv_curve_figure,
    "series-window": strings.series_window_figure,
    "hot-afternoon": strings.hot_afternoon_figure,
    "strings-and-fuses": strings.strings_and_fuses_figure,
    "drop-length": wires.drop_length_figure,
    "ampacity-ambient": wires.ampacity_ambient_figure,
    "battery-fuse": wires.battery_fuse_figure,
    "fuse-between": wires.fuse_between_figure,
    "shared-load": sources.shared_load_figure,
    "transfer-day": sources.transfer_day_figure,
    "inrush": sources.inrush_figure,
}


def show(figure: str) -> None:
    """Show a lesson's figure by its id, if it has been drawn yet."""
    if figure in _FIGURES:
        st.header("Try it", anchor=False)
        _FIGURES[figure]()

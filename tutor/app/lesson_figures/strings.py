"""Figures on modules and strings, with the choices that a learner moves."""

from dataclasses import fields
from functools import lru_cache

import streamlit as st

from tutor.app import theme
from tutor.app.figures.base import LabelVoltages, Window
from tutor.app.lesson_figures.controls import choose_module, put, told_rulebook
from tutor.app.session import library
from tutor.content.models import Charger, Module, Place
from tutor.trade.modules import DiodeParameters, FitError, Label, fit
from tutor.trade.strings import most_in_series, voltage_at


def _charger() -> Charger:
    chargers = library().chargers
    ids = sorted(chargers, key=lambda id_: chargers[id_].input_voltage_max.value)
    chosen = st.selectbox(
        "Charger (invented)", ids, len(ids) // 2, format_func=lambda id_: _charger_words(chargers[id_])
    )
    return chargers[chosen]


def _count(module: Module, charger: Charger) -> int:
    """A slider that starts at the count that the label's voltage at 25 °C would allow."""
    by_label = most_in_series(charger.input_voltage_max.value, module.module_voc.value)
    return st.slider("Modules in series", 1, by_label + 4, max(1, by_label))


def _charger_words(charger: Charger) -> str:
    return f"{charger.name}, input up to {charger.input_voltage_max}"


def _place() -> Place:
    places = library().places
    return places[
        st.selectbox(
            "Place (invented)", list(places), format_func=lambda id_: f"{places[id_].name}, {places[id_].record_low}"
        )
    ]


def _voltages(module: Module) -> LabelVoltages:
    return LabelVoltages(
        module.module_voc.working,
        module.module_vmp.working,
        module.voc_coefficient.working,
        module.vmp_coefficient.working,
    )


def _window(charger: Charger) -> Window:
    return Window(charger.input_voltage_max.value, charger.input_voltage_min.value, charger.input_voltage_best.value)


@lru_cache(maxsize=256)
def _diode(module: Module) -> DiodeParameters:
    return fit(Label(**{part.name: getattr(module, part.name).working for part in fields(Label)}))


@st.fragment
def cold_year_figure() -> None:
    """A string's voltages over the year at a place."""
    from tutor.app.figures.cold_year import Site, cold_year  # noqa: PLC0415 - plotly only where a figure is shown

    place, module, charger = _place(), choose_module(), _charger()
    count = _count(module, charger)
    site = Site(
        place.name,
        place.record_low.working,
        place.hottest_cell.working,
        place.january_mean.working,
        place.july_mean.working,
    )
    put(cold_year(count, _voltages(module), site, _window(charger), theme.look()), "cold year")


@st.fragment
def iv_curve_figure() -> None:
    """A module's curve in chosen sun and warmth."""
    from tutor.app.figures.iv_curve import iv_curve  # noqa: PLC0415 - plotly only where a figure is shown

    module = choose_module()
    irradiance = st.slider("Sun on the module (W/m²)", 100, 1200, 800, 50)
    cell = st.slider("Cell temperature (°C)", -40, 85, 25)
    try:
        diode = _diode(module)
    except FitError as error:
        st.warning(f"There is no curve for {module.name}. {error}")
        return
    put(iv_curve(module, diode, float(irradiance), float(cell), theme.look()), "iv curve")


@st.fragment
def series_window_figure() -> None:
    """Strings of 1, 2, ... modules against the input's window."""
    from tutor.app.figures.series_window import series_window  # noqa: PLC0415 - plotly only where a figure is shown

    module, charger = choose_module(), _charger()
    coldest = st.slider("Coldest morning (°C)", -40, 20, -10)
    hottest = st.slider("Hottest cell (°C)", 30, 85, 65)
    highest = float(voltage_at(module.module_voc.working, module.voc_coefficient.working, float(coldest)))
    operating = float(voltage_at(module.module_vmp.working, module.vmp_coefficient.working, float(hottest)))
    put(series_window(highest, operating, _window(charger), theme.look()), "series window")


@st.fragment
def hot_afternoon_figure() -> None:
    """The operating voltage as the cells heat up."""
    from tutor.app.figures.hot_afternoon import hot_afternoon  # noqa: PLC0415 - plotly only where a figure is shown

    module, charger = choose_module(), _charger()
    count = _count(module, charger)
    hottest = st.slider("Hottest cell (°C)", 30, 85, 65)
    put(hot_afternoon(count, _voltages(module), float(hottest), _window(charger), theme.look()), "hot afternoon")


@st.fragment
def strings_and_fuses_figure() -> None:
    """What the other strings drive into a faulty one."""
    from tutor.app.figures.strings_and_fuses import strings_and_fuses  # noqa: PLC0415 - plotly only where it is shown

    book, module = told_rulebook(), choose_module()
    strings = st.slider("Strings in parallel", 1, 8, 3)
    drawn = strings_and_fuses(book, strings, module.module_isc, module.module_fuse_max, theme.look())
    put(drawn, "strings and fuses")

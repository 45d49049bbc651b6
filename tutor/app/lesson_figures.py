"""The lessons' live figures: the choices that a learner moves, and the figure that follows."""

from collections.abc import Callable
from dataclasses import fields
from functools import lru_cache

import streamlit as st

from tutor.app import theme
from tutor.app.figures.base import Drawn, LabelVoltages, Window
from tutor.app.session import library
from tutor.content.models import Charger, Module, Place
from tutor.trade.modules import DiodeParameters, Label, fit
from tutor.trade.strings import most_in_series, voltage_at


def show(figure: str) -> None:
    """Show a lesson's figure by its id, if it has been drawn yet."""
    if figure in _FIGURES:
        st.header("Try it", anchor=False)
        _FIGURES[figure]()


def _module() -> Module:
    modules = library().modules
    return modules[st.selectbox("Module (invented)", list(modules), format_func=lambda id_: modules[id_].name)]


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


def _put(drawn: Drawn, key: str) -> None:
    theme.show_figure(drawn.figure, drawn.sentence, drawn.rows, key)


@st.fragment
def _cold_year() -> None:
    from tutor.app.figures.cold_year import Site, cold_year  # noqa: PLC0415 - plotly only where a figure is shown

    place, module, charger = _place(), _module(), _charger()
    count = _count(module, charger)
    site = Site(
        place.name,
        place.record_low.working,
        place.hottest_cell.working,
        place.january_mean.working,
        place.july_mean.working,
    )
    _put(cold_year(count, _voltages(module), site, _window(charger), theme.look()), "cold year")


@st.fragment
def _iv_curve() -> None:
    from tutor.app.figures.iv_curve import iv_curve  # noqa: PLC0415 - plotly only where a figure is shown

    module = _module()
    irradiance = st.slider("Sun on the module (W/m²)", 100, 1200, 800, 50)
    cell = st.slider("Cell temperature (°C)", -40, 85, 25)
    _put(iv_curve(module.name, _diode(module), float(irradiance), float(cell), theme.look()), "iv curve")


@st.fragment
def _series_window() -> None:
    from tutor.app.figures.series_window import series_window  # noqa: PLC0415 - plotly only where a figure is shown

    module, charger = _module(), _charger()
    coldest = st.slider("Coldest morning (°C)", -40, 20, -10)
    hottest = st.slider("Hottest cell (°C)", 30, 85, 65)
    highest = float(voltage_at(module.module_voc.working, module.voc_coefficient.working, float(coldest)))
    operating = float(voltage_at(module.module_vmp.working, module.vmp_coefficient.working, float(hottest)))
    _put(series_window(highest, operating, _window(charger), theme.look()), "series window")


@st.fragment
def _hot_afternoon() -> None:
    from tutor.app.figures.hot_afternoon import hot_afternoon  # noqa: PLC0415 - plotly only where a figure is shown

    module, charger = _module(), _charger()
    count = _count(module, charger)
    hottest = st.slider("Hottest cell (°C)", 30, 85, 65)
    _put(hot_afternoon(count, _voltages(module), float(hottest), _window(charger), theme.look()), "hot afternoon")


_FIGURES: dict[str, Callable[[], None]] = {
    "cold-year": _cold_year,
    "iv-curve": _iv_curve,
    "series-window": _series_window,
    "hot-afternoon": _hot_afternoon,
}

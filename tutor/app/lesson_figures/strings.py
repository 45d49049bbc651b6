"""A module's curve, with the choices that a learner moves."""

from dataclasses import fields
from functools import lru_cache

import streamlit as st

from tutor.app import theme
from tutor.app.lesson_figures.controls import choose_module, put
from tutor.content.models import Module
from tutor.trade.modules import DiodeParameters, FitError, Label, fit


@lru_cache(maxsize=256)
def _diode(module: Module) -> DiodeParameters:
    return fit(Label(**{part.name: getattr(module, part.name).working for part in fields(Label)}))


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

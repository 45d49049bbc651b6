"""Each lesson's live figure in a running page: it is drawn, and its choices move it."""

from typing import get_args

import pytest
from streamlit.testing.v1 import AppTest

from tutor.app.components.lesson_figures import renderer_of
from tutor.content.figures import Renderer
from tutor.content.library import load

FIGURES = sorted(load().figures)


def page(figure: str, rulebook: str = "us") -> AppTest:
    app = AppTest.from_string(
        f"""
import streamlit as st
from tutor.app.components import lesson_figures
st.session_state["chosen rulebook"] = "{rulebook}"
lesson_figures.show("{figure}")
""",
        default_timeout=30,
    )
    return app.run()


def sentence(app: AppTest) -> str:
    return max((element.value for element in app.markdown), key=lambda text: text.endswith(".") * len(text))


@pytest.mark.parametrize("rulebook", ["us", "iec"])
@pytest.mark.parametrize("figure", FIGURES)
def test_every_figure_is_drawn_under_both_rulebooks(figure, rulebook):
    app = page(figure, rulebook)
    assert not app.exception
    assert app.header[0].value == "Try it"
    assert len(app.get("plotly_chart")) == 1


@pytest.mark.parametrize("figure", FIGURES)
def test_every_slider_at_either_end_still_draws(figure):
    app = page(figure)
    for at in range(len(app.slider)):
        for end in ("min", "max"):
            app.slider[at].set_value(getattr(app.slider[at], end)).run()
            assert not app.exception, (figure, app.slider[at].label, end)


@pytest.mark.parametrize("figure", FIGURES)
def test_moving_a_choice_changes_what_is_said(figure):
    app = page(figure)
    before = sentence(app)
    app.slider[0].set_value(app.slider[0].max).run() if app.slider else app.multiselect[0].set_value([]).run()
    assert sentence(app) != before


def test_a_label_without_a_curve_gets_the_reason_in_its_place(monkeypatch):
    def sharp(_):
        module = next(iter(load().modules.values()))
        isc = module.module_isc
        return module.model_copy(update={"module_imp": isc.model_copy(update={"value": 0.995 * isc.value})})

    monkeypatch.setattr("tutor.app.components.lesson_figures._choose_module", sharp)
    app = page("iv-curve")
    assert not app.exception
    assert not app.get("plotly_chart")
    assert "so close to its short-circuit current (Isc). Check both on the label." in app.warning[0].value


@pytest.mark.parametrize("renderer", get_args(Renderer))
def test_every_renderer_that_may_be_declared_is_there(renderer):
    assert callable(renderer_of(renderer))

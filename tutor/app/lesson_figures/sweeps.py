"""A declared sweep on a page: a control for each part or given that the learner chooses, and the figure."""

from functools import lru_cache

import streamlit as st

from tutor.app import theme
from tutor.app.lesson_figures.controls import put_declared
from tutor.app.session import chosen_rulebook, library
from tutor.content.figures import Sweep
from tutor.content.models import RangeGiven
from tutor.engine.draw import Option, pools
from tutor.engine.sweep import FigureQuestion, figure_question, rulebooks_of, traced
from tutor.entries.kinds import capitalised
from tutor.trade.rulebooks import rulebook
from tutor.units import written_unit


@lru_cache(maxsize=64)
def compiled(name: str, book: str) -> FigureQuestion:
    """A figure's question under a rulebook, or under the first one that its exercises can be set under."""
    declared = library().figures[name]
    assert isinstance(declared.figure, Sweep)
    possible = rulebooks_of(library(), declared.figure)
    return figure_question(library(), declared, rulebook(book if book in possible else possible[0]))


@st.fragment
def show_sweep(name: str) -> None:
    """A declared sweep with its controls."""
    from tutor.app.figures.sweep import sweep  # noqa: PLC0415 - plotly only where a figure is shown

    figure = compiled(name, chosen_rulebook())
    st.caption(f"By the rulebook chosen in the sidebar. {figure.question.rulebook.title}")
    chosen = {control: _choose(figure, control) for control in figure.sweep.controls}
    put_declared(sweep(traced(figure, figure.problem(chosen)), theme.look()), name)


def _choose(figure: FigureQuestion, control: str) -> Option:
    """A part of those on the shelf, or a value of those that a given may have."""
    options = dict(pools(figure.question))[control]
    places = range(len(options))
    if options[0].name:
        wanted = figure.sweep.start.get(control, options[len(options) // 2].name)
        first = next((at for at in places if options[at].name == wanted), 0)
        label = f"{capitalised(control)} (invented)"
        return options[st.selectbox(label, places, first, lambda at: _described(figure, options[at]))]
    amounts = [option.shown[control] for option in options]
    label = capitalised(figure.question.library.quantities[control].words)
    start = figure.start.get(control, amounts[0]).working
    first = _nearest([amount.working for amount in amounts], start)
    values = [amount.value for amount in amounts]
    if not isinstance(figure.question.exercise.givens[control], RangeGiven):
        return options[st.select_slider(label, places, first, lambda at: amounts[at].text)]
    step, unit = values[1] - values[0], written_unit(amounts[0].unit)
    label = f"{label} ({unit})" if unit else label
    if all(value.is_integer() for value in values):
        return options[
            _nearest(values, st.slider(label, int(values[0]), int(values[-1]), int(values[first]), int(step)))
        ]
    return options[_nearest(values, st.slider(label, values[0], values[-1], values[first], step))]


def _nearest(values: list[float], wanted: float) -> int:
    return min(range(len(values)), key=lambda at: abs(values[at] - wanted))


def _described(figure: FigureQuestion, option: Option) -> str:
    """A part's name and the first of its values that a limit of the figure rests on."""
    bounds = [limit.bound for limit in figure.sweep.limits]
    told = next((option.shown[name] for name in bounds if name in option.shown), None)
    return f"{option.name}, {told}" if told else option.name

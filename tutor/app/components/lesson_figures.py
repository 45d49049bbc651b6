"""The lessons' live figures: the choices that a learner moves, and the figure that follows."""

from collections.abc import Callable
from contextlib import nullcontext
from functools import lru_cache
from importlib import import_module
from typing import TYPE_CHECKING, Any

import streamlit as st

from tutor.app.components import showing, theme
from tutor.app.session import chosen_rulebook, library
from tutor.base.units import conversion, written_unit
from tutor.content.figures import Control, SpecialFigure, Sweep
from tutor.content.files import validated
from tutor.content.models import Amount, Module, RangeGiven, RulebookId, filled
from tutor.entries.kinds import capitalised
from tutor.problems.draw import Option, pools
from tutor.problems.sweep import FigureQuestion, figure_question, rulebooks_of, traced
from tutor.trade.rulebooks import Rulebook, TableError, rulebook

if TYPE_CHECKING:
    from tutor.pictures.plots.base import Drawn


def show(name: str) -> None:
    """Show a lesson's figure by its name."""
    st.header("Try it", anchor=False)
    if isinstance(library().figures[name].figure, Sweep):
        _show_sweep(name)
    else:
        _show_special(name)


def put_declared(drawn: "Drawn", key: str) -> None:
    """Put a figure on the page whose words are a declaration's: nothing in them is read as a link or a picture."""
    rows = [{showing.plain(head): showing.plain(text) for head, text in row.items()} for row in drawn.rows]
    theme.show_figure(drawn.figure, drawn.sentence, rows, key, showing.plain(drawn.sentence))


def _caption(book: Rulebook) -> None:
    st.caption(f"By the rulebook chosen in the sidebar. {book.title}")


# Declared sweeps


@lru_cache(maxsize=64)
def compiled(name: str, book: str) -> FigureQuestion:
    """A figure's question under a rulebook, or under the first one that its exercises can be set under."""
    declared = library().figures[name]
    assert isinstance(declared.figure, Sweep)
    possible = rulebooks_of(library(), declared.figure)
    return figure_question(library(), declared, rulebook(book if book in possible else possible[0], library()))


@st.fragment
def _show_sweep(name: str) -> None:
    from tutor.pictures.plots.sweep import sweep  # noqa: PLC0415 - plotly only where a figure is shown

    figure = compiled(name, chosen_rulebook())
    _caption(figure.question.rulebook)
    chosen = {control: _choose_option(figure, control) for control in figure.sweep.controls}
    put_declared(sweep(traced(figure, figure.problem(chosen)), theme.look()), name)


def _choose_option(figure: FigureQuestion, control: str) -> Option:
    """A part of those on the shelf, or a value of those that a given may have."""
    options = dict(pools(figure.question))[control]
    indexes = range(len(options))
    if options[0].name:
        wanted = figure.sweep.start.get(control, options[len(options) // 2].name)
        first = next((index for index in indexes if options[index].name == wanted), 0)
        label = f"{capitalised(control)} (invented)"
        return options[st.selectbox(label, indexes, first, lambda index: _described(figure, options[index]))]
    amounts = [option.shown[control] for option in options]
    label = capitalised(figure.question.library.quantities[control].words)
    start = figure.start.get(control, amounts[0]).working
    first = _nearest([amount.working for amount in amounts], start)
    values = [amount.value for amount in amounts]
    if not isinstance(figure.question.exercise.givens[control], RangeGiven):
        return options[st.select_slider(label, indexes, first, lambda index: amounts[index].text)]
    step, unit = values[1] - values[0], written_unit(amounts[0].unit)
    number = int if all(value.is_integer() for value in values) else float
    ends = (number(values[0]), number(values[-1]), number(values[first]), number(step))
    return options[_nearest(values, st.slider(f"{label} ({unit})" if unit else label, *ends))]


def _nearest(values: list[float], wanted: float) -> int:
    return min(range(len(values)), key=lambda index: abs(values[index] - wanted))


def _described(figure: FigureQuestion, option: Option) -> str:
    """A part's name and the first of its values that a limit of the figure rests on."""
    bounds = [limit.bound for limit in figure.sweep.limits]
    bound = next((option.shown[name] for name in bounds if name in option.shown), None)
    return f"{option.name}, {bound}" if bound else option.name


# Figures with a renderer of their own


@lru_cache(maxsize=64)
def _special(name: str, book: RulebookId) -> SpecialFigure:
    """A figure with a renderer of its own as it is under a rulebook."""
    declared = library().figures[name]
    assert isinstance(declared.figure, SpecialFigure)
    return validated(SpecialFigure, declared.document, declared.figure.under(book))


def renderer_of(name: str) -> "Callable[..., Drawn]":
    """What draws a special figure: `from_controls` of the module that bears its renderer's name."""
    # Plotly is loaded only where a figure is shown.
    drawer: Callable[..., Drawn] = import_module(f"tutor.pictures.plots.{name.replace('-', '_')}").from_controls
    return drawer


@st.fragment
def _show_special(name: str) -> None:
    book = rulebook(chosen_rulebook(), library())
    figure = _special(name, book.id)
    if figure.reads_rulebook:
        _caption(book)
    chosen = _choose_all(figure, book)
    if figure.conditions:
        st.caption(showing.plain(figure.conditions))
    try:
        put_declared(renderer_of(figure.renderer)(figure, book, chosen, theme.look()), name)
    except (ValueError, ArithmeticError, TableError) as reason:
        st.warning(str(reason))
    if figure.fixed and figure.day:
        texts = {name: _amount_text(value) for name, value in figure.day.system.items() if isinstance(value, str)}
        st.caption(showing.plain(filled(figure.fixed, texts)))


def _amount_text(value: str) -> str:
    return "" if value.isidentifier() else Amount.model_validate(value).text


def _choose_all(figure: SpecialFigure, book: Rulebook) -> dict[str, Any]:
    """What the learner chooses by the figure's controls, in working units."""
    chosen: dict[str, Any] = {}
    columns: dict[str, Any] = {}
    for name, control in figure.controls.items():
        if control.column and not columns:
            columns = dict(zip(("left", "right"), st.columns(2), strict=True))
        with columns[control.column] if control.column else nullcontext():
            chosen[name] = _choose(control, book)
    return chosen


def _choose(control: Control, book: Rulebook) -> Any:
    """The value of a control; of an option, its name and what it brings along."""
    start: Any = control.start
    if control.kind == "switch":
        return st.toggle(control.words, value=start)
    if control.kind == "module":
        return _choose_module(control.words)
    if control.kind == "size":
        sizes = [book.size_of(area) for area in book.tables["ampacity"].listed("size")]
        return st.select_slider(control.words, sizes, book.size_named(start), format_func=lambda size: size.name)
    if control.options:
        return _choose_options(control)
    return conversion(control.unit).to_working(_choose_number(control, book))


def _choose_number(control: Control, book: Rulebook) -> float:
    start: Any = control.start
    lowest, highest, values = control.lowest, control.highest, control.values
    if lowest is not None and highest is not None and control.table:
        values = [rating for rating in book.tables[control.table].sizes if lowest <= rating <= highest]
    if not values:
        return float(st.slider(control.words, lowest, highest, start, control.step))
    # A label that ends with the unit in brackets spares it at each value.
    unit = "" if control.words.endswith(")") else f" {written_unit(control.unit)}"
    return float(st.select_slider(control.words, values, start, format_func=lambda value: f"{value:g}{unit}"))


def _choose_options(control: Control) -> Any:
    """The chosen option's name and values; a list of these where several may be chosen."""
    named = {
        name.format_map(
            {value: f"{number:g}" for value, number in values.items() if not isinstance(number, str)}
        ): values
        for name, values in control.options.items()
    }
    names = dict(zip(control.options, named, strict=True))
    if isinstance(control.start, list):
        chosen = st.multiselect(control.words, list(named), [names[name] for name in control.start])
        return [(name, named[name]) for name in chosen]
    if all(name.isdigit() for name in named):  # standard values, which have an order
        name = st.select_slider(control.words, list(named), str(control.start))
    else:
        name = st.selectbox(control.words, list(named), list(names).index(str(control.start)))
    return name, named[name]


def _choose_module(label: str) -> Module:
    """One of the invented modules."""
    modules = library().modules
    return modules[st.selectbox(label, list(modules), format_func=lambda id_: modules[id_].name)]

"""Declared figures, drawn."""

import pytest

from tutor.pictures.looks import LIGHT
from tutor.pictures.plots.sweep import sweep
from tutor.problems.draw import Option
from tutor.problems.sweep import figure_question, traced
from tutor.trade.rulebooks import rulebook


@pytest.fixture(scope="session")
def drawn(library):
    """A function that draws a figure with given values ({name: '41.3 V'}, sizes by name) and with parts' names."""

    def draw_with(name, values, book="us", look=LIGHT, **parts):
        figure = figure_question(library, library.figures[name], rulebook(book))
        chosen = {given: Option("", {given: figure.amount(given, text, ())}, {}) for given, text in values.items()}
        chosen |= {part: Option(text, {}, {}) for part, text in parts.items()}
        return sweep(traced(figure, figure.problem(chosen)), look)

    return draw_with

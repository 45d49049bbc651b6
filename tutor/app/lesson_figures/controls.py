"""Choices that several figures share, and how a figure is put on the page."""

from collections.abc import Sequence

import streamlit as st

from tutor.app import showing, theme
from tutor.app.figures.base import Drawn
from tutor.app.session import chosen_rulebook, library
from tutor.content.models import Module
from tutor.trade.rulebooks import Rulebook, Size, rulebook


def told_rulebook() -> Rulebook:
    """The rulebook that the learner has chosen for all pages, named beside the figure that reads it."""
    book = rulebook(chosen_rulebook())
    st.caption(f"By the rulebook chosen in the sidebar. {book.title}")
    return book


def choose_size(book: Rulebook, label: str, first: str) -> Size:
    """A standard size among those of the ampacity table; `first` names the one to begin with."""
    areas = book.tables["ampacity"].listed("size")
    sizes = [book.size_of(area) for area in areas]
    return st.select_slider(label, sizes, book.size_named(first), format_func=lambda size: size.name)


def choose_rating(label: str, ratings: Sequence[float], first: float) -> float:
    """A standard rating (A)."""
    return float(st.select_slider(label, ratings, first, format_func=lambda rating: f"{rating:g} A"))


def choose_module() -> Module:
    """One of the invented modules."""
    modules = library().modules
    return modules[st.selectbox("Module (invented)", list(modules), format_func=lambda id_: modules[id_].name)]


def put(drawn: Drawn, key: str) -> None:
    """Put a figure on the page with its sentence and its table."""
    theme.show_figure(drawn.figure, drawn.sentence, drawn.rows, key)


def put_declared(drawn: Drawn, key: str) -> None:
    """The same where the words are a declaration's, so that nothing in them is read as a link or a picture."""
    rows = [{showing.plain(head): showing.plain(text) for head, text in row.items()} for row in drawn.rows]
    theme.show_figure(drawn.figure, drawn.sentence, rows, key, showing.plain(drawn.sentence))

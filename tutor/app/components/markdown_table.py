"""Tables as Markdown: real tables to a screen reader, and no data frame has to be imported and built for them."""

from collections.abc import Mapping, Sequence

import streamlit as st


def show_table(rows: Sequence[Mapping[str, str]]) -> None:
    """Show rows that all have the first one's columns; the cells are Markdown."""
    heads = list(rows[0])
    lines = [heads, ["---"] * len(heads), *([row[head] for head in heads] for row in rows)]
    st.markdown("\n".join(f"| {' | '.join(_cell(text) for text in line)} |" for line in lines))


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", r"\|")

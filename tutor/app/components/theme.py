"""One look, a cold dawn: its colours, the server options made of them, and the few rules that Streamlit lacks."""

from dataclasses import asdict
from functools import lru_cache
from string import Template
from typing import TYPE_CHECKING, Literal

import streamlit as st

from tutor.app.components import scripts
from tutor.app.components.markdown_table import show_table
from tutor.pictures.looks import DARK, LIGHT, Look

if TYPE_CHECKING:
    import plotly.graph_objects as go


SIDEBAR = 260
DAWN = "#f5ad62"  # the glow at the horizon: decoration, and the ring around what has the focus
ICON = (
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" fill="{LIGHT.text}"/>'
    f'<path d="M7 21a9 9 0 0 1 18 0z" fill="{DAWN}"/>'
    f'<path d="M3 24h26" stroke="{DARK.text}" stroke-width="2"/></svg>'
)


def options() -> dict[str, object]:
    """Return the server options that give Streamlit's own elements this look."""
    sections = {
        "theme.light": _section(LIGHT),
        "theme.dark": _section(DARK),
        # The night stays at the side on both grounds.
        "theme.light.sidebar": _section(DARK),
        "theme.dark.sidebar": _section(DARK) | {"backgroundColor": "#0f1a25"},
    }
    chosen = {f"{section}.{name}": value for section, values in sections.items() for name, value in values.items()}
    shapes = {
        "theme.baseFontSize": 17,
        "theme.baseRadius": "small",
        "theme.headingFontSizes": ["2.1rem", "1.6rem", "1.3rem"],
        "theme.linkUnderline": True,
        "theme.paddingTop": "1.5rem",
        "theme.paddingBottom": "4rem",
    }
    return chosen | shapes


@lru_cache(maxsize=1)
def _rules() -> str:
    """The style sheet with the colors of both looks."""
    by_name = {"light": LIGHT, "dark": DARK}
    colours = {f"{name}_{field}": value for name, look in by_name.items() for field, value in asdict(look).items()}
    return Template((scripts.STATIC / "page.css").read_text(encoding="utf-8")).substitute(colours, dawn=DAWN)


def apply() -> None:
    """Send the rules that Streamlit's options cannot express; once in each run of the app."""
    st.html(f"<style>{_rules()}</style>")
    scripts.show("keys")


def look() -> Look:
    """Return the look of the learner's browser; on its very first page this can be wrong, so figures bring a ground."""
    chosen: Literal["light", "dark"] | None = st.context.theme.type
    return DARK if chosen == "dark" else LIGHT


def show_drawing(svg: str, narrow_svg: str, sentence: str, key: str) -> None:
    """Put a diagram on the page: the wide drawing or, on a phone, the narrow one, each with its sentence as text.

    `key` sets it apart from the page's other diagrams.
    """
    for width, picture in (("wide", svg), ("narrow", narrow_svg)):
        with st.container(key=f"{width}-drawing-{key}"):
            st.image(picture, alt=sentence)


def show_figure(
    figure: "go.Figure", sentence: str, rows: list[dict[str, str]], key: str, markdown: str | None = None
) -> None:
    """Put a figure on the page with its sentence (as Markdown, if that differs) and its numbers in a table."""
    st.plotly_chart(figure, theme=None, alt=sentence, key=key, config={"displayModeBar": False})
    st.markdown(sentence if markdown is None else markdown)
    with st.expander("The figure's numbers as a table"):
        show_table(rows)


def _section(look: Look) -> dict[str, object]:
    return {
        "backgroundColor": look.ground,
        "secondaryBackgroundColor": look.raised,
        "textColor": look.text,
        "primaryColor": look.accent,
        "linkColor": look.link,
        "borderColor": look.edge,
        "codeTextColor": look.text,
        "codeBackgroundColor": look.raised,
        "showWidgetBorder": True,
    }

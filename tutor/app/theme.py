"""One look, a cold dawn: its colours, the server options made of them, and the few rules that Streamlit lacks."""

from typing import TYPE_CHECKING, Literal

import streamlit as st

from tutor.app.markdown_table import show_table
from tutor.looks import DARK, LIGHT, Look

if TYPE_CHECKING:
    import plotly.graph_objects as go


SIDEBAR = 260
DAWN = "#f5ad62"  # the glow at the horizon: decoration, and the ring around what has the focus
ICON = (
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" fill="{LIGHT.text}"/>'
    f'<path d="M7 21a9 9 0 0 1 18 0z" fill="{DAWN}"/>'
    f'<path d="M3 24h26" stroke="{DARK.text}" stroke-width="2"/></svg>'
)

# Both rings together stand out from every ground and from every button.
_CSS = f"""
<style>
:focus-visible {{
  outline: 3px solid {DAWN} !important;
  outline-offset: 2px !important;
  box-shadow: 0 0 0 2px {LIGHT.text}, 0 0 0 6px {LIGHT.text} !important;
}}
.stAppViewContainer::before {{
  content: ""; position: fixed; inset: 0 0 auto 0; height: 4px; z-index: 1000000;
  background: linear-gradient(90deg, {DARK.ground}, #3d5a78 45%, #8fa9c2 70%, {DAWN});
}}
[data-testid="stMarkdownContainer"], [data-testid="stHtml"] {{ overflow-wrap: break-word; }}
[data-testid="stMarkdownContainer"] .katex-display > .katex {{ white-space: normal; }}
[data-testid="stMarkdownContainer"] .katex-display {{ overflow: visible !important; }}
[data-testid="stMarkdownContainer"] .katex-display .base {{ margin: 0.2em 0; }}
[data-testid="stMarkdownContainer"] td, [data-testid="stTable"] td {{ overflow-wrap: anywhere; }}
[data-testid="stSidebarHeader"]::before {{ content: "Cold Morning"; font-size: 1.15rem; font-weight: 600; }}
[data-testid="stCaptionContainer"] {{ color: light-dark({LIGHT.quiet}, {DARK.quiet}) !important; }}
[data-testid="stCaptionContainer"], [data-testid="stCaptionContainer"] * {{ opacity: 1 !important; }}
[data-testid="stPageLink-NavLink"] {{ background-color: transparent; }}
[data-testid="stPageLink-NavLink"] :is(span, div, p) {{ white-space: normal; overflow: visible; font-weight: 400; }}
[data-testid="stPageLink-NavLink"] p {{ color: light-dark({LIGHT.link}, {DARK.link}); text-decoration: underline; }}
[data-testid="stMetricLabel"] * {{ white-space: normal; overflow: visible; }}
[role="tab"][aria-selected="true"], [role="tab"][aria-selected="true"] * {{
  color: light-dark({LIGHT.text}, {DARK.text}) !important; font-weight: 600;
}}
a.download {{
  display: inline-flex; align-items: center; min-height: 2.5rem; padding: 0.25rem 0.75rem; border-radius: 0.35rem;
  color: light-dark({LIGHT.text}, {DARK.text}) !important; background: light-dark(#ffffff, #192938);
  border: 1px solid light-dark({LIGHT.edge}, {DARK.edge}); text-decoration: none !important; font-size: 0.875rem;
}}
a.download:hover {{ background: light-dark({LIGHT.raised}, {DARK.raised}); }}
a.download.first {{
  color: {LIGHT.on_accent} !important; background: light-dark({LIGHT.accent}, {DARK.accent}); border-color: transparent;
}}
[data-testid="stSliderThumbValue"] {{ color: inherit; }}
[data-testid="stImage"] img {{ max-width: 100%; height: auto; }}
[class*="st-key-narrow-drawing"], .st-key-keys-script, .st-key-class-work-script {{ display: none; }}
@media (max-width: 640px) {{
  .stMainBlockContainer {{ padding-left: 1rem; padding-right: 1rem; }}
  [data-testid="stMarkdownContainer"] :is(td, th) {{ padding: 0.25rem 0.3rem; }}
  .stMainBlockContainer h1 {{ font-size: 1.9rem; }}
  .stMainBlockContainer h2 {{ font-size: 1.5rem; }}
  [class*="st-key-wide-drawing"] {{ display: none; }}
  [class*="st-key-narrow-drawing"] {{ display: block; }}
}}
@media (prefers-reduced-motion: reduce) {{
  * {{ animation-duration: 0.01ms !important; transition-duration: 0.01ms !important; }}
}}
@media print {{
  .stSidebar, .stAppHeader, .stButton, .stFormSubmitButton, a.download {{ display: none !important; }}
}}
</style>
"""


# Streamlit reruns the page at a bare 'r'; WCAG 2.1.4 wants no shortcut of a single letter. A button is pressed with the
# space bar too, and a download is a link that is shown as one.
KEYS_ADDRESS = "/coldmorning/keys.js"
KEYS_SCRIPT = """
if (!window.coldMorningKeys) {
  window.coldMorningKeys = true;
  window.addEventListener("keydown", (event) => {
    const bare = !event.ctrlKey && !event.metaKey && !event.altKey;
    const typing = event.target.closest?.("input, textarea, select, [contenteditable=true]");
    if (bare && !typing && event.key.toLowerCase() === "r") event.stopImmediatePropagation();
    if (event.key === " " && event.target.matches?.("a[role=button]")) {
      event.preventDefault();
      event.target.click();
    }
  }, true);
}
"""


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


def apply() -> None:
    """Send the rules that Streamlit's options cannot express; once in each run of the app."""
    st.html(_CSS)
    with st.container(key="keys-script"):
        st.html(f'<script src="{KEYS_ADDRESS}"></script>', unsafe_allow_javascript=True)


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

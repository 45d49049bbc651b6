"""The colours of screen and paper, for pages, figures and diagrams."""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Look:
    """The colours of one ground, light or dark.

    `accent` marks what the learner must act on and nothing else.  The lines draw figures; a dash, a marker or a label
    always says the same as their colour.
    """

    ground: str
    raised: str
    text: str
    quiet: str
    edge: str
    link: str
    accent: str
    on_accent: str
    line_1: str
    line_2: str
    danger: str
    band: str


LIGHT = Look(
    ground="#f6f9fc",
    raised="#e3ebf3",
    text="#15222f",
    quiet="#44576a",
    edge="#6b7f92",
    link="#175a8c",
    accent="#a8480a",
    on_accent="#ffffff",
    line_1="#175a8c",
    line_2="#5a3f8f",
    danger="#a8202b",
    band="#d5e3ee",
)
DARK = Look(
    ground="#15222f",
    raised="#203244",
    text="#e9f0f6",
    quiet="#b3c3d2",
    edge="#7f95a9",
    link="#93c9f2",
    accent="#b85a14",
    on_accent="#ffffff",
    line_1="#93c9f2",
    line_2="#cdb5f5",
    danger="#ff9d97",
    band="#263f55",
)

# Paper is printed in grey as often as in colour.
PAPER = replace(
    LIGHT, ground="#ffffff", raised="#f2f2f2", text="#000000", quiet="#404040", edge="#808080", line_1="#000000"
)

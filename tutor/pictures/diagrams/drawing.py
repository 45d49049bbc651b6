"""What all diagrams share: their form, and the parts that they are drawn of."""

import html
import itertools
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import schemdraw
from schemdraw import elements
from schemdraw.segments import Segment, SegmentText

from tutor.pictures.looks import Look

SIGN_SIZE = 20
THICK, THIN = 7, 2
HATCH_PITCH = 0.13
WIRE = 3
_POINTS = re.compile(r'((?:height|width)="[\d.]+)pt"')
_FONT = "Source Sans, Segoe UI, Helvetica, Arial, Liberation Sans, sans-serif"
Place = tuple[float, float]

# One drawing unit is 36 pixels; a narrow drawing is 9.4 units wide at most, which fits a phone of 360 pixels.
SWITCH_HEIGHT = 1.5
POLE = 2.2


@dataclass(frozen=True)
class Diagram:
    """A drawing for a wide and one for a narrow screen, and the sentence that says what both show."""

    svg: str
    narrow_svg: str
    sentence: str


def new_drawing(look: Look) -> schemdraw.Drawing:
    """Begin a drawing on a ground of its own."""
    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(
        unit=1, inches_per_unit=0.5, fontsize=14, font=_FONT, color=look.text, bgcolor=look.ground, margin=0.3
    )
    return drawing


def picture(drawing: schemdraw.Drawing) -> str:
    """Give the finished drawing as SVG whose size is in pixels."""
    svg: str = drawing.get_imagedata("svg").decode()
    return _POINTS.sub(r'\1px"', svg, count=2)


def plain(text: str) -> str:
    """Keep the drawing library from reading a label as markup or as a formula."""
    return html.escape(text.replace("$", ""), quote=False)


def wrapped(parts: Sequence[str], width: int) -> list[str]:
    """Break each part into lines of so many characters; empty parts are left out.  A value keeps its unit."""
    return [line for part in parts if part for line in textwrap.wrap(part, width, break_long_words=False)]


def add_box(
    drawing: schemdraw.Drawing, corner: Place, size: Place, lines: Sequence[str], look: Look, *, lift: float = 0.0
) -> None:
    """Add a rectangle by its lower left corner, with lines of text at its middle, `lift` above it."""
    width, height = size
    box = elements.Element()
    corners = [(0.0, 0.0), (width, 0.0), (width, height), (0.0, height), (0.0, 0.0)]
    box.segments.append(Segment(corners, fill=look.raised, color=look.text, lw=1.8))
    middle = (width / 2, height / 2 + lift)
    box.segments.append(SegmentText(middle, plain("\n".join(lines)), align=("center", "center")))
    drawing.add(box.theta(0).at(corner))


def add_hatching(drawing: schemdraw.Drawing, corner: Place, size: Place, look: Look) -> None:
    """Hatch a strip, wider than it is high, by its lower left corner."""
    width, height = size
    strip = elements.Element()
    strip.segments.append(Segment([(0.0, height), (width, height)], color=look.text, lw=1.2))
    starts = itertools.takewhile(lambda start: start + height <= width, itertools.count(0.0, HATCH_PITCH))
    strip.segments += [Segment([(x, 0.0), (x + height, height)], color=look.text, lw=1.2) for x in starts]
    drawing.add(strip.theta(0).at(corner))


def add_wire(drawing: schemdraw.Drawing, *places: Place, width: float = WIRE, dashed: bool = False) -> None:
    """Add a wire along the places."""
    for start, end in itertools.pairwise(places):
        if start != end:
            drawing.add(elements.Line(lw=width, ls="--" if dashed else "-").at(start).to(end))


def add_text(drawing: schemdraw.Drawing, text: str, x: float, y: float, size: float = 14, side: str = "center") -> None:
    """Add a text centred at a place, or beginning ('left') or ending ('right') there."""
    element = elements.Element()
    element.segments.append(SegmentText((0, 0), plain(text), align=(side, "center"), fontsize=size))
    drawing.add(element.at((x, y)).theta(0))


def add_dot(drawing: schemdraw.Drawing, at: Place, look: Look, *, ring: bool = False) -> None:
    """Add a joint of wires or, as a ring, a lug."""
    drawing.add(elements.Dot(radius=0.16 if ring else 0.09, open=ring).fill(look.ground if ring else look.text).at(at))


def add_fuse(drawing: schemdraw.Drawing, middle: Place, look: Look, *, upright: bool) -> None:
    """Add a fuse: a small box with the wire drawn through it, 1.2 units long."""
    x, y = middle
    across, along = (0.26, 0.6) if upright else (0.6, 0.26)
    add_box(drawing, (x - across, y - along), (2 * across, 2 * along), [], look)
    ends = ((x, y - along), (x, y + along)) if upright else ((x - across, y), (x + across, y))
    add_wire(drawing, *ends, width=1.5)


def add_switch(drawing: schemdraw.Drawing, top: Place, bottom: Place, look: Look) -> None:
    """Add one pole of a switch, open."""
    add_dot(drawing, top, look)
    add_dot(drawing, bottom, look)
    add_wire(drawing, bottom, (bottom[0] + 0.4, top[1] - 0.05))


def add_ends(drawing: schemdraw.Drawing, middle: float, top: float, ends: str, look: Look) -> tuple[Place, Place]:
    """Add the two poles of a DC disconnect and the box that they lead to; give where minus and plus come in."""
    width, below = 2 * POLE + 1.4, top - 2.5
    for lines, upper, height in ((["DC", "disconnect"], top, SWITCH_HEIGHT), (wrapped([ends], 22), below, 1.6)):
        add_box(drawing, (middle - width / 2, upper - height), (width, height), lines, look)
    for sign, pole in (("−", middle - POLE), ("+", middle + POLE)):
        lower = (pole, top - SWITCH_HEIGHT + 0.35)
        add_switch(drawing, (pole, top - 0.35), lower, look)
        add_wire(drawing, lower, (pole, below))
        add_text(drawing, sign, pole + 0.35, top + 0.45, SIGN_SIZE)
        add_text(drawing, sign, pole, below - 0.4, SIGN_SIZE)
    return (middle - POLE, top - 0.35), (middle + POLE, top - 0.35)

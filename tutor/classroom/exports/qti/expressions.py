"""The conditions by which an item is marked, and the responses and outcomes that it declares."""

import math
from collections.abc import Sequence
from decimal import ROUND_DOWN, Context, Decimal
from typing import Literal
from xml.etree.ElementTree import Element

from tutor.classroom.exports.qti.elements import element

BaseType = Literal["float", "integer", "identifier"]

RESPONSE, EVIDENCE, SCORE, FEEDBACK = "RESPONSE", "EVIDENCE", "SCORE", "FEEDBACK"
_DOWN = Context(prec=6, rounding=ROUND_DOWN)


def number(value: float) -> str:
    """A number as QTI reads it, with all its figures: beside a limit the last ones decide."""
    return repr(float(value))


def no_more_than(value: float) -> str:
    """A tolerance, rounded down to six figures, so that the file is never more lenient than the marking here."""
    return "0" if value <= 0 or not math.isfinite(value) else format(_DOWN.create_decimal(Decimal(value)), "f")


def response(name: str, base: BaseType, values: Sequence[str], *, ordered: bool = False) -> Element:
    """Declare a response with its right value, or one right order."""
    right = element("correctResponse", *(element("value", value) for value in values))
    cardinality = "ordered" if ordered else "single"
    return element("responseDeclaration", right, identifier=name, cardinality=cardinality, baseType=base)


def outcome(name: str, base: BaseType, value: str = "") -> Element:
    """Declare an outcome with its value at the start, if it has one."""
    start = [element("defaultValue", element("value", value))] if value else []
    return element("outcomeDeclaration", *start, identifier=name, cardinality="single", baseType=base)


def variable(name: str) -> Element:
    """The value of a response or an outcome."""
    return element("variable", identifier=name)


def base_value(base: BaseType, value: str) -> Element:
    """A value that stands in the file."""
    return element("baseValue", value, baseType=base)


def is_correct(name: str) -> Element:
    """Whether a response is exactly the right one."""
    return element("match", variable(name), element("correct", identifier=name))


def is_value(name: str, base: BaseType, value: str) -> Element:
    """Whether a response is exactly a value."""
    return element("match", variable(name), base_value(base, value))


def within(name: str, value: Element, below: float, above: float) -> Element:
    """Whether a number lies from so far below a value to so far above it."""
    tolerance = f"{no_more_than(below)} {no_more_than(above)}"
    return element("equal", variable(name), value, toleranceMode="absolute", tolerance=tolerance)


def all_of(*conditions: Element) -> Element:
    """Whether all of some conditions hold."""
    return conditions[0] if len(conditions) == 1 else element("and", *conditions)


def one_of(*conditions: Element) -> Element:
    """Whether any of some conditions holds."""
    return conditions[0] if len(conditions) == 1 else element("or", *conditions)


def set_outcome(name: str, base: BaseType, value: str) -> Element:
    """Set an outcome."""
    return element("setOutcomeValue", base_value(base, value), identifier=name)


def choose(branches: Sequence[tuple[Element, Sequence[Element]]], otherwise: Sequence[Element] = ()) -> Element:
    """Follow the first branch whose condition holds, else the last one."""
    parts = [
        element("responseIf" if place == 0 else "responseElseIf", condition, *actions)
        for place, (condition, actions) in enumerate(branches)
    ]
    return element("responseCondition", *parts, *([element("responseElse", *otherwise)] if otherwise else []))

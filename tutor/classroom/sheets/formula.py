"""Formulas for paper: the engine's LaTeX as MathML for a page and as nested lists for the sheet's template."""

from functools import lru_cache
from typing import TypeAlias
from xml.etree import ElementTree

from latex2mathml.converter import convert

Part: TypeAlias = "list[str | Part]"

_NAMED = ("min", "max")
_KINDS = {"mfrac": "fraction", "msqrt": "root", "msub": "low", "msup": "high"}


@lru_cache(maxsize=2048)
def mathml(latex: str) -> str:
    """A formula as MathML; '' for none."""
    return ElementTree.tostring(_read(latex), encoding="unicode") if latex else ""


@lru_cache(maxsize=2048)
def parts(latex: str) -> Part:
    """A formula as nested lists, each of a kind and what is inside: ['fraction', ['sign', 'P'], ['sign', 'V']]."""
    return _part(_read(latex))


def _read(latex: str) -> ElementTree.Element:
    element = ElementTree.fromstring(convert(latex, xmlns=""))
    for low in element.iter():
        if low.tag in ("msub", "msup", "msubsup"):
            for group in list(low)[1:]:
                _join_letters(group)
    return element


def _join_letters(group: ElementTree.Element) -> None:
    """Join the letters of an index, so that 'cold' is a word and not the product of four quantities."""
    if group.tag != "mrow":
        return
    joined: list[ElementTree.Element] = []
    for child in list(group):
        if child.tag == "mi" and joined and joined[-1].tag == "mi":
            joined[-1].text = f"{joined[-1].text}{child.text}"
        else:
            joined.append(child)
        group.remove(child)
    group.extend(joined)


def _part(element: ElementTree.Element) -> Part:
    text = element.text or ""
    match element.tag:
        case "mi" if len(text) == 1:
            return ["sign", text]
        case "mi" | "mn" | "mtext":
            return ["text", text]
        case "mo":
            return ["name", text] if text in _NAMED else ["sign", text]
        case "mspace":
            return ["space"]
        case "math" | "mrow":
            inside = [_part(child) for child in element]
            if len(inside) == 1:
                return inside[0]
            return ["bracket" if _bracketed(element) else "row", *inside]
        case "msubsup":
            base, low, high = element
            return ["high", ["low", _part(base), _part(low)], _part(high)]
        case tag if tag in _KINDS:
            return [_KINDS[tag], *(_part(child) for child in element)]
        case tag:
            raise ValueError(f"a formula with '{tag}', which cannot be printed")


def _bracketed(row: ElementTree.Element) -> bool:
    return len(row) > 1 and row[0].get("fence") == "true" and row[-1].get("fence") == "true"

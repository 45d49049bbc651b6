import xml.etree.ElementTree as ET

import pytest

from tutor.diagrams import series_string
from tutor.looks import DARK, LIGHT

PHONE = 360


def words(svg: str) -> list[str]:
    """All texts of the drawing, in drawing order."""
    return [part.strip() for part in ET.fromstring(svg).itertext() if part.strip()]


def width(svg: str) -> float:
    return float(ET.fromstring(svg).get("width").removesuffix("px"))


def test_few_modules_are_all_drawn():
    diagram = series_string(4, "41.3 V", "165.2 V")
    assert [text for text in words(diagram.svg) if text.startswith("no.")] == ["no. 1", "no. 2", "no. 3", "no. 4"]
    assert words(diagram.svg).count("41.3 V") == 4


@pytest.mark.parametrize(("count", "left_out"), [(7, "4 more"), (9, "6 more"), (31, "28 more")])
def test_of_many_modules_the_first_two_and_the_last_are_drawn(count, left_out):
    diagram = series_string(count, "41.3 V", "x")
    for svg in (diagram.svg, diagram.narrow_svg):
        assert [text for text in words(svg) if text.startswith("no.")] == ["no. 1", "no. 2", f"no. {count}"]
        assert left_out in words(svg)


def test_every_drawn_module_has_both_signs_and_so_has_each_end():
    drawn = words(series_string(3, "41.3 V", "123.9 V").svg)
    # three modules, the two leads, the two terminals of the charger
    assert drawn.count("+") == drawn.count("−") == 5


@pytest.mark.parametrize("count", [1, 2, 3, 4, 6, 7, 40])
def test_the_narrow_drawing_fits_a_phone(count):
    assert width(series_string(count, "41.3 V", f"{count} × 41.3 V").narrow_svg) <= PHONE


def test_the_sentence_says_what_is_drawn():
    assert series_string(9, "41.3 V", "371.7 V").sentence == (
        "9 modules in series, each 41.3 V: the plus of each goes to the minus of the next, so their voltages add. "
        "The first module's minus and the last module's plus are the string's two ends, with 371.7 V between them. "
        "Both ends go to the DC disconnect and from there to the charger's array input."
    )
    assert series_string(1, "41.3 V", "41.3 V").sentence.startswith("One module (41.3 V) makes the whole string.")


def test_a_name_with_markup_stays_text():
    hostile = '<script>"&$x$'
    diagram = series_string(2, hostile, hostile, ends=hostile)
    assert "<script" not in diagram.svg
    assert any("<script>" in text for text in words(diagram.svg))
    assert diagram.sentence.count(hostile) == 3


@pytest.mark.parametrize("look", [LIGHT, DARK])
def test_the_drawing_brings_its_own_ground(look):
    assert f"background-color:{look.ground}" in series_string(2, "41.3 V", "82.6 V", look=look).svg


def test_no_module_is_no_string():
    with pytest.raises(ValueError, match="at least one module"):
        series_string(0, "41.3 V", "0 V")


def test_an_open_count_is_drawn_and_said_as_open() -> None:
    diagram = series_string(None, "41.3 V", "? V")
    assert {"no. 1", "no. 2", "? more", "last"} <= set(words(diagram.svg))
    assert diagram.sentence.startswith("Some modules in series, each 41.3 V: the plus of each goes to the minus of the")

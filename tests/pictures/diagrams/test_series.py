import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from tutor.pictures.diagrams.series import ModuleKind, mixed_string, series_string
from tutor.pictures.looks import DARK, LIGHT

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


KINDS = ModuleKind(5, "34.00 V, 8.30 A", "Kestelwyn 270"), ModuleKind(2, "18.00 V, 6.60 A", "Pelthurn 130")


def hatched_strips(svg: str) -> int:
    """How many strips of slanted lines there are: runs of lines that rise as far as they go to the right."""
    slanted = [line.split() for line in re.findall(r'd="(M[^"]*)"', svg)]
    places = [[tuple(map(float, at.strip("ML").split(","))) for at in line if "," in at] for line in slanted]
    rising = [line for line in places if len(line) == 2 and abs(line[1][0] - line[0][0]) > 1]
    steep = [line[0] for line in rising if abs((line[1][0] - line[0][0]) + (line[1][1] - line[0][1])) < 0.1]
    steps = [after[0] - before[0] for before, after in itertools.pairwise(steep)]
    return (1 + sum(abs(step) > 20 for step in steps)) if steep else 0


def test_both_kinds_of_modules_are_drawn_and_told():
    diagram = mixed_string(KINDS, "? V")
    for svg, numbers in ((diagram.svg, [1, 5, 6, 7]), (diagram.narrow_svg, [1, 6, 7])):
        drawn = words(svg)
        assert [text for text in drawn if text.startswith("no.")] == [f"no. {number}" for number in numbers]
        assert {"Kind A: 5 × Kestelwyn 270", "Kind B (hatched): 2 × Pelthurn 130"} <= set(drawn)
        assert drawn.count("18.00 V,") == 2
        assert hatched_strips(svg) == 2
    assert "3 more" in words(diagram.svg)
    assert "4 more" in words(diagram.narrow_svg)
    assert diagram.sentence.startswith(
        "7 modules of two kinds in series, 5 of kind A (Kestelwyn 270, each 34.00 V, 8.30 A) "
        "and then 2 of kind B (Pelthurn 130, drawn hatched, each 18.00 V, 6.60 A):"
    )


@pytest.mark.parametrize("counts", [(1, 1), (2, 2), (2, 3), (5, 2), (9, 1), (100, 100)])
def test_the_drawn_and_the_left_out_modules_are_all_there_are(counts):
    kinds = tuple(replace(kind, count=count) for kind, count in zip(KINDS, counts, strict=True))
    diagram = mixed_string(kinds, "? V")
    assert width(diagram.narrow_svg) <= PHONE
    for svg in (diagram.svg, diagram.narrow_svg):
        drawn = words(svg)
        left_out = sum(int(text.split()[0]) for text in drawn if text.endswith("more"))
        assert sum(text.startswith("no.") for text in drawn) + left_out == sum(counts)


def test_one_kind_has_no_hatching():
    assert hatched_strips(series_string(5, "41.3 V", "206.5 V").svg) == 0


def test_a_kind_without_a_module_is_no_mixed_string():
    with pytest.raises(ValueError, match="each kind"):
        mixed_string((KINDS[0], replace(KINDS[1], count=0)), "? V")

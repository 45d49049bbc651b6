"""Parallel strings, battery circuit and ways to the loads: what is drawn, and that it is said."""

import itertools
import xml.etree.ElementTree as ET

import pytest

from tutor.pictures.diagrams.battery import BatteryCircuit, battery_circuit
from tutor.pictures.diagrams.parallel import parallel_strings
from tutor.pictures.diagrams.paths import PathLabels, source_paths
from tutor.pictures.looks import DARK, LIGHT
from tutor.trade.transfer import Source

PHONE, PAGE = 360, 700
CIRCUIT = BatteryCircuit("24 V", "150 A", "2/0 AWG", "133.7 A", "2500 W")
LABELS = PathLabels("120 V", "800 W", "10000 Wh", "2000 W", "500 W", "20 ms")
WAYS = [frozenset(ways) for size in range(4) for ways in itertools.combinations(Source, size)]


def words(svg: str) -> list[str]:
    return [part.strip() for part in ET.fromstring(svg).itertext() if part.strip()]


def width(svg: str) -> float:
    return float(ET.fromstring(svg).get("width").removesuffix("px"))


def thick_lines(svg: str) -> int:
    return svg.count("stroke-width:7")


def all_diagrams(look=LIGHT):
    yield from (parallel_strings(count, "2 modules, Isc 9.5 A", "19 A", "15 A", look=look) for count in (None, 1, 2, 9))
    yield battery_circuit(CIRCUIT, look)
    yield from (source_paths(ways, LABELS, look) for ways in (None, *WAYS))


def test_narrow_drawings_fit_a_phone_and_wide_ones_the_page():
    for diagram in all_diagrams():
        assert width(diagram.narrow_svg) <= PHONE
        assert width(diagram.svg) <= PAGE
        assert diagram.sentence.endswith(".")


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
def test_drawings_bring_their_own_ground(look):
    assert all(f"background-color:{look.ground}" in diagram.svg for diagram in all_diagrams(look))


def test_every_string_has_its_fuse():
    diagram = parallel_strings(4, "Isc 9.5 A", "? A", "15 A")
    assert words(diagram.svg).count("15 A") == 4
    assert words(diagram.narrow_svg).count("15 A") == 3  # the third string is among those left out
    assert "1 more" in words(diagram.narrow_svg)
    assert "their currents add, to ? A together" in diagram.sentence
    assert "Each string has a fuse (15 A)" in diagram.sentence


def test_every_string_and_both_busbars_and_both_ends_have_their_signs():
    # two strings, two busbars, two poles of the disconnect, two terminals of the charger
    drawn = words(parallel_strings(2, "Isc 9.5 A", "19 A").svg)
    assert drawn.count("+") == drawn.count("−") == 5


def test_fuses_left_out_or_left_open_are_said_so():
    without = parallel_strings(2, "Isc 9.5 A", "19 A")
    assert "Fuses are not drawn" in without.sentence
    left_open = parallel_strings(3, "Isc 9.5 A", "", "?")
    assert words(left_open.svg).count("?") == 3
    assert "whether it is needed is left open" in left_open.sentence
    assert not any(text.startswith("together") for text in words(left_open.svg))


def test_no_string_is_no_array():
    with pytest.raises(ValueError, match="at least one string"):
        parallel_strings(0, "Isc 9.5 A", "0 A")


def test_the_battery_circuit_shows_all_its_labels():
    diagram = battery_circuit(CIRCUIT)
    for svg in (diagram.svg, diagram.narrow_svg):
        drawn = " ".join(words(svg))
        assert all(label in drawn for label in ("24 V", "150 A", "2/0 AWG", "133.7 A", "2500 W", "fuse", "lug"))
    assert "plus goes to the fuse (150 A) close beside it" in diagram.sentence
    assert "The current: 133.7 A." in diagram.sentence


def test_a_battery_circuit_of_which_nothing_is_said_still_names_its_parts():
    diagram = battery_circuit(BatteryCircuit())
    assert {"battery", "fuse", "cable", "inverter"} <= set(words(diagram.svg))
    assert "()" not in diagram.sentence
    assert not any("→" in text for text in words(diagram.svg))


@pytest.mark.parametrize("ways", WAYS, ids=lambda ways: "-".join(sorted(ways)) or "nothing")
def test_the_way_of_the_moment_is_thick_and_named(ways):
    diagram = source_paths(ways, LABELS)
    # By hand: supply: its wire, the contact; battery and array: their own wire, the shared one, the contact; then the
    # loads' wire, which is thick as long as anything feeds them.
    behind = ways & {Source.ARRAY, Source.BATTERY}
    expected = 2 * (Source.SUPPLY in ways) + len(behind) + 2 * bool(behind) + bool(ways)
    assert thick_lines(diagram.svg) == thick_lines(diagram.narrow_svg) == expected
    for source in Source:
        assert (f"by the {source}" in words(diagram.svg)) == (source in ways)
    assert ("fed now" in words(diagram.svg)) == bool(ways)


def test_what_is_asked_stays_open():
    diagram = source_paths(None, LABELS)
    assert thick_lines(diagram.svg) == 0
    assert "fed by: ?" in words(diagram.svg)
    assert "left open" in diagram.sentence


def test_a_moment_without_power_is_said():
    diagram = source_paths(frozenset(), LABELS)
    assert "fed by nothing" in words(diagram.svg)
    assert "nothing feeds the loads" in diagram.sentence


def test_a_system_without_an_array_has_none_drawn():
    diagram = source_paths(frozenset({Source.BATTERY}), PathLabels(array=None))
    assert "array" not in words(diagram.svg)
    assert "array" not in diagram.sentence


def test_markup_in_a_label_stays_text():
    hostile = '<script>"&$x$'
    for diagram in (
        parallel_strings(2, hostile, hostile, hostile, hostile),
        battery_circuit(BatteryCircuit(*[hostile] * 5)),
        source_paths(None, PathLabels(*[hostile] * 6)),
    ):
        assert "<script" not in diagram.svg + diagram.narrow_svg
        assert any("<script>" in text for text in words(diagram.svg))

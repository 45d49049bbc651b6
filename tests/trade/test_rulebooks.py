"""The rulebooks' tables: look-ups by one key and by several, sizes by name, and what every row has to say."""

import csv
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.base.paths import content_root
from tutor.base.units import conversion
from tutor.trade.rulebooks import RULEBOOKS, TableError, rulebook
from tutor.trade.tables import Key, Table

US, IEC = rulebook("us"), rulebook("iec")
STANDINGS = {"read", "common practice, no source"}
every_table = pytest.mark.parametrize(
    ("book", "name"),
    [(book, name) for book in (US, IEC) for name in book.tables],
    ids=lambda one: getattr(one, "id", one),
)


@every_table
def test_every_row_tells_where_it_comes_from_and_how_far_it_was_checked(book, name):
    for row in book.tables[name].rows:
        assert row["rulebook"] == book.id
        assert row["source"]
        assert row["standing"] in STANDINGS
        assert row["edition"] or row["standing"] == "common practice, no source"
        assert "memory" not in row["source"]


@every_table
def test_no_two_rows_answer_the_same_keys(book, name):
    table = book.tables[name]
    columns = [key.column for key in table.keys] or (["name"] if table.kind == "numbers" else [table.value])
    assert len({tuple(row[column] for column in columns) for row in table.rows}) == len(table.rows)


@every_table
def test_a_look_up_at_each_row_gives_that_rows_value(book, name):
    table = book.tables[name]
    for row in table.rows if table.keys else ():
        keys = [working(table, row[key.column] or "1e6", key.unit) for key in table.keys]
        assert table.look_up(*keys) == working(table, row[table.value], table.value_unit)


def working(table, text, unit):
    return table.areas[text] if text in table.areas else conversion(unit).to_working(float(text))


def test_an_unknown_rulebook_is_a_key_error():
    with pytest.raises(KeyError):
        rulebook("moon")
    assert set(RULEBOOKS) == {"us", "iec"}


def test_one_key_and_one_value_as_before():
    # NFPA 70-2017 Table 690.7(A), third-party transcription: -16 to -20 °C, 1.18
    table = US.tables["cold_voltage_factor"]
    assert table.look_up(-18.0) == 1.18
    assert table.look_up(-5.5) == 1.14  # between two bands the colder
    assert table.look_up((-4 - 32) / 1.8) == 1.18  # -4 °F is -20 °C, by binary rounding a little less
    assert US.tables["dc_disconnect_ratings"].first_at_least(468.0) == 500.0


def test_several_keys_by_place_or_by_name():
    # NFPA 70-2017 Table 310.15(B)(16), third-party transcription: 10 AWG copper 30, 35, 40 A
    ten = US.size_named("10 AWG").area
    table = US.tables["ampacity"]
    assert [table.look_up(ten, column) for column in (60.0, 75.0, 90.0)] == [30.0, 35.0, 40.0]
    assert table.look_up(ten, insulation=75.0) == table.look_up(insulation=75.0, size=ten) == 35.0


@pytest.mark.parametrize("keys", [(), (5.26e-6,), (5.26e-6, 75.0, 1.0)])
def test_a_key_too_few_or_too_many_is_told(keys):
    with pytest.raises(TypeError, match="size, insulation"):
        US.tables["ampacity"].look_up(*keys)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: US.tables["ampacity"].look_up(US.size_named("10").area, 85.0), "85\u00a0°C; it has 60\u00a0°C, 75"),
        (lambda: US.tables["ampacity"].look_up(US.size_named("18").area, 75.0), "no row for 18 AWG; it has 14 AWG"),
        (lambda: US.tables["ambient_factor"].look_up(90.0, 90.0), "ends at 85\u00a0°C"),
        (lambda: US.tables["ambient_factor"].look_up(math.nan, 90.0), "ends at"),
        (lambda: US.tables["cold_voltage_factor"].look_up(math.nan), "runs from −40\u00a0°C to just below 25\u00a0°C"),
        (lambda: US.tables["cold_voltage_factor"].look_up(-41.0), "runs from −40\u00a0°C to just below 25\u00a0°C"),
        (lambda: US.tables["ampacity"].first_size(431.0, 90.0), "the largest is 500 kcmil"),
        (lambda: US.tables["resistance"].first_size_at_most(1e-6), "the largest is 500 kcmil"),
        (lambda: US.tables["standard_ratings"].first_at_least(6001.0), "6000\u00a0A"),
        (lambda: IEC.tables["grouping_factor"].look_up(19), "ends at 18"),
    ],
)
def test_outside_a_table_the_message_tells_what_it_covers(call, words):
    with pytest.raises(TableError) as caught:
        call()
    assert words in str(caught.value)


def test_keys_that_never_stand_together_are_told():
    rows = ({"a": "1", "b": "1", "v": "3"}, {"a": "2", "b": "2", "v": "4"})
    table = Table("t", "T", "grid", "v", "", rows, (Key("a", "a"), Key("b", "b")))
    assert table.look_up(1, 1) == 3
    with pytest.raises(TableError, match="together"):
        table.look_up(1, 2)


def test_a_band_open_above_has_no_end():
    # NFPA 70-2017 Table 310.15(B)(3)(a), third-party transcription: 41 and above, 35 %
    factor = US.tables["grouping_factor"].look_up
    assert [factor(n) for n in (1, 3, 4, 6, 7, 9, 10, 20, 21, 30, 31, 40, 41, 500)] == [
        *(1.0, 1.0, 0.8, 0.8, 0.7, 0.7, 0.5, 0.5, 0.45, 0.45, 0.4, 0.4, 0.35, 0.35)
    ]


@given(st.floats(-40, 80))
def test_between_two_rows_the_air_counts_as_the_warmer(ambient):
    edge = max(10.0, math.ceil(ambient / 5) * 5.0)
    for book in (US, IEC):
        factor = book.tables["ambient_factor"].look_up
        assert factor(ambient, 90.0) == factor(edge, 90.0)


# Sizes


@pytest.mark.parametrize("book", [US, IEC], ids=lambda book: book.id)
def test_sizes_ascend_and_are_found_by_name_and_by_area(book):
    areas = [size.area for size in book.sizes]
    assert areas == sorted(set(areas))
    for size in book.sizes:
        assert book.size_named(size.name) == book.size_of(size.area) == size
        assert book.size_of(size.area * 1.002) == book.size_of(size.area * 0.998) == size
        assert US.tables["conductor_sizes"].first_at_least(size.area) >= size.area * (1 - 1e-9)
    for size, above in zip(book.sizes, book.sizes[1:], strict=False):
        assert book.next_size_up(size.area) == above


@pytest.mark.parametrize(
    ("book", "text", "name"),
    [
        (US, "2/0", "2/0 AWG"),
        (US, "10 awg", "10 AWG"),
        (US, "250kcmil", "250 kcmil"),
        (IEC, "6 mm2", "6 mm²"),
        (IEC, "2.5 mm^2", "2.5 mm²"),
        (IEC, "16", "16 mm²"),
    ],
)
def test_a_size_is_read_as_people_type_it(book, text, name):
    assert book.size_named(text).name == name


@pytest.mark.parametrize(("book", "text"), [(US, "10 mm²"), (US, "5 AWG"), (IEC, "10 AWG"), (IEC, "3 mm²"), (US, "")])
def test_a_size_of_the_other_rulebook_or_of_none_is_refused(book, text):
    with pytest.raises(TableError, match="not a standard size of this rulebook; the sizes run from"):
        book.size_named(text)


def test_an_area_that_is_no_size_and_a_size_above_the_largest_are_refused():
    with pytest.raises(TableError, match="10\u00a0mm² is not a standard size"):
        US.size_of(10e-6)
    with pytest.raises(TableError, match="no larger standard size"):
        IEC.next_size_up(240e-6)


@given(st.floats(1, 320), st.sampled_from([60.0, 75.0, 90.0]))
def test_the_first_size_is_the_smallest_that_reaches_the_value(value, column):
    table = US.tables["ampacity"]
    size = table.first_size(value, column)
    assert table.look_up(size, column) >= value * (1 - 1e-9)
    assert all(table.look_up(one, column) < value for one in table.listed("size") if one < size)
    assert table.first_size(value, insulation=column) == size


# Ratings


def test_iec_fuse_ratings_are_preferred_numbers():
    """ISO 3: the series R10 and its rounded forms lie within 5 % of 10^(k/10)."""
    deviations = {}
    for rating in IEC.tables["fuse_ratings"].sizes:
        step = 10 ** (round(10 * math.log10(rating)) / 10)
        deviations[f"{rating:g} A"] = (rating / step - 1) * 100
    print(f"fuse ratings, % from R10: {min(deviations.values()):.2f} to {max(deviations.values()):.2f}")
    assert max(map(abs, deviations.values())) < 5


def test_grounding_conductors_grow_with_the_device():
    """NFPA 70-2017 Table 250.122, third-party transcription; to 30 A as large as the circuit's (240.4(D))."""
    table = US.tables["grounding_conductor"]
    sizes = [table.look_up(rating) for rating in table.listed("rating")]
    assert sizes == sorted(set(sizes))
    assert set(table.listed("rating")) <= set(US.tables["standard_ratings"].sizes)
    assert US.size_of(table.look_up(21.0)).name == "10 AWG"
    for rating, name in ((15.0, "14 AWG"), (20.0, "12 AWG"), (30.0, "10 AWG"), (70.0, "8 AWG"), (400.0, "3 AWG")):
        assert US.size_of(table.look_up(rating)).name == name
        if rating <= 30:
            assert US.tables["small_conductor_limit"].look_up(table.look_up(rating)) == rating


# Editions


def test_editions_that_change_an_answer_are_noted():
    notes = {(row["size"], row["insulation_degC"]): row["note"] for row in US.tables["ampacity"].rows if row["note"]}
    assert notes == {
        ("14 AWG", "60"): "before the 2011 edition: 20 A",
        ("12 AWG", "60"): "before the 2011 edition: 25 A",
    }
    # NFPA 70-2023 Table 240.6(A), in two articles on its changes: 10 A joins
    assert US.tables["standard_ratings"].first_at_least(8.0) == 15.0
    (joins,) = [row["change"] for row in US.tables["editions"].rows if row["clause"] == "240.6(A)"]
    assert "10 A becomes a standard rating" in joins


def test_the_rulebook_has_one_base_edition_and_one_table_of_what_others_change():
    assert US.edition == "NFPA 70-2017"
    others = {"editions", "ride_through"}  # ride-through: guides for equipment, no rulebook
    told = {row["edition"] for name, table in US.tables.items() if name not in others for row in table.rows}
    assert told == {US.edition, "UL 248-19", ""}
    assert {row["edition"] for row in US.tables["editions"].rows} == {"NFPA 70-2014", "NFPA 70-2020", "NFPA 70-2023"}
    assert all(row["base"] and row["change"] and row["clause"] for row in US.tables["editions"].rows)


def test_the_edition_changes_the_factor_of_an_array_conductor():
    """62 °C, 90 °C wire: 0.58 by Table 690.31(A) of 2017, 0.65 by the general table from 2020 on (state code 2022)."""
    (row,) = [row for row in US.tables["editions"].rows if row["clause"] == "690.31(A)"]
    assert "0.58" in row["base"]
    assert "0.65" in row["change"]
    assert US.tables["ambient_factor_solar_cable"].look_up(62.0, 90.0) == 0.58
    assert US.tables["ambient_factor"].look_up(62.0, 90.0) == 0.65


def test_voltage_drop_guidance_is_advice_and_says_so():
    for book in (US, IEC):
        assert {row["force"] for row in book.tables["voltage_drop_guidance"].rows} == {"advice, not law"}
    assert (US.number("drop_branch"), US.number("drop_total")) == (0.03, 0.05)
    # IEC 60364-5-52:2009 Annex G Table G.52.1, in an engineering handbook: fed from a private supply
    assert (IEC.number("drop_lighting"), IEC.number("drop_other")) == pytest.approx((0.06, 0.08))


def test_every_row_of_every_file_is_in_some_table():
    shipped = set()
    for file in (content_root() / "assets" / "tables").glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as lines:
            shipped |= {tuple(row.items()) for row in csv.DictReader(lines) if "rulebook" in row}
    tables = [book.tables[name] for book in (US, IEC) for name in book.tables if name != "protected_ampacity"]
    assert shipped == {tuple(row.items()) for table in tables for row in table.rows}


def test_the_ampacity_of_small_conductors_goes_no_higher_than_what_may_protect_them():
    bare, protected = US.tables["ampacity"], US.tables["protected_ampacity"]
    limits = {"14 AWG": 15, "12 AWG": 20, "10 AWG": 30}  # NFPA 70-2017 240.4(D), third-party transcription
    for size in bare.listed("size"):
        limit = limits.get(US.size_of(size).name, math.inf)
        for column in bare.listed("insulation"):
            assert protected.look_up(size, column) == min(bare.look_up(size, column), limit)
    (row,) = [row for row in protected.rows if (row["size"], row["insulation_degC"]) == ("12 AWG", "90")]
    assert "310.15(B)(16)" in row["source"]
    assert "240.4(D)" in row["source"]
    assert "largest overcurrent device" in row["note"]
    assert IEC.tables["protected_ampacity"].rows == IEC.tables["ampacity"].rows


def test_standard_ratings_beside_a_value():
    # NFPA 70-2017 Table 240.6(A), third-party transcription
    ratings = rulebook("us").tables["standard_ratings"]
    assert [ratings.next_below(value) for value in (70.0, 63.75, 20.0, 15.0)] == [60.0, 60.0, 15.0, 0.0]
    assert [ratings.last_at_most(value) for value in (70.0, 63.75, 15.0)] == [70.0, 60.0, 15.0]
    with pytest.raises(TableError, match=r"the smallest size in '.*' is 15\u00a0A"):
        ratings.last_at_most(14.9)


def test_a_size_above_a_value_is_not_one_that_only_reaches_it():
    # NFPA 70-2017 Table 310.15(B)(16), third-party transcription: 6 AWG copper has 75 A at 90 °C, 4 AWG 95 A
    book = rulebook("us")
    table = book.tables["ampacity"]
    assert book.size_of(table.first_size(75.0, 90.0)).name == "6 AWG"
    assert book.size_of(table.first_size_above(75.0, 90.0)).name == "4 AWG"
    assert book.size_of(table.first_size_above(74.9, 90.0)).name == "6 AWG"


def in_celsius(fahrenheit):
    return conversion("degF").to_working(fahrenheit)


@pytest.mark.parametrize("book", [US, IEC], ids=lambda book: book.id)
def test_no_temperature_falls_between_two_bands(book):
    """Every whole and half degree of either scale, from each table's coldest row to its end, has a row."""
    halves = [half / 2 for half in range(-200, 600)]
    temperatures = sorted([*halves, *map(in_celsius, halves)])
    for table in book.tables.values():
        band = next((key for key in table.keys if key.unit == "degC" and key.match != "equal"), None)
        if band is None:
            continue
        others = [table.listed(key.name) for key in table.keys if key is not band]
        for other in others[0] if others else [()]:
            rows = [row for row in table.rows if not others or float(row["insulation_degC"]) == other]
            low = min(float(row[band.column] or "-inf") for row in rows) if band.match == "at_or_below" else -math.inf
            high = max(float(row[band.column]) for row in rows) if band.match == "at_or_above" else band.end - 1e-6
            for temperature in temperatures:
                keys = {band.name: temperature} | ({"insulation": other} if others else {})
                if low <= temperature <= high:
                    assert table.look_up(**keys) > 0, (table.name, keys)


@pytest.mark.parametrize(
    ("fahrenheit", "factor"),
    # NFPA 70-2017 Table 690.7(A) in its Fahrenheit column, third-party transcription
    [
        *((76, 1.02), (68, 1.02), (67, 1.04), (59, 1.04), (58, 1.06), (40, 1.10), (32, 1.10), (31, 1.12), (5, 1.16)),
        *((4, 1.18), (-4, 1.18), (-5, 1.20), (-13, 1.20), (-14, 1.21), (-22, 1.21), (-23, 1.23), (-40, 1.25)),
    ],
)
def test_the_cold_factor_in_fahrenheit_is_that_of_the_table_s_own_column(fahrenheit, factor):
    assert US.tables["cold_voltage_factor"].look_up(in_celsius(fahrenheit)) == factor


def test_at_the_label_s_own_temperature_the_cold_factor_ends():
    table = US.tables["cold_voltage_factor"]
    assert table.look_up(24.999) == 1.02
    for celsius in (25.0, in_celsius(77), 30.0):
        with pytest.raises(TableError, match="just below 25"):
            table.look_up(celsius)


@pytest.mark.parametrize(("area", "listed"), [(5e-6, 4e-6), (30e-6, 25e-6), (1.6e-6, 1.5e-6)])
def test_a_size_between_two_carries_what_the_next_smaller_one_carries(area, listed):
    table = IEC.tables["ampacity"]
    assert table.look_up(area, 70.0) == table.look_up(listed, 70.0)


def test_a_size_between_two_has_the_resistance_of_its_copper():
    # IEC 60228:2004 Table 2, read in a reproduction: 4.61 ohm/km for 4 mm², 3.08 ohm/km for 6 mm²
    ohm_per_km = conversion("ohm/km").to_shown(IEC.tables["resistance"].look_up(5e-6))
    assert ohm_per_km == pytest.approx(max(4.61 * 4, 3.08 * 6) / 5, rel=1e-3)


@pytest.mark.parametrize("area", [0.1e-6, 500e-6])
def test_a_size_beyond_the_table_is_refused(area):
    with pytest.raises(TableError, match="no size that the tables cover"):
        IEC.size_or_between(area)
    with pytest.raises(TableError, match="no row for"):
        IEC.tables["ampacity"].look_up(area, 70.0)


def test_only_a_size_that_is_no_standard_one_counts_as_its_neighbor():
    """A standard size that one table leaves out keeps being refused: 18 AWG has no ampacity in the base table."""
    assert "18 AWG" in US.tables["ampacity"].areas
    assert US.tables["ampacity"].sizes_around(US.size_named("18 AWG").area) is None
    assert IEC.size_or_between(5e-6).name == "5 mm²"
    assert IEC.size_or_between(6e-6).name == "6 mm²"

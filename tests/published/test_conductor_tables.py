"""Every cell of the conductor tables against a second way to it, where there is one, with the largest deviation.

The cells come from third-party transcriptions and reproductions (each row names its own); the second ways are laws of
physics and definitions, so that a cell that slipped by a row or a column shows.  No second way is known for the
grouping factors, the limits for small conductors and the standard ratings of NFPA 70.
"""

import math

import numpy as np
import pytest

from tutor.base.units import convert
from tutor.trade.rulebooks import rulebook

US, IEC = rulebook("us"), rulebook("iec")
AWG = [*range(18, 12, -2), 12, 10, 8, 6, 4, 3, 2, 1, 0, -1, -2, -3]
IACS = 1 / 58e6  # Ω·m at 20 °C: 100 % IACS, IEC 60028, from memory
ALUMINIUM = IACS / 0.61  # 61 % IACS, from memory
ALPHA = {"copper": 0.00393, "aluminium": 0.00403}  # per kelvin at 20 °C: IEC 60028 and, for aluminium, from memory


def name_of(gauge):
    return f"{1 - gauge}/0 AWG" if gauge < 1 else f"{gauge} AWG"


def awg_diameter(gauge):
    """In metres: 0.127 mm · 92^((36 − n)/39), ASTM B258 as an open textbook gives it."""
    return 0.127e-3 * 92 ** ((36 - gauge) / 39)


def told(words, deviations):
    """Print and return the lowest and the highest of the deviations."""
    low, high = min(deviations.items(), key=lambda one: one[1]), max(deviations.items(), key=lambda one: one[1])
    print(f"{words}: {low[1]:+.3f} ({low[0]}) to {high[1]:+.3f} ({high[0]})")
    return low[1], high[1]


# Cross-sections


def test_circular_mils_of_wire_gauge_follow_the_diameter_law():
    law = {name_of(n): (awg_diameter(n) / 25.4e-6) ** 2 for n in AWG}
    printed = {row["size"]: float(row["area_cmil"]) for row in US.tables["conductor_sizes"].rows}
    low, high = told("circular mils, %", {name: (printed[name] / law[name] - 1) * 100 for name in law})
    assert low == pytest.approx(-0.26, abs=0.005)  # 18 AWG
    assert high == pytest.approx(0.08, abs=0.005)  # 14 AWG
    assert set(printed) - set(law) == {"250 kcmil", "300 kcmil", "350 kcmil", "400 kcmil", "500 kcmil"}


def test_square_millimetres_and_circular_mils_are_the_same_wire():
    areas = US.tables["conductor_area"]
    deviations = {size.name: areas.look_up(size.area) / size.area * 100 - 100 for size in US.sizes}
    low, high = told("mm² against circular mils, %", deviations)
    assert max(-low, high) < 0.27  # the coarsest are rounded to three figures


# An open textbook's AWG table, diameters of solid wire in inches, 4/0 to 14 AWG
TEXTBOOK = (0.46, 0.4096, 0.3648, 0.3249, 0.2893, 0.2576, 0.2294, 0.2043, 0.162, 0.1285, 0.1019, 0.08081, 0.06408)


def test_the_diameter_law_gives_the_textbooks_diameters():
    gauges = AWG[::-1][: len(TEXTBOOK)]
    pairs = {
        name_of(n): (inches * 0.0254 / awg_diameter(n) - 1) * 100 for n, inches in zip(gauges, TEXTBOOK, strict=True)
    }
    low, high = told("textbook diameters, %", pairs)
    assert max(-low, high) == pytest.approx(0.014, abs=0.001)
    areas = US.tables["conductor_area"]
    for n, inches in zip(gauges, TEXTBOOK, strict=True):
        size = US.size_named(name_of(n)).area
        assert areas.look_up(size) == pytest.approx(math.pi / 4 * (inches * 0.0254) ** 2, rel=1e-3)


def test_metric_sizes_are_their_names():
    assert [size.area for size in IEC.sizes] == pytest.approx(
        [float(size.name.split()[0]) * 1e-6 for size in IEC.sizes]
    )


# Resistance


def by_resistivity(area, metal, temperature):
    """Ω/m of a solid bar: ρ20·(1 + α·(T − 20 °C))/S."""
    resistivity = IACS if metal == "copper" else ALUMINIUM
    return resistivity * (1 + ALPHA[metal] * (temperature - 20)) / area


def gauge_area(size):
    """By the diameter law, so that nothing comes from the tables under test; kcmil by definition."""
    found = [math.pi / 4 * awg_diameter(n) ** 2 for n in AWG if name_of(n) == size.name]
    return found[0] if found else float(size.name.split()[0]) * 1000 * math.pi / 4 * 25.4e-6**2


@pytest.mark.parametrize(
    ("table", "metal", "low", "high"),
    [
        ("resistance_solid", "copper", -0.39, 0.14),  # 10 AWG: 1.21 Ω/kft is rounded to three figures
        ("resistance", "copper", 1.80, 2.51),  # 400 kcmil and 12 AWG: stranding
        ("resistance_aluminium", "aluminium", 1.73, 2.22),
    ],
)
def test_table_8_is_resistivity_at_75_degrees_and_two_per_cent_of_stranding(table, metal, low, high):
    rows = US.tables[table]
    deviations = {
        size.name: (rows.look_up(size.area) / by_resistivity(gauge_area(size), metal, 75.0) - 1) * 100
        for size in US.sizes
        if size.area in rows.listed("size")
    }
    assert told(f"{table}, % above resistivity", deviations) == pytest.approx((low, high), abs=0.02)


# NFPA 70-2017 Chapter 9 Table 8, third-party transcription: its own column in Ω/km, stranded copper, 18 AWG to 4/0
PER_KM = (26.1, 16.4, 10.3, 6.50, 4.070, 2.551, 1.608, 1.010, 0.802, 0.634, 0.505, 0.399, 0.3170, 0.2512, 0.1996)


def test_ohms_per_thousand_feet_agree_with_the_tables_own_ohms_per_kilometre():
    table = US.tables["resistance"]
    deviations = {
        size.name: (table.look_up(size.area) * 1000 / per_km - 1) * 100
        for size, per_km in zip(US.sizes, PER_KM, strict=False)
    }
    low, high = told("Ω/kft against Ω/km, %", deviations)
    assert max(-low, high) < 0.45  # both columns are rounded to three or four figures


def test_the_sizes_in_kcmil_resist_as_their_area_says():
    sizes = [size for size in US.sizes if size.name.endswith("kcmil")]
    assert len(sizes) == 5
    for size in sizes:
        ratio = US.tables["resistance"].look_up(size.area) / by_resistivity(gauge_area(size), "copper", 75.0)
        assert 1.017 < ratio < 1.024


def test_tinned_strands_resist_more_than_bare_ones_and_less_for_thick_strands():
    """ASTM B33 allows tinned wire 2 % to 7 % more, by the strand's diameter; 18 AWG has the thinnest strands."""
    plain, tinned = US.tables["resistance"], US.tables["resistance_tinned"]
    more = {size.name: (tinned.look_up(size.area) / plain.look_up(size.area) - 1) * 100 for size in US.sizes}
    low, high = told("tinned against bare, %", more)
    assert 2.5 < low < high < 6.5
    assert more["18 AWG"] == high


@pytest.mark.parametrize(
    ("table", "low", "high"),
    [
        ("resistance", 4.96, 12.23),  # class 2: 240 and 50 mm²
        ("resistance_flexible", 10.43, 15.71),  # class 5: 70, and 1.5 and 2.5 mm²
        ("resistance_tinned", 12.46, 19.19),  # class 5 tinned: 70 and 1.5 mm²
    ],
)
def test_iec_60228_allows_this_much_more_than_the_nominal_area_at_resistivity(table, low, high):
    rows = IEC.tables[table]
    deviations = {
        size.name: (rows.look_up(size.area) / by_resistivity(size.area, "copper", 20.0) - 1) * 100 for size in IEC.sizes
    }
    assert told(f"IEC 60228 {table}, %", deviations) == pytest.approx((low, high), abs=0.01)


def test_flexible_conductors_resist_more_but_for_50_square_millimetres():
    """IEC 60228:2004 prints 0.386 Ω/km for class 5 and 0.387 Ω/km for class 2 at 50 mm² (two cable-maker handbooks)."""
    rows = [IEC.tables[name] for name in ("resistance", "resistance_flexible", "resistance_tinned")]
    for size in IEC.sizes:
        fixed, flexible, tinned = (table.look_up(size.area) for table in rows)
        assert (flexible > fixed) == (size.name != "50 mm²")
        assert 1.015 < tinned / flexible < 1.032


# Ambient


def square_root_law(limit, air, base):
    return math.sqrt((limit - air) / (limit - base))


@pytest.mark.parametrize(
    ("book", "table", "cells"),
    [
        (US, "ambient_factor", 39),
        (US, "ambient_factor_40", 38),
        (US, "ambient_factor_solar_cable", 32),
        (IEC, "ambient_factor", 26),
        (IEC, "ambient_factor_ground", 26),
    ],
    ids=lambda one: getattr(one, "id", one),
)
def test_ambient_factors_are_the_square_root_law_at_the_top_of_their_band(book, table, cells):
    """√((T_conductor − T_air)/(T_conductor − T_base)), NFPA 70-2017 310.15(B)(2), third-party transcription."""
    rows = book.tables[table].rows
    deviations = {}
    for row in rows:
        limit, air, base = (float(row[column]) for column in ("insulation_degC", "to_degC", "base_degC"))
        law = square_root_law(limit, air, base)
        deviations[f"{limit:g} °C at {air:g} °C"] = float(row["factor"]) - law
        assert round(law + 1e-9, 2) == float(row["factor"])
    low, high = told(f"{book.id} {table}", deviations)
    assert max(-low, high) <= 0.005
    assert len(rows) == cells


def test_the_factors_of_solar_cable_are_kinder_than_the_law():
    """EN 50618:2014 Table A.4 (a public program with it): 0.92, 0.84, 0.75 at 70, 80, 90 °C; the law gives less."""
    factor = IEC.tables["ambient_factor_solar_cable"].look_up
    deviations = {f"{air} °C": factor(air, 120.0) - square_root_law(120.0, air, 60.0) for air in (60, 70, 80, 90)}
    low, high = told("solar cable", deviations)
    assert (low, high) == pytest.approx((0.0, 0.0429), abs=1e-4)


def test_array_conductors_of_2017_have_one_band_from_61_to_70_degrees():
    """NFPA 70-2017 Table 690.31(A), third-party transcription; the general table has steps of 5 °C and a bonus."""
    array, general = US.tables["ambient_factor_solar_cable"].look_up, US.tables["ambient_factor"].look_up
    assert [array(air, 90.0) for air in (20.0, 60.5, 62.0, 70.0, 71.0, 80.0)] == [1.0, 0.58, 0.58, 0.58, 0.41, 0.41]
    assert [general(air, 90.0) for air in (20.0, 62.0, 71.0)] == [1.08, 0.65, 0.50]
    for insulation, hottest in ((60.0, 55), (75.0, 60), (90.0, 60)):
        for air in range(31, hottest + 1):
            assert array(float(air), insulation) == general(float(air), insulation)


# Ampacity


def test_the_columns_of_an_ampacity_table_are_one_heat_balance():
    """I² ∝ (T − 30 °C)/R(T): each 60 and 90 °C cell from the 75 °C cell beside it.

    R(T) ∝ 234.5 °C + T for copper, 228 °C + T for aluminium (textbooks, from memory).  In the raceway tables, which
    are rounded to 5 A, every cell is reached within 2.5 A.
    """
    for table, zero, most in (
        ("ampacity", 234.5, 2.5),
        ("ampacity_aluminium", 228, 2.5),
        ("ampacity_free_air", 234.5, 4),
    ):
        rows, deviations = US.tables[table], {}
        for size in rows.listed("size"):
            middle = rows.look_up(size, 75.0)
            for column in (60.0, 90.0):
                balance = middle * math.sqrt((column - 30) / 45 * (zero + 75) / (zero + column))
                deviations[f"{US.size_of(size).name}, {column:g} °C"] = rows.look_up(size, column) - balance
        low, high = told(f"{table}, A", deviations)
        assert max(-low, high) <= most


@pytest.mark.parametrize(
    ("table", "most"), [("ampacity", 5.5), ("ampacity_free_air", 8.1), ("ampacity_aluminium", 13.1)]
)
def test_ampacity_rises_with_the_area_on_a_smooth_curve(table, most):
    """Neighbouring sizes differ by 10 % to 50 %, each cell from the curve by little more than its rounding to 5 A."""
    rows, deviations = US.tables[table], {}
    areas = rows.listed("size")
    for column in (60.0, 75.0, 90.0):
        values = np.array([rows.look_up(size, column) for size in areas])
        assert (np.diff(values) > 0).all()
        curve = np.exp(np.polyval(np.polyfit(np.log(areas), np.log(values), 2), np.log(areas)))
        for size, share in zip(areas, (values / curve - 1) * 100, strict=True):
            deviations[f"{US.size_of(size).name}, {column:g} °C"] = share
    low, high = told(f"{table} from its curve, %", deviations)
    assert max(-low, high) < most


def test_aluminium_carries_what_its_resistivity_leaves():
    """I ∝ 1/√R at one temperature: 0.779 of copper's; above 4/0 copper loses some of its lead to skin effect."""
    share = math.sqrt(by_resistivity(1, "copper", 75.0) / by_resistivity(1, "aluminium", 75.0))
    copper, aluminium, deviations = US.tables["ampacity"], US.tables["ampacity_aluminium"], {}
    for size in aluminium.listed("size"):
        for column in (60.0, 75.0, 90.0):
            name = f"{US.size_of(size).name}, {column:g} °C"
            deviations[name] = aluminium.look_up(size, column) - share * copper.look_up(size, column)
    small = {name: value for name, value in deviations.items() if "AWG" in name}
    low, high = told("aluminium to 4/0, A", small)
    assert max(-low, high) < 4.7
    low, high = told("aluminium in kcmil, A", {name: value for name, value in deviations.items() if name not in small})
    assert low > 0
    assert high < 15


# IEC 60364-5-52 Annex D: I = A·S^m.  First below, then from 25 mm².  All but those marked were read in two public
# programs that give the French national coefficients, which agree here; those marked are from memory.
ANNEX_D = {
    ("ampacity", 70.0): ((13.5, 0.625), (13.5, 0.625)),  # the second: from memory
    ("ampacity_surface", 70.0): ((15.0, 0.625), (15.0, 0.625)),
    ("ampacity_free_air", 70.0): ((16.8, 0.62), (14.9, 0.646)),  # the second: from memory
    ("ampacity", 90.0): ((17.76, 0.625), (17.76, 0.625)),  # from memory
    ("ampacity_surface", 90.0): ((18.77, 0.628), (17.0, 0.65)),
    ("ampacity_free_air", 90.0): ((20.5, 0.623), (18.6, 0.646)),
}


@pytest.mark.parametrize(("table", "insulation"), ANNEX_D)
def test_iec_ampacities_are_their_annexs_formula_rounded(table, insulation):
    """Within half an ampere; 50 mm² counts as the 47.5 mm² that it has (Annex D).

    In conduit the table leaves the formula above 120 mm² and allows 2 % to 4 % less.
    """
    rows, deviations, above = IEC.tables[table], {}, {}
    for size in rows.listed("size"):
        square_mm = convert(size, "m^2", "mm^2")
        factor, exponent = ANNEX_D[table, insulation][square_mm > 16.5]
        formula = factor * (47.5 if round(square_mm, 6) == 50 else square_mm) ** exponent
        where = above if table == "ampacity" and square_mm > 121 else deviations
        where[IEC.size_of(size).name] = rows.look_up(size, insulation) - formula
        if where is above:
            assert 0.96 < rows.look_up(size, insulation) / formula < 0.98
    low, high = told(f"{table} at {insulation:g} °C, A", deviations)
    assert max(-low, high) <= 0.5
    assert len(deviations) + len(above) == 15


WAYS = ("cable_in_insulated_wall", "insulated_wall", "cable_in_conduit", "conduit", "surface", "free_air")


@pytest.mark.parametrize("insulation", [70.0, 90.0])
def test_the_better_the_heat_gets_away_the_more_a_conductor_carries(insulation):
    """IEC 60364-5-52:2009 Annex B: A2, A1, B2, B1, C and E in rising order, three loaded conductors below two."""
    two = [IEC.tables["ampacity" if way == "conduit" else f"ampacity_{way}"] for way in WAYS]
    three = [IEC.tables[f"ampacity_{way}_three_loaded"] for way in WAYS]
    two.append(IEC.tables["ampacity_ground"])
    three.append(IEC.tables["ampacity_ground_three_loaded"])
    for size in IEC.sizes:
        rising = [table.look_up(size.area, insulation) for table in two[:-1]]
        assert rising == sorted(rising)
        for few, many in zip(two, three, strict=True):
            assert 0.78 < many.look_up(size.area, insulation) / few.look_up(size.area, insulation) < 0.97


def test_protective_conductors_follow_the_line_conductors():
    """IEC 60364-5-54 Table 54.2 (an installation guide): S to 16 mm², 16 mm² to 35 mm², then half, rounded up."""
    table = IEC.tables["protective_conductor"]
    named = {size.name: IEC.size_of(table.look_up(size.area)).name for size in IEC.sizes}
    assert [named[f"{size} mm²"] for size in (2.5, 16, 25, 35, 50, 70, 95, 120, 240)] == [
        *("2.5 mm²", "16 mm²", "16 mm²", "16 mm²", "25 mm²", "35 mm²", "50 mm²", "70 mm²", "120 mm²")
    ]
    for size in IEC.sizes[8:]:  # above 35 mm²
        assert table.look_up(size.area) >= size.area / 2 * (1 - 1e-9)


@pytest.mark.parametrize(("table", "most"), [("ampacity_solar_cable", 1.7), ("ampacity_solar_cable_paired", 0.6)])
def test_solar_cable_ampacities_are_a_power_of_the_area(table, most):
    rows = IEC.tables[table]
    areas = rows.listed("size")
    values = np.array([rows.look_up(size, 120.0) for size in areas])
    curve = np.exp(np.polyval(np.polyfit(np.log(areas), np.log(values), 1), np.log(areas)))
    names = [IEC.size_of(size).name for size in areas]
    low, high = told(f"{table}, %", dict(zip(names, (values / curve - 1) * 100, strict=True)))
    assert max(-low, high) < most


def test_two_solar_cables_touching_carry_four_fifths_of_one_alone():
    alone, paired = IEC.tables["ampacity_solar_cable"], IEC.tables["ampacity_solar_cable_paired"]
    shares = {IEC.size_of(s).name: paired.look_up(s, 120.0) / alone.look_up(s, 120.0) for s in paired.listed("size")}
    low, high = told("paired solar cable", shares)
    assert 0.8 <= low < high < 0.815


def test_array_cable_as_sold():
    """EN 50618:2014 Table A.3 values: 55 A for 4 mm² in a cable maker's table; another maker prints 57 A.

    IEC 60228:2004 Table 3, metal-coated column (one cable-maker handbook): 5.09 Ω/km, where class 2 has 4.61 Ω/km.
    """
    assert IEC.tables["ampacity_solar_cable"].look_up(4e-6, 120.0) == 55.0
    assert IEC.tables["ampacity_solar_cable_paired"].look_up(4e-6, 120.0) == 44.0
    assert IEC.tables["resistance_tinned"].look_up(4e-6) * 1000 == pytest.approx(5.09)
    assert IEC.tables["resistance"].look_up(4e-6) * 1000 == pytest.approx(4.61)

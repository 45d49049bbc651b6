"""Conductors: the two tests for continuous current, terminals, warm resistance, drop, and the choice of a size."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.trade.conductors import (
    Laid,
    carries,
    conditions_factor,
    corrected_ampacity,
    current_drawn,
    drop,
    longest_run,
    most_continuous_current,
    most_current_for_drop,
    most_resistance,
    needed_ampacity,
    resistance,
    smallest_for_drop,
    table_ampacity,
    terminal_ampacity,
    terminal_temperature,
    usable_ampacity,
)
from tutor.trade.rulebooks import TableError, rulebook

US, IEC = rulebook("us"), rulebook("iec")
AMPACITIES = [(US, name) for name in ("ampacity", "ampacity_free_air", "ampacity_aluminium")]
AMPACITIES += [(IEC, name) for name in ("ampacity", "ampacity_surface", "ampacity_free_air")]
every_ampacity = pytest.mark.parametrize(("book", "table"), AMPACITIES, ids=lambda one: getattr(one, "id", one))


def awg(name):
    return US.size_named(name).area


# The two tests


@given(st.floats(0.1, 500), st.floats(0, 500), st.floats(0.05, 1.3))
def test_the_larger_need_wins_and_the_factors_are_not_multiplied(continuous, other, conditions):
    need = needed_ampacity(continuous, other, 1.25, conditions)
    assert need in (1.25 * continuous + other, (continuous + other) / conditions)
    if conditions < 1:
        assert need < (1.25 * continuous + other) / conditions


def test_with_conditions_of_0_8_both_tests_ask_the_same():
    # advanced-course questions and answers: the break-even is 0.8
    assert needed_ampacity(16.0, 0.0, 1.25, 0.8) == pytest.approx(20.0)
    assert needed_ampacity(16.0, 0.0, 1.25, 0.79) > 20.0 == needed_ampacity(16.0, 0.0, 1.25, 0.81)


def test_each_test_can_decide():
    # 10 AWG, 90 °C: 40 A.  Cool and alone 1.25·I decides: 32 A; nine together at 47 °C the correction: 22.96 A.
    assert most_continuous_current(US, awg("10"), Laid(90.0)) == pytest.approx(32.0)
    assert most_continuous_current(US, awg("10"), Laid(90.0, 47.0, 9)) == pytest.approx(40 * 0.82 * 0.70)


@given(
    st.sampled_from(US.tables["ampacity"].listed("size")), st.floats(-20, 84), st.integers(1, 60), st.floats(0.1, 600)
)
def test_a_size_carries_up_to_its_most_and_no_more(size, ambient, conductors, current):
    laid = Laid(90.0, ambient, conductors, terminals=75.0)
    most = most_continuous_current(US, size, laid)
    assert carries(US, size, laid, most * (1 - 1e-9))
    assert not carries(US, size, laid, most * (1 + 1e-9))
    assert carries(US, size, laid, current) == (current <= most)


def test_in_iec_there_is_no_factor_for_continuous_current():
    laid = Laid(70.0, 40.0, 4, terminals=70.0)
    # 24 A · 0.87 · 0.80: 2.5 mm² in conduit, 40 °C, two circuits together
    assert most_continuous_current(IEC, 2.5e-6, laid) == pytest.approx(24 * 0.87 * 0.80)
    assert carries(IEC, 2.5e-6, laid, 16.7)
    assert not carries(IEC, 2.5e-6, laid, 16.8)
    assert carries(IEC, 4e-6, laid, 16.8)


# Terminals


@every_ampacity
def test_no_conductor_ever_gets_more_than_its_terminals_column(book, table):
    columns = book.tables[table].listed("insulation")
    for size in book.tables[table].listed("size"):
        for terminals in columns:
            for ambient in (10.0, 20.0, 30.0, 40.0, 55.0):
                laid = Laid(columns[-1], ambient, 1, terminals, table)
                allowed = book.tables[table].look_up(size, terminals)
                assert usable_ampacity(book, size, laid) <= allowed
                assert most_continuous_current(book, size, laid) <= allowed
                if terminals < columns[-1]:
                    hottest = book.tables[table].look_up(size, columns[-1])
                    assert usable_ampacity(book, size, laid) < hottest
                    assert not carries(book, size, laid, hottest)


@given(st.sampled_from(US.tables["ampacity"].listed("size")), st.floats(-40, 85), st.integers(1, 100))
def test_ninety_degree_wire_on_seventy_five_degree_terminals_never_gets_its_ninety_degree_ampacity(size, air, together):
    laid = Laid(90.0, air, together, terminals=75.0)
    assert usable_ampacity(US, size, laid) <= table_ampacity(US, size, 75.0) < table_ampacity(US, size, 90.0)


def test_correction_starts_from_the_conductors_own_column():
    # practice question recomputed with NFPA 70-2017 figures: 10 AWG, four to six conductors, 40 °C
    laid = Laid(90.0, 40.0, 6, terminals=75.0)
    assert corrected_ampacity(US, awg("10"), laid) == pytest.approx(40 * 0.91 * 0.80)
    assert usable_ampacity(US, awg("10"), laid) == pytest.approx(29.12)
    assert corrected_ampacity(US, awg("10"), Laid(75.0, 40.0, 6)) == pytest.approx(35 * 0.88 * 0.80)
    # alone in cool air the correction would give 43.2 A; the terminals hold it at 35 A
    assert usable_ampacity(US, awg("10"), Laid(90.0, 20.0, 1, terminals=75.0)) == 35.0
    assert terminal_ampacity(US, awg("10"), Laid(60.0, terminals=75.0)) == 30.0


def test_terminals_are_taken_as_the_rulebook_says_unless_marked():
    # NFPA 70-2017 110.14(C)(1), third-party transcription; IEC 60364-5-52:2009 523.1, from memory
    assert [terminal_temperature(US, current) for current in (15.0, 100.0, 100.1)] == [60.0, 60.0, 75.0]
    assert terminal_temperature(US, 30.0, marked=75.0) == 75.0
    assert {terminal_temperature(IEC, current) for current in (10.0, 200.0)} == {70.0}


def test_solar_cable_has_tables_of_its_own():
    # EN 50618:2014 values in a cable maker's table: 4 mm² single in free air at 60 °C, 55 A; 0.92 at 70 °C from memory
    laid = Laid(120.0, 70.0, 1, None, "ampacity_solar_cable", "ambient_factor_solar_cable")
    assert corrected_ampacity(IEC, 4e-6, laid) == pytest.approx(55 * 0.92)
    assert conditions_factor(IEC, Laid(120.0, 25.0, 2, None, "", "ambient_factor_solar_cable")) == 1.0


# Resistance and drop


def test_copper_resists_more_when_it_is_warmer():
    # IEC 60228:2004 class 2: 4 mm² 4.61 Ω/km at 20 °C; at 70 °C 19.65 % more
    assert resistance(IEC, 4e-6) == resistance(IEC, 4e-6, 20.0) == pytest.approx(4.61e-3)
    assert resistance(IEC, 4e-6, 70.0) == pytest.approx(4.61e-3 * 1.1965)
    # NFPA 70-2017 Chapter 9 Table 8, third-party transcription: 12 AWG stranded 1.98 Ω/kft, 6.50 Ω/km at 75 °C
    assert resistance(US, awg("12"), 75.0) == resistance(US, awg("12")) == pytest.approx(6.50e-3, rel=2e-3)
    # its note 2 brought down to 20 °C against 1.93 Ω/kft·(234.5 + 20)/(234.5 + 75) of the usual 234.5 °C rule
    assert resistance(US, awg("12"), 20.0) / resistance(US, awg("12")) == pytest.approx(254.5 / 309.5, rel=1e-3)


def test_the_two_temperature_coefficients_are_one_line():
    """0.00393 at 20 °C (IEC 60028, from memory) gives α/(1 + 55·α) = 0.00323 at 75 °C (Chapter 9 Table 8 note 2)."""
    alpha = IEC.number("resistance_coefficient")
    assert alpha / (1 + alpha * 55) == pytest.approx(US.number("resistance_coefficient"), abs=5e-6)


@pytest.mark.parametrize("table", ["resistance_aluminium", "resistance_solid"])
def test_aluminium_and_solid_wire_have_their_own_rows(table):
    assert resistance(US, awg("10"), None, table) != resistance(US, awg("10"))
    colder = resistance(US, awg("10"), 20.0, table) / resistance(US, awg("10"), None, table)
    alpha = 0.00330 if table == "resistance_aluminium" else 0.00323  # Chapter 9 Table 8 note 2
    assert colder == pytest.approx(1 - alpha * 55)


@given(st.floats(0.1, 300), st.floats(0.1, 300), st.floats(1e-5, 0.05))
def test_drop_turned_round_gives_what_was_put_in(current, length, ohms):
    lost = drop(current, length, ohms)
    assert longest_run(lost, current, ohms) == pytest.approx(length)
    assert most_current_for_drop(lost, length, ohms) == pytest.approx(current)
    assert most_resistance(lost, current, length) == pytest.approx(ohms)
    assert lost == pytest.approx(current * (length * ohms + ohms * length))  # out and back


@given(
    st.sampled_from(
        [(US, "resistance"), (IEC, "resistance"), (IEC, "resistance_flexible"), (IEC, "resistance_tinned")]
    ),
    st.floats(1, 100),
    st.floats(1, 60),
    st.floats(0.2, 5),
    st.sampled_from([None, 40.0, 70.0]),
)
def test_the_smallest_size_keeps_the_drop_and_the_one_below_does_not(where, current, length, allowed, warm):
    book, table = where
    try:
        chosen = smallest_for_drop(book, current, length, allowed, warm, table)
    except TableError:
        largest = book.tables[table].listed("size")[-1]
        assert drop(current, length, resistance(book, largest, warm, table)) > allowed
        return
    assert drop(current, length, resistance(book, chosen.area, warm, table)) <= allowed * (1 + 1e-8)
    for smaller in book.tables[table].listed("size"):
        if smaller < chosen.area:
            assert drop(current, length, resistance(book, smaller, warm, table)) > allowed


def test_an_inverter_draws_what_it_delivers_and_its_losses():
    # 2,500 W at 85 % and 22 V (national laboratory's guide method, in a blog): 133.7 A
    assert current_drawn(2500.0, 22.0, 0.85) == pytest.approx(133.69, abs=0.01)
    assert current_drawn(120.0, 120.0) == 1.0

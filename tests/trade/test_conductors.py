"""Conductors: the two tests for continuous current, terminals, warm resistance, drop, and the choice of a size.

What the exercises' relations come to is checked beside the functions that prove their protection.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.trade.conductors import (
    Laid,
    carries,
    conditions_factor,
    corrected_ampacity,
    current_drawn,
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


@given(st.floats(60, 180), st.floats(87, 104), st.integers(2, 3))
def test_the_larger_need_wins_and_the_factors_are_not_multiplied(relations, current, fahrenheit, conductors):
    laid = {"insulation_rating": 90.0, "terminal_rating": 75.0, "conductors_grouped": float(conductors)}
    ambient = (fahrenheit - 32) / 1.8
    values = relations("conductor-for-current", run_current=current, ambient=ambient, **laid)
    conditions = conditions_factor(US, Laid(90.0, ambient, conductors))
    assert values["current_for_terminals"] == pytest.approx(1.25 * current)
    assert values["current_for_insulation"] == pytest.approx(current / conditions)
    assert values["conductor_size"] >= max(values["size_for_terminals"], values["size_for_insulation"])


def test_with_conditions_of_0_8_both_tests_ask_the_same(relations):
    # advanced-course questions and answers: the break-even is 0.8, which four to six conductors together have
    laid = {"insulation_rating": 90.0, "terminal_rating": 90.0, "ambient": 30.0, "run_current": 16.0}
    asked = [relations("conductor-for-current", conductors_grouped=count, **laid) for count in (4.0, 3.0, 7.0)]
    terminals, insulation = zip(
        *((values["current_for_terminals"], values["current_for_insulation"]) for values in asked), strict=True
    )
    assert terminals == pytest.approx([20.0] * 3)
    assert insulation == pytest.approx([20.0, 16.0, 16.0 / 0.7])


def most_continuous_current(relations, size, laid):
    """The largest continuous current (A) that a size carries, by the relations."""
    known = {"insulation_rating": laid.insulation, "ambient": laid.ambient, "conductors_grouped": laid.conductors}
    terminals = laid.insulation if laid.terminals is None else laid.terminals
    values = relations("continuous-current-of-a-conductor", conductor_size=size, terminal_rating=terminals, **known)
    return min(values["terminal_continuous"], values["ampacity_after_factors"])


def test_each_test_can_decide(relations):
    # 10 AWG, 90 °C: 40 A.  Cool and alone 1.25·I decides: 32 A; nine together at 47 °C the correction: 22.96 A.
    assert most_continuous_current(relations, awg("10"), Laid(90.0)) == pytest.approx(32.0)
    assert most_continuous_current(relations, awg("10"), Laid(90.0, 47.0, 9)) == pytest.approx(40 * 0.82 * 0.70)


@given(
    st.sampled_from(US.tables["ampacity"].listed("size")), st.floats(-20, 84), st.integers(1, 60), st.floats(0.1, 600)
)
def test_a_size_carries_up_to_its_most_and_no_more(relations, size, ambient, conductors, current):
    laid = Laid(90.0, ambient, conductors, terminals=75.0)
    most = most_continuous_current(relations, size, laid)
    assert carries(US, size, laid, most * (1 - 1e-9))
    assert not carries(US, size, laid, most * (1 + 1e-9))
    assert carries(US, size, laid, current) == (current <= most)


def test_in_iec_there_is_no_factor_for_continuous_current():
    laid = Laid(70.0, 40.0, 4, terminals=70.0)
    # 24 A · 0.87 · 0.80: 2.5 mm² in conduit, 40 °C, two circuits together
    assert usable_ampacity(IEC, 2.5e-6, laid) == pytest.approx(24 * 0.87 * 0.80)
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
                assert not carries(book, size, laid, allowed * (1 + 1e-9))
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


def test_copper_resists_more_when_it_is_warmer(relations):
    def resistance(rulebook, size, temperature):
        values = relations("warm-copper", rulebook, conductor_size=size, conductor_temperature=temperature)
        return values["conductor_resistance"]

    # IEC 60228:2004 class 2: 4 mm² 4.61 Ω/km at 20 °C; at 70 °C 19.65 % more
    listed = IEC.tables["resistance"].look_up(4e-6)
    assert listed == resistance("iec", 4e-6, 20.0) == pytest.approx(4.61e-3)
    assert resistance("iec", 4e-6, 70.0) == pytest.approx(4.61e-3 * 1.1965)
    # NFPA 70-2017 Chapter 9 Table 8, third-party transcription: 12 AWG stranded 1.98 Ω/kft, 6.50 Ω/km at 75 °C
    listed = US.tables["resistance"].look_up(awg("12"))
    assert resistance("us", awg("12"), 75.0) == listed == pytest.approx(6.50e-3, rel=2e-3)
    # its note 2 brought down to 20 °C against 1.93 Ω/kft·(234.5 + 20)/(234.5 + 75) of the usual 234.5 °C rule
    assert resistance("us", awg("12"), 20.0) / listed == pytest.approx(254.5 / 309.5, rel=1e-3)


def test_the_two_temperature_coefficients_are_one_line():
    """0.00393 at 20 °C (IEC 60028, from memory) gives α/(1 + 55·α) = 0.00323 at 75 °C (Chapter 9 Table 8 note 2)."""
    alpha = IEC.number("resistance_coefficient")
    assert alpha / (1 + alpha * 55) == pytest.approx(US.number("resistance_coefficient"), abs=5e-6)


def test_aluminium_and_solid_wire_have_their_own_rows():
    # Chapter 9 Table 8 note 2, third-party transcription
    assert (US.number("resistance_coefficient"), US.number("resistance_coefficient_aluminium")) == (0.00323, 0.00330)
    rows = [US.tables[name].look_up(awg("10")) for name in ("resistance", "resistance_aluminium", "resistance_solid")]
    assert len(set(rows)) == 3


@given(
    st.sampled_from(["us", "iec"]),
    st.sampled_from(["drop_percent", "run_length", "run_current"]),
    st.floats(1, 30),
    st.floats(1, 30),
    st.sampled_from([12.0, 24.0, 48.0]),
)
def test_drop_turned_round_gives_what_was_put_in(engine, rulebook, ask, current, length, voltage):
    size = {"us": awg("10"), "iec": 6e-6}[rulebook]
    known = {"conductor_size": size, "run_current": current, "run_length": length, "battery_voltage": voltage}
    known["conductor_temperature"] = 20.0  # which the table of IEC 60228 holds at
    values = known | engine.question("drop-on-a-run", rulebook_id=rulebook).right.values(known)
    table = {"us": "resistance", "iec": "resistance_flexible"}[rulebook]
    ohms = {"us": US, "iec": IEC}[rulebook].tables[table].look_up(size)
    assert values["drop"] == pytest.approx(current * (length * ohms + ohms * length))  # out and back
    turned = engine.question("drop-on-a-run", ask, rulebook).right
    assert turned.values({name: values[name] for name in turned.inputs})[ask] == pytest.approx(values[ask])


@given(
    st.sampled_from(
        [("us", "resistance"), ("iec", "resistance"), ("iec", "resistance_flexible"), ("iec", "resistance_tinned")]
    ),
    st.floats(1, 100),
    st.floats(1, 60),
    st.floats(0.2, 5),
)
def test_the_smallest_size_keeps_the_drop_and_the_one_below_does_not(relations, where, current, length, allowed):
    book, table = rulebook(where[0]), rulebook(where[0]).tables[where[1]]
    known = {"run_current": current, "run_length": length, "battery_voltage": 100.0, "drop_percent": allowed / 100}
    known["conductor_temperature"] = 20.0
    values = relations("conductor-for-drop", book.id, **known)
    try:
        chosen = table.first_size_at_most(values["resistance_allowed"])
    except TableError:
        assert 2 * current * length * table.look_up(table.listed("size")[-1]) > allowed
        assert where != ("us", "resistance") or "size_for_drop" not in values
        return
    assert where != ("us", "resistance") or values["size_for_drop"] == chosen
    assert 2 * current * length * table.look_up(chosen) <= allowed * (1 + 1e-8)
    for smaller in table.listed("size"):
        if smaller < chosen:
            assert 2 * current * length * table.look_up(smaller) > allowed


def test_an_inverter_draws_what_it_delivers_and_its_losses():
    # 2,500 W at 85 % and 22 V (national laboratory's guide method, in a blog): 133.7 A
    assert current_drawn(2500.0, 22.0, 0.85) == pytest.approx(133.69, abs=0.01)
    assert current_drawn(120.0, 120.0) == 1.0

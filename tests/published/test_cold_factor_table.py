"""The cold-factor table against the coefficient method.

Source: NFPA 70-2017 Table 690.7(A), read in a third-party transcription.  No other rulebook has such a table here.
"""

import pytest

from tutor.trade.site import STANDARD_CELL, voltage_at

US = {-10: 1.14, -20: 1.18, -25: 1.20, -40: 1.25, 0: 1.10, 20: 1.02}  # NFPA 70-2017 Table 690.7(A), transcription


def edges(rows):
    return {int(row["coldest_degC"]): float(row["factor"]) for row in rows}


def test_bands_follow_each_other_in_steps_of_five(cold_factors):
    bands = [(int(row["warmest_degC"]), int(row["coldest_degC"])) for row in cold_factors]
    assert bands == [(coldest + 4, coldest) for coldest in range(20, -41, -5)]


def test_printed_factors(cold_factors):
    assert {edge: edges(cold_factors)[edge] for edge in US} == US


def test_standing_is_told(cold_factors):
    assert {(row["rulebook"], row["standing"]) for row in cold_factors} == {("us", "read")}


def test_to_minus_25_the_table_is_the_coefficient_0_40(cold_factors):
    for edge, factor in edges(cold_factors).items():
        if edge >= -25:
            assert factor == pytest.approx(voltage_at(1.0, -0.0040, float(edge)), abs=1e-9)


def test_below_minus_25_it_is_a_little_flatter(cold_factors):
    """At −30, −35 and −40 °C the factor is that of 0.382 to 0.385 %/K, up to 0.012 below 0.40 %/K."""
    below = {edge: factor for edge, factor in edges(cold_factors).items() if edge < -25}
    assert sorted(below) == [-40, -35, -30]
    for edge, factor in below.items():
        assert 0.00381 < (factor - 1) / (STANDARD_CELL - edge) < 0.00385
        assert 0.0095 < voltage_at(1.0, -0.0040, float(edge)) - factor < 0.0105


def test_stricter_than_the_invented_modules_own_coefficients(cold_factors, labels):
    """Every module's own coefficient gives a lower cold voltage than the table does at a band's cold edge."""
    for label in labels.values():
        for edge, factor in edges(cold_factors).items():
            assert voltage_at(1.0, label.voc_coefficient, float(edge)) < factor

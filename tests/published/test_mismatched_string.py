"""Two kinds of modules in one string, against single-diode curves added with pvlib, an open-source library."""

import numpy as np
import pvlib
import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.answers.working.judging import check_working
from tutor.problems.problem_factory import make_problem

EXERCISE = "mismatched-modules-in-series"
DRAWS = 150
# The exercise neglects that the stronger modules rise above their operating voltage when they carry less: the power
# with all modules operating comes out too low, the more so the further the currents are apart.
TOO_LOW, TOO_HIGH = 0.09, 0.005
CLOSE_MAXIMA = 0.10


@pytest.fixture(scope="module")
def by_label(invented):
    """The invented modules by the figures that a problem shows of them."""
    return {(m.module_vmp.working, m.module_imp.working, m.module_power.working): m for m in invented.values()}


def voltages(module, currents, bypass_drop):
    """A module's voltage (V) at each current (A), at 25 °C and 1000 W/m²; bypassed above its short-circuit current."""
    light, saturation, series, shunt, scaled = _diode(module)
    dark = currents >= 0.9999 * module.module_isc.working
    volts = pvlib.pvsystem.v_from_i(np.where(dark, 0.0, currents), light, saturation, series, shunt, scaled)
    return np.where(dark, -bypass_drop, np.maximum(volts, -bypass_drop))


def _diode(module):
    """The five parameters, fitted by pvlib (De Soto 2006) to the label."""
    voc, isc = module.module_voc.working, module.module_isc.working
    fit, _ = pvlib.ivtools.sdm.fit_desoto(
        v_mp=module.module_vmp.working,
        i_mp=module.module_imp.working,
        v_oc=voc,
        i_sc=isc,
        alpha_sc=module.isc_coefficient.working * isc,
        beta_voc=module.voc_coefficient.working * voc,
        cells_in_series=module.cells,
        root_kwargs={"method": "lm", "options": {"xtol": 1e-13}},
    )
    return fit["I_L_ref"], fit["I_o_ref"], fit["R_s"], fit["R_sh_ref"], fit["a_ref"]


def maxima(groups, bypass_drop):
    """The most power (W) of a string with all modules delivering and with the weaker kind bypassed."""
    most = max(module.module_isc.working for _, module in groups)
    weakest = min(module.module_isc.working for _, module in groups)
    currents = np.linspace(0.2 * weakest, most, 20_001)
    power = currents * sum(count * voltages(module, currents, bypass_drop) for count, module in groups)
    return power[currents < weakest].max(), power[currents >= weakest].max()


@pytest.fixture(scope="module")
def compared(engine, by_label):
    """For each draw the declared powers, with all operating and in all, and the two maxima of the added curves."""
    found = []
    for number in range(1, DRAWS + 1):
        values = (problem := make_problem(engine, EXERCISE, None, number, "us", None)).known | problem.values
        kinds = [
            tuple(values[f"{second}module_{name}"] for name in ("vmp", "imp", "power")) for second in ("", "second_")
        ]
        counts = values["modules_in_series"], values["second_modules"]
        groups = [(count, by_label[kind]) for count, kind in zip(counts, kinds, strict=True)]
        found.append((values["limited_power"], values["string_power"], *maxima(groups, values["bypass_drop"])))
    return np.array(found)


def test_the_power_is_that_of_the_added_curves(compared):
    _, power, all_operating, bypassed = compared.T
    error = power / np.maximum(all_operating, bypassed) - 1
    print(f"\npower by the two label figures against the added curves: {error.min():.1%} to {error.max():.1%}")
    assert error.min() > -TOO_LOW
    assert error.max() < TOO_HIGH


def test_the_larger_maximum_is_the_one_chosen(compared):
    limited, power, all_operating, bypassed = compared.T
    apart = np.abs(all_operating / bypassed - 1) > CLOSE_MAXIMA
    assert apart.mean() > 0.8
    np.testing.assert_array_equal((power > limited)[apart], (bypassed > all_operating)[apart])
    assert 0.02 < (power > limited).mean() < 0.9  # both cases are drawn


BYPASSED = {
    **{"modules_in_series": "5", "module_vmp": "34 V", "module_imp": "8.3 A", "module_power": "282 W"},
    **{"second_modules": "2", "second_module_vmp": "18 V", "second_module_imp": "6.6 A"},
    **{"second_module_power": "119 W", "bypass_drop": "1 V"},
}


def problem_with(engine, givens):
    return make_problem(engine, EXERCISE, None, 1, "us", own_amounts(engine.question(EXERCISE, None), givens))


def test_a_string_that_gives_more_with_its_weaker_modules_bypassed(engine):
    """Five modules of 34 V, 8.3 A and two of 18 V, 6.6 A: 206 × 6.6 = 1360 W, bypassed (170 − 2) × 8.3 = 1394 W."""
    problem = problem_with(engine, BYPASSED)
    assert problem.text_of("string_power").replace("\u00a0", " ") == "1390 W"
    assert mark(problem, "1394 W").verdict == "right"
    missed = mark(problem, "1360 W")
    assert missed.verdict == "wrong"
    assert missed.named is not None
    assert missed.named.id == "smaller-maximum"


@pytest.mark.parametrize(
    ("second_current", "second_power", "power", "reached"),
    [("6.6 A", "119 W", "1360 W", False), ("7.9 A", "142 W", "1627 W", True)],
)
def test_a_working_that_stops_at_the_limited_current_reaches_the_answer_only_if_that_is_larger(
    engine, second_current, second_power, power, reached
):
    second = {"second_module_imp": second_current, "second_module_power": second_power}
    problem = problem_with(engine, BYPASSED | second)
    lines = f"5 × 34 V + 2 × 18 V = 206 V\n206 V × {second_current} = {power}"
    working = check_working(problem, lines)
    assert working.reaches_answer is reached
    assert [line.verdict for line in working.lines] == ["holds", "holds"]

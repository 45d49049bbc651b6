"""Every figure of every invented module lies inside the 1st..99th percentile of comparable modules in open tables.

Comparable: crystalline, as many cells in series (CEC module table, 2019 edition); for the coefficient of operating
voltage, which that table lacks, the crystalline modules of the Sandia module table (2015 edition).
"""

import pytest

from tutor.trade.modules import fit, key_points

COLUMNS = {
    "module_power": lambda m: m.STC,
    "module_voc": lambda m: m.V_oc_ref,
    "module_vmp": lambda m: m.V_mp_ref,
    "module_isc": lambda m: m.I_sc_ref,
    "module_imp": lambda m: m.I_mp_ref,
    "voc_coefficient": lambda m: 100 * m.beta_oc / m.V_oc_ref,
    "isc_coefficient": lambda m: 100 * m.alpha_sc / m.I_sc_ref,
    "power_coefficient": lambda m: m.gamma_r,
    "nominal_cell_temperature": lambda m: m.T_NOCT,
}


@pytest.mark.parametrize("name", COLUMNS)
def test_inside_the_cec_table(invented, crystalline, name):
    for id_, module in invented.items():
        comparable = COLUMNS[name](crystalline[crystalline.N_s == module.cells])
        low, high = comparable.quantile([0.01, 0.99])
        assert len(comparable) > 100
        assert low <= getattr(module, name).value <= high, id_


def test_fill_factor_inside_the_cec_table(invented, crystalline):
    for id_, module in invented.items():
        same = crystalline[crystalline.N_s == module.cells]
        fills = same.V_mp_ref * same.I_mp_ref / (same.V_oc_ref * same.I_sc_ref)
        fill = module.module_vmp.value * module.module_imp.value / (module.module_voc.value * module.module_isc.value)
        low, high = fills.quantile([0.01, 0.99])
        assert low <= fill <= high, id_


def test_vmp_coefficient_inside_the_sandia_table(invented, sandia_crystalline):
    slopes = 100 * sandia_crystalline.Bvmpo / sandia_crystalline.Vmpo
    low, high = slopes.quantile([0.01, 0.99])
    assert len(slopes) > 300
    for id_, module in invented.items():
        assert low <= module.vmp_coefficient.value <= high, id_


def test_coefficients_add(invented):
    """Power is voltage times current, so its coefficient is the sum of theirs."""
    for id_, module in invented.items():
        total = module.vmp_coefficient.value + module.isc_coefficient.value
        assert module.power_coefficient.value == pytest.approx(total, abs=0.02), id_


def test_coefficients_agree_with_the_single_diode_model(invented, labels):
    """The fitted curve's own slopes from 20 to 30 °C lie within 0.06 %/K of the label's."""
    for id_, module in invented.items():
        points = key_points(fit(labels[id_]), 1000.0, [20.0, 30.0])
        assert 10 * (points.power[1] / points.power[0] - 1) == pytest.approx(module.power_coefficient.value, abs=0.06)
        assert 10 * (points.vmp[1] / points.vmp[0] - 1) == pytest.approx(module.vmp_coefficient.value, abs=0.06)


def test_fuse_carries_the_short_circuit_current(invented):
    """A module's largest series fuse is at least 1.56 times its current (common practice, no source)."""
    for id_, module in invented.items():
        assert module.module_fuse_max.value >= 1.56 * module.module_isc.value, id_

"""The fit against the parameters that the CEC module table publishes for real labels."""

import numpy as np

from tutor.trade.modules import FitError, Label, fit

SILICON = 1.121  # eV at 25 °C (De Soto 2006)


def as_fitted(row):
    """Give a table row's label with the coefficients that its published parameters were fitted to.

    The CEC model turns the label's coefficients by `Adjust` per cent to meet the label's power coefficient: Dobos,
    'An improved coefficient calculator for the CEC six-parameter model', J. Solar Energy Eng. 134 (2012), from memory.
    """
    turned = row.Adjust / 100
    return Label(
        module_voc=row.V_oc_ref,
        module_vmp=row.V_mp_ref,
        module_isc=row.I_sc_ref,
        module_imp=row.I_mp_ref,
        voc_coefficient=row.beta_oc * (1 + turned) / row.V_oc_ref,
        isc_coefficient=row.alpha_sc * (1 - turned) / row.I_sc_ref,
    )


def test_fit_finds_the_published_parameters(crystalline):
    """Every 40th crystalline module: the parameters that rule the voltages agree closely.

    The shunt is hardly told by a label and is not compared.  For nearly a quarter of the labels the exact curve with
    silicon's band gap would need a negative shunt: the table keeps it positive and lets the short-circuit current miss
    the label instead (by up to 0.3 A for 99 of 100 modules), while our fit keeps all points and takes another
    activation energy, or refuses the label.  Those are not compared.
    """
    sample = crystalline.iloc[::40]
    misses, refused = [], 0
    for row in sample.itertuples():
        try:
            found = fit(as_fitted(row))
        except FitError:
            refused += 1
            continue
        if abs(found.activation_energy / SILICON - 1) > 1e-6:
            continue
        misses.append(
            (
                found.light_current / row.I_L_ref - 1,
                found.scaled_voltage / row.a_ref - 1,
                found.series_resistance / row.R_s - 1,
            )
        )
    light, scaled, series = np.abs(np.array(misses)).T
    largest = ", ".join(f"{part.max():.3%}" for part in (light, scaled, series))
    print(f"\n{len(sample)} labels, {refused} refused, {len(misses)} compared; largest misses {largest}")
    assert refused < 0.01 * len(sample)
    assert len(misses) > 0.7 * len(sample)
    assert light.max() < 0.001
    assert scaled.max() < 0.001
    assert np.median(series) < 0.002
    assert series.max() < 0.03

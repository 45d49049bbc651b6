"""The single-diode model against pvlib, a general-purpose open-source library of photovoltaic physics."""

import numpy as np
import pvlib
import pytest

from tutor.trade.modules import FitError, Label, curve, fit, key_points, translate

IRRADIANCE, CELLS = (part.ravel() for part in np.meshgrid([50.0, 200, 800, 1000, 1200], [-40.0, -10, 25, 50, 90]))


def pvlib_parameters(found):
    """Move our fitted parameters with pvlib.pvsystem.calcparams_desoto (De Soto 2006)."""
    return pvlib.pvsystem.calcparams_desoto(IRRADIANCE, CELLS, **described(found))


def test_translation_equals_calcparams_desoto(labels):
    for label in labels.values():
        found = fit(label)
        diode = translate(found, IRRADIANCE, CELLS)
        light, saturation, series, shunt, scaled = pvlib_parameters(found)
        np.testing.assert_allclose(diode.light_current, light, rtol=1e-9)
        np.testing.assert_allclose(diode.saturation_current, saturation, rtol=1e-6)  # Boltzmann's constant: 8 digits
        np.testing.assert_allclose(diode.series_resistance, series, rtol=0)
        np.testing.assert_allclose(1 / diode.shunt_conductance, shunt, rtol=1e-9)
        np.testing.assert_allclose(diode.scaled_voltage, scaled, rtol=1e-9)


def test_key_points_equal_singlediode(labels):
    """The same five parameters give pvlib.pvsystem.singlediode's points (its Lambert-W method) to 1e-6."""
    for label in labels.values():
        found = fit(label)
        diode = translate(found, IRRADIANCE, CELLS)
        theirs = pvlib.pvsystem.singlediode(
            diode.light_current,
            diode.saturation_current,
            diode.series_resistance,
            1 / diode.shunt_conductance,
            diode.scaled_voltage,
        )
        ours = key_points(found, IRRADIANCE, CELLS)
        for mine, name in (
            (ours.voc, "v_oc"),
            (ours.isc, "i_sc"),
            (ours.vmp, "v_mp"),
            (ours.imp, "i_mp"),
            (ours.power, "p_mp"),
        ):
            np.testing.assert_allclose(mine, theirs[name], rtol=1e-6, err_msg=name)


def test_curve_equals_i_from_v(labels):
    for label in labels.values():
        found = fit(label)
        drawn = curve(found, 650.0, 48.0)
        diode = translate(found, 650.0, 48.0)
        theirs = pvlib.pvsystem.i_from_v(
            drawn.voltage,
            float(diode.light_current),
            float(diode.saturation_current),
            diode.series_resistance,
            float(1 / diode.shunt_conductance),
            float(diode.scaled_voltage),
        )
        np.testing.assert_allclose(drawn.current, theirs, atol=1e-6 * label.module_isc)


def test_fit_equals_fit_desoto(labels, invented):
    """pvlib.ivtools.sdm.fit_desoto (scipy's Levenberg-Marquardt) solves the same five equations another way."""
    for id_, label in labels.items():
        found = fit(label)
        theirs, _ = pvlib.ivtools.sdm.fit_desoto(
            v_mp=label.module_vmp,
            i_mp=label.module_imp,
            v_oc=label.module_voc,
            i_sc=label.module_isc,
            alpha_sc=label.isc_coefficient * label.module_isc,
            beta_voc=label.voc_coefficient * label.module_voc,
            cells_in_series=invented[id_].cells,
            root_kwargs={"method": "lm", "options": {"xtol": 1e-13}},
        )
        assert found.light_current == pytest.approx(theirs["I_L_ref"], rel=1e-7)
        assert found.saturation_current == pytest.approx(theirs["I_o_ref"], rel=1e-5)
        assert found.scaled_voltage == pytest.approx(theirs["a_ref"], rel=1e-7)
        assert found.series_resistance == pytest.approx(theirs["R_s"], rel=1e-6)
        assert found.shunt_conductance == pytest.approx(1 / theirs["R_sh_ref"], rel=1e-5)


@pytest.fixture(scope="module")
def fits(cec_modules):
    """Our parameters for every label of the CEC table (2019 edition, as pvlib ships it); None where we say why not."""
    found = []
    for row in cec_modules.itertuples():
        label = Label(
            module_voc=row.V_oc_ref,
            module_vmp=row.V_mp_ref,
            module_isc=row.I_sc_ref,
            module_imp=row.I_mp_ref,
            voc_coefficient=row.beta_oc / row.V_oc_ref,
            isc_coefficient=row.alpha_sc / row.I_sc_ref,
        )
        try:
            found.append(fit(label))
        except FitError:
            found.append(None)
    return found


def test_every_label_of_the_database_is_fitted_or_refused_for_a_reason(fits, cec_modules):
    """Of 21,535 labels 96 (0.45 %) are refused, and none stops the fit.

    All 96 are crystalline, with an operating current of 97 to 99 % of the short-circuit current.  The database's own
    curve misses the short-circuit current of each by 3 % or more: no single-diode curve has all their figures.
    """
    refused = np.array([one is None for one in fits])
    own = pvlib.pvsystem.singlediode(*own_parameters(cec_modules))
    miss = 100 * (np.asarray(own["i_sc"]) / cec_modules.I_sc_ref.to_numpy(float) - 1)
    print(f"\n{refused.sum()} of {len(fits)} refused; their own curves miss Isc by {miss[refused].min():.1f} % or more")
    assert len(fits) > 21_000
    assert refused.mean() < 0.005
    assert miss[refused].min() > 3


def test_fitted_curves_have_the_labels_points(fits, cec_modules):
    """Open circuit, short circuit and the point of most power by pvlib's singlediode, for every label fitted."""
    ours = pvlib.pvsystem.singlediode(*our_parameters(fits))
    fitted = np.array([one is not None for one in fits])
    for name, column in (("v_oc", "V_oc_ref"), ("i_sc", "I_sc_ref"), ("v_mp", "V_mp_ref"), ("i_mp", "I_mp_ref")):
        miss = 100 * np.abs(np.asarray(ours[name]) / cec_modules[column].to_numpy(float)[fitted] - 1)
        print(f"\n{name}: largest miss of the label {miss.max():.1e} %")
        assert miss.max() < 0.001, name


def test_fitted_curves_beside_the_database_s_own(fits, cec_modules):
    """The root mean square of the difference in current at 200 voltages, per cent of the short-circuit current.

    Measured: median 0.2 %, 99 of 100 below 3.0 %.  Where both curves have the label's short-circuit current within
    0.1 %, 999 of 1000 lie within 1 %: what is further away is the database's own curve that misses its label.
    """
    fitted = np.array([one is not None for one in fits])
    table = cec_modules[fitted]
    isc = table.I_sc_ref.to_numpy(float)
    voltage = np.linspace(0, 1, 200)[:, np.newaxis] * table.V_oc_ref.to_numpy(float)
    difference = pvlib.pvsystem.i_from_v(voltage, *our_parameters(fits)) - pvlib.pvsystem.i_from_v(
        voltage, *own_parameters(table)
    )
    apart = 100 * np.sqrt((difference**2).mean(axis=0)) / isc
    own_isc = np.asarray(pvlib.pvsystem.singlediode(*own_parameters(table))["i_sc"])
    true_to_label = np.abs(own_isc / isc - 1) < 0.001
    for words, of in (("all", apart), ("own curve true to its label", apart[true_to_label])):
        median, most, nearly_all = np.percentile(of, [50, 99, 99.9])
        print(f"\n{words}: {len(of)} labels, median {median:.2f} %, 99th {most:.2f} %, 99.9th {nearly_all:.2f} %")
    assert np.median(apart) < 0.25
    assert np.percentile(apart, 99) < 3.0
    assert true_to_label.sum() > 15_000
    assert np.percentile(apart[true_to_label], 99.9) < 1.0


def test_voltage_moves_with_temperature_as_each_label_says(fits, cec_modules):
    """From 25 to 27 °C, by pvlib's calcparams_desoto and singlediode, with the activation energy as band gap."""
    voltages = []
    for cells in (25.0, 27.0):
        moved = [pvlib.pvsystem.calcparams_desoto(1000.0, cells, **described(one)) for one in fits if one]
        voltages.append(np.asarray(pvlib.pvsystem.singlediode(*np.array(moved, float).T)["v_oc"]))
    table = cec_modules[[one is not None for one in fits]]
    coefficient = table.beta_oc.to_numpy(float)
    np.testing.assert_allclose((voltages[1] - voltages[0]) / 2, coefficient, rtol=1e-4)


def described(found):
    """Our parameters by pvlib's names."""
    return {
        "alpha_sc": found.light_current_slope,
        "a_ref": found.scaled_voltage,
        "I_L_ref": found.light_current,
        "I_o_ref": found.saturation_current,
        "R_sh_ref": 1 / found.shunt_conductance,
        "R_s": found.series_resistance,
        "EgRef": found.activation_energy,
    }


def our_parameters(fits):
    """The five parameters of all fitted labels in the order of pvlib's functions."""
    names = ("light_current", "saturation_current", "series_resistance", "shunt_conductance", "scaled_voltage")
    light, saturation, series, shunt, scaled = np.array(
        [[getattr(one, name) for name in names] for one in fits if one]
    ).T
    return light, saturation, series, 1 / shunt, scaled


def own_parameters(table):
    """The five parameters that the table itself holds, in the same order."""
    return [table[name].to_numpy(float) for name in ("I_L_ref", "I_o_ref", "R_s", "R_sh_ref", "a_ref")]

"""The single-diode model against pvlib, a general-purpose open-source library of photovoltaic physics."""

import numpy as np
import pvlib
import pytest

from tutor.trade.modules import curve, fit, key_points, translate

IRRADIANCE, CELLS = (part.ravel() for part in np.meshgrid([50.0, 200, 800, 1000, 1200], [-40.0, -10, 25, 50, 90]))


def pvlib_parameters(found):
    """Move our fitted parameters with pvlib.pvsystem.calcparams_desoto (De Soto 2006)."""
    return pvlib.pvsystem.calcparams_desoto(
        IRRADIANCE,
        CELLS,
        alpha_sc=found.light_current_slope,
        a_ref=found.scaled_voltage,
        I_L_ref=found.light_current,
        I_o_ref=found.saturation_current,
        R_sh_ref=1 / found.shunt_conductance,
        R_s=found.series_resistance,
    )


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

from dataclasses import astuple, fields, replace
from pathlib import Path

import numpy as np
import pytest
import yaml

from tutor.content.models import Module
from tutor.trade.modules import FitError, Label, curve, fit, key_points, translate

MODULES = Path(__file__).parents[2] / "assets" / "parts" / "modules.yaml"
LABEL = Label(
    module_voc=40.0, module_vmp=32.6, module_isc=9.0, module_imp=8.5, voc_coefficient=-0.003, isc_coefficient=0.0005
)


def invented_labels():
    sheets = yaml.safe_load(MODULES.read_text(encoding="utf-8"))
    for id_, sheet in sheets.items():
        module = Module(**sheet)
        label = Label(**{field.name: getattr(module, field.name).working for field in fields(Label)})
        yield pytest.param(label, id=id_)


@pytest.fixture(scope="module")
def parameters():
    return fit(LABEL)


@pytest.mark.parametrize("label", list(invented_labels()))
def test_the_fitted_curve_has_the_label_s_points(label):
    points = key_points(fit(label), 1000.0, 25.0)
    assert points.voc == pytest.approx(label.module_voc, rel=1e-6)
    assert points.isc == pytest.approx(label.module_isc, rel=1e-6)
    assert points.vmp == pytest.approx(label.module_vmp, rel=1e-6)
    assert points.imp == pytest.approx(label.module_imp, rel=1e-6)


@pytest.mark.parametrize("label", list(invented_labels()))
def test_the_fitted_curve_has_the_label_s_voc_coefficient(label):
    cold, warm = key_points(fit(label), 1000.0, [24.0, 26.0]).voc
    assert (warm - cold) / 2 / label.module_voc == pytest.approx(label.voc_coefficient, rel=0.01)


def test_fitting_a_fitted_curve_gives_it_back(parameters):
    points = key_points(parameters, 1000.0, [25.0, 27.0])
    found = fit(
        Label(
            module_voc=float(points.voc[0]),
            module_vmp=float(points.vmp[0]),
            module_isc=float(points.isc[0]),
            module_imp=float(points.imp[0]),
            voc_coefficient=float(points.voc[1] / points.voc[0] - 1) / 2,
            isc_coefficient=parameters.light_current_slope / float(points.isc[0]),
        )
    )
    assert astuple(found) == pytest.approx(astuple(parameters), rel=1e-6)


def test_standard_conditions_leave_the_parameters_as_they_are(parameters):
    diode = translate(parameters, 1000.0, 25.0)
    assert astuple(diode) == pytest.approx(astuple(parameters)[:5], rel=1e-12)


def test_without_light_there_is_nothing(parameters):
    points = key_points(parameters, 0.0, 25.0)
    assert [float(one) for one in astuple(points)] == [0.0, 0.0, 0.0, 0.0, 0.0]


def test_half_the_light_gives_about_half_the_current_and_nearly_the_whole_voltage(parameters):
    whole, half = (key_points(parameters, light, 25.0) for light in (1000.0, 500.0))
    assert half.isc / whole.isc == pytest.approx(0.5, abs=0.002)
    assert 0.95 < half.voc / whole.voc < 1


def test_arrays_equal_their_values_one_by_one(parameters):
    light, cells = np.array([200.0, 1000.0, 1100.0]), np.array([-30.0, 25.0, 75.0])
    together = key_points(parameters, light, cells)
    apart = [key_points(parameters, *pair) for pair in zip(light, cells, strict=True)]
    for name in ("voc", "isc", "vmp", "imp", "power"):
        np.testing.assert_allclose(getattr(together, name), [float(getattr(one, name)) for one in apart], rtol=1e-12)


def test_no_point_of_the_curve_has_more_power_than_the_best_one(parameters):
    drawn = curve(parameters, 800.0, 55.0, points=2000)
    best = key_points(parameters, 800.0, 55.0)
    assert drawn.power.max() <= best.power * (1 + 1e-12)
    assert drawn.power.max() == pytest.approx(float(best.power), rel=1e-5)


def test_the_curve_runs_from_short_circuit_to_open_circuit(parameters):
    drawn = curve(parameters, 600.0, 10.0)
    ends = key_points(parameters, 600.0, 10.0)
    assert drawn.voltage.shape == (200,)
    assert np.all(np.diff(drawn.voltage) > 0)
    assert np.all(np.diff(drawn.current) < 0)
    assert (drawn.voltage[0], drawn.current[-1]) == (0.0, 0.0)
    assert drawn.voltage[-1] == pytest.approx(float(ends.voc))
    assert drawn.current[0] == pytest.approx(float(ends.isc))


@pytest.mark.parametrize(("light", "cells"), [(-1.0, 25.0), (1000.0, -300.0)])
def test_impossible_conditions_are_refused(parameters, light, cells):
    with pytest.raises(ValueError, match="warmer than absolute zero"):
        key_points(parameters, light, cells)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"module_vmp": 41.0}, "Vmp. must be less than the open-circuit voltage"),
        ({"module_imp": 9.5}, "Imp. must be less than the short-circuit current"),
        ({"module_vmp": 39.5}, "so close to its open-circuit voltage"),
        ({"module_imp": 8.95}, "so close to its short-circuit current"),
        ({"module_vmp": 19.0}, "above half its open-circuit voltage"),
        ({"module_voc": 1e9}, "above half its open-circuit voltage"),
        ({"module_vmp": float("nan")}, "more than zero"),
        ({"module_imp": 0.0}, "more than zero"),
        ({"voc_coefficient": 0.003}, "temperature coefficients"),
        ({"voc_coefficient": -0.02}, "temperature coefficients"),
        ({"isc_coefficient": float("inf")}, "temperature coefficients"),
    ],
)
def test_a_label_that_no_module_can_have_is_refused_with_the_reason(change, reason):
    with pytest.raises(FitError, match=reason) as refused:
        fit(replace(LABEL, **change))
    assert str(refused.value).endswith("label.")


def test_whatever_a_label_says_it_is_fitted_or_refused():
    """Labels far from any module too: a fitted curve has the label's points, and nothing else is ever raised."""
    random = np.random.default_rng(20260)
    fitted = 0
    for _ in range(3000):
        voc, isc = 10 ** random.uniform(-1, 4), 10 ** random.uniform(-2, 3)
        label = Label(
            module_voc=voc,
            module_vmp=voc * random.uniform(0.4, 1.05),
            module_isc=isc,
            module_imp=isc * random.uniform(0.4, 1.05),
            voc_coefficient=random.uniform(-0.01, 0.002),
            isc_coefficient=random.uniform(-0.002, 0.005),
        )
        try:
            points = key_points(fit(label), 1000.0, 25.0)
        except FitError:
            continue
        fitted += 1
        for name in ("voc", "vmp", "isc", "imp"):
            assert getattr(points, name) == pytest.approx(getattr(label, f"module_{name}"), rel=1e-5), label
    assert fitted > 500


def test_a_label_that_silicon_s_band_gap_fits_gets_it(parameters):
    assert parameters.activation_energy == pytest.approx(1.121)


def test_a_label_too_sharp_for_silicon_s_band_gap_keeps_its_coefficient():
    label = replace(LABEL, module_imp=8.75)
    cold, warm = key_points(fit(label), 1000.0, [24.0, 26.0]).voc
    assert fit(label).activation_energy > 1.2
    assert (warm - cold) / 2 / label.module_voc == pytest.approx(label.voc_coefficient, rel=0.01)

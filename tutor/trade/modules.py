"""The single-diode model of a module: fitted to its label, then moved to any irradiance and cell temperature.

Formulas: De Soto, Klein and Beckman, 'Improvement and validation of a model for photovoltaic array performance',
Solar Energy 80 (2006), p. 78-88.  The curve is written in the voltage across the diode, v = V + I·Rs, in which current
and terminal voltage are explicit:

    I(v) = I_L − I_0·(exp(v/a) − 1) − v/R_sh        V(v) = v − I(v)·R_s

so that only open circuit, short circuit and the point of most power need an iteration (Newton's, of one variable).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

STANDARD_IRRADIANCE = 1000.0  # W/m², IEC 60904-3 (from memory)
STANDARD_CELL = 25.0  # °C
_ZERO_CELSIUS = 273.15
_BOLTZMANN = 8.617333262e-5  # eV/K, CODATA 2018
_BAND_GAP = 1.121  # eV at 25 °C, silicon (De Soto 2006)
_BAND_GAP_SLOPE = -0.0002677  # share of the band gap per kelvin (De Soto 2006)
_VOC_STEP = 2.0  # K, over which the label's open-circuit voltage coefficient is matched
_MOST_ITERATIONS = 100
_CLOSE_ENOUGH = 1e-13
_NO_FIT = "no curve of a crystalline module passes through these figures; compare them with the label once more"


class FitError(ValueError):
    """A label whose figures no single-diode curve with real resistances passes through."""


@dataclass(frozen=True)
class Label:
    """What a module's label says at 1000 W/m² and 25 °C cells: V, A and shares per kelvin (−0.0027 is −0.27 %/K)."""

    module_voc: float
    module_vmp: float
    module_isc: float
    module_imp: float
    voc_coefficient: float
    isc_coefficient: float


@dataclass(frozen=True)
class DiodeParameters:
    """The five parameters at 1000 W/m² and 25 °C cells, and how the light current moves with temperature.

    light_current and saturation_current in A, scaled_voltage (ideality × cells × thermal voltage) in V,
    series_resistance in Ω, shunt_conductance in S, light_current_slope in A/K.
    """

    light_current: float
    saturation_current: float
    scaled_voltage: float
    series_resistance: float
    shunt_conductance: float
    light_current_slope: float


@dataclass(frozen=True)
class Diode:
    """The five parameters under one irradiance and cell temperature, or under arrays of them; units as above."""

    light_current: Values
    saturation_current: Values
    scaled_voltage: Values
    series_resistance: float
    shunt_conductance: Values

    def current(self, diode_voltage: Values) -> Values:
        """Give the module's current (A) at a voltage across the diode (V)."""
        loss = self.saturation_current * np.expm1(diode_voltage / self.scaled_voltage)
        return np.asarray(self.light_current - loss - diode_voltage * self.shunt_conductance)

    def current_slope(self, diode_voltage: Values) -> tuple[Values, Values]:
        """Give the first and the second derivative of the current by the diode voltage (A/V, A/V²)."""
        steep = self.saturation_current / self.scaled_voltage * np.exp(diode_voltage / self.scaled_voltage)
        return np.asarray(-steep - self.shunt_conductance), np.asarray(-steep / self.scaled_voltage)


@dataclass(frozen=True)
class Curve:
    """Points of one I-V and P-V curve from short circuit to open circuit, in V, A and W."""

    voltage: Values
    current: Values
    power: Values


@dataclass(frozen=True)
class KeyPoints:
    """Open circuit, short circuit and the point of most power, in V, A and W."""

    voc: Values
    isc: Values
    vmp: Values
    imp: Values
    power: Values


def translate(parameters: DiodeParameters, irradiance: ArrayLike, cell_temperature: ArrayLike) -> Diode:
    """Move the parameters to an irradiance (W/m²) and a cell temperature (°C).

    Light current and shunt conductance follow the irradiance in proportion, the scaled voltage follows the absolute
    temperature, the saturation current follows T³·exp(−E_g/kT) (De Soto 2006, equations 8 to 13).
    Raises ValueError for a negative irradiance or a temperature below absolute zero.
    """
    light, celsius = np.broadcast_arrays(np.asarray(irradiance, float), np.asarray(cell_temperature, float))
    if np.any(light < 0) or np.any(celsius <= -_ZERO_CELSIUS):
        raise ValueError("the irradiance has to be 0 or more and the cells warmer than absolute zero")
    share = light / STANDARD_IRRADIANCE
    warmer = celsius - STANDARD_CELL
    standard = STANDARD_CELL + _ZERO_CELSIUS
    kelvin = celsius + _ZERO_CELSIUS
    gap = _BAND_GAP * (1 + _BAND_GAP_SLOPE * warmer)
    growth = (kelvin / standard) ** 3 * np.exp((_BAND_GAP / standard - gap / kelvin) / _BOLTZMANN)
    return Diode(
        light_current=share * (parameters.light_current + parameters.light_current_slope * warmer),
        saturation_current=parameters.saturation_current * growth,
        scaled_voltage=parameters.scaled_voltage * kelvin / standard,
        series_resistance=parameters.series_resistance,
        shunt_conductance=share * parameters.shunt_conductance,
    )


def key_points(parameters: DiodeParameters, irradiance: ArrayLike, cell_temperature: ArrayLike) -> KeyPoints:
    """Find open circuit, short circuit and most power at an irradiance (W/m²) and a cell temperature (°C).

    Both may be arrays.  Raises ValueError as `translate` does.
    """
    diode = translate(parameters, irradiance, cell_temperature)
    voc = _open_circuit(diode)
    isc = diode.current(_short_circuit(diode))
    best = _most_power(diode, voc)
    imp = diode.current(best)
    vmp = np.asarray(best - imp * diode.series_resistance)
    return KeyPoints(voc=voc, isc=isc, vmp=vmp, imp=imp, power=np.asarray(vmp * imp))


def curve(parameters: DiodeParameters, irradiance: float, cell_temperature: float, points: int = 200) -> Curve:
    """Trace the curve from short circuit to open circuit at one irradiance (W/m²) and cell temperature (°C).

    Raises ValueError as `translate` does.
    """
    diode = translate(parameters, irradiance, cell_temperature)
    diode_voltage = np.linspace(float(_short_circuit(diode)), float(_open_circuit(diode)), points)
    current = diode.current(diode_voltage)
    voltage = diode_voltage - current * diode.series_resistance
    voltage[0], current[-1] = 0.0, 0.0
    return Curve(voltage=voltage, current=current, power=voltage * current)


def fit(label: Label) -> DiodeParameters:
    """Find the parameters whose curve has the label's four points and its open-circuit voltage coefficient.

    With scaled voltage and series resistance chosen, the curve's passing through short circuit, open circuit and the
    point of most power is linear in the three other parameters; Newton's method finds the two for which power peaks
    at that point and the voltage moves with temperature as the label says (De Soto 2006, section 3).
    Raises FitError if no curve with a positive saturation current and resistances fits.
    """
    if not (0 < label.module_vmp < label.module_voc and 0 < label.module_imp < label.module_isc):
        raise FitError(_NO_FIT)
    unknown = np.array([_first_scaled_voltage(label), 0.3 * (label.module_voc - label.module_vmp) / label.module_imp])
    with np.errstate(all="ignore"):
        for _ in range(_MOST_ITERATIONS):
            try:
                step = -np.linalg.solve(_misfit_slopes(label, unknown), _misfit(label, unknown))
            except np.linalg.LinAlgError as error:
                raise FitError(_NO_FIT) from error
            change = float(np.max(np.abs(step / unknown)))
            unknown = unknown + step * min(1.0, 0.3 / change)
            if change < 1e-12:
                return _checked(_parameters(label, *unknown))
    raise FitError(_NO_FIT)


def _checked(parameters: DiodeParameters) -> DiodeParameters:
    if min(parameters.saturation_current, parameters.series_resistance, parameters.shunt_conductance) <= 0:
        raise FitError(_NO_FIT)
    return parameters


def _first_scaled_voltage(label: Label) -> float:
    """Solve the model's slope of open-circuit voltage by temperature for the scaled voltage, without a shunt."""
    kelvin = STANDARD_CELL + _ZERO_CELSIUS
    slope = label.module_voc * label.voc_coefficient
    return (slope - label.module_voc / kelvin) / (
        label.isc_coefficient - 3 / kelvin - _BAND_GAP * (1 - kelvin * _BAND_GAP_SLOPE) / (_BOLTZMANN * kelvin**2)
    )


def _parameters(label: Label, scaled_voltage: float, series_resistance: float) -> DiodeParameters:
    """Find the three parameters that make the curve pass through the label's three points."""
    current = np.array([label.module_isc, label.module_imp, 0.0])
    diode_voltage = np.array([0.0, label.module_vmp, label.module_voc]) + current * series_resistance
    rows = np.column_stack([np.ones(3), -np.expm1(diode_voltage / scaled_voltage), -diode_voltage])
    scale = np.array([1.0, np.exp(-label.module_voc / scaled_voltage), 1.0])
    light, saturation, conductance = np.linalg.solve(rows * scale, current) * scale
    return DiodeParameters(
        light_current=float(light),
        saturation_current=float(saturation),
        scaled_voltage=float(scaled_voltage),
        series_resistance=float(series_resistance),
        shunt_conductance=float(conductance),
        light_current_slope=label.module_isc * label.isc_coefficient,
    )


def _misfit(label: Label, unknown: Values) -> Values:
    """Measure the slope of power at the label's best point, and the current at its warmer open circuit (A)."""
    parameters = _parameters(label, *unknown)
    standard = translate(parameters, STANDARD_IRRADIANCE, STANDARD_CELL)
    best = np.asarray(label.module_vmp + label.module_imp * parameters.series_resistance)
    power_slope = _power_slope(standard, best)[0]
    warmer = translate(parameters, STANDARD_IRRADIANCE, STANDARD_CELL + _VOC_STEP)
    voc = np.asarray(label.module_voc * (1 + label.voc_coefficient * _VOC_STEP))
    return np.array([power_slope, warmer.current(voc)], float)


def _misfit_slopes(label: Label, unknown: Values) -> Values:
    """Measure how the misfit moves with each unknown, by central differences."""
    nudges = 1e-6 * np.diag(unknown)
    columns = [(_misfit(label, unknown + by) - _misfit(label, unknown - by)) / (2 * by.sum()) for by in nudges]
    return np.column_stack(columns)


def _power_slope(diode: Diode, diode_voltage: Values) -> tuple[Values, Values]:
    """Give the first and second derivative of power by the diode voltage (W/V, W/V²)."""
    current = diode.current(diode_voltage)
    slope, bend = diode.current_slope(diode_voltage)
    voltage = diode_voltage - current * diode.series_resistance
    widening = 1 - diode.series_resistance * slope
    first = widening * current + voltage * slope
    second = 2 * widening * slope + bend * (voltage - diode.series_resistance * current)
    return np.asarray(first), np.asarray(second)


def _open_circuit(diode: Diode) -> Values:
    """Find the voltage without current; the start lies above it, where Newton's steps only descend."""
    voltage = np.asarray(diode.scaled_voltage * np.log1p(diode.light_current / diode.saturation_current))
    for _ in range(_MOST_ITERATIONS):
        step = diode.current(voltage) / diode.current_slope(voltage)[0]
        voltage = np.asarray(voltage - step)
        if np.all(np.abs(step) <= _CLOSE_ENOUGH * (1 + voltage)):
            break
    return voltage


def _short_circuit(diode: Diode) -> Values:
    """Find the diode voltage at which the terminal voltage is zero; the start lies above it."""
    resistance = diode.series_resistance
    voltage = np.asarray(diode.light_current * resistance)
    for _ in range(_MOST_ITERATIONS):
        excess = voltage - resistance * diode.current(voltage)
        step = excess / (1 - resistance * diode.current_slope(voltage)[0])
        voltage = np.asarray(voltage - step)
        if np.all(np.abs(step) <= _CLOSE_ENOUGH * (1 + voltage)):
            break
    return voltage


def _most_power(diode: Diode, voc: Values) -> Values:
    """Find the diode voltage of most power, stepping down from open circuit."""
    voltage = voc
    for _ in range(_MOST_ITERATIONS):
        first, second = _power_slope(diode, voltage)
        step = first / second
        voltage = np.asarray(voltage - step)
        if np.all(np.abs(step) <= 1e-10 * (1 + voltage)):
            break
    return voltage

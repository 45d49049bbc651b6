"""The single-diode model of a module: fitted to its label, then moved to any irradiance and cell temperature.

Formulas: De Soto, Klein and Beckman, 'Improvement and validation of a model for photovoltaic array performance',
Solar Energy 80 (2006), p. 78-88.  The curve is written in the voltage across the diode, v = V + I·Rs, in which current
and terminal voltage are explicit:

    I(v) = I_L − I_0·(exp(v/a) − 1) − v/R_sh        V(v) = v − I(v)·R_s

so that only open circuit, short circuit and the point of most power need an iteration (Newton's, of one variable).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tutor.trade.site import STANDARD_CELL

Values = NDArray[np.float64]
Point = tuple[float, float]

STANDARD_IRRADIANCE = 1000.0  # W/m², IEC 60904-3, by the IEC's list of terms
_ZERO_CELSIUS = 273.15
_BOLTZMANN = 8.617333262e-5  # eV/K, CODATA 2018
_BAND_GAP = 1.121  # eV at 25 °C, silicon (De Soto 2006)
_BAND_GAP_SLOPE = -0.0002677  # share of the band gap per kelvin (De Soto 2006)
_VOC_STEP = 2.0  # K, over which the label's open-circuit voltage coefficient is matched
_MOST_ITERATIONS = 100
_CLOSE_ENOUGH = 1e-13
_CLEAR_OF_THE_END = 1e-4  # so far from the softest diode, whose shunt is endless or whose series resistance is none
_SHARPEST = 60.0  # scaled voltages in Voc: twice what an ideal silicon cell of 0.75 V has (0.75 V / 25.7 mV)
_SOFTEST = 4.0  # as many: so soft a diode peaks too low for any label that comes this far
_WEAKEST_ACTIVATION, _STRONGEST_ACTIVATION = 0.7, 3.5  # eV
_NOT_LESS = "The operating {} must be less than the {}. Check both on the label."
_TOO_CLOSE = "No solar cell's curve has an operating {} so close to its {}. Check both on the label."
_NO_COEFFICIENT = "The temperature coefficients do not fit a solar cell. Check both, and their signs, on the label."


class FitError(ValueError):
    """A label whose figures no single-diode curve with real resistances passes through; its text is the reason."""


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
    series_resistance in Ω, shunt_conductance in S, light_current_slope in A/K, activation_energy (with which the
    saturation current grows as the cells warm: the band gap, where the label fits silicon) in eV.
    """

    light_current: float
    saturation_current: float
    scaled_voltage: float
    series_resistance: float
    shunt_conductance: float
    light_current_slope: float
    activation_energy: float = _BAND_GAP


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
    gap = 1 + _BAND_GAP_SLOPE * warmer
    growth = (kelvin / standard) ** 3 * np.exp(
        parameters.activation_energy * (1 / standard - gap / kelvin) / _BOLTZMANN
    )
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

    With the scaled voltage chosen, one series resistance makes power peak at the label's point, and the three other
    parameters follow from short circuit, open circuit and that point by linear equations.  The softer the diode (the
    larger its scaled voltage), the smaller are the series resistance and the shunt conductance; both stay positive up
    to one softest diode.  Among those the one is taken that moves with temperature as silicon does (De Soto 2006,
    section 3); where none does, the nearest, with another activation energy in place of silicon's band gap.
    Raises FitError with the reason where no real diode has such a label.
    """
    _check_points(label)
    sharpest = label.module_voc / _SHARPEST
    if _power_slope_at(label, sharpest, 0.0) >= 0:
        raise FitError(_TOO_CLOSE.format("voltage (Vmp)", "open-circuit voltage (Voc)"))
    if _passing(label, sharpest).shunt_conductance < 0:
        raise FitError(_TOO_CLOSE.format("current (Imp)", "short-circuit current (Isc)"))
    softest = _root(lambda scaled: _power_slope_at(label, scaled, 0.0), sharpest, label.module_voc / _SOFTEST)
    softest = _root(lambda scaled: -_passing(label, scaled).shunt_conductance, sharpest, softest)
    softest *= 1 - _CLEAR_OF_THE_END
    scaled = _root(lambda scaled: _BAND_GAP - _passing(label, scaled).activation_energy, sharpest, softest)
    parameters = _passing(label, scaled)
    if not _WEAKEST_ACTIVATION <= parameters.activation_energy <= _STRONGEST_ACTIVATION:
        raise FitError(_NO_COEFFICIENT)
    return parameters


def _check_points(label: Label) -> None:
    """Refuse figures that no falling curve has whose slope only steepens."""
    if not all(0 < figure < math.inf for figure in (label.module_vmp, label.module_imp)):
        raise FitError("The operating voltage (Vmp) and current (Imp) must be more than zero. Check the label.")
    if not label.module_vmp < label.module_voc < math.inf:
        raise FitError(_NOT_LESS.format("voltage (Vmp)", "open-circuit voltage (Voc)"))
    if not label.module_imp < label.module_isc < math.inf:
        raise FitError(
            "The operating current (Imp) must be less than the short-circuit current (Isc). Check the label."
        )
    if label.module_voc >= 2 * label.module_vmp or label.module_isc >= 2 * label.module_imp:
        raise FitError(
            "A module delivers its most power above half its open-circuit voltage and half its short-circuit current. "
            "Check Vmp and Imp on the label."
        )
    if not -math.inf < label.voc_coefficient < 0 or not math.isfinite(label.isc_coefficient):
        raise FitError(_NO_COEFFICIENT)


def _passing(label: Label, scaled_voltage: float) -> DiodeParameters:
    """Find the curve of one scaled voltage that passes through the label's points and has its most power there."""
    most = (label.module_voc - label.module_vmp) / label.module_imp * (1 - _CLOSE_ENOUGH)
    resistance = _root(lambda resistance: _power_slope_at(label, scaled_voltage, resistance), 0.0, most)
    steep, conductance = _linear(label, scaled_voltage, resistance)
    saturation = steep * math.exp(-label.module_voc / scaled_voltage)
    light = steep + conductance * label.module_voc - saturation
    return DiodeParameters(
        light_current=light,
        saturation_current=saturation,
        scaled_voltage=scaled_voltage,
        series_resistance=resistance,
        shunt_conductance=conductance,
        light_current_slope=label.module_isc * label.isc_coefficient,
        activation_energy=_activation_energy(label, scaled_voltage, steep, conductance, light),
    )


def _linear(label: Label, scaled_voltage: float, resistance: float) -> tuple[float, float]:
    """Solve for the diode's current at open circuit (A) and the shunt conductance (S): the curve has three points."""
    falls = []
    for voltage, current in ((0.0, label.module_isc), (label.module_vmp, label.module_imp)):
        below = label.module_voc - voltage - current * resistance
        falls.append((-math.expm1(-below / scaled_voltage), below, current))
    (first, short, isc), (second, best, imp) = falls
    determinant = first * best - second * short
    return (isc * best - imp * short) / determinant, (first * imp - second * isc) / determinant


def _power_slope_at(label: Label, scaled_voltage: float, resistance: float) -> float:
    """Measure how far the curve falls too steeply for most power at the label's point (A)."""
    steep, conductance = _linear(label, scaled_voltage, resistance)
    diode_voltage = label.module_vmp + label.module_imp * resistance
    slope = steep / scaled_voltage * math.exp((diode_voltage - label.module_voc) / scaled_voltage) + conductance
    return slope * (label.module_vmp - label.module_imp * resistance) - label.module_imp


def _activation_energy(label: Label, scaled: float, steep: float, conductance: float, light: float) -> float:
    """Find the energy (eV) with which the open-circuit voltage moves with temperature as the label says."""
    cool = STANDARD_CELL + _ZERO_CELSIUS
    warm = cool + _VOC_STEP
    voc = label.module_voc * (1 + label.voc_coefficient * _VOC_STEP)
    left = light + label.module_isc * label.isc_coefficient * _VOC_STEP - conductance * voc
    if voc <= 0 or left <= 0:
        raise FitError(_NO_COEFFICIENT)
    growth = math.log(left / steep) + label.module_voc / scaled - voc * cool / (scaled * warm)
    growth -= 3 * math.log(warm / cool)
    return _BOLTZMANN * growth / (1 / cool - (1 + _BAND_GAP_SLOPE * _VOC_STEP) / warm)


def _root(rising: Callable[[float], float], low: float, high: float) -> float:
    """Find where a rising function of one variable is zero, not above it; the end next to it if that lies outside.

    Chandrupatla's method: inverse quadratic interpolation where that is safe, else halving ('A new hybrid
    quadratic/bisection algorithm', Advances in Engineering Software 28 (1997), p. 145-149; from memory).
    """
    below, above = rising(low), rising(high)
    if below >= 0:
        return low
    if above <= 0:
        return high
    newest, older, oldest = (high, above), (low, below), (low, below)
    share = 0.5
    while True:
        index = newest[0] + share * (older[0] - newest[0])
        newer = (index, rising(index))
        if (newer[1] > 0) == (newest[1] > 0):
            oldest = newest
        else:
            oldest, older = older, newest
        newest = newer
        width = abs(older[0] - newest[0])
        smallest = _CLOSE_ENOUGH * max(abs(low), abs(high))
        if newer[1] == 0 or width <= 2 * smallest:
            return min(newest, older, key=lambda end: end[0])[0]
        share = _next_share(newest, older, oldest)
        share = min(1 - smallest / width, max(smallest / width, share))


def _next_share(newest: Point, older: Point, oldest: Point) -> float:
    """Say how far to go from the newest point to the one across the root."""
    (a, fa), (b, fb), (c, fc) = newest, older, oldest
    if fc in (fa, fb) or b == c:
        return 0.5
    along, up = (a - b) / (c - b), (fa - fb) / (fc - fb)
    if not (up**2 < along and (1 - up) ** 2 < 1 - along):
        return 0.5
    return fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)


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

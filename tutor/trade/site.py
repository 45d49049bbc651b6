"""Temperatures that a string meets at its site, in degrees Celsius, and the voltage that they leave it."""

from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

STANDARD_CELL: Final = 25.0  # °C, at which a label's figures hold (the IEC's list of terms)
_STEPS = 72  # a year in steps of about five days, an even number so that both turning points are steps
_YEAR = 365.0
_MID_JANUARY = 15.0
_OFF_SEASON = 0.7  # share of the season's departure from the mean that the opposite season keeps

Temperature = TypeVar("Temperature", float, NDArray[np.float64])


@dataclass(frozen=True)
class YearOfTemperatures:
    """The coldest morning and the hottest cell (°C) over the days of a year (1 January is day 0)."""

    day: NDArray[np.float64]
    coldest_morning: NDArray[np.float64]
    hottest_cell: NDArray[np.float64]


def cell_temperature(ambient: float, nominal_cell_temperature: float, irradiance: float) -> float:
    """Estimate the cells' temperature (°C) in the sun: T_air + (NOCT − 20 °C)·G / 800 W/m².

    ambient and nominal_cell_temperature (NOCT) in °C, irradiance in W/m².  NOCT is measured in open-rack mounting at
    800 W/m², 20 °C air and 1 m/s wind (IEC 61215, by two glossaries); close to a roof cells run hotter than this.
    """
    return ambient + (nominal_cell_temperature - 20.0) * irradiance / 800.0


def year_of_temperatures(
    record_low: float, hottest_cell: float, january_mean: float, july_mean: float
) -> YearOfTemperatures:
    """Draw a year whose lowest value is the record low and whose highest is the hottest cell (all °C).

    This is a teaching curve, not weather data: one smooth annual cosine that turns in the middle of January and of
    July.  In the cold season mornings depart from the month's mean by as much as the record low does, in the warm
    season by 0.7 of that; the hottest cells likewise (common practice, no source).
    Raises ValueError unless record_low < both means < hottest_cell.
    """
    coldest_mean, warmest_mean = sorted((january_mean, july_mean))
    if not record_low < coldest_mean <= warmest_mean < hottest_cell:
        raise ValueError("both monthly means have to lie between the record low and the hottest cell")
    step = np.arange(_STEPS) / _STEPS
    northern = july_mean >= january_mean
    warmth = (1 - np.cos(2 * np.pi * step)) / 2 if northern else (1 + np.cos(2 * np.pi * step)) / 2
    summer_morning = warmest_mean - _OFF_SEASON * (coldest_mean - record_low)
    winter_cell = coldest_mean + _OFF_SEASON * (hottest_cell - warmest_mean)
    day = (_MID_JANUARY + _YEAR * step) % _YEAR
    order = np.argsort(day)
    return YearOfTemperatures(
        day=day[order],
        coldest_morning=(record_low + (summer_morning - record_low) * warmth)[order],
        hottest_cell=(winter_cell + (hottest_cell - winter_cell) * warmth)[order],
    )


def voltage_at(voltage: float, coefficient: float, temperature: Temperature) -> Temperature:
    """Move a label's voltage (V) to a cell temperature (°C): V·(1 + coefficient·(T − 25 °C)), a share per kelvin.

    Source: NFPA 70-2017 690.7(A)(1) for the open-circuit voltage (third-party transcription); the same straight line
    holds for the operating voltage with its own coefficient (training hand-outs).
    """
    return voltage * (1 + coefficient * (temperature - STANDARD_CELL))

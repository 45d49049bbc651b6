"""Voltages of modules and strings, and how many modules a limit allows.

Working units throughout: volts, degrees Celsius, shares per kelvin (−0.0027 is −0.27 %/K).
"""

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tutor.trade.counts import round_down, round_up

STANDARD_CELL = 25.0  # °C, at which a label's figures hold (the IEC's list of terms)

Temperature = TypeVar("Temperature", float, NDArray[np.float64])


def voltage_at(voltage: float, coefficient: float, temperature: Temperature) -> Temperature:
    """Move a label's voltage (V) to a cell temperature (°C): V·(1 + coefficient·(T − 25 °C)).

    Source: NFPA 70-2017 690.7(A)(1) for the open-circuit voltage (third-party transcription); the same straight line
    holds for the operating voltage with its own coefficient (training hand-outs).
    """
    return voltage * (1 + coefficient * (temperature - STANDARD_CELL))


def most_in_series(limit: float, module_voltage: float) -> int:
    """Count the modules whose voltages (V) together stay at or below a limit (V): the quotient rounded down.

    Source: arithmetic; the limit is the lowest of the input's, the module's and the code's (NFPA 70-2017 690.7,
    third-party transcription).  Raises ValueError unless both are positive.
    """
    return int(round_down(_quotient(limit, module_voltage)))


def fewest_in_series(target: float, module_voltage: float) -> int:
    """Count the modules whose voltages (V) together reach at least a target (V): the quotient rounded up.

    Source: arithmetic; common practice, no source.  Raises ValueError unless both are positive.
    """
    return int(round_up(_quotient(target, module_voltage)))


def _quotient(string_voltage: float, module_voltage: float) -> float:
    if not (0 < string_voltage < math.inf and 0 < module_voltage < math.inf):
        raise ValueError("the string's voltage and the module's voltage both have to be above 0 V")
    return string_voltage / module_voltage

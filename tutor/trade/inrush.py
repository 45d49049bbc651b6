"""Inrush: an inverter's empty input capacitors charged through a resistance, with and without pre-charge.

Units: V, Ω, F, A, s, J.  Closed form for one resistance in series with one capacitor; the inductance of the cables is
left out, so that a real first peak is a little lower and later.
Source: the charging of a capacitor through a resistance, as in any text on electric circuits.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Charging:
    """A capacitor (F) that a source's voltage (V) charges through a resistance (Ω), at first up to `charged` (V).

    Raises ValueError, saying what to mend, for values that make no such circuit.
    """

    voltage: float
    resistance: float
    capacitance: float
    charged: float = 0.0

    def __post_init__(self) -> None:
        if not (self.resistance > 0 and self.capacitance > 0):
            raise ValueError("the resistance and the capacitance have to be above 0")
        if not 0 <= self.charged <= self.voltage:
            raise ValueError("the capacitor's first voltage has to lie between 0 and the source's voltage")

    @property
    def time_constant(self) -> float:
        """The time (s) in which the current falls to 1/e, 36.8 %: R·C."""
        return self.resistance * self.capacitance

    @property
    def peak_current(self) -> float:
        """The current (A) at the first instant: (V − V_0)/R, which is V/R for an empty capacitor."""
        return (self.voltage - self.charged) / self.resistance

    def current(self, time: float) -> float:
        """The current (A) after a time (s): I_peak·exp(−t/RC)."""
        return self.peak_current * math.exp(-time / self.time_constant)

    def capacitor_voltage(self, time: float) -> float:
        """The capacitor's voltage (V) after a time (s): V − (V − V_0)·exp(−t/RC)."""
        return self.voltage - self.resistance * self.current(time)

    @property
    def heat(self) -> float:
        """The energy (J) that the resistance turns into heat in the end: C·(V − V_0)²/2, whatever its value."""
        return self.capacitance * (self.voltage - self.charged) ** 2 / 2


@dataclass(frozen=True)
class PreCharge:
    """Charging through a resistor for a time (s) first, then through the circuit alone once the main switch closes.

    `resistance` (Ω) is the circuit's own, of battery, cables and capacitors; `resistor` (Ω) comes on top of it.
    """

    voltage: float
    resistance: float
    capacitance: float
    resistor: float
    time: float

    @property
    def through_resistor(self) -> Charging:
        """The charging through the pre-charge resistor, from empty."""
        return Charging(self.voltage, self.resistance + self.resistor, self.capacitance)

    @property
    def after_closing(self) -> Charging:
        """What is left for the main switch to charge when it closes."""
        reached = self.through_resistor.capacitor_voltage(self.time)
        return Charging(self.voltage, self.resistance, self.capacitance, reached)

    @property
    def peak_current(self) -> float:
        """The larger of the two first currents (A): through the resistor, and when the main switch closes."""
        return max(self.through_resistor.peak_current, self.after_closing.peak_current)

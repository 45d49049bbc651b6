"""Conductors: what current they may carry, what they drop, and the smallest that will do.

Working units throughout: amperes, volts, metres, ohms (per metre), degrees Celsius, shares; a conductor's size is its
cross-section in square metres.  Where the rulebooks differ, the figures differ, not the formulas: see the table
`rule_numbers` for each one's edition, source and standing.  For learning only: the code adopted where you live and a
licensed electrician decide.
"""

from dataclasses import dataclass

from tutor.trade.rulebooks import Rulebook, Size

_REPRESENTATION = 1e-12  # so much a computed current may miss an ampacity by binary rounding


@dataclass(frozen=True)
class Laid:
    """How a conductor is laid: its insulation's limit, the air and the terminals (°C), the conductors it lies with.

    `conductors` counts the current-carrying ones, itself included.  `terminals` is None where they set no limit.
    `ampacity` and `ambient_factor` name the rulebook's tables for this way of laying.
    """

    insulation: float
    ambient: float = 30.0
    conductors: int = 1
    terminals: float | None = None
    ampacity: str = "ampacity"
    ambient_factor: str = "ambient_factor"


def conditions_factor(book: Rulebook, laid: Laid) -> float:
    """Multiply the factor for the air temperature by that for conductors laid together.

    Source: NFPA 70-2017 310.15(B)(2) and (3)(a), third-party transcription; IEC 60364-5-52:2009 Tables B.52.14 and
    B.52.17, reproductions.  Raises TableError where the tables end.
    """
    ambient = book.tables[laid.ambient_factor].look_up(laid.ambient, laid.insulation)
    return ambient * book.tables["grouping_factor"].look_up(laid.conductors)


def table_ampacity(book: Rulebook, size: float, insulation: float, table: str = "ampacity") -> float:
    """Read the ampacity (A) of a size (m²) in the column of an insulation's limit (°C), before any correction.

    Source: NFPA 70-2017 Tables 310.15(B)(16) and (17) (310.16 and 310.17 from 2020 on), third-party transcription; IEC
    60364-5-52:2009 Annex B, reproductions.  Raises TableError where the table has no such row.
    """
    return book.tables[table].look_up(size, insulation)


def corrected_ampacity(book: Rulebook, size: float, laid: Laid) -> float:
    """Correct the ampacity (A) of the conductor's own column: I_table · k_ambient · k_grouping.

    Source: as conditions_factor and table_ampacity, which also tell the errors raised.
    """
    return table_ampacity(book, size, laid.insulation, laid.ampacity) * conditions_factor(book, laid)


def terminal_ampacity(book: Rulebook, size: float, laid: Laid) -> float:
    """Read the ampacity (A) of the column that the terminals allow, before any correction.

    Source: NFPA 70-2017 110.14(C), third-party transcription; IEC 60364-5-52:2009 523.1, by a trade association.
    """
    return table_ampacity(book, size, _terminal_column(laid), laid.ampacity)


def _terminal_column(laid: Laid) -> float:
    return laid.insulation if laid.terminals is None else min(laid.insulation, laid.terminals)


def usable_ampacity(book: Rulebook, size: float, laid: Laid) -> float:
    """Take the lower of the corrected ampacity (A) and what the terminals allow.

    A 90 °C conductor is corrected from its 90 °C column, yet never gets more than its terminals' column.
    Source: NFPA 70-2017 110.14(C) and 310.15(B), third-party transcription.
    """
    return min(corrected_ampacity(book, size, laid), terminal_ampacity(book, size, laid))


def terminal_temperature(book: Rulebook, circuit_current: float, marked: float | None = None) -> float:
    """Find the temperature (°C) for which a circuit's terminals are taken to be fit, unless they are marked.

    United States: 60 °C up to 100 A, 75 °C above; IEC: 70 °C.
    Source: NFPA 70-2017 110.14(C)(1), third-party transcription; IEC 60364-5-52:2009 523.1, by a trade association.
    """
    if marked is not None:
        return marked
    small = circuit_current <= book.number("terminal_small_current")
    return book.number("terminal_small" if small else "terminal_large")


def needed_ampacity(continuous: float, other: float, continuous_factor: float, conditions: float) -> float:
    """The table ampacity (A) that a load needs: max(k_c·I_continuous + I_other, (I_continuous + I_other)/k_conditions).

    Two tests, of which the larger need wins; the factors are not multiplied.  With a factor of 1.25 they are equal at
    conditions of 0.8.  Source: NFPA 70-2017 210.19(A)(1)(a) and (b), 690.8(B)(1) and (2), third-party transcription.
    """
    return max(continuous_factor * continuous + other, (continuous + other) / conditions)


def carries(book: Rulebook, size: float, laid: Laid, continuous: float, other: float = 0.0) -> bool:
    """Whether a size passes both tests for a continuous and another current (A), within its terminals' limit.

    Before correction: k_c·I_continuous + I_other ≤ I_terminals.  After it: I_continuous + I_other ≤ I_usable.
    Source: as needed_ampacity and usable_ampacity.
    """
    slack = 1 + _REPRESENTATION
    before = book.number("continuous_factor") * continuous + other <= terminal_ampacity(book, size, laid) * slack
    return before and continuous + other <= usable_ampacity(book, size, laid) * slack


def most_continuous_current(book: Rulebook, size: float, laid: Laid) -> float:
    """The largest continuous current (A) that passes both tests: min(I_terminals/k_c, I_usable).

    Source: as carries.
    """
    before = terminal_ampacity(book, size, laid) / book.number("continuous_factor")
    return min(before, usable_ampacity(book, size, laid))


def resistance(book: Rulebook, size: float, temperature: float | None = None, table: str = "resistance") -> float:
    """Find the resistance (Ω/m) of a size (m²) at a conductor temperature (°C): R·(1 + α·(T − T_table)).

    None is the table's own temperature: 75 °C with α = 0.00323/K for copper in the United States (0.00330/K for
    aluminium), 20 °C with α = 0.00393/K in IEC.
    From the tables, never from bare resistivity: stranded conductors lie 2 % to 16 % above it.
    Source: NFPA 70-2017 Chapter 9 Table 8 and its note 2, third-party transcription; IEC 60228:2004 Tables 2 and 3, in
    reproductions, and IEC 60028, by an instrument maker.
    """
    return book.tables[table].look_up(size) * _temperature_factor(book, temperature, table)


def _temperature_factor(book: Rulebook, temperature: float | None, table: str) -> float:
    if temperature is None:
        return 1.0
    metal = "_aluminium" if table == "resistance_aluminium" else ""
    return 1 + book.number(f"resistance_coefficient{metal}") * (temperature - book.number("resistance_reference"))


def drop(current: float, length: float, ohms_per_metre: float) -> float:
    """The voltage (V) lost on a run, there and back: 2·I·L·R, with L (m) counted one way, for dc and single phase.

    Source: NFPA 70-2017 210.19(A) informational note 4, third-party transcription, for the guidance; Ohm's law.
    """
    return 2 * current * length * ohms_per_metre


def longest_run(allowed_drop: float, current: float, ohms_per_metre: float) -> float:
    """The one-way length (m) at which a run loses the drop allowed (V): ΔU/(2·I·R).  Source: as drop."""
    return allowed_drop / (2 * current * ohms_per_metre)


def most_current_for_drop(allowed_drop: float, length: float, ohms_per_metre: float) -> float:
    """The current (A) at which a run of a one-way length (m) loses the drop allowed (V).  Source: as drop."""
    return allowed_drop / (2 * length * ohms_per_metre)


def most_resistance(allowed_drop: float, current: float, length: float) -> float:
    """The most a conductor may resist (Ω/m) for a drop (V) on a one-way length (m): ΔU/(2·I·L).  Source: as drop."""
    return allowed_drop / (2 * current * length)


def smallest_for_drop(
    book: Rulebook,
    current: float,
    length: float,
    allowed_drop: float,
    temperature: float | None = None,
    table: str = "resistance",
) -> Size:
    """Choose the smallest size whose run of a one-way length (m) loses at most the drop allowed (V).

    The temperature (°C) is the conductor's, as in resistance.  Raises TableError if the largest size loses more.
    """
    warmer = _temperature_factor(book, temperature, table)
    listed = most_resistance(allowed_drop, current, length) / warmer
    return book.size_of(book.tables[table].first_size_at_most(listed))


def current_drawn(power: float, voltage: float, efficiency: float = 1.0) -> float:
    """The current (A) that a power (W) delivered draws at a voltage (V): P/(U·η).

    An inverter draws most from a battery at its lowest voltage: divide by the efficiency, do not multiply.
    Source: NFPA 70-2017 690.8(A)(4) and 706.20(A)(3), third-party transcription; a national laboratory's guide, in a
    blog, for the efficiency.
    """
    return power / (voltage * efficiency)

"""Conductors: what current they may carry as they are laid, by the tables of a rulebook.

Working units throughout: amperes, volts, degrees Celsius, shares; a conductor's size is its cross-section in square
metres.  Where the rulebooks differ, the figures differ, not the formulas: see the table `rule_numbers` for each one's
edition, source and standing.  For learning only: the code adopted where you live and a licensed electrician decide.
"""

from dataclasses import dataclass

from tutor.trade.rulebooks import Rulebook

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


def carries(book: Rulebook, size: float, laid: Laid, continuous: float, other: float = 0.0) -> bool:
    """Whether a size passes both tests for a continuous and another current (A), within its terminals' limit.

    Before correction: k_c·I_continuous + I_other ≤ I_terminals.  After it: I_continuous + I_other ≤ I_usable.
    The larger need wins; the factors are not multiplied.  Source: NFPA 70-2017 210.19(A)(1)(a) and (b), 690.8(B)(1) and
    (2), third-party transcription; for the terminals as usable_ampacity.
    """
    slack = 1 + _REPRESENTATION
    before = book.number("continuous_factor") * continuous + other <= terminal_ampacity(book, size, laid) * slack
    return before and continuous + other <= usable_ampacity(book, size, laid) * slack


def current_drawn(power: float, voltage: float, efficiency: float = 1.0) -> float:
    """The current (A) that a power (W) delivered draws at a voltage (V): P/(U·η).

    An inverter draws most from a battery at its lowest voltage: divide by the efficiency, do not multiply.
    Source: NFPA 70-2017 690.8(A)(4) and 706.20(A)(3), third-party transcription; a national laboratory's guide, in a
    blog, for the efficiency.
    """
    return power / (voltage * efficiency)

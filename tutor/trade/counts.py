"""Whole numbers of things: the one rounding up and down of answers, marking, figures and tests alike."""

import math
from typing import Final

ROUNDING_SLACK: Final = 1e-9  # a value this close (relative) to a whole number or a limit counts as being on it


def round_down(value: float) -> float:
    """The largest whole number that is not above the value."""
    return float(math.floor(value + ROUNDING_SLACK * max(1.0, abs(value))))


def round_up(value: float) -> float:
    """The smallest whole number that is not below the value."""
    return float(math.ceil(value - ROUNDING_SLACK * max(1.0, abs(value))))

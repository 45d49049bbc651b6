"""Intervals of what was counted: the one home of their formulas."""

import math
from statistics import NormalDist

Interval = tuple[float, float]

CONFIDENCE = 0.95
Z = NormalDist().inv_cdf((1 + CONFIDENCE) / 2)


def wilson(count: int, total: int) -> Interval:
    """Wilson's 95 % interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927); not a number if `total` is 0."""
    if total == 0:
        return math.nan, math.nan
    share = count / total
    middle = (share + Z * Z / (2 * total)) / (1 + Z * Z / total)
    half = Z * math.sqrt(share * (1 - share) / total + Z * Z / (4 * total * total)) / (1 + Z * Z / total)
    return max(0.0, middle - half), min(1.0, middle + half)


def fisher(correlation: float, pairs: int) -> Interval | None:
    """Fisher's 95 % interval of a correlation (R. A. Fisher, Metron 1, 1921); None from fewer than 4 pairs or at ±1."""
    if pairs < 4 or abs(correlation) >= 1:
        return None
    middle, half = math.atanh(correlation), Z / math.sqrt(pairs - 3)
    return math.tanh(middle - half), math.tanh(middle + half)


def bonett(alpha: float, learners: int, items: int) -> Interval | None:
    """Bonett's 95 % interval of coefficient alpha (D. G. Bonett, J. Educ. Behav. Stat. 27, 2002, 335-340).

    ln(1 - alpha) is taken as normal with the variance 2k / ((k - 1)(n - 2)).  None where that does not exist.
    """
    if learners < 3 or items < 2 or alpha >= 1:
        return None
    half = Z * math.sqrt(2 * items / ((items - 1) * (learners - 2)))
    return 1 - (1 - alpha) * math.exp(half), 1 - (1 - alpha) * math.exp(-half)

"""With how many figures a value is printed, so that what is printed is right and can be compared as it stands.

A step has four significant figures and a result three: with fewer, an honest result could miss the half per cent within
which it is right.  Zeros at the end are printed on labels only, so that no result claims more than its givens carry.
"""

import math
from collections.abc import Iterator
from typing import Final

from tutor.base.units import decimals_of, plain_number

STEP_FIGURES: Final = 4
RESULT_FIGURES: Final = 3
MOST_FIGURES: Final = 12  # two values that look the same with so many are the same
_SAME: Final = 1e-9  # relative; what rounding in floating point leaves between two values


def roundings(value: float, figures: int) -> Iterator[str]:
    """A value with so many figures and then with more; of each, the nearest number, then the one on the other side."""
    for count in range(figures, MOST_FIGURES + 1):
        decimals = decimals_of(value, count)
        nearest = plain_number(value, decimals)
        yield nearest
        away = 10.0**-decimals if float(nearest) < value else -(10.0**-decimals)
        yield plain_number(float(nearest) + away, decimals)


def telling_figures(left: float, right: float) -> int:
    """With how many figures two values look as they are: the one that is larger, larger."""
    if abs(left - right) <= _SAME * max(abs(left), abs(right)):
        return STEP_FIGURES
    return next(
        (figures for figures in range(STEP_FIGURES, MOST_FIGURES) if _differ_alike(left, right, figures)),
        MOST_FIGURES,
    )


def same(left: float, right: float) -> bool:
    """Whether two values differ by no more than floating-point arithmetic leaves."""
    return math.isclose(left, right, rel_tol=_SAME)


def _differ_alike(left: float, right: float, figures: int) -> bool:
    first, second = (float(plain_number(value, decimals_of(value, figures))) for value in (left, right))
    return (first < second) == (left < right) and first != second

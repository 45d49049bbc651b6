"""KR-20 and the interval of a share against figures that others have printed."""

import pytest

from tutor.base.intervals import wilson
from tutor.classroom.reports.statistics import kr20, set_statistics

# K. L. Wuensch, "The Kuder-Richardson 20", East Carolina University, StatHelp/KR20.txt (read): ten students, a quiz of
# ten items, with the p of each item, the sum of p q = 2.18 and the (population) variance of the totals, 5.84.
QUIZ = """
1111110110
1011011101
1111011001
0010001000
0000010010
1110111111
1101110111
1111111101
0101111101
1101101110
"""
TABLE = [[int(score) for score in row] for row in QUIZ.split()]
SHARES = [0.7, 0.7, 0.6, 0.7, 0.6, 0.8, 0.7, 0.7, 0.5, 0.6]


def test_the_quiz_is_as_printed():
    assert [sum(row) for row in TABLE] == [8, 7, 7, 2, 2, 9, 8, 9, 7, 7]


def test_kr20_of_a_printed_quiz():
    # 10/9 (1 - 2.18 / 5.84), from the printed sums.
    assert kr20(TABLE) == pytest.approx(10 / 9 * (1 - 2.18 / 5.84), abs=1e-12)


def test_the_share_right_of_each_item_of_a_printed_quiz(make):
    assert [place.right.value for place in set_statistics(make["class"](TABLE)).places] == pytest.approx(SHARES)


# R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3; values from memory.
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0000, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilsons_interval_of_printed_shares(count, of, low, high):
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)

"""Relations in words, for those who listen: no call is a name with brackets."""

import pytest

from tutor.expression.grammar import parse
from tutor.expression.notation import SPOKEN, plain_leaf
from tutor.expression.tree import Call


@pytest.mark.parametrize(
    ("relation", "words"),
    [
        ("round_down(limit / voltage)", "limit divided by voltage, rounded down"),
        ("round_up(load)", "load, rounded up"),
        ("least(a, b + c)", "the least of a and open bracket b plus c close bracket"),
        ("look_up(ampacity, size, column)", "the ampacity for size and column"),
        ("first_at_least(standard_ratings, current)", "the first of the standard ratings that is not below current"),
        ("last_at_most(standard_ratings, current)", "the last of the standard ratings that is not above current"),
        ("next_below(standard_ratings, rating)", "the next of the standard ratings below rating"),
        ("first_size_above(ampacity, current, t)", "the smallest conductor whose ampacity for t is more than current"),
        ("first_size(ampacity, i, column)", "the smallest conductor whose ampacity for column is at least i"),
        ("first_size_at_most(resistance, r)", "the smallest conductor whose resistance is at most r"),
    ],
)
def test_a_call_is_spoken_as_a_phrase(relation, words):
    assert " ".join(SPOKEN.write(parse(relation), plain_leaf).split()) == words


def test_a_root_that_comes_of_turning_a_relation_round_is_spoken_too():
    root = Call("sqrt", (parse("a * b"),), "")
    assert " ".join(SPOKEN.write(root, plain_leaf).split()) == "the square root of open bracket a times b close bracket"


def test_no_relation_of_any_exercise_is_spoken_as_a_call(question):
    for tree in question.relations.values():
        assert "[" not in SPOKEN.write(tree, plain_leaf)

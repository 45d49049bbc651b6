"""Each learner's own numbers: always the same, nobody's else's, equally difficult at each place."""

import hashlib
import hmac

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.classroom.models import Item, PracticeSet
from tutor.classroom.sets.difficulty import Variants, number_from, profile, spread, spread_of_preview
from tutor.problems.order import OrderProblem

SECRET = "5f" * 32


def wide_set(library, book, exercises=None, each=1):
    fitting = [id_ for id_, one in library.exercises.items() if book in getattr(one, "rulebooks", [book])]
    items = [Item(exercise=id_) for id_ in (exercises or fitting[:60:each])]
    return PracticeSet(id="wide", title="wide", rulebook=book, items=items)


def test_the_number_is_an_hmac_by_the_standard_library():
    """RFC 2104; each part with its length in four bytes before it."""
    message = b"\0\0\0\7learner\0\0\0\x0212"
    digest = hmac.digest(bytes.fromhex(SECRET), message, hashlib.sha256)
    assert number_from(SECRET, "learner", 12) == int.from_bytes(digest[:16], "big") % 10**12


@given(st.lists(st.text(max_size=8), max_size=4), st.lists(st.text(max_size=8), max_size=4))
def test_other_parts_make_another_number(one, other):
    assert (number_from(SECRET, *one) == number_from(SECRET, *other)) == (one == other)


def test_the_same_secret_gives_the_same_problems_and_another_secret_others(engine):
    practice_set = wide_set(engine.library, "us", ["most-modules-in-series", "drop-on-a-run"])

    def numbers(secret, learner):
        return [problem.number for problem in Variants(engine, practice_set, secret).of_learner(learner)]

    assert numbers(SECRET, 1) == numbers(SECRET, 1)
    assert len({tuple(numbers(secret, learner)) for secret in (SECRET, "60" * 32) for learner in (1, 2)}) == 4


def test_a_place_is_as_difficult_whoever_is_asked_first(engine):
    practice_set = wide_set(engine.library, "us", ["most-modules-in-series", "drop-on-a-run"])
    forwards, backwards = (Variants(engine, practice_set, SECRET) for _ in range(2))
    one = [forwards.of_learner(1), forwards.of_learner(2)]
    other = [backwards.of_learner(2), backwards.of_learner(1)][::-1]
    assert [[p.number for p in problems] for problems in one] == [[p.number for p in problems] for problems in other]


@pytest.mark.parametrize("each", [6, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("book", ["us", "iec"])
def test_all_variants_of_a_place_have_one_difficulty(engine, book, each):
    """Of the exercises with numbers, nine tenths of a class of 30 have the very same profile at every place."""
    for found in spread_of_preview(Variants(engine, wide_set(engine.library, book, each=each), SECRET), 30):
        assert found.alike >= 0.9, found
        assert found.variants == 30
        assert found.steps[0] == found.steps[1], found
        assert found.size[1] - found.size[0] <= 1, found


def test_a_learner_does_not_get_one_problem_twice(engine):
    practice_set = wide_set(engine.library, "us").model_copy(
        update={"items": [Item(exercise="most-modules-in-series", problems=20)]}
    )
    variants = Variants(engine, practice_set, SECRET)
    for learner in range(5):
        told = [tuple(amount.text for amount in problem.shown.values()) for problem in variants.of_learner(learner)]
        assert len(set(told)) == 20


def test_learners_get_numbers_of_their_own(engine):
    variants = Variants(engine, wide_set(engine.library, "us", ["string-voltage-at-record-low"]), SECRET)
    told = [tuple(amount.text for amount in variants.of_learner(learner)[0].shown.values()) for learner in range(30)]
    assert len(set(told)) >= 28


def test_the_profile_counts_steps_mistakes_and_tens(engine):
    """Counted by hand from the worked solution and the declared mistakes."""
    problem = Variants(engine, wide_set(engine.library, "us", ["string-voltage-at-record-low"]), SECRET).of_learner(1)[
        0
    ]
    assert not isinstance(problem, OrderProblem)
    answers = [round(values[problem.ask], 6) for _, values in problem.predictions]
    assert profile(problem).steps == len(problem.question.right.steps)
    assert profile(problem).traps <= len(set(answers))
    assert 10 ** profile(problem).size <= problem.answer.value < 10 ** (profile(problem).size + 1)


def test_the_spread_of_a_class_is_that_of_what_was_handed_out(school):
    found = spread(one for problems in school.handed for one in problems)
    assert [one.place for one in found] == [1, 2, 3, 4, 5]
    assert {one.variants for one in found} == {3}
    assert all(one.steps[0] == one.steps[1] for one in found[:4])

"""The statistics against scipy, pingouin and numpy on random classes, and against cases worked by hand."""

import json
import math
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest, pearsonr, pointbiserialr

from tutor.base.intervals import bonett, fisher, wilson
from tutor.classroom.models import Member
from tutor.classroom.reports.statistics import ENOUGH, Share, correlation, kr20, set_statistics


def random_class(learners, places, seed):
    """A class of one latent ability, as a table of 0 and 1; without it every tenth time, so that KR-20 nears 0."""
    random = np.random.default_rng(seed)
    ability, hardness = random.normal(size=(learners, 1)), random.normal(size=(1, places))
    noise = random.normal(size=(learners, places)) * (1 if seed % 10 else 50)
    return (noise < ability - hardness).astype(int).tolist()


CLASSES = st.builds(random_class, st.integers(2, 40), st.integers(2, 25), st.integers(0, 10**6))


def alpha_by_covariances(table):
    """Cronbach's alpha from the covariance matrix of the items: k/(k-1) (1 - trace / sum of all entries)."""
    covariances = np.cov(np.asarray(table, float).T)
    places = covariances.shape[0]
    return places / (places - 1) * (1 - np.trace(covariances) / covariances.sum())


@settings(max_examples=300)
@given(CLASSES)
def test_item_rest_equals_scipys_point_biserial(table):
    rows = np.array(table)
    for at in range(rows.shape[1]):
        item, rest = rows[:, at], rows.sum(axis=1) - rows[:, at]
        ours = correlation(item.tolist(), rest.tolist())
        if np.ptp(item) == 0 or np.ptp(rest) == 0:
            assert ours is None
        else:
            assert ours == pytest.approx(pointbiserialr(item, rest).statistic, abs=1e-12)


@settings(max_examples=300)
@given(CLASSES)
def test_kr20_equals_cronbachs_alpha_from_covariances(table):
    ours = kr20(table)
    if np.ptp(np.array(table).sum(axis=1)) == 0:
        assert ours is None
    else:
        assert ours == pytest.approx(alpha_by_covariances(table), abs=1e-12, rel=1e-12)


def test_kr20_equals_an_independent_librarys_alpha():
    import pandas as pd
    import pingouin

    for seed in range(200):
        table = np.array(random_class(5 + seed % 50, 2 + seed % 23, seed))
        if np.ptp(table.sum(axis=1)) == 0:
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs, _ = pingouin.cronbach_alpha(data=pd.DataFrame(table.astype(float)))
        assert kr20(table.tolist()) == pytest.approx(theirs, abs=1e-12, rel=1e-12)


def test_sample_variance_in_kr20_would_be_seen():
    """With the sums' sample variance beside population p q, the result is another: the check above can fail."""
    table = np.random.default_rng(3).integers(0, 2, (60, 10)) | (np.arange(60) % 3 == 0)[:, None]
    p = table.mean(axis=0)
    mixed = 10 / 9 * (1 - (p * (1 - p)).sum() / table.sum(axis=1).var(ddof=1))
    assert abs(kr20(table.tolist()) - mixed) > 1e-3


@settings(max_examples=100)
@given(CLASSES)
def test_a_whole_set_gives_the_same_numbers_from_its_outcomes(make, table):
    found = set_statistics(make["class"](table))
    rows = np.array(table)
    assert [place.right.count for place in found.places] == rows.sum(axis=0).tolist()
    assert found.reliability.kr20 == kr20(table)
    assert found.reliability.learners == rows.shape[0]
    assert [place.item_rest for place in found.places] == [
        correlation(rows[:, at].tolist(), (rows.sum(axis=1) - rows[:, at]).tolist()) for at in range(rows.shape[1])
    ]


@given(st.integers(1, 300).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_wilsons_interval_equals_scipys(counted):
    theirs = binomtest(*counted).proportion_ci(0.95, method="wilson")
    assert wilson(*counted) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


@given(st.integers(4, 200), st.integers(0, 2**32 - 1))
def test_fishers_interval_equals_scipys(pairs, seed):
    random = np.random.default_rng(seed)
    one, other = random.normal(size=pairs), random.normal(size=pairs)
    theirs = pearsonr(one, other).confidence_interval(0.95)
    assert fisher(pearsonr(one, other).statistic, pairs) == pytest.approx((theirs.low, theirs.high), abs=1e-9)


def test_bonetts_interval_holds_the_true_alpha_as_often_as_it_says():
    """Classes of which alpha is known: k items of equal correlation rho, alpha = k rho/(1 + (k-1) rho)."""
    random = np.random.default_rng(7)
    learners, places, rho, trials = 40, 12, 0.25, 1000
    true = places * rho / (1 + (places - 1) * rho)
    hits = 0
    for _ in range(trials):
        common, own = random.normal(size=(learners, 1)), random.normal(size=(learners, places))
        interval = bonett(alpha_by_covariances(math.sqrt(rho) * common + math.sqrt(1 - rho) * own), learners, places)
        hits += interval[0] <= true <= interval[1]
    low, high = wilson(hits, trials)
    assert low - 0.01 <= 0.95 <= high + 0.01


def test_what_cannot_be_told_is_none():
    assert kr20([]) is None
    assert kr20([[1, 0]]) is None
    assert kr20([[1], [0]]) is None
    assert kr20([[1, 0], [0, 1]]) is None
    assert correlation([1, 1], [0, 3]) is None
    assert bonett(1.0, 30, 5) is None
    assert bonett(0.5, 2, 5) is None
    assert fisher(0.3, 3) is None
    assert fisher(1.0, 30) is None
    assert Share(0, 0).value is None
    assert Share(0, 0).interval is None


def test_a_set_without_outcomes_has_empty_statistics():
    found = set_statistics([])
    assert found.places == []
    assert found.reliability.kr20 is None
    assert not found.enough


def test_excused_is_left_out_and_open_counts_once_the_set_is_closed(make):
    table = [[1, 1], [0, 1], [None, 1], ["excused", 0]]
    running, closed = (set_statistics(make["class"](table), closed=closed) for closed in (False, True))
    assert (running.places[0].right, closed.places[0].right) == (Share(1, 2), Share(1, 3))
    assert (running.places[0].excused, running.places[0].open) == (1, 1)
    # Whole rows: the first two members while the set runs; the third too once it is closed; the excused one never.
    assert (running.reliability.learners, closed.reliability.learners) == (2, 3)


def test_who_has_not_submitted_a_closed_set_says_nothing_about_it(make):
    table = [[1, 1], [0, None], [None, None], ["excused", None]]
    closed = set_statistics(make["class"](table), closed=True)
    assert [place.right for place in closed.places] == [Share(1, 2), Share(1, 2)]
    assert [place.open for place in closed.places] == [1, 3]
    assert (closed.reliability.learners, closed.learners) == (2, 4)


def test_first_answers_with_help_or_mended_later_are_no_first_successes(make):
    member = [Member(id=at, name=f"L{at}") for at in range(4)]
    outcomes = [
        make["outcome"](member[0], 1, "right"),
        make["outcome"](member[1], 1, "wrong", "right"),
        make["outcome"](member[2], 1, {"verdict": "right", "help": "hints"}),
        make["outcome"](member[3], 1, {"verdict": "unclear", "counted": False}),
    ]
    (place,) = set_statistics(outcomes).places
    assert place.right == Share(3, 3)
    assert place.first == Share(1, 3)
    assert place.open == 1


def test_tries_and_seconds_run_to_the_deciding_answer(make):
    def typed(verdict, seconds, counted=True):
        return {"verdict": verdict, "seconds": seconds, "counted": counted}

    member = [Member(id=at, name=f"L{at}") for at in range(3)]
    outcomes = [
        make["outcome"](member[0], 1, typed("wrong", 60), typed("right", 100), typed("wrong", 500)),
        make["outcome"](member[1], 1, typed("unclear", 10, counted=False), typed("right", 40)),
        make["outcome"](member[2], 1, typed("wrong", 20), typed("wrong", 70), typed("wrong", None)),
    ]
    (place,) = set_statistics(outcomes).places
    # Tries 2, 1, 3; times 100, 40 and none told. Quartiles as numpy's linear ones.
    assert (place.tries.lower, place.tries.median, place.tries.upper) == (1.5, 2, 2.5)
    expected = np.quantile([100, 40], [0.25, 0.5, 0.75])
    assert (place.seconds.lower, place.seconds.median, place.seconds.upper) == pytest.approx(tuple(expected))


@pytest.mark.parametrize(("learners", "words"), [(ENOUGH - 1, False), (ENOUGH, True)])
def test_words_come_only_with_learners_enough(make, learners, words):
    # Place 1: all right but one (very easy). Place 6 goes against the others: those who have 2 to 5 get it wrong.
    table = [[int(at > 0), *[at % 2] * 4, 1 - at % 2] for at in range(learners)]
    found = set_statistics(make["class"](table))
    assert found.enough is words
    assert [bool(place.verdict) for place in found.places] == ([True, *[False] * 4, True] if words else [False] * 6)
    assert all(place.right.interval for place in found.places)
    if words:
        assert "very easy" in found.places[0].verdict
        assert "check its answer" in found.places[5].verdict


def test_statistics_are_ready_for_json(make):
    told = json.loads(json.dumps(set_statistics(make["class"]([[1, 0], [0, 0], [1, 1]])).as_json(), allow_nan=False))
    assert told["places"][0]["right"]["count"] == 2
    assert told["kr20"]["learners"] == 3

"""The report's figures: what they draw, say and table is what the numbers are."""

import pytest

from tutor.app.components.theme import DARK, LIGHT
from tutor.app.desk.report_figures import places_right, ranked_mistakes
from tutor.classroom.models import PracticeSet
from tutor.classroom.reports.mistakes import ClassMistake
from tutor.classroom.reports.statistics import (
    PlaceStatistics,
    Reliability,
    SetStatistics,
    Share,
)


def a_place(place, count, of):
    return PlaceStatistics(
        place=place, exercise="most-modules-in-series", ask="modules_in_series", right=Share(count, of),
        first=Share(0, of), item_rest=None, item_rest_interval=None, seconds=None, tries=None, excused=0, open=0,
    )  # fmt: skip


def a_set(*places, enough=False):
    reliability = Reliability(kr20=None, interval=None, learners=0, places=len(places))
    return SetStatistics(places=places, reliability=reliability, learners=20, enough=enough)


def a_mistake(words="the cold left out", learners=6, perhaps=1.5, broke_limit=4):
    again = PracticeSet(id="again", title="Again", items=[{"exercise": "most-modules-in-series"}])
    return ClassMistake(
        id="cold-left-out", words=words, says="Which morning?", lesson="cold-voltage", lesson_title="Cold", answers=9,
        exercises=(), learners=learners, perhaps=perhaps, broke_limit=broke_limit, did_harm=0, rank=1.0,
        examples=("14", "15"), safety=(), follow_up=again,
    )  # fmt: skip


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
def test_places_are_drawn_with_their_intervals(look):
    figure, sentence, rows = places_right(a_set(a_place(1, 18, 20), a_place(2, 5, 20)), look)
    (trace,) = figure.data
    assert list(trace.y) == [90, 25]
    # Wilson's interval of 5 of 20, worked by hand with z = 1.96: 11.2 % to 46.9 %.
    assert trace.y[1] + trace.error_y.array[1] == pytest.approx(46.9, abs=0.05)
    assert trace.y[1] - trace.error_y.arrayminus[1] == pytest.approx(11.2, abs=0.05)
    assert "fewest are right at place 2 (5 of 20)" in sentence
    assert "too few learners" in sentence
    assert rows[1]["95 % interval"] == "11\u00a0% to 47\u00a0%"
    assert figure.layout.paper_bgcolor == look.ground


def test_nothing_counted_yet_is_said():
    figure, sentence, rows = places_right(a_set(a_place(1, 0, 0)), LIGHT)
    assert rows == []
    assert sentence == "No answer has been counted yet."
    assert list(figure.data[0].x) == []
    assert "too few" not in places_right(a_set(a_place(1, 3, 40), enough=True), LIGHT).sentence


def test_mistakes_are_told_by_rank_and_danger_in_words():
    figure, sentence, rows = ranked_mistakes([a_mistake(), a_mistake("x" * 80, 2, 0.0, 0)], LIGHT)
    named, perhaps = figure.data
    assert (list(named.x), list(perhaps.x)) == ([6, 2], [1.5, 0])
    assert named.marker.pattern.shape != perhaps.marker.pattern.shape
    assert [note.text for note in figure.layout.annotations] == ["breaks a limit"]
    assert "the cold left out, named to 6 learners, and perhaps to 1.5 more; 4 of its 9 answers would break" in sentence
    assert rows[0]["Typed"] == "14; 15"
    assert rows[1]["Mistake"] == "x" * 80
    assert len(set(named.y)) == 2


def test_the_labels_of_mistakes_leave_room_for_the_bars_on_a_phone():
    long = "the string's open-circuit voltage on the coldest morning handed in as the answer"
    figure, _, _ = ranked_mistakes([a_mistake(), a_mistake(long)], LIGHT)
    short, cut = figure.data[0].y
    assert short == "1. the cold left out"
    assert cut.startswith("2. the string's open-<br>circuit")
    assert cut.endswith("…")
    assert max(map(len, cut.split("<br>"))) <= 26


def test_no_mistakes_are_said():
    figure, sentence, rows = ranked_mistakes([], LIGHT)
    assert (sentence, rows) == ("No mistake has been recognised yet.", [])
    assert figure.layout.height >= 120

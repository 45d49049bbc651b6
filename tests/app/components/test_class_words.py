"""What the class work page says in words, and the key under which a submit counts."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from tutor.app.components.class_words import (
    attempts_words,
    done,
    earlier_words,
    is_sent_again,
    progress_words,
    rules_words,
    saved_words,
    state_words,
    submit_key,
)
from tutor.classroom.models import Item, PracticeSet, StoredSet
from tutor.classroom.sets.views import AnswerForLearner, ForLearner, PlaceForLearner
from tutor.entries.kinds import label

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (("number", "V"), "Cold voltage (V)"),
        (("number", "degC"), "Cold voltage (°C)"),
        (("number",), "Cold voltage"),
        (("answer",), "Cold voltage (yes or no)"),
        (("choice", "", ("array", "supply")), "Cold voltage (array, supply)"),
        (("size",), "Cold voltage (standard size)"),
        (("order",), "The whole order (letters)"),
        (("next_action",), "What may come next (letters)"),
    ],
)
def test_a_label_says_what_may_be_typed(asked, expected):
    assert label("cold voltage", *asked) == expected


def line(state, left):
    return PlaceForLearner(place=1, code="7KQ4-2P", title="T", state=state, attempts_left=left)


@pytest.mark.parametrize(
    ("state", "left", "open_", "closed"),
    [
        ("open", 2, "not answered yet, 2 attempts left", "not answered"),
        ("wrong", 1, "not right yet, 1 attempt left", "not right"),
        ("wrong", 0, "not right, no attempts left", "not right"),
        ("answered", 1, "answered, 1 attempt left", "answered"),
        ("right", 0, "right", "right"),
        ("excused", 2, "excused", "excused"),
    ],
)
def test_a_problem_stands_as_its_words_say(state, left, open_, closed):
    assert state_words(line(state, left), closed=False) == open_
    assert state_words(line(state, left), closed=True) == closed


def test_done_is_what_needs_nothing_more():
    lines = [line("open", 2), line("wrong", 1), line("wrong", 0), line("answered", 1), line("right", 0)]
    assert done(lines) == 3
    assert progress_words([*lines, line("excused", 2)]) == "4 of 6 done"
    assert attempts_words(0) == "no attempts left"


def stored(class_name="Tuesdays", closed_at=None, **changes):
    rules = PracticeSet(id="a-set", title="A set", items=[Item(exercise="an-exercise")], **changes)
    return StoredSet(
        id=1, class_id=1, class_name=class_name, declaration=rules, code="ABC-DEF", secret="", class_secret="",
        made_at=NOON, closed_at=closed_at,
    )  # fmt: skip


def test_the_rules_are_told():
    told = rules_words(stored(attempts=1, closes=NOON, zone="Europe/Lisbon", marked="when closed", rulebook="iec"))
    assert told == (
        "Class Tuesdays · closes on Monday 2 March 2026 at 12:00 (Europe/Lisbon) · 1 attempt at each problem · "
        "marked when the set closes · rulebook IEC"
    )
    assert rules_words(stored("class")) == "3 attempts at each problem · marked at once · rulebook US"
    assert "closes" not in rules_words(stored(closes=NOON, closed_at=NOON))


def answer(entry="12", steps=None, source="screen", verdict="wrong", counted=True):
    return AnswerForLearner(
        at=NOON, source=source, entry=entry, steps=steps or {}, verdict=verdict, step_verdicts={}, feedback="",
        counted=counted, comment="",
    )  # fmt: skip


VIEW = ForLearner(
    place=1, places=1, code="7KQ4-2P", steps=[], attempts=2, attempts_left=2, why_not="", solved=False, excused=False,
    hints=[], hints_left=0, solution_may_be_seen=False,
)  # fmt: skip


def after(*answers):
    return replace(VIEW, answers=answers)


def test_the_last_answer_again_has_the_key_it_had():
    first = submit_key(VIEW, "12", {})
    assert submit_key(VIEW, "12", {}) == first
    assert submit_key(after(answer("12")), "12", {}) == first
    second = submit_key(after(answer("12")), "13", {})
    assert second != first
    assert submit_key(after(answer("12"), answer("13")), "13", {}) == second


def test_an_earlier_answer_again_is_a_new_one():
    first = submit_key(VIEW, "12", {})
    assert submit_key(after(answer("12"), answer("13")), "12", {}) != first


def test_other_steps_make_another_submit():
    assert submit_key(VIEW, "12", {"y": "1"}) != submit_key(VIEW, "12", {})
    assert submit_key(VIEW, "12", {"y": "1", "z": "2"}) == submit_key(VIEW, "12", {"z": "2", "y": "1"})
    assert not is_sent_again(after(answer("12")), "12", {"y": "1"})
    assert is_sent_again(after(answer("12", {"y": "1"})), "12", {"y": "1"})


def test_what_came_too_late_or_from_paper_may_be_sent_again():
    assert not is_sent_again(after(answer("12", verdict="", counted=False)), "12", {})
    assert not is_sent_again(after(answer("12", source="paper")), "12", {})
    assert is_sent_again(after(answer("12", verdict="unclear", counted=False)), "12", {})
    assert is_sent_again(after(answer("12", verdict="")), "12", {})  # kept back until the set closes


def test_problems_have_keys_of_their_own():
    assert submit_key(replace(VIEW, code="7KQ4-3R"), "12", {}) != submit_key(VIEW, "12", {})


def test_saving_is_told_with_its_time():
    assert saved_words(answer(), "UTC") == "Saved on Monday 2 March 2026 at 12:00 (UTC)."
    assert saved_words(answer(source="paper"), "UTC").startswith("Typed in from paper on Monday")


def test_a_comment_on_an_earlier_answer_is_pointed_at():
    answer = AnswerForLearner(
        at=NOON, source="screen", entry="1 V", steps={}, verdict="wrong", step_verdicts={}, feedback="", counted=True,
        comment="",
    )  # fmt: skip
    assert earlier_words([answer]) == "Your earlier answers: 1"
    said = replace(answer, comment="Look at the record low again.")
    assert earlier_words([said, answer]) == "Your earlier answers: 2, with what your instructor says"

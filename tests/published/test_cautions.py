"""The cautions that fit stand with every problem of a lesson, as data and in its sentences."""

import pytest

from tutor.content.library import load
from tutor.engine.setting import set_problem
from tutor.json_forms import problem_json

LIBRARY = load()
ARC = {"dc-arc", "arc-and-fault-current", "inrush-arc"}
DEAD = {"work-dead", "comes-back-alive"}
SUN = {"string-voltage-kills", "live-in-daylight", "dc-arc", "arc-and-fault-current"}
# For each lesson: of each of these sets one caution at least.  Common practice, no source.
FITTING = {
    "panel-label": [],
    "series-strings": [SUN],
    "cold-voltage": [{"cold-overvoltage", "label-not-limit", "disconnect-rating"}],
    "hot-voltage": [],
    "parallel-strings": [SUN, ARC],
    "ampacity": [{"work-dead"}, {"conductor-overheats", "fuse-protects-wire"}],
    "voltage-drop": [{"work-dead"}, {"drop-is-not-ampacity", "conductor-overheats"}],
    "battery-circuit": [{"battery-fault-current"}, {"work-dead"}],
    "overcurrent": [{"work-dead"}, {"fuse-protects-wire"}],
    "ac-side": [DEAD | {"cords-and-strips"}, {"neutral-bond", "grounding-unbroken", "overloaded-circuit"}],
    "transfer": [{"neutral-bond"}, DEAD | {"backfeed", "generator-fumes"}],
    "switch-on-order": [ARC, {"battery-fault-current", "live-in-daylight"}],
}


def test_every_lesson_is_looked_at():
    assert set(FITTING) == set(LIBRARY.lessons)


@pytest.mark.parametrize("exercise", LIBRARY.exercises.values(), ids=lambda one: one.id)
def test_the_cautions_that_fit(exercise):
    assert "local-code-decides" in exercise.safety
    for fitting in FITTING[exercise.lesson]:
        assert fitting & set(exercise.safety), fitting


@pytest.mark.parametrize("exercise", LIBRARY.exercises.values(), ids=lambda one: one.id)
def test_the_cautions_are_told_with_the_problem(engine, exercise):
    rulebook = getattr(exercise, "rulebooks", ["us"])[0]
    told = problem_json(set_problem(engine, exercise.id, rulebook=rulebook), solution=False)["safety"]
    assert [caution["id"] for caution in told] == exercise.safety
    assert all(caution["text"] == LIBRARY.hazards[caution["id"]].text for caution in told)


def test_the_last_word_is_the_local_codes_and_the_electricians():
    text = LIBRARY.hazards["local-code-decides"].text
    assert "code adopted where you live" in text
    assert "licensed electrician" in text

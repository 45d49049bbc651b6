"""The cautions that fit stand with every problem of a lesson: as data, in JSON and on the screen."""

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import tutor.app
from tutor.app import config, session
from tutor.content.library import load
from tutor.operations.json_forms import problem_json
from tutor.problems.problem_factory import make_problem

MAIN = Path(tutor.app.__file__).parent / "main.py"
LIBRARY = load()
SET = [(one, rulebook) for one in LIBRARY.exercises.values() for rulebook in getattr(one, "rulebooks", ["us"])]
IDS = [f"{one.id} {rulebook}" for one, rulebook in SET]
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


# Signal words as ANSI Z535.6 and ISO 3864 use them (from memory): DANGER will kill, WARNING could kill or injure badly,
# CAUTION could injure, NOTICE is for damage alone.  Which hazard has which level is common practice, no source.
SIGNALS = {
    "DANGER": {"string-voltage-kills", "backfeed", "generator-fumes"},
    "CAUTION": {"hot-roof"},
    "NOTICE": {"reverse-polarity", "mixed-modules"},
    None: {"local-code-decides", "label-not-limit"},
}


@pytest.mark.parametrize("rulebook", ["us", "iec"])
@pytest.mark.parametrize("id_", LIBRARY.hazards)
def test_a_caution_names_hazard_consequence_and_how_to_avoid_it(id_, rulebook):
    hazard = LIBRARY.hazards[id_]
    assert hazard.signal == next((signal for signal, ids in SIGNALS.items() if id_ in ids), "WARNING")
    words = hazard.in_rulebook.get(rulebook, hazard)
    text = hazard.text_under(rulebook)
    assert text.startswith(f"{hazard.signal} - " if hazard.signal else words.hazard)
    assert words.hazard in text
    assert all(len(part.split()) >= 3 and part in text for part in (words.consequence, words.avoid))
    assert words.consequence.endswith(".")
    assert words.avoid.endswith(".")
    assert len(text.replace(" - ", " ").split()) <= 35


def test_neither_a_cover_nor_an_open_disconnect_is_said_to_make_an_array_dead():
    """NFPA 70-2017 690.12 (third-party transcription) has rapid shutdown because array conductors stay energized."""
    assert "even covered or disconnected" in LIBRARY.hazards["string-voltage-kills"].text
    assert "with the disconnect open" in LIBRARY.hazards["live-in-daylight"].text
    for hazard in LIBRARY.hazards.values():
        assert "Cover or disconnect" not in hazard.text


def test_one_neutral_bond_is_told_as_the_us_rule_and_no_joint_is_asked_for_in_a_tt_installation():
    """NFPA 70-2017 250.24(A)(5), 250.30(A) (third-party transcription); earthing systems as IEC 60364-1 names them."""
    assert "exactly one bond" in LIBRARY.cautions(["neutral-bond"], "us")["neutral-bond"]
    assert "In a TT installation, make no joint" in LIBRARY.cautions(["neutral-bond"], "iec")["neutral-bond"]
    assert "exactly one" not in LIBRARY.cautions(["neutral-bond"], "iec")["neutral-bond"]


@pytest.mark.parametrize("id_", LIBRARY.orders)
def test_an_order_carries_the_cautions_of_its_sources(id_):
    """Common practice, no source: whoever opens a source is warned of that source."""
    fitting = {
        "array": {"string-voltage-kills", "dc-arc", "work-dead"},
        "battery": {"battery-fault-current", "dc-arc", "work-dead"},
        "supply": {"work-dead"},
        "generator": {"generator-fumes", "work-dead"},
    }
    exercise = LIBRARY.orders[id_].exercise
    for source in exercise.isolation:
        assert fitting[source] <= set(exercise.safety)


def test_every_lesson_is_looked_at():
    assert set(FITTING) == set(LIBRARY.lessons)


@pytest.mark.parametrize("exercise", LIBRARY.exercises.values(), ids=lambda one: one.id)
def test_the_cautions_that_fit(exercise):
    assert "local-code-decides" in exercise.safety
    for fitting in FITTING[exercise.lesson]:
        assert fitting & set(exercise.safety), fitting


@pytest.mark.parametrize("exercise", LIBRARY.exercises.values(), ids=lambda one: one.id)
def test_a_question_of_the_neutral_bond_carries_its_caution(exercise):
    if "neutral" in exercise.skill or any("bond" in name for name in getattr(exercise, "relations", {})):
        assert "neutral-bond" in exercise.safety


@pytest.mark.parametrize(("exercise", "rulebook"), SET, ids=IDS)
def test_the_cautions_are_told_with_the_problem(engine, exercise, rulebook):
    told = problem_json(make_problem(engine, exercise.id, rulebook=rulebook), solution=False)["safety"]
    assert [caution["id"] for caution in told] == exercise.safety
    assert {caution["id"]: caution["text"] for caution in told} == LIBRARY.cautions(exercise.safety, rulebook)


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    """The app with a store of its own; opened once, since each page of it is looked at."""
    with pytest.MonkeyPatch.context() as patch:
        address = str(tmp_path_factory.mktemp("store") / "store.sqlite3")
        patch.setattr(config, "_settings", config.Settings(store=address))
        session.store.cache_clear()
        driver = AppTest.from_file(str(MAIN), default_timeout=60)
        driver.session_state["learner"] = "c" * 32
        yield driver.run()
        session.store().close()
        session.store.cache_clear()


def warned_of(app, page, **query):
    """The title of a page, and its warnings as read."""
    app.switch_page(f"screens/{page}.py")
    for key, value in query.items():
        app.query_params[key] = value
    app.run()
    assert not app.exception
    return app.title[0].value, "\n".join(box.value for box in app.warning).replace("\\", "")


@pytest.mark.one_in(4)
@pytest.mark.parametrize(("exercise", "rulebook"), SET, ids=IDS)
def test_the_cautions_stand_on_the_problems_page(app, exercise, rulebook):
    title, warnings = warned_of(app, "practice", exercise=exercise.id, number="1", rulebook=rulebook)
    assert title == exercise.title
    assert [id_ for id_, text in LIBRARY.cautions(exercise.safety, rulebook).items() if text not in warnings] == []


@pytest.mark.parametrize("lesson", LIBRARY.lessons)
def test_the_cautions_stand_on_the_lessons_page(app, lesson):
    header = LIBRARY.lessons[lesson].header
    _, warnings = warned_of(app, "lessons", lesson=lesson)
    assert "local-code-decides" in header.safety
    assert [id_ for id_ in header.safety if LIBRARY.hazards[id_].text not in warnings] == []


def test_the_last_word_is_the_local_codes_and_the_electricians():
    text = LIBRARY.hazards["local-code-decides"].text
    assert "code adopted where you live" in text
    assert "licensed electrician" in text

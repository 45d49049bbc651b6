"""Rules that hold only for one part, one earthing system or one edition are told with their bounds.

Each names its source: NFPA 70 in a third-party transcription, IEC rules in reproductions, or common practice.
"""

import re

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.base.paths import content_root
from tutor.content.library import load
from tutor.problems.problem_factory import make_problem

LIBRARY = load()
FILES = [*content_root().glob("lessons/*/lesson.md"), *content_root().glob("exercises/*/*.yaml")]
FILES += [content_root() / "assets" / name for name in ("hazards.yaml", "quantities.yaml", "sources.yaml")]

# What is told where, and why it is so.
TOLD = [
    # Common practice, no source: a joint burns by its own resistance, whatever the number of strings.
    ("parallel-strings", "One string alone cannot overload its own cable"),
    ("parallel-strings", "A loose terminal or a mismatched connector can burn a roof with one string"),
    # Common practice, no source: a bypass diode that works conducts around the shaded cells.
    ("panel-label", "When one conducts, the current flows around its third of the cells"),
    # IEC 60364 (a machine manual and two pages): the second letter T is an electrode of the installation's own.
    ("ac-side", "The user makes **no** connection between neutral and earth"),
    ("ac-side", "**TN**: the source's neutral is earthed"),
    ("switch-on-order", "in a TT installation the user makes no such connection"),
    ("transfer", "In a TT installation, the user makes no connection between neutral and earth"),
    # NFPA 70-2017 690.12 (third-party transcription): array conductors stay energized in daylight.
    ("switch-on-order", "in daylight every lead of the array's side stays live"),
    ("switch-on-order", "it does not make the leads dead either"),
    # NFPA 70-2017 690.8(D) (third-party transcription): the ampacity of the module interconnection conductors.
    ("overcurrent", "sizes the **conductors** that interconnect the modules"),
    ("overcurrent", "the largest series fuse on its label"),
    # Common practice, no source: a fuse's rating belongs to an air temperature.
    ("overcurrent", "In a hot box a fuse or breaker carries less than its rating"),
    # NFPA 70-2017 706.1 and 480.7 (third-party transcription); two articles on the scope from 2020 on.
    ("battery-circuit", "above 50 V ac or 60 V dc in the edition of 2017, and systems above 1 kWh from 2020 on"),
    ("battery-circuit", "asks for a disconnect above 60 V dc"),
    # UL 1363 as told by a labour department, a county and two universities; NFPA 70-2017 Table 210.21(B)(2).
    ("ac-side", "Heaters, refrigerators, microwave ovens, and motors never go on a strip"),
    ("ac-side", "a cord-and-plug load on a 15 A receptacle is at most 12 A"),
]

# What must not come back.
WRONG = [
    r"cannot burn itself",
    r"cover or disconnect before",
    r"(?:diode|one) opens, its",
    r"carries its rating for ?ever",
    r"lets its rating through for ?ever",
    r"power strip of \{",
    r"article on batteries begins",
    r"each module must bear",
    r"cracked module (?:of a string|is to be replaced)",
]


@pytest.mark.parametrize(("lesson", "words"), TOLD)
def test_a_rule_is_told_with_its_bounds(lesson, words):
    text = " ".join((content_root() / "lessons" / lesson / "lesson.md").read_text(encoding="utf-8").split())
    assert words in text


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_rule_does_not_come_back(wrong):
    assert len(FILES) > 90
    found = [file.name for file in FILES if re.search(wrong, " ".join(file.read_text("utf-8").split()), re.IGNORECASE)]
    assert found == []


@pytest.mark.parametrize(
    ("size", "ampacity", "breaker"),
    [
        # NFPA 70-2017 Tables 310.15(B)(16) and (B)(3)(a), 240.4(B) and (D), by hand: half of 25, 30 and 40 A.
        # 14 AWG keeps 12.5 A, whose next rating is its small-conductor limit; the others stay below theirs.
        ("14 AWG", "12.5 A", "15 A"),
        ("12 AWG", "15 A", "15 A"),
        ("10 AWG", "20 A", "20 A"),
    ],
)
def test_what_bounds_the_breaker_of_a_small_conductor_in_a_crowded_conduit(engine, size, ampacity, breaker):
    given = {"conductor_size": size, "insulation_rating": "90 degC", "conductors_grouped": "12"}
    for ask, answer in (("cable_ampacity", ampacity), ("device_rating", breaker)):
        question = engine.question("breaker-for-grouped-circuits", ask, "us")
        problem = make_problem(engine, "breaker-for-grouped-circuits", ask, 1, "us", own_amounts(question, given))
        assert mark(problem, answer).verdict == "right"


@pytest.mark.parametrize("id_", ["neutral-bonds-in-force", "where-the-one-bond-is"])
def test_bonds_are_counted_under_the_us_code_alone(id_):
    """NFPA 70-2017 250.24(A)(5), 250.30(A); under IEC 60364 the earthing system decides."""
    exercise = LIBRARY.declared[id_].exercise
    assert exercise.rulebooks == ["us"]
    assert any("NFPA 70" in sentence for sentence in exercise.story)


@pytest.mark.parametrize("rulebook", ["us", "iec"])
def test_nobody_is_asked_what_more_may_hang_on_a_power_strip(rulebook):
    """Common practice, no source: no strip is loaded to its limit overnight."""
    for declared in LIBRARY.declared.values():
        if rulebook in declared.exercise.rulebooks:
            exercise = declared.under(rulebook).exercise
            asked = " ".join([*exercise.story, *exercise.asks.values()])
            assert "strip" not in asked.replace("no power strip", "")


def test_no_learner_is_set_to_work_on_a_damaged_module():
    """Common practice, no source: broken glass or a chafed cable can put the string's voltage on the frame."""
    exercise = LIBRARY.orders["replacing-a-module"].exercise
    story = " ".join(exercise.story)
    assert "A sound module" in story
    assert "A damaged module is not for you" in story
    assert "professional" in story
    assert "water-and-damage" in exercise.safety
    assert not re.search("crack|damage|broken", " ".join(exercise.actions.values()))

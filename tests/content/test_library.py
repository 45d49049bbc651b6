"""The library: a folder of the user's own beside the built-in content, and its faults told with file and line."""

import re
from pathlib import Path

import pytest

from tutor.base.paths import content_root
from tutor.content.errors import ContentError
from tutor.content.files import read_yaml, validated
from tutor.content.library import MARKERS, load, read_exercise, read_lesson
from tutor.content.models import Amount, Charger, Exercise, Hazard, Module, Place, Quantity

SOUND = Path(__file__).parents[1] / "corpora" / "faulty_exercises" / "sound-exercise.yaml"
LESSON = content_root() / "lessons" / "cold-voltage" / "lesson.md"
HEADER = """---
id: own-lesson
title: My lesson
order: 50
question: What now?
figure: cold-year
example: sound-exercise
exercises: [sound-exercise, most-modules-in-series]
safety: [cold-overvoltage, string-voltage-kills, local-code-decides]
sources: [nfpa-70-690-7]
---
"""
BODY = "".join(f"\nText before {marker[1:-1]}.\n\n{marker}\n" for marker in MARKERS)


def own_folder(tmp_path, exercise=None, lesson=None):
    (tmp_path / "exercises" / "own").mkdir(parents=True)
    (tmp_path / "lessons" / "own").mkdir(parents=True)
    text = SOUND.read_text(encoding="utf-8") if exercise is None else exercise
    (tmp_path / "exercises" / "own" / SOUND.name).write_text(text, encoding="utf-8")
    if lesson is not None:
        (tmp_path / "lessons" / "own" / "lesson.md").write_text(lesson, encoding="utf-8")
    return tmp_path


def fault_of(call, *arguments):
    with pytest.raises(ContentError) as caught:
        call(*arguments)
    assert "\n" not in str(caught.value)
    return caught.value


def test_an_own_folder_loads_beside_the_built_in_one(tmp_path, library):
    both = load(own_folder(tmp_path, lesson=HEADER + BODY))
    assert set(both.exercises) == {*library.exercises, "sound-exercise"}
    assert set(both.lessons) == {*library.lessons, "own-lesson"}
    assert both.lessons["own-lesson"].parts[1::2] == MARKERS
    assert list(both.lessons) == sorted(both.lessons, key=lambda id_: both.lessons[id_].header.order)


def test_an_own_folder_may_hold_exercises_only(tmp_path, library):
    assert set(load(own_folder(tmp_path)).exercises) - set(library.exercises) == {"sound-exercise"}


def test_an_empty_own_folder_adds_nothing(tmp_path, library):
    assert set(load(tmp_path).exercises) == set(library.exercises)


def test_a_missing_own_folder_is_told(tmp_path):
    assert "no such folder" in fault_of(load, tmp_path / "nowhere").fault
    file = tmp_path / "file"
    file.touch()
    assert "no such folder" in fault_of(load, file).fault


@pytest.mark.parametrize(
    "path",
    [
        "exercises/sound-exercise.yaml",
        "exercises/own/sound-exercise.yml",
        "exercise/own/sound-exercise.yaml",
        "lessons/own/leson.md",
        "assets/quantites.yaml",
        "assets/figure/own.yaml",
        "assets/figures/deeper/own.yaml",
        "assets/tables/own.csv",
    ],
)
def test_a_file_that_nothing_reads_is_told(tmp_path, path):
    own_folder(tmp_path)
    file = tmp_path / path
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text("id: own\n", encoding="utf-8")
    fault = fault_of(load, tmp_path)
    assert (fault.path, fault.line) == (file, 1)
    assert "nothing reads this file. It may be one of exercises/*/*.yaml" in str(fault)


def test_a_readme_pictures_and_practice_sets_may_lie_beside_own_files(tmp_path):
    own_folder(tmp_path)
    for name in ("README.md", "picture.png", "week-3-set.yaml", "exercises/own/notes.txt"):
        (tmp_path / name).write_bytes(b"\xff")
    assert "sound-exercise" in load(tmp_path).exercises


def test_a_lesson_with_a_figure_that_is_not_there_is_told(tmp_path):
    fault = fault_of(
        load, own_folder(tmp_path, lesson=(HEADER + BODY).replace("figure: cold-year", "figure: battery-days"))
    )
    assert (fault.path.name, fault.line) == ("lesson.md", 6)
    assert "there is no figure 'battery-days'. Add assets/figures/battery-days.yaml." in str(fault)


def test_an_own_exercise_may_not_take_a_built_in_id(tmp_path, library):
    folder = tmp_path / "exercises" / "own"
    folder.mkdir(parents=True)
    built_in = library.declared["most-modules-in-series"].document.path
    (folder / built_in.name).write_text(built_in.read_text(encoding="utf-8"), encoding="utf-8")
    fault = fault_of(load, tmp_path)
    assert "another exercise 'most-modules-in-series'" in fault.fault
    assert (fault.path, fault.line) == (folder / built_in.name, 1)


@pytest.mark.parametrize("text", ["", "# only a note\n", "- id: sound-exercise\n", "word\n", "12\n"])
def test_an_exercise_that_is_no_mapping_is_told(tmp_path, text):
    path = tmp_path / SOUND.name
    path.write_text(text, encoding="utf-8")
    assert "a mapping of exercise fields is expected" in fault_of(read_exercise, path).fault


# field, its value in YAML, the words of the fault
WRONG_TYPES = [
    ("id", "12", "id: text is expected"),
    ("id", "no", "id: text is expected"),
    ("id", "~", "id: text is expected"),
    ("id", "[sound-exercise]", "id: text is expected"),
    ("title", "{a: b}", "title: text is expected"),
    ("level", "1.5", "level: a whole number is expected"),
    ("level", "'2'", "level: a whole number is expected"),
    ("level", "true", "level: a whole number is expected"),
    ("level", "0o2", "level: a whole number is expected"),
    ("level", "1:30", "level: a whole number is expected"),
    ("level", "2024-01-31", "level: a whole number is expected"),
    ("story", "one sentence", "story: a list"),
    ("story", "[]", "story: "),
    ("story", "[12]", "story.0: text is expected"),
    ("hints", "{first: look}", "hints: a list"),
    ("givens", "[module_voc]", "givens: a mapping"),
    ("givens", "{module_voc: [module]}", "givens.module_voc: name a part, or write"),
    ("givens", "{module_voc: {take: module_voc}}", "givens.module_voc: name a part, or write"),
    ("givens", "{module_voc: {from: module, takes: x}}", "givens.module_voc.takes: there is no such field"),
    ("givens", "{module_voc: {one_of: []}}", "givens.module_voc.one_of: "),
    ("givens", "{module_voc: {one_of: [41.3 Vult]}}", "'Vult' is not a unit"),
    ("givens", "{module_voc: {one_of: [true]}}", "a value its number and unit"),
    ("givens", "{module_voc: {one_of: [41.3 V each]}}", "is not a value with a unit"),
    ("givens", "{module_voc: {one_of: [.nan]}}", "'.nan' is not a value"),
    ("givens", "{module_voc: {one_of: [1.0e+400]}}", "a finite number is expected"),
    ("givens", f"{{module_voc: {{one_of: [{'9' * 400} V]}}}}", "a finite number is expected"),
    ("givens", "{Module Voc: module}", "use lower-case letters"),
    ("relations", "{cold_voltage: 12}", "relations.cold_voltage: text is expected"),
    ("relations", "cold_voltage = module_voc", "relations: a mapping"),
    ("limits", "modules_in_series <= 3", "limits: a list"),
    ("within", "{modules_in_series: 3}", "within.modules_in_series: a list of two values"),
    ("within", "{modules_in_series: [3]}", "within.modules_in_series.1: this field is missing"),
    ("within", "{modules_in_series: [few, many]}", "within.modules_in_series.0: a number is expected"),
    ("within", "{modules_in_series: [1, 1.0e+999]}", "within.modules_in_series.1: a finite number is expected"),
    ("mistakes", "{cold-left-out: it}", "mistakes.cold-left-out: a mapping"),
    ("mistakes", "{Cold Left Out: {}}", "use lower-case letters"),
    ("safety", "local-code-decides", "safety: a list"),
    ("colour", "blue", "colour: there is no such field"),
]


@pytest.mark.parametrize(("field", "value", "words"), WRONG_TYPES)
def test_a_wrongly_typed_field_is_told_with_its_line(tmp_path, field, value, words):
    path = tmp_path / SOUND.name
    text = without(field) + f"{field}: {value}\n"
    path.write_text(text, encoding="utf-8")
    fault = fault_of(read_exercise, path)
    assert words in fault.fault
    assert fault.line == text.count("\n")


def without(field):
    """The sound exercise without the lines of one field."""
    text = SOUND.read_text(encoding="utf-8")
    return re.sub(rf"^{field}:.*\n(?:[ -].*\n)*", "", text, flags=re.MULTILINE)


LESSON_FAULTS = {
    "no front matter": (HEADER, "", "the front matter is missing", 1),
    "front matter open": ("sources: [nfpa-70-690-7]\n---\n", "", "the front matter is missing", 1),
    "marker missing": ("{faded example}\n", "", "the lesson has no line '{faded example}'", 2),
    "field misspelt": ("figure: cold-year", "figures: cold-year", "figures: there is no such field", 6),
    "order in words": ("order: 50", "order: last", "order: a whole number", 4),
    "field twice": ("order: 50", "order: 50\norder: 51", "'order' is written twice", 5),
    "alias": ("order: 50", "order: &o 50", "anchors and aliases", 4),
    "exercise unknown": ("exercises: [sound-exercise,", "exercises: [unsound,", "there is no exercise 'unsound'", 8),
    "example unknown": ("example: sound-exercise", "example: unsound", "there is no exercise 'unsound'", 7),
    "caution unknown": ("[cold-overvoltage,", "[draughts,", "there is no 'draughts'", 9),
    "source unknown": ("[nfpa-70-690-7]", "[hearsay]", "there is no 'hearsay'", 10),
    "built-in id": ("id: own-lesson", "id: cold-voltage", "another lesson 'cold-voltage'", 2),
}


@pytest.mark.parametrize(("old", "new", "words", "line"), LESSON_FAULTS.values(), ids=LESSON_FAULTS)
def test_a_faulty_lesson_is_told_with_its_line(tmp_path, old, new, words, line):
    fault = fault_of(load, own_folder(tmp_path, lesson=(HEADER + BODY).replace(old, new)))
    assert words in fault.fault
    assert (fault.path, fault.line) == (tmp_path / "lessons" / "own" / "lesson.md", line)


def test_an_empty_lesson_is_told(tmp_path):
    path = tmp_path / "lesson.md"
    path.write_text("")
    assert "the front matter is missing" in fault_of(read_lesson, path).fault


def test_a_lesson_with_windows_line_ends_and_a_byte_order_mark_reads_the_same(tmp_path):
    path = tmp_path / "lesson.md"
    path.write_bytes(b"\xef\xbb\xbf" + (HEADER + BODY).replace("\n", "\r\n").encode())
    assert read_lesson(path).parts[1::2] == MARKERS


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("41.3 V", 41.3, "V"),
        ("-0.27 %/K", -0.27, "%/K"),
        ("−11.2 degF", -11.2, "degF"),
        ("+5 A", 5, "A"),
        ("0.85", 0.85, ""),
        ("800 W/m^2", 800, "W/m^2"),
    ],
)
def test_a_value_is_read_with_its_unit(text, value, unit):
    amount = Amount.model_validate(text)
    assert (amount.value, amount.unit) == (value, unit)


@pytest.mark.parametrize(
    "text", ["", "V", "41,3 V", "41.3V", "41.3  V", "41.3 V ea", "1e3 V", "0x10 V", "41.3 V\n42 V"]
)
def test_what_is_no_value_is_refused(text):
    with pytest.raises(ValueError, match=r"not a value|not a unit"):
        Amount.model_validate(text)


# model, built-in file, part, field, its new value, words of the fault
PARTS = [
    (Module, "modules", "module_power", "999 W", "module_vmp times module_imp is"),
    (Module, "modules", "module_isc", "99 A", "the fill factor is"),
    (Module, "modules", "cells", 150, "between 0.55 V and 0.78 V a cell"),
    (Module, "modules", "vmp_coefficient", "-0.10 %/K", "vmp_coefficient has to be below voc_coefficient"),
    (Module, "modules", "isc_coefficient", "-0.05 %/K", "vmp_coefficient has to be below voc_coefficient"),
    (Charger, "chargers", "input_voltage_best", "900 V", "have to rise in this order"),
    (Charger, "chargers", "input_voltage_min", "90 V", "have to rise in this order"),
    (Place, "places", "record_low", "70 degC", "have to rise in this order"),
]


@pytest.mark.parametrize(("model", "file", "field", "value", "words"), PARTS)
def test_a_part_that_does_not_hang_together_is_told(model, file, field, value, words):
    document = read_yaml(content_root() / "assets" / "parts" / f"{file}.yaml")
    id_, data = next(iter(document.data.items()))
    fault = fault_of(validated, model, document, data | {field: value}, (id_,))
    assert words in fault.fault
    assert fault.line == document.line((id_,))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"plausible": None}, "'plausible' is missing"),
        ({"plausible": [5, 5]}, "with the lower value first"),
        ({"plausible": [1, float("inf")]}, "a finite number"),
        ({"unit": "Vult"}, "'Vult' is not a unit"),
        ({"kind": "length"}, "kind: "),
    ],
)
def test_a_faulty_quantity_is_told(change, words):
    document = read_yaml(content_root() / "assets" / "quantities.yaml")
    fault = fault_of(validated, Quantity, document, document.data["module_voc"] | change, ("module_voc",))
    assert words in fault.fault


WHOLE_CAUTION = {
    "signal": "WARNING",
    "hazard": "Loose joint",
    "consequence": "It burns.",
    "avoid": "Tighten it.",
}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        *(({part: None}, f"{part}: ") for part in ("hazard", "consequence", "avoid")),
        *(({part: ""}, f"{part}: ") for part in ("hazard", "consequence", "avoid")),
        ({"signal": "ATTENTION"}, "signal: "),
        ({"text": "A loose joint burns."}, "text: there is no such field"),
        ({"avoid": "Tighten it " + "well " * 30 + "at once."}, "the caution has 39 words; 35 is the most"),
        (
            {"in_rulebook": {"iec": {"hazard": "Loose joint", "avoid": "Tighten it."}}},
            "consequence: this field is missing",
        ),
    ],
)
def test_a_caution_with_a_part_missing_is_told_with_its_line(change, words):
    document = read_yaml(content_root() / "assets" / "hazards.yaml")
    data = {key: value for key, value in (WHOLE_CAUTION | change).items() if value is not None}
    fault = fault_of(validated, Hazard, document, data, ("loose-joint",))
    assert words in fault.fault
    assert fault.line >= document.line(("loose-joint",))


def test_a_caution_may_have_no_signal_word_but_has_to_say_so():
    document = read_yaml(content_root() / "assets" / "hazards.yaml")
    assert validated(Hazard, document, WHOLE_CAUTION | {"signal": None}).text == "Loose joint. It burns. Tighten it."
    silent = {key: value for key, value in WHOLE_CAUTION.items() if key != "signal"}
    assert "signal: this field is missing" in fault_of(validated, Hazard, document, silent).fault


def test_a_lesson_without_a_caution_of_its_worked_example_is_told(tmp_path):
    lesson = (HEADER + BODY).replace("string-voltage-kills, ", "")
    fault = fault_of(load, own_folder(tmp_path, lesson=lesson))
    assert "'string-voltage-kills' of the worked example is missing" in fault.fault


def test_content_cannot_be_changed_after_loading(library):
    exercise = library.exercises["most-modules-in-series"]
    assert isinstance(exercise, Exercise)
    with pytest.raises(ValueError, match="frozen"):
        exercise.level = 3
    with pytest.raises(TypeError):
        library.modules["new"] = None

"""The published JSON Schemas: current, valid by the standard's own library, and true of every built-in file."""

import json

import jsonschema
import pytest

from tutor.base.paths import content_root
from tutor.content.files import read_yaml
from tutor.tools.schema import KINDS, folder, schema, text_of

ROOT = content_root()
EXERCISES = sorted((ROOT / "exercises").glob("*/*.yaml"))
ORDERS = [path for path in EXERCISES if "kind" in read_yaml(path).data]
FILES = {
    "exercise": [path for path in EXERCISES if path not in ORDERS],
    "order-exercise": ORDERS,
    "quantities": [ROOT / "assets" / "quantities.yaml"],
    "modules": [ROOT / "assets" / "parts" / "modules.yaml"],
    "chargers": [ROOT / "assets" / "parts" / "chargers.yaml"],
    "places": [ROOT / "assets" / "parts" / "places.yaml"],
    "hazards": [ROOT / "assets" / "hazards.yaml"],
    "sources": [ROOT / "assets" / "sources.yaml"],
    "figure": sorted((ROOT / "assets" / "figures").glob("*.yaml")),
}


def faults(kind, data):
    return [error.message for error in jsonschema.Draft202012Validator(schema(kind)).iter_errors(data)]


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_is_one_by_the_standard(kind):
    jsonschema.Draft202012Validator.check_schema(schema(kind))


@pytest.mark.parametrize("kind", KINDS)
def test_the_kept_schema_is_current(kind):
    kept = (folder() / f"{kind}.json").read_text(encoding="utf-8")
    assert kept == text_of(kind), "run: python -m tutor.tools.schema"
    assert json.loads(kept) == schema(kind)


def test_no_schema_is_kept_for_what_is_no_kind():
    assert {path.stem for path in folder().iterdir()} == set(KINDS)


@pytest.mark.parametrize(
    ("kind", "path"),
    [(kind, path) for kind, paths in FILES.items() for path in paths],
    ids=lambda part: getattr(part, "stem", part),
)
def test_a_built_in_file_keeps_to_its_schema(kind, path):
    assert faults(kind, read_yaml(path).data) == []


@pytest.mark.parametrize("path", sorted((ROOT / "lessons").glob("*/lesson.md")), ids=lambda path: path.parent.name)
def test_a_built_in_lesson_header_keeps_to_its_schema(path):
    header = path.read_text(encoding="utf-8").split("---\n")[1]
    assert faults("lesson-header", read_yaml(path, header).data) == []


@pytest.mark.parametrize(
    ("field", "value", "fragment"),
    [
        ("level", 4, "4 is greater than the maximum of 3"),
        ("level", "two", "'two' is not of type 'integer'"),
        ("story", [], "should be non-empty"),
        ("story", "one sentence", "is not of type 'array'"),
        ("givens", {"module_voc": "modul"}, "is not valid under any of the given schemas"),
        ("givens", {"module_voc": {"from": "module", "takes": "module_voc"}}, "is not valid under any"),
        ("givens", {"module_voc": {"one_of": ["41.3Volt and more"]}}, "is not valid under any"),
        ("colour", "blue", "'colour' was unexpected"),
        ("id", "Most Modules", "does not match"),
        ("relations", {"Cold Voltage": "module_voc"}, "'Cold Voltage'"),
        ("diagram", {"renderer": "series", "count": "modules_in_series"}, "is not valid under any"),
        ("diagram", {"renderer": "series-string"}, "is not valid under any"),
        ("diagram", {"renderer": "series-string", "count": "modules_in_series", "fuse": "x"}, "is not valid under any"),
    ],
)
def test_an_editor_is_told_of_a_fault(field, value, fragment):
    data = read_yaml(FILES["exercise"][0]).data | {field: value}
    assert any(fragment in fault for fault in faults("exercise", data))


def test_an_editor_is_told_of_a_missing_field():
    data = read_yaml(FILES["exercise"][0]).data
    for field in ("id", "givens", "relations", "asks", "mistakes", "hints", "safety", "sources", "why"):
        missing = {key: value for key, value in data.items() if key != field}
        assert faults("exercise", missing) == [f"'{field}' is a required property"]

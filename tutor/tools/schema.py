"""The JSON Schema of each kind of file that people write, for editors.

`python -m tutor.tools.schema` writes them to assets/schemas/.
"""

import json
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from tutor.base.paths import content_root
from tutor.classroom.models import PracticeSet
from tutor.content.figures import SpecialFigure, Sweep
from tutor.content.models import (
    Agreement,
    Charger,
    Exercise,
    Hazard,
    LessonHeader,
    Module,
    Name,
    OrderExercise,
    Place,
    Quantity,
    Source,
)
from tutor.content.tables import TableDeclaration

_FILES: dict[str, Any] = {
    "exercise": Exercise,
    "order-exercise": OrderExercise,
    "lesson-header": LessonHeader,
    "quantities": dict[str, Quantity],
    "agreements": dict[str, Agreement],
    "modules": dict[str, Module],
    "chargers": dict[str, Charger],
    "places": dict[str, Place],
    "hazards": dict[str, Hazard],
    "sources": dict[str, Source],
    "tables": dict[Name, TableDeclaration],
    "figure": Sweep | SpecialFigure,
    "practice-set": PracticeSet,
}

KINDS = tuple(_FILES)


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema of one kind of file.

    Raises KeyError for a kind that is not one of KINDS.
    """
    json_schema = TypeAdapter(_FILES[kind]).json_schema(mode="validation", by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **_closed(json_schema)}


def _closed(part: Any) -> Any:
    """The same schema, in which a mapping has no keys but those of its pattern."""
    if isinstance(part, list):
        return [_closed(item) for item in part]
    if not isinstance(part, dict):
        return part
    closed = {key: _closed(value) for key, value in part.items()}
    return closed | {"additionalProperties": False} if "patternProperties" in part else closed


def text_of(kind: str) -> str:
    """The schema as it is kept in a file."""
    return json.dumps(schema(kind), indent=2, ensure_ascii=False) + "\n"


def folder() -> Path:
    """Where the schemas are kept."""
    return content_root() / "assets" / "schemas"


def write() -> None:
    """Write all schemas afresh."""
    folder().mkdir(exist_ok=True)
    for kind in KINDS:
        (folder() / f"{kind}.json").write_text(text_of(kind), encoding="utf-8")


if __name__ == "__main__":
    write()

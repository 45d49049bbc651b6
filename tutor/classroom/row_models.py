"""What the rows of the store mean to the program: the models that read them prove those of a backup before."""

import json
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Annotated, Any

from pydantic import Field, TypeAdapter

from tutor.classroom.desk import kept_hash
from tutor.classroom.models import Answer, AssignedProblem, PracticeSet, ProblemRecord, ProblemSnapshot
from tutor.classroom.roster.codes import problem_code, set_code
from tutor.classroom.sets.snapshots import declaration_hash, declared_exercise
from tutor.content.models import Amount
from tutor.learner.record import Attempt
from tutor.store.row_checks import RowModels
from tutor.store.tables import UNSTORABLE

_Shape = Callable[[Any], Any]


def _shape(kind: Any) -> _Shape:
    """A validation as strict as JSON allows: no text is taken for a number."""
    adapter = TypeAdapter(kind)

    def validate(value: Any) -> Any:
        text = json.dumps(value, default=datetime.isoformat, ensure_ascii=False)
        return adapter.validate_json(UNSTORABLE.sub("\ufffd", text), strict=True)

    return validate


_attempt, _answer, _assigned = _shape(Attempt), _shape(Answer), _shape(AssignedProblem)
_snapshot, _record = _shape(ProblemSnapshot), _shape(ProblemRecord)
_set, _amounts, _words, _object = _shape(PracticeSet), _shape(dict[str, Amount]), _shape(dict[str, str]), _shape(dict)
_secret = _shape(Annotated[str, Field(pattern=r"^([0-9a-f]{2})+$")])
_hex = _shape(Annotated[str, Field(pattern=r"^([0-9a-f]{2})*$")] | None)
_count = _shape(Annotated[int, Field(ge=0)])
_tries = _shape(Annotated[float, Field(ge=0, allow_inf_nan=False)])


def _drop_columns(row: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in names}


def _prove_code(code: str, printed: Callable[[str], str | None]) -> None:
    if printed(code) != code:
        raise ValueError(f"'{code}' is no code")


def _prove_attempt(row: Mapping[str, Any]) -> None:
    _attempt(_drop_columns(row, "id", "learner_id"))


def _prove_class(row: Mapping[str, Any]) -> None:
    _secret(row["secret"])


def _prove_set(row: Mapping[str, Any]) -> None:
    _secret(row["secret"])
    _prove_code(row["code"], set_code)
    if _set(row["declaration"]).id != row["name"]:
        raise ValueError("its name is not that of its declaration")


def _prove_handed(row: Mapping[str, Any]) -> None:
    _prove_code(row["code"], problem_code)
    _amounts(row["givens"])
    _object(row["kept"])
    (_snapshot if "declaration" in row["kept"] else _record)(row["kept"])
    member = {"id": row["member_id"], "name": "", "number": ""}
    dropped = ("practice_set_id", "member_id", "givens", "kept", "help", "hints_seen", "shown_at")
    _assigned({**_drop_columns(row, *dropped), "member": member})
    _answers_help(row)


def _prove_declaration(row: Mapping[str, Any]) -> None:
    if declaration_hash(row["text"]) != row["hash"]:
        raise ValueError("its hash is not that of its text")
    declared_exercise(row["text"])


def _answers_help(row: Mapping[str, Any]) -> None:
    _count(row["hints_seen"])
    if row["help"] not in ("nothing", "hints", "solution"):
        raise ValueError(f"'{row['help'][:20]}' is no help")


def _prove_answer(row: Mapping[str, Any]) -> None:
    _answer({**_drop_columns(row, "handed_id"), "handed": row["handed_id"]})


def _prove_desk(row: Mapping[str, Any]) -> None:
    _hex(row["salt"])
    _hex(row["passphrase_hash"] and kept_hash(row["passphrase_hash"])[1])
    if (row["salt"] is None) != (row["passphrase_hash"] is None):
        raise ValueError("a salt and a hash belong together")


def _prove_change(row: Mapping[str, Any]) -> None:
    _object(row["before"])
    _object(row["after"])


ROW_MODELS: RowModels = {
    "attempt": _prove_attempt,
    "place_kept": lambda row: _words(row["where"]),
    "school_class": _prove_class,
    "member": _prove_class,
    "practice_set": _prove_set,
    "handed": _prove_handed,
    "frozen_declaration": _prove_declaration,
    "class_answer": _prove_answer,
    "correction": _prove_change,
    "verdict_change": _prove_change,
    "outbox": lambda row: _object(row["statement"]),
    "desk": _prove_desk,
    "tries": lambda row: _tries(row["wrong"]),
}

"""Whether a line of a backup is a row that its table can hold, on either database and for what reads it later."""

import json
import math
from base64 import b64decode
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pydantic import ValidationError
from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Connection,
    Float,
    Integer,
    LargeBinary,
    String,
    Table,
    insert,
    select,
)
from sqlalchemy.exc import DataError, IntegrityError

from tutor.store.tables import UNSTORABLE, UtcTime

RowModels = Mapping[str, Callable[[Mapping[str, Any]], object]]
"""By table: what its rows mean. Takes a row's values; raises ValueError, KeyError or TypeError if they mean nothing."""

_YEARS = range(1970, 2201)  # a computer whose clock has lost its battery begins in 1970
_KINDS = {
    str: "text",
    int: "a whole number that fits",
    float: "a number",
    bool: "true or false",
    bytes: "text in base 64",
}


class RowError(ValueError):
    """A row is faulty: `row_number` is its place in its table, from 1."""

    def __init__(self, table: str, row_number: int, reason: str) -> None:
        super().__init__(reason)
        self.table, self.row_number = table, row_number


def check_row(table: Table, row_number: int, line: bytes, models: RowModels) -> None:
    """Prove that a line is a row of its table and means something. Raises RowError."""
    try:
        row = row_of(table, line)
        if table.name in models:
            models[table.name](row)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(map(str, first["loc"]))
        raise RowError(table.name, row_number, f"{where}: {first['msg']}" if where else first["msg"]) from error
    except KeyError as error:
        raise RowError(table.name, row_number, f"{error} is missing in it") from error
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        raise RowError(table.name, row_number, str(error)) from error


def row_of(table: Table, line: bytes) -> dict[str, Any]:
    """The values of a line by column. Raises ValueError if they are not those of the table."""
    plain = json.loads(line, parse_float=_finite, parse_constant=_finite)
    if not isinstance(plain, dict) or plain.keys() != set(table.c.keys()):
        raise ValueError(f"its columns are not {', '.join(table.c.keys())}")
    return {column.name: _value(column, plain[column.name]) for column in table.c}


def add_rows(connection: Connection, table: Table, start: int, rows: Sequence[Mapping[str, Any]]) -> None:
    """Add rows, the first of which is the `start`th of its table. Raises RowError if one does not fit the others."""
    for column in table.c:
        for key in column.foreign_keys:
            wanted = {row[column.name] for row in rows} - {None}
            existing = {None, *connection.scalars(select(key.column).where(key.column.in_(wanted)))}
            for row_number, row in enumerate(rows, start):
                if row[column.name] not in existing:
                    refers = f"'{column.name}' refers to no row of '{key.column.table.name}'"
                    raise RowError(table.name, row_number, refers)
    try:
        with connection.begin_nested():
            connection.execute(insert(table), rows)
    except (IntegrityError, DataError) as error:
        if len(rows) == 1:
            raise RowError(table.name, start, "a value in it must be unique and is in another row too") from error
        for row_number, row in enumerate(rows, start):
            add_rows(connection, table, row_number, [row])


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:20]} is no number")
    return value


def _value(column: Column[Any], plain: Any) -> Any:
    kind = column.type
    if isinstance(kind, JSON):
        return plain
    if plain is None and column.nullable:
        return None
    match kind:
        case UtcTime() if isinstance(plain, str):
            return _moment(column.name, plain)
        case LargeBinary() if isinstance(plain, str):
            return b64decode(plain, validate=True)
        case Boolean() if isinstance(plain, bool):
            return plain
        case Integer() if isinstance(plain, int) and not isinstance(plain, bool):
            bits = 63 if isinstance(kind, BigInteger) else 31
            if -(2**bits) <= plain < 2**bits:
                return plain
        case Float() if isinstance(plain, int | float) and not isinstance(plain, bool):
            return float(plain)
        case String() if isinstance(plain, str) and len(plain) <= (kind.length or len(plain)):
            if not UNSTORABLE.search(plain):
                return plain
    size = f" of at most {kind.length} characters" if isinstance(kind, String) and kind.length else ""
    raise ValueError(f"'{column.name}' must be {_KINDS.get(kind.python_type, 'a time')}{size}")


def _moment(name: str, text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None or moment.astimezone(UTC).year not in _YEARS:
        raise ValueError(f"'{name}' has no time zone, or is no time from {_YEARS[0]} to {_YEARS[-1]}")
    return moment

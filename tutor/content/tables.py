"""The rulebooks' tables as content holds them: tables.yaml, and CSV files whose rows name source and standing."""

import csv
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from io import StringIO
from itertools import chain
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import BeforeValidator, Field, StringConstraints

from tutor.base.units import UnitError, conversion
from tutor.content.errors import ContentError
from tutor.content.files import Document, Key, check_printable, read_text, read_yaml, validated
from tutor.content.models import Model, Name, RulebookId, Sentence, Standing, Unit, without_standing

MOST_TABLES = 100
MOST_ROWS = 1000
MOST_COLUMNS = 16
LONGEST_CELL = 300
_NUMBER = re.compile(r"-?\d{1,12}(\.\d{1,12})?", re.ASCII)
_EVERY_ROW = ("rulebook", "edition", "source", "standing")
SIZES = "conductor_sizes"  # the table by which all others know a size's cross-section

Column = Annotated[str, StringConstraints(min_length=1, max_length=60)]
Cell = Annotated[str, StringConstraints(max_length=LONGEST_CELL)]


class TableKey(Model):
    """One key of a table: its column, and how a value finds its row."""

    column: Column
    unit: Unit = ""
    match: Literal["equal", "at_or_below", "at_or_above"] = "equal"
    end: float | None = Field(None, description="for at_or_below: the value below which the table holds")


def _as_list(data: object) -> object:
    return [data] if isinstance(data, str) else data


class TableFields(Model):
    """What is said of a table, in all or in one rulebook."""

    title: Sentence | None = None
    kind: Literal["bands", "sizes", "grid", "numbers", "statements"] | None = None
    file: Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,50}\.csv$")] | None = None
    where: dict[
        Column,
        Annotated[
            list[Cell],
            Field(min_length=1, max_length=20),
            BeforeValidator(_as_list, json_schema_input_type=Cell | list[Cell]),
        ],
    ] = Field(default_factory=dict, max_length=6, description="only the rows that hold these words, or one of them")
    keys: dict[Name, TableKey] = Field(default_factory=dict, max_length=4, description="in the order of a look-up")
    value: Column | None = None
    value_unit: Unit = ""
    between: Literal["", "smaller", "by area"] = Field(
        "", description="what counts for a cross-section that is no standard size"
    )
    at_most: Name | None = Field(None, description="the table of the same sizes whose values these do not pass")


class TableDeclaration(TableFields):
    """One table: what all rulebooks have in common, what is taken from another table, what differs in a rulebook."""

    like: Name | None = Field(None, description="a table above, whose fields hold where this one has none")
    us: TableFields | None = None
    iec: TableFields | None = None


@dataclass(frozen=True)
class Row:
    """One row of a CSV file, and where it stands."""

    cells: Mapping[str, str]
    path: Path
    line: int


@dataclass(frozen=True)
class DeclaredTable:
    """A table with its rows under each rulebook that has some."""

    fields: Mapping[RulebookId, TableFields]
    rows: Mapping[RulebookId, tuple[Row, ...]]
    document: Document
    key: Key

    @property
    def files(self) -> set[str]:
        """The names of the CSV files that it reads."""
        return {fields.file for fields in self.fields.values() if fields.file}


Tables = Mapping[str, DeclaredTable]


def read_tables(folder: Path, base: Tables) -> dict[str, DeclaredTable]:
    """Read a folder's tables.yaml and CSV files beside the tables of `base`: its tables, and those of base that grow.

    Rows are added to statements alone; no folder changes what is looked up in another one's tables.
    Raises ContentError with file and line.
    """
    tables: dict[str, DeclaredTable] = {}
    files: dict[str, list[Row]] = {}
    path = folder / "tables.yaml"
    if path.exists():
        document = read_yaml(path)
        if not isinstance(document.data, dict):
            raise document.fault((), "a mapping from table to fields is expected.")
        if len(document.data) > MOST_TABLES:
            raise document.fault((), f"at most {MOST_TABLES} tables are read here.", "Take some away.")
        declarations: dict[str, TableDeclaration] = {}
        for name, data in document.data.items():
            declarations[name] = validated(TableDeclaration, document, data, (name,))
            tables[name] = _declared(declarations, document, name, files)
    for name, table in base.items():
        further = [
            row
            for file in table.files
            if (folder / file).exists() and "statements" in {fields.kind for fields in table.fields.values()}
            for row in files.setdefault(file, _read_rows(folder / file))
        ]
        if further:
            rows = {id_: (*table.rows.get(id_, ()), *_rows_of(table.fields[id_], id_, further)) for id_ in table.fields}
            tables[name] = replace(table, rows=rows)
    _check(tables, base)
    _check_numbers({**base, **tables})
    return tables


def _declared(
    declarations: Mapping[str, TableDeclaration], document: Document, name: str, files: dict[str, list[Row]]
) -> DeclaredTable:
    fields: dict[RulebookId, TableFields] = {}
    rows: dict[RulebookId, tuple[Row, ...]] = {}
    for id_ in get_args(RulebookId):
        merged = validated(TableFields, document, _under(declarations, document, name, id_), (name,))
        if merged.file is None:
            continue
        if merged.file not in files:
            files[merged.file] = _read_rows(document.path.with_name(merged.file))
        chosen = _rows_of(merged, id_, files[merged.file])
        if chosen:
            fields[id_], rows[id_] = merged, chosen
            _check_fields(merged, chosen, document, (name,))
    if not fields:
        raise document.fault((name,), f"the table '{name}' has no rows.", "Name its file, and check its 'where'.")
    return DeclaredTable(fields, rows, document, (name,))


def _under(
    declarations: Mapping[str, TableDeclaration], document: Document, name: str, id_: RulebookId
) -> dict[str, object]:
    """The fields of a table under a rulebook: those of the table it is like, its own, and those of the rulebook."""
    declaration = declarations[name]
    merged: dict[str, object] = {}
    if declaration.like is not None:
        if declaration.like == name or declaration.like not in declarations:
            fault = f"there is no table '{declaration.like}' above."
            raise document.fault((name, "like"), fault, "Name one that is declared before this one.")
        merged = _under(declarations, document, declaration.like, id_)
        if id_ in declaration.model_fields_set and getattr(declaration, id_) is None:
            merged.pop("file", None)
    special: TableFields | None = getattr(declaration, id_)
    merged |= declaration.model_dump(exclude_unset=True, exclude={"like", "us", "iec"})
    return merged | (special.model_dump(exclude_unset=True) if special else {})


def _rows_of(fields: TableFields, id_: RulebookId, rows: Collection[Row]) -> tuple[Row, ...]:
    return tuple(
        row
        for row in rows
        if row.cells["rulebook"] == id_
        and all(row.cells.get(column) in cells for column, cells in fields.where.items())
    )


def _read_rows(path: Path) -> list[Row]:
    """Read a CSV file as rows of text, bounded. Raises ContentError with the line of the first fault."""
    text = read_text(path)
    check_printable(path, text)
    reader = csv.reader(StringIO(text, newline=""), strict=True)
    rows: list[Row] = []
    try:
        header = next(reader, [])
        _check_header(path, header)
        for cells in reader:
            line = reader.line_num
            if len(rows) == MOST_ROWS:
                raise ContentError(path, line, f"at most {MOST_ROWS} rows are read here.", "Split the file.")
            if len(cells) != len(header):
                fault = f"the row has {len(cells)} cells, and the header {len(header)}."
                raise ContentError(path, line, fault, "Put a comma between cells; quote a cell that holds one.")
            if max(map(len, cells)) > LONGEST_CELL:
                raise ContentError(path, line, f"a cell is longer than {LONGEST_CELL} characters.", "Shorten it.")
            rows.append(Row(dict(zip(header, cells, strict=True)), path, line))
            _check_row(rows[-1])
    except csv.Error as error:
        raise ContentError(path, reader.line_num, f"the CSV cannot be read: {error}.", "Check its quotes.") from None
    return rows


def _check_header(path: Path, header: list[str]) -> None:
    if len(header) > MOST_COLUMNS or max(map(len, header), default=0) > LONGEST_CELL:
        raise ContentError(path, 1, f"at most {MOST_COLUMNS} columns are read here.", "Take some away.")
    for column in _EVERY_ROW:
        if header.count(column) != 1:
            raise ContentError(path, 1, f"the column '{column}' is missing.", f"Each row has {', '.join(_EVERY_ROW)}.")
    if len(set(header)) < len(header):
        raise ContentError(path, 1, "two columns have one name.", "Give each a name of its own.")


def _check_row(row: Row) -> None:
    cells = row.cells
    faults = [
        (
            cells["rulebook"] not in get_args(RulebookId),
            f"there is no rulebook '{cells['rulebook'][:20]}'",
            "us or iec",
        ),
        (not cells["source"], "a row without a source", "where it was read"),
        (cells["standing"] not in get_args(Standing), "a row without a standing", " or ".join(get_args(Standing))),
    ]
    for is_fault, fault, mend in faults:
        if is_fault:
            raise ContentError(row.path, row.line, f"{fault}.", f"Write {mend}.")
    try:
        without_standing("; ".join(text for column, text in cells.items() if column != "standing"))
        conversion(cells.get("unit", ""))
    except (ValueError, UnitError) as error:
        raise ContentError(row.path, row.line, f"{error}.", "Mend this row.") from None


def _check_fields(fields: TableFields, rows: Collection[Row], document: Document, key: Key) -> None:
    for name in ("title", "kind", "value"):
        if getattr(fields, name) is None:
            raise document.fault(key, f"{name}: this field is missing. Add it.")
    header = next(iter(rows)).cells
    columns = [fields.value or "", *(spec.column for spec in fields.keys.values()), *fields.where]
    for column in columns if fields.kind != "numbers" else [*columns, "name", "unit"]:
        if column not in header:
            raise document.fault(key, f"the file '{fields.file}' has no column '{column}'.", "Check its spelling.")
    looked_up = fields.kind in ("bands", "grid")
    bands = sum(spec.match != "equal" for spec in fields.keys.values())
    if looked_up != bool(fields.keys) or bands > 1 or (fields.kind == "bands" and not bands):
        raise document.fault(key, f"the keys do not fit a table of the kind {fields.kind}.", "One may be a band.")
    for spec in fields.keys.values():
        if (spec.match == "at_or_below") != (spec.end is not None):
            raise document.fault(key, "'end' belongs to a key that is 'at_or_below', and only there.", "Mend the key.")
    if fields.between and next(iter(fields.keys.values())).unit != "mm^2":
        raise document.fault(key, "'between' belongs to a table whose first key is a size.", "Leave it out.")


def _check(tables: Tables, base: Tables) -> None:
    """Check that what is looked up are numbers or sizes, each once, and that limits are there."""
    all_tables = {**base, **tables}
    for table in tables.values():
        for id_, fields in table.fields.items():
            if fields.at_most is not None and fields.at_most not in all_tables:
                fault = f"there is no table '{fields.at_most}'."
                raise table.document.fault((*table.key, "at_most"), fault, "Check its spelling.")
            if fields.kind != "statements":
                sizes = (
                    {row.cells.get("size", "") for row in all_tables[SIZES].rows.get(id_, ())}
                    if SIZES in all_tables
                    else set()
                )
                _check_cells(fields, table.rows[id_], sizes)


def _check_cells(fields: TableFields, rows: Collection[Row], sizes: Collection[str]) -> None:
    places: dict[tuple[str, ...], Row] = {}
    for row in rows:
        keys = [(spec.column, spec.match) for spec in fields.keys.values()]
        for column, match in [*keys, (fields.value or "", "equal")]:
            text = row.cells[column]
            if not (_NUMBER.fullmatch(text) or text in sizes or (match == "at_or_above" and not text)):
                fault = f"{column}: '{text[:20]}' is no number, and no size of the rulebook."
                raise ContentError(row.path, row.line, fault, "Write a number such as 12.5.")
        entry = tuple(row.cells[column] for column, _ in keys) or (
            row.cells.get("name", row.cells[fields.value or ""]),
        )
        if entry in places and fields.kind != "numbers":
            fault = f"there is another row for {', '.join(entry)}, in {_place(places[entry])}."
            raise ContentError(row.path, row.line, fault, "Keep one of them.")
        places[entry] = row


def _check_numbers(tables: Tables) -> None:
    """Check that no figure of a rulebook has two rows."""
    for id_ in get_args(RulebookId):
        places: dict[str, Row] = {}
        for row in chain.from_iterable(_numbers(tables, id_)):
            name = row.cells["name"]
            if name in places and places[name] != row:
                fault = f"there is another figure '{name}', in {_place(places[name])}."
                raise ContentError(row.path, row.line, fault, "Give this one another name.")
            places[name] = row


def _numbers(tables: Tables, id_: RulebookId) -> Iterator[tuple[Row, ...]]:
    for table in tables.values():
        if id_ in table.fields and table.fields[id_].kind == "numbers":
            yield table.rows[id_]


def _place(row: Row) -> str:
    return f"{row.path}, line {row.line}"

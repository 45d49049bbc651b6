"""The rulebooks: a jurisdiction's tables, read from CSV, each row with its source and standing.

Values are in working units throughout; a conductor's size is its cross-section in square metres, with the trade name
that the rulebook gives it.  For learning only: the code adopted where you live and a licensed electrician decide.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import cast

from tutor.base.units import conversion, written
from tutor.content.library import Library, load
from tutor.content.models import RulebookId
from tutor.content.tables import SIZES, DeclaredTable
from tutor.trade.tables import Key, Table, TableError, same

__all__ = ["RULEBOOKS", "Figure", "Rulebook", "RulebookId", "Size", "Table", "TableError", "rulebook"]

RULEBOOKS: dict[RulebookId, str] = {
    "us": "United States: NFPA 70 (National Electrical Code)",
    "iec": "IEC 60364 and IEC 62548",
}

_ALIKE = str.maketrans({"²": "2", " ": "", "\u00a0": "", "^": ""})


@dataclass(frozen=True)
class Size:
    """A standard conductor size: its cross-section (m²) and its trade name, such as '2/0 AWG' or '6 mm²'."""

    area: float
    name: str


@dataclass(frozen=True)
class Figure:
    """A single figure of a rulebook, such as the factor for continuous currents, in working units."""

    value: float
    row: Mapping[str, str]


@dataclass(frozen=True, eq=False)  # each is read once, and is itself alone
class Rulebook:
    """A jurisdiction's tables by name, its standard conductor sizes (ascending) and its single figures by name.

    `edition` is the one that its tables were read from; the table `editions` holds what others change.
    """

    id: RulebookId
    title: str
    edition: str
    tables: Mapping[str, Table]
    sizes: tuple[Size, ...]
    figures: Mapping[str, Figure]

    def number(self, name: str) -> float:
        """A single figure of the rulebook, in working units."""
        return self.figures[name].value

    def size_named(self, text: str) -> Size:
        """Find a size by its trade name, with or without its unit: '2/0 AWG', '2/0', '6 mm2'.

        Raises TableError if it is not one of the rulebook's.
        """
        plain = text.casefold().translate(_ALIKE)
        for size in self.sizes:
            if plain in (size.name.casefold().translate(_ALIKE), size.name.split()[0]):
                return size
        raise TableError(f"'{text}' is not a standard size of this rulebook; {self._range()}")

    def size_or_between(self, area: float) -> Size:
        """Find the size of a cross-section (m²), or one of its own for a cross-section between two standard sizes.

        Raises TableError below the smallest and above the largest size.
        """
        if any(same(size.area, area) for size in self.sizes):
            return self.size_of(area)
        shown = f"{conversion('mm^2').to_shown(area):.4g} mm²"
        if self.sizes[0].area < area < self.sizes[-1].area:
            return Size(area, shown)
        raise TableError(f"{shown} is no size that the tables cover; {self._range()}")

    def size_of(self, area: float) -> Size:
        """Find the size of a cross-section (m²).

        Raises TableError if none has it.
        """
        for size in self.sizes:
            if same(size.area, area):
                return size
        raise TableError(f"{written(area * 1e6, 'mm^2')} is not a standard size of this rulebook; {self._range()}")

    def next_size_up(self, area: float) -> Size:
        """Find the standard size above that of a cross-section (m²).

        Raises TableError if there is none, or if the cross-section is not a standard size.
        """
        above = self.sizes.index(self.size_of(area)) + 1
        if above == len(self.sizes):
            raise TableError(f"there is no larger standard size in this rulebook; {self._range()}")
        return self.sizes[above]

    def _range(self) -> str:
        return f"the sizes run from {self.sizes[0].name} to {self.sizes[-1].name}"


def _table(name: str, declared: DeclaredTable, id_: RulebookId, areas: Mapping[str, float]) -> Table:
    """A declared table as it is under a rulebook."""
    fields = declared.fields[id_]
    keys = tuple(
        Key(key, spec.column, spec.unit, spec.match, math.inf if spec.end is None else spec.end)
        for key, spec in fields.keys.items()
    )
    rows = tuple(row.cells for row in declared.rows[id_])
    texts = (fields.title or "", fields.kind or "", fields.value or "", fields.value_unit)
    return Table(name, *texts, rows, keys, areas, fields.between)


@lru_cache(maxsize=16)
def rulebook(id_: str, library: Library | None = None) -> Rulebook:
    """A rulebook, 'us' or 'iec', made once of the tables of a library: of the built-in one if none is named.

    Raises KeyError for any other id.
    """
    content = library or load()
    book = cast(RulebookId, id_)
    title = RULEBOOKS[book]
    declared = {name: table for name, table in content.tables.items() if book in table.fields}
    of_sizes = declared[SIZES]
    to_area = conversion(of_sizes.fields[book].value_unit).to_working
    area_cell = of_sizes.fields[book].value or ""
    areas = {row.cells["size"]: to_area(float(row.cells[area_cell])) for row in of_sizes.rows[book]}
    tables = {name: _table(name, table, book, areas) for name, table in declared.items()}
    for name, table in declared.items():
        if (limit := table.fields[book].at_most) in tables:
            tables[name] = tables[name].at_most(tables[limit])
    figures = {
        row["name"]: Figure(conversion(row["unit"]).to_working(float(row["value"])), row)
        for table in tables.values()
        if table.kind == "numbers"
        for row in table.rows
    }
    sizes = tuple(Size(area, name) for area, name in sorted((area, name) for name, area in areas.items()))
    return Rulebook(book, title, content.editions[book], tables, sizes, figures)

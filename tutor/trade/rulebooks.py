"""The rulebooks: a jurisdiction's tables, read from CSV, each row with its source and standing.

Values are in working units throughout; a conductor's size is its cross-section in square metres, with the trade name
that the rulebook gives it.  For learning only: the code adopted where you live and a licensed electrician decide.
"""

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal, cast

import yaml

from tutor.paths import content_root
from tutor.trade.tables import Key, Table, TableError, same
from tutor.units import conversion, written

__all__ = ["RULEBOOKS", "Figure", "Rulebook", "RulebookId", "Size", "Table", "TableError", "rulebook"]

RulebookId = Literal["us", "iec"]
RULEBOOKS = {
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


def read_table(
    name: str, declared: Mapping[str, Any], folder: Path, rulebook: str, areas: Mapping[str, float]
) -> Table:
    """Read one rulebook's rows of a table's CSV file, with what is said of that rulebook in particular."""
    declared = {**declared, **declared.get(rulebook, {})}
    where = {
        column: [words] if isinstance(words, str) else words for column, words in declared.get("where", {}).items()
    }
    rows: tuple[Mapping[str, str], ...] = ()
    if "file" in declared:
        with (folder / declared["file"]).open(encoding="utf-8", newline="") as lines:
            rows = tuple(
                row
                for row in csv.DictReader(lines)
                if row["rulebook"] == rulebook and all(row[column] in words for column, words in where.items())
            )
    keys = tuple(Key(key, **spec) for key, spec in declared.get("keys", {}).items())
    description = {field: declared.get(field, "") for field in ("title", "kind", "value", "value_unit", "between")}
    return Table(name, **description, rows=rows, keys=keys, areas=areas)


@lru_cache(maxsize=len(RULEBOOKS))
def rulebook(id_: str) -> Rulebook:
    """Read a rulebook, 'us' or 'iec', once.

    Raises KeyError for any other id.
    """
    folder = content_root() / "assets" / "tables"
    about = yaml.safe_load((folder / "tables.yaml").read_text(encoding="utf-8"))
    of_sizes = read_table("conductor_sizes", about["conductor_sizes"], folder, id_, {})
    to_area = conversion(of_sizes.value_unit).to_working
    areas = {row["size"]: to_area(float(row[of_sizes.value])) for row in of_sizes.rows}
    tables = {name: read_table(name, entry, folder, id_, areas) for name, entry in about.items()}
    tables = {name: table for name, table in tables.items() if table.rows}
    for name in tables:
        if (limit := about[name].get("at_most")) in tables:
            tables[name] = tables[name].at_most(tables[limit])
    figures = {
        row["name"]: Figure(conversion(row["unit"]).to_working(float(row["value"])), row)
        for table in tables.values()
        if table.kind == "numbers"
        for row in table.rows
    }
    sizes = tuple(Size(area, name) for area, name in sorted((area, name) for name, area in areas.items()))
    edition = yaml.safe_load((folder / "rulebooks.yaml").read_text(encoding="utf-8"))[id_]
    return Rulebook(cast(RulebookId, id_), RULEBOOKS[id_], edition, tables, sizes, figures)

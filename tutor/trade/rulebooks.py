"""The rulebooks: a jurisdiction's tables, read from CSV, each row with its source and standing.

For learning only: the code adopted where you live and a licensed electrician decide.
"""

import csv
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import yaml

from tutor.paths import content_root
from tutor.units import conversion, written

RULEBOOKS = {
    "us": "United States: NFPA 70 (National Electrical Code)",
    "iec": "IEC 60364 and IEC 62548",
}


class TableError(ValueError):
    """A value for which a table has no row; the message says what the table covers."""


@dataclass(frozen=True)
class Table:
    """One table of one rulebook: `kind` 'bands' (a value by band of the key) or 'sizes' (standard sizes, ascending).

    `rows` are the CSV's rows, with `source` and `standing` in each.
    """

    name: str
    title: str
    kind: str
    value: str
    value_unit: str
    rows: tuple[Mapping[str, str], ...]
    key: str = ""
    top: str = ""
    key_unit: str = ""

    @cached_property
    def _keys(self) -> list[float]:
        return sorted(conversion(self.key_unit).to_working(float(row[self.key])) for row in self.rows)

    @cached_property
    def _by_key(self) -> dict[float, float]:
        to_key, to_value = conversion(self.key_unit).to_working, conversion(self.value_unit).to_working
        return {to_key(float(row[self.key])): to_value(float(row[self.value])) for row in self.rows}

    @cached_property
    def sizes(self) -> list[float]:
        """The standard sizes in working units, ascending."""
        return sorted(conversion(self.value_unit).to_working(float(row[self.value])) for row in self.rows)

    @cached_property
    def _highest_key(self) -> float:
        return max(conversion(self.key_unit).to_working(float(row[self.top])) for row in self.rows)

    def look_up(self, key: float) -> float:
        """The value of the band that holds the key, both in working units; between two bands, of the lower one.

        Raises TableError outside the table.
        """
        at = bisect_left(self._keys, key)
        if key > self._highest_key or (at == 0 and key < self._keys[0]):
            low, high = (conversion(self.key_unit).to_shown(edge) for edge in (self._keys[0], self._highest_key))
            raise TableError(
                f"the table '{self.title}' runs from {written(low, self.key_unit)} to {written(high, self.key_unit)}"
            )
        edge = self._keys[at] if at < len(self._keys) and self._keys[at] == key else self._keys[at - 1]
        return self._by_key[edge]

    def first_at_least(self, value: float) -> float:
        """The smallest standard size that is not below the value, in working units.

        Raises TableError above the largest size.
        """
        at = bisect_left(self.sizes, value * (1 - 1e-9))
        if at == len(self.sizes):
            largest = written(conversion(self.value_unit).to_shown(self.sizes[-1]), self.value_unit)
            raise TableError(f"the largest size in '{self.title}' is {largest}")
        return self.sizes[at]


@dataclass(frozen=True)
class Rulebook:
    """A jurisdiction's tables by name."""

    id: str
    title: str
    tables: Mapping[str, Table]


def read_table(name: str, about: Mapping[str, str], folder: Path, rulebook: str) -> Table:
    """Read one rulebook's rows of a table's CSV file."""
    with (folder / about["file"]).open(encoding="utf-8", newline="") as lines:
        rows = tuple(row for row in csv.DictReader(lines) if row["rulebook"] == rulebook)
    return Table(
        name,
        about["title"],
        about["kind"],
        about["value"],
        about["value_unit"],
        rows,
        about.get("key", ""),
        about.get("top", ""),
        about.get("key_unit", ""),
    )


@lru_cache(maxsize=len(RULEBOOKS))
def rulebook(id_: str) -> Rulebook:
    """Read a rulebook, 'us' or 'iec', once.

    Raises KeyError for any other id.
    """
    folder = content_root() / "assets" / "tables"
    about = yaml.safe_load((folder / "tables.yaml").read_text(encoding="utf-8"))
    tables = {name: read_table(name, entry, folder, id_) for name, entry in about.items()}
    return Rulebook(id_, RULEBOOKS[id_], tables)

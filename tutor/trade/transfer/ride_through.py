"""How long kinds of equipment run on without voltage: published points, each with its source and standing."""

import csv
import math
from functools import lru_cache
from typing import NamedTuple

from tutor.paths import content_root


class RideThrough(NamedTuple):
    """A published point: with a share of its voltage left, equipment runs on for so long (s; inf is for good)."""

    load: str
    remaining_voltage: float
    ride_through: float
    source: str
    standing: str


@lru_cache(maxsize=1)
def ride_through_points() -> tuple[RideThrough, ...]:
    """Read the published points from assets/tables/ride_through.csv, once."""
    file = content_root() / "assets" / "tables" / "ride_through.csv"
    with file.open(encoding="utf-8", newline="") as lines:
        return tuple(
            RideThrough(
                row["load"],
                float(row["remaining_voltage"]),
                float(row["ride_through_s"] or math.inf),
                row["source"],
                row["standing"],
            )
            for row in csv.DictReader(lines)
        )

"""The one registry of units, apart from `units`: most commands need none of it, and it takes its time to load."""

import re
from functools import lru_cache

import pint

from tutor.base.units import UnitError

registry: pint.UnitRegistry = pint.UnitRegistry()
_FACTOR = re.compile(r"([*/]?)([A-Za-zµΩ%_]+)(?:\^(-?\d))?")


@lru_cache(maxsize=4096)
def registry_unit(unit: str) -> pint.Unit:
    """Read a unit name factor by factor, so that the registry only ever sees plain unit names.

    Raises UnitError if a factor is not a unit that the registry knows.
    """
    product = registry.dimensionless
    position = 1 if unit.startswith("1/") else 0
    while position < len(unit):
        match = _FACTOR.match(unit, position)
        if match is None or (position > 0) != bool(match[1]):
            raise UnitError(f"'{unit}' is not a unit")
        name = "percent" if match[2] == "%" else match[2]
        try:
            factor = registry.Unit(name) ** int(match[3] or 1)
        except (pint.errors.UndefinedUnitError, ValueError, AttributeError) as error:
            raise UnitError(f"'{match[2]}' is not a unit known here") from error
        product = product / factor if match[1] == "/" else product * factor
        position = match.end()
    return product

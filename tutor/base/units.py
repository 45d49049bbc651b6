"""Units: one registry, conversions worked out once, and how values are written for people.

Values travel through the program in *working units*: coherent SI (V, A, W, m, 1/K, ...), except that temperatures
stay in degrees Celsius and pure numbers, shares and per cent are plain fractions.  Only differences of temperatures
have a meaning in our relations, and `record_low - 25 degC` is exact in degrees Celsius while it is not in kelvin.
"""

import atexit
import json
import math
from dataclasses import asdict, dataclass
from functools import lru_cache

from tutor.base import cache

_WRITTEN = (  # differences first: 'delta_degF' holds 'degF'
    ("delta_degC", "K"),
    ("delta_degF", "°F"),
    ("degC", "°C"),
    ("degF", "°F"),
    ("ohm", "Ω"),
    ("^2", "²"),
    ("^-1", "⁻¹"),
    ("^-2", "⁻²"),
    ("*", "·"),
)
_MINUS = "−"
MOST_KEPT = 500  # units; the content writes some 40
LONGEST_UNIT = 20  # as content writes it
_NOISE = 1e-9  # what floating-point arithmetic leaves of a whole number


class UnitError(ValueError):
    """A unit that is not known, or two units that measure different things."""


@dataclass(frozen=True)
class Conversion:
    """`working = shown * scale + offset`, from a shown unit to the working unit of its dimension."""

    scale: float
    offset: float
    dimension: str

    def to_working(self, shown: float) -> float:
        """Turn a shown value into working units."""
        return shown * self.scale + self.offset

    def to_shown(self, working: float) -> float:
        """Turn a value in working units into the shown unit."""
        return (working - self.offset) / self.scale


ABSOLUTE_TEMPERATURES = {
    "degC": Conversion(1.0, 0.0, "[absolute temperature]"),
    "degF": Conversion(5 / 9, -160 / 9, "[absolute temperature]"),
}


@lru_cache(maxsize=4096)
def conversion(unit: str) -> Conversion:
    """Work out the conversion of a unit written like 'V', '%/K', 'degF', 'W/m^2' or '' (a pure number).

    Raises UnitError if the unit is not known, or too large or too small to calculate with.
    """
    if unit in ABSOLUTE_TEMPERATURES:
        return ABSOLUTE_TEMPERATURES[unit]
    conversions = _conversions()
    if unit in conversions:
        return conversions[unit]
    from tutor.base.unit_registry import registry_unit  # noqa: PLC0415 - a third of a second that few commands need

    parsed = registry_unit(unit)
    try:
        scale = float((1.0 * parsed).to_base_units().magnitude)
    except OverflowError:
        scale = math.inf
    if not 0 < scale < math.inf:
        raise UnitError(f"'{unit}' is too large or too small a unit")
    worked_out = Conversion(scale, 0.0, str(parsed.dimensionality))
    if len(conversions) < MOST_KEPT:
        conversions[unit] = worked_out
    return worked_out


@lru_cache(maxsize=1)
def _conversions() -> dict[str, Conversion]:
    """The conversions that this and earlier processes worked out; what this one adds is kept when it ends."""
    name = f"units-{cache.hashed([cache.code_version()])}.json"
    try:
        conversions = {unit: Conversion(**fields) for unit, fields in json.loads(cache.read(name) or b"{}").items()}
    except (ValueError, TypeError, AttributeError):
        conversions = {}
    before = len(conversions)

    def save() -> None:
        if len(conversions) > before:
            cache.write(name, json.dumps({unit: asdict(entry) for unit, entry in conversions.items()}).encode())

    atexit.register(save)
    return conversions


def convert(value: float, source: str, target: str) -> float:
    """Convert a value between two shown units.

    Raises UnitError if the two measure different things.
    """
    if source == target:
        return value
    old, new = conversion(source), conversion(target)
    if old.dimension != new.dimension:
        raise UnitError(f"{written_unit(source)} and {written_unit(target)} do not measure the same thing")
    return new.to_shown(old.to_working(value))


def written_unit(unit: str) -> str:
    """Write a unit as people print it: 'degC' gives '°C', 'mm^2' gives 'mm²'."""
    for name, sign in _WRITTEN:
        unit = unit.replace(name, sign)
    return unit


def written_number(value: float, figures: int = 4) -> str:
    """Write a number with so many significant figures at most and a true minus sign: 467.58 gives '467.6'.

    Whole numbers are written in full.  Zeros that rounding leaves behind the decimal mark are not written, for they
    would claim more than the givens carry: 7.5 and 7.4999 give '7.5', 15.0 gives '15'.
    """
    return with_true_minus(plain_number(value, decimals_of(value, figures)))


def decimals_of(value: float, figures: int) -> int:
    """After how many decimals a number ends that is told with so many significant figures; -2: it ends in hundreds."""
    if math.isclose(value, round(value), rel_tol=_NOISE):
        return 0
    return figures - 1 - math.floor(math.log10(abs(value)))


def plain_number(value: float, decimals: int) -> str:
    """A number rounded to so many decimals, with a plain minus sign, no zeros behind its mark, no minus before zero."""
    text = f"{round(value, decimals):.{max(0, decimals)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def with_true_minus(text: str) -> str:
    """The text of a number with the sign that people print before a negative one."""
    return text.replace("-", _MINUS)


def with_unit(number: str, unit: str) -> str:
    """A number as text with its unit, a no-break space between them; its minus sign becomes a true one."""
    sign = written_unit(unit)
    return f"{with_true_minus(number)}\u00a0{sign}" if sign else with_true_minus(number)


def written(value: float, unit: str, figures: int = 4) -> str:
    """Write a value with its unit: '46.76 V', '−24 °C', '13'."""
    return with_unit(written_number(value, figures), unit)

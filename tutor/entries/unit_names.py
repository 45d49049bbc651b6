"""Units as people name them: their spellings, what they measure, and what a degree means in a question."""

import re
from typing import Any

from lark import Tree

from tutor.base.units import ABSOLUTE_TEMPERATURES, Conversion, UnitError, conversion, written_unit

COUNT = "count"
_PREFIXES = {"µ": ("µ", "u", "micro"), "m": ("m", "milli"), "c": ("c", "centi"), "k": ("k", "kilo"), "M": ("M", "mega")}
_SPELLINGS = (  # unit, prefixes it takes, ways to write it
    ("V", "µmkM", "V,volt,volts,Vdc,V dc,Vac,V ac,volt dc,volts dc,volt ac,volts ac"),
    ("A", "µmkM", "A,amp,amps,ampere,amperes,Adc,A dc,Aac,A ac,amps dc,amps ac"),
    ("W", "mkM", "W,watt,watts,Wp"),
    ("VA", "kM", "VA"),
    ("Wh", "mkM", "Wh,W h,watt hour,watt hours,watthour,watthours"),
    ("Ah", "mk", "Ah,A h,amp hour,amp hours,ampere hour,ampere hours"),
    ("J", "kM", "J,joule,joules"),
    ("ohm", "µmkM", "ohm,ohms,Ω"),
    ("F", "µm", "F,farad,farads"),  # a bare F is a temperature, further down
    ("cmil", "", "cmil,cmils,circular mil,circular mils"),
    ("m", "µmck", "m,metre,metres,meter,meters"),
    ("ft", "k", "ft,foot,feet,'"),
    ("in", "", "in,inch,inches,\",''"),
    ("yd", "", "yd,yard,yards"),
    ("mi", "", "mi,mile,miles"),
    ("s", "µm", "s,sec,secs,second,seconds"),
    ("min", "", "min,mins,minute,minutes"),
    ("h", "", "h,hr,hrs,hour,hours,std,stunden"),
    ("day", "", "d,day,days"),
    ("Hz", "kM", "Hz,hertz"),
    ("%", "", "%,percent,per cent,pct"),
    ("K", "m", "K,kelvin,kelvins"),
    ("degC", "", "°C,° C,C,deg C,degC,degree C,degrees C,Celsius,deg Celsius,degree Celsius,degrees Celsius"),
    (
        "degF",
        "",
        "°F,° F,F,deg F,degF,degree F,degrees F,Fahrenheit,deg Fahrenheit,degree Fahrenheit,degrees Fahrenheit",
    ),
    ("deg", "", "°,deg,degree,degrees"),
)
_UNITS = {spelling: unit for unit, _, spellings in _SPELLINGS for spelling in spellings.split(",")} | {
    start + spelling: prefix + unit
    for unit, prefixes, spellings in _SPELLINGS
    for prefix in prefixes
    for start in _PREFIXES[prefix]
    for spelling in spellings.split(",")
}
_UNITS_BY_PREFIX = {spelling[0] + spelling[1:].lower(): unit for spelling, unit in _UNITS.items()}  # mV is not MV
_UNITS_IN_ANY_CASE = {spelling.lower(): unit for spelling, unit in _UNITS.items()}
_BARE_PREFIXES = ("k", "M")  # a thousand or a million of something, no kelvin and no metre
_COUNTED_WORD = (
    r"(?:(?:panel|module|modulo|módulo|string|piece|unit|cell|conductor|wire|cable|fuse|breaker|outlet|circuit|load|row)s?"
    r"|batter(?:y|ies)|pcs?|times|solar|in|series|parallel|stück|stk)"
)
_COUNTED = re.compile(f"{_COUNTED_WORD}(?: {_COUNTED_WORD})*", re.IGNORECASE)
_KELVIN = Conversion(1.0, -273.15, ABSOLUTE_TEMPERATURES["degC"].dimension)  # NIST SP 811, appendix B.8
_DIFFERENCES = {"degC": "K", "degF": "delta_degF"}  # and the difference that each is a step of
_MEASURED = (
    ("V", "a voltage"),
    ("A", "a current"),
    ("W", "a power"),
    ("Wh", "an energy"),
    ("Ah", "a charge"),
    ("ohm", "a resistance"),
    ("F", "a capacitance"),
    ("m", "a length"),
    ("m^2", "an area"),
    ("s", "a time"),
    ("Hz", "a frequency"),
    ("degC", "a temperature"),
    ("K", "a temperature or a difference of temperatures"),
    ("", "a plain number or a share"),
    ("%/K", "a share per degree"),
    ("V/K", "a voltage per degree"),
    ("A/K", "a current per degree"),
    ("ohm/m", "a resistance per length"),
    ("W/m^2", "a power per area"),
)


def measures_alike(unit: str, second: str) -> bool:
    """Whether two units measure the same."""
    return conversion(unit).dimension == conversion(second).dimension


def doubtful(unit: str, asked_unit: str) -> str:
    """What to type instead of a letter that may be short for something else than the unit it is read as; else ''."""
    if unit == "m" and asked_unit.startswith("m"):
        return f"m stands for meters, so type {written_unit(asked_unit)}"
    if unit == "m" and measures_alike(asked_unit, "s"):
        return "m stands for meters, so type min for minutes"
    if unit in ("m", "s") and not asked_unit:
        return f"{unit} stands for {'meters' if unit == 'm' else 'seconds'}, so type the number alone"
    return ""


def conversion_for(unit: str, asked_unit: str) -> Conversion:
    """The conversion of a typed unit; where a temperature is asked for, kelvin are one too, not a difference."""
    return _KELVIN if unit == "K" and asked_unit in ABSOLUTE_TEMPERATURES else conversion(unit)


def measured(unit: str) -> str:
    """Say what a unit measures, in words."""
    if unit == COUNT:
        return "a number of things"
    dimension = conversion(unit).dimension
    return next(
        (words for example, words in _MEASURED if conversion(example).dimension == dimension),
        "another kind of quantity",
    )


def understood_unit(tree: Tree[Any], asked_unit: str) -> str:
    """Understand a parsed unit, in the spelling of tutor.base.units, or COUNT where things are counted.

    Raises UnitError, whose message is the name as typed, for a name that no unit has.
    """
    unit = ""
    parts: list[Any] = tree.children
    for part in parts:
        name, *power = map(str, part.children)
        exponent = int(power[0].lstrip("^")) if power else 1
        alone = len(parts) == 1 and part.data == "first" and not power
        unit += {"times": "*", "per": "/"}.get(part.data, "") + _named_unit(name, asked_unit, alone)
        exponent = -exponent if part.data == "inverse" else exponent
        unit += f"^{exponent}" if exponent != 1 else ""
    return unit


def _named_unit(name: str, asked_unit: str, alone: bool) -> str:
    """Find one unit by what people call it; a degree is a temperature or a difference, as is asked."""
    key = " ".join(name.replace(".", " ").split())
    unit = _UNITS.get(key) or _UNITS_BY_PREFIX.get(key[0] + key[1:].lower()) or _UNITS_IN_ANY_CASE.get(key.lower())
    if key == "F" and conversion(asked_unit).dimension == conversion("F").dimension:
        return "F"
    if unit == "deg" and alone and asked_unit in ABSOLUTE_TEMPERATURES:
        return asked_unit
    if unit is None and alone and _COUNTED.fullmatch(key):
        return COUNT
    if unit is None or key in _BARE_PREFIXES or (unit == "deg" and asked_unit != "deg"):
        raise UnitError(name)
    return unit if alone and asked_unit in ABSOLUTE_TEMPERATURES else _DIFFERENCES.get(unit, unit)

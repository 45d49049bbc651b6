"""What content files hold: one frozen model for each kind of file, whose JSON Schema editors can use.

A value with its unit is written as text in content files ('41.3 V', '-0.27 %/K', '-11.2 degF').
"""

import re
from collections.abc import Iterator, Mapping
from functools import cached_property
from itertools import accumulate
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    GetJsonSchemaHandler,
    StringConstraints,
    Tag,
    model_validator,
)
from pydantic.json_schema import SkipJsonSchema
from pydantic_core import CoreSchema

from tutor.base.units import LONGEST_UNIT, conversion, with_unit

Identifier = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$", max_length=60)]
Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$", max_length=40)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=2, max_length=1200)]
Standing = Literal["read", "common practice, no source"]

# How far a source was checked is told once, in the list of sources and on the Tables page; no other text tells it.
_TELLS_STANDING = re.compile(
    r"\b(?:from|by(?: our)?) memory\b|\bnot (?:yet )?(?:been )?(?:read|compared|confirmed)\b|\bunconfirmed\b"
    r"|\bwaits? to be (?:confirmed|checked)\b",
    re.IGNORECASE,
)


def without_standing(text: str) -> str:
    """Return a text that learners see, as it is.

    Raises ValueError if it says how far a source was checked.
    """
    if claim := _TELLS_STANDING.search(text):
        raise ValueError(f"'{claim[0]}' tells how far a source was checked; only the list of sources does that")
    return text


Sentence = Annotated[Text, AfterValidator(without_standing)]

_AMOUNT = re.compile(r"^([-+−]?\d+(?:\.\d+)?)(?: (\S+))?$")

MOST_DECIMALS = 12
MOST_NAMED = 24  # cautions, sources, and exercises that one file names
MOST_DRAWN = 2000  # values of one given
MOST_SLIPS = 40  # of one exercise: every two of them are tried together


def _known_unit(unit: object) -> object:
    if isinstance(unit, str):
        conversion(unit)
    return unit


Unit = Annotated[str, BeforeValidator(_known_unit), StringConstraints(max_length=LONGEST_UNIT)]


RulebookId = Literal["us", "iec"]


class Model(BaseModel):
    """Strict and frozen: an unknown key is a fault, and nothing changes after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Amount(Model):
    """A value and the unit it is shown in."""

    value: float
    unit: Unit = ""
    label: Annotated[str, Field(max_length=200, description="its trade name, if it is told by that: '10 AWG'")] = ""
    decimals: Annotated[int, Field(ge=0, le=MOST_DECIMALS, description="those printed at least: 2 for '41.30 V'")] = 0

    @model_validator(mode="before")
    @classmethod
    def _from_text(cls, data: object) -> object:
        if isinstance(data, int | float) and not isinstance(data, bool):
            return {"value": float(data)}
        if isinstance(data, str):
            match = _AMOUNT.match(data.strip())
            if match is None:
                raise ValueError(f"'{data[:40]}' is not a value with a unit such as '41.3 V'")
            decimals = min(len(match[1].partition(".")[2]), MOST_DECIMALS)
            return {"value": float(match[1].replace("−", "-")), "unit": match[2] or "", "decimals": decimals}
        return data

    @classmethod
    def __get_pydantic_json_schema__(cls, _core: CoreSchema, _handler: GetJsonSchemaHandler) -> dict[str, Any]:
        text = {"type": "string", "pattern": _AMOUNT.pattern, "examples": ["41.3 V", "-0.27 %/K"]}
        number, words = {"type": "number"}, {"type": "string", "maxLength": 200}
        named = {
            "type": "object",
            "properties": {"value": number, "unit": {"type": "string", "maxLength": LONGEST_UNIT}, "label": words},
            "required": ["value", "label"],
            "additionalProperties": False,
        }
        return {"title": "Amount", "description": "A value and its unit.", "anyOf": [text, number, named]}

    @property
    def working(self) -> float:
        """The value in working units (see tutor.base.units)."""
        return conversion(self.unit).to_working(self.value)

    @property
    def text(self) -> str:
        """The amount as a data sheet prints it, zeros at the end too, such as '−0.30 %/K', or its trade name."""
        if self.label:
            return self.label
        number = f"{self.value:.10g}"
        if len(number.partition(".")[2]) < self.decimals:
            number = f"{self.value:.{self.decimals}f}"
        return with_unit(number, self.unit)

    def __str__(self) -> str:
        return self.text


class Near(Model):
    """What is said of a limit of which more than a share is used."""

    share: Amount
    says: Sentence = Field(description="what can go wrong and what to do; {used} is the percentage used")


def _with_braces_closed(symbol: str) -> str:
    depths = list(accumulate((sign == "{") - (sign == "}") for sign in symbol))
    if min(depths) < 0 or depths[-1]:
        raise ValueError("the symbol's braces do not close one another")
    return symbol


class Quantity(Model):
    """One physical quantity of the glossary."""

    symbol: Annotated[
        str,
        StringConstraints(pattern=r"^[A-Za-z0-9\\_{},/% ]+$", max_length=40),
        AfterValidator(_with_braces_closed),
        Field(description="in LaTeX"),
    ]
    unit: Unit = ""
    words: Sentence
    kind: Literal["number", "count", "answer", "size", "choice"] = Field(
        "number", description="answer: yes or no; size: a standard conductor; choice: one of the choices, by its place"
    )
    choices: list[Sentence] = Field(default_factory=list, max_length=12)
    plausible: tuple[float, float] | None = None
    tolerance: Amount | None = None
    share_of: Name | None = Field(
        None, description="what a temperature coefficient is a share of, so that V/K or A/K may be typed for it too"
    )
    unit_in: dict[RulebookId, Unit] = Field(
        default_factory=dict, description="the unit in which a rulebook tells it, where that is another: {us: ft}"
    )

    device: bool = Field(False, strict=True, description="whether it is the rating of an overcurrent device")
    aliases: list[Annotated[str, StringConstraints(min_length=1, max_length=60)]] = Field(
        default_factory=list, max_length=12, description="what else it is called on paper: 'Voc cold', 'string cold'"
    )
    too_low: Sentence | None = Field(None, description="what a value that is too low does; {entry} is that value")
    too_high: Sentence | None = Field(None, description="what a value that is too high does; {entry} is that value")
    safe_side: Literal["above", "below"] | None = Field(
        None, description="where its value is rounded to when it is asked for: above what must be carried or withstood"
    )
    near: Near | None = Field(None, description="for a limit: when a value below it is too near, and what to say then")

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if (self.kind == "choice") != bool(self.choices):
            raise ValueError("'choices' belong to a quantity of the kind choice, and only there")
        if self.kind not in ("answer", "choice") and self.plausible is None:
            raise ValueError("'plausible' is missing: give the lowest and the highest value, in the quantity's unit")
        if self.plausible is not None and self.plausible[0] >= self.plausible[1]:
            raise ValueError("'plausible' has to be written with the lower value first")
        return self


class Agreement(Model):
    """What quantities of one label, data sheet or place keep to among themselves, wherever a problem has them all."""

    holds: str = Field(max_length=200, description="a comparison in plain algebra: module_imp <= module_isc")
    says: Sentence = Field(description="what a learner is told whose numbers break it: what contradicts, what to check")


class Module(Model):
    """An invented module's data sheet at 1000 W/m², 25 °C cells."""

    name: Sentence
    cells: int = Field(ge=20, le=160, strict=True)
    module_power: Amount
    module_voc: Amount
    module_vmp: Amount
    module_isc: Amount
    module_imp: Amount
    voc_coefficient: Amount
    vmp_coefficient: Amount
    power_coefficient: Amount
    isc_coefficient: Amount
    module_fuse_max: Amount
    module_system_voltage: Amount
    nominal_cell_temperature: Amount

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        power = self.module_vmp.working * self.module_imp.working
        fill = power / (self.module_voc.working * self.module_isc.working)
        if abs(power / self.module_power.working - 1) > 0.01:
            raise ValueError(f"module_vmp times module_imp is {power:.1f} W, but module_power says {self.module_power}")
        if not 0.70 <= fill <= 0.85:
            raise ValueError(f"the fill factor is {fill:.3f}; crystalline modules lie between 0.70 and 0.85")
        if not 0.55 <= self.module_voc.working / self.cells <= 0.78:
            raise ValueError("module_voc divided by cells has to lie between 0.55 V and 0.78 V a cell")
        if not self.vmp_coefficient.working < self.voc_coefficient.working < 0 < self.isc_coefficient.working:
            raise ValueError("vmp_coefficient has to be below voc_coefficient, both negative, isc_coefficient positive")
        return self


class Charger(Model):
    """An invented charger's array input."""

    name: Sentence
    input_voltage_max: Amount
    input_voltage_min: Amount
    input_voltage_best: Amount
    input_current_max: Amount

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if not self.input_voltage_min.value <= self.input_voltage_best.value < self.input_voltage_max.value:
            raise ValueError("input_voltage_min, input_voltage_best and input_voltage_max have to rise in this order")
        return self


class Place(Model):
    """An invented place with the temperatures that a string there meets; the unit is the one used there."""

    name: Sentence
    record_low: Amount
    hottest_ambient: Amount
    hottest_cell: Amount
    january_mean: Amount
    july_mean: Amount

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        if not self.record_low.working < self.hottest_ambient.working < self.hottest_cell.working:
            raise ValueError("record_low, hottest_ambient and hottest_cell have to rise in this order")
        return self


FOR_ALL = "local-code-decides"  # the caution of every exercise, lesson, page and sheet
MOST_CAUTION_WORDS = 35  # a longer warning is not read to its end (our own bound, common practice, no source)


class CautionWords(Model):
    """What a caution says where a rulebook needs other words."""

    hazard: Sentence
    consequence: Sentence
    avoid: Sentence


class Hazard(CautionWords):
    """A caution shown wherever an exercise or a lesson names its id: the hazard, what it does, how to avoid it."""

    signal: Literal["DANGER", "WARNING", "CAUTION", "NOTICE"] | None = Field(
        description="DANGER: kills if not avoided; WARNING: can kill; CAUTION: injures; NOTICE: damages; null: none"
    )
    in_rulebook: dict[RulebookId, CautionWords] = Field(default_factory=dict)
    goes_with: list[Name] = Field(
        default_factory=list, max_length=12, description="quantities, and sources of an order, that need this caution"
    )
    mentioned: list[Sentence] = Field(
        default_factory=list, max_length=6, description="words of a story that need this caution"
    )

    @model_validator(mode="after")
    def _short(self) -> Self:
        for rulebook in (None, *self.in_rulebook):
            words = len(self.text_under(rulebook).replace(" - ", " ").split())
            if words > MOST_CAUTION_WORDS:
                raise ValueError(f"the caution has {words} words; {MOST_CAUTION_WORDS} is the most")
        return self

    @property
    def text(self) -> str:
        """The caution where no rulebook changes it: signal word, hazard, consequence, how to avoid it."""
        return self.text_under(None)

    def text_under(self, rulebook: str | None) -> str:
        """The caution as it reads under a rulebook, by its id."""
        words = next((words for id_, words in self.in_rulebook.items() if id_ == rulebook), self)
        signal = f"{self.signal} - " if self.signal else ""
        return f"{signal}{words.hazard.rstrip('.')}. {words.consequence} {words.avoid}"


class Source(Model):
    """Where a formula, a table or a rule comes from, and how far it was checked."""

    citation: Sentence
    standing: Standing


Role = Literal["module", "second module", "charger", "place"]


class PartGiven(Model):
    """A given taken from a drawn part: `take` (default: the given's own name) of that part."""

    source: Role = Field(alias="from")
    take: Name | None = None


class Bounds(Model):
    """The lowest and the highest that a given may be."""

    lowest: Amount
    highest: Amount

    @model_validator(mode="after")
    def _rises(self) -> Self:
        if self.lowest.value >= self.highest.value:
            raise ValueError("'lowest' has to be below 'highest'")
        if self.lowest.unit != self.highest.unit:
            raise ValueError("'lowest' and 'highest' have to be written in one unit")
        return self


class RangeGiven(Bounds):
    """A given drawn evenly from lowest, lowest + step, ... up to highest."""

    step: Amount

    @model_validator(mode="after")
    def _steps(self) -> Self:
        if self.step.value <= 0:
            raise ValueError("'step' has to be above zero")
        if self.step.unit != self.lowest.unit:
            raise ValueError("'step' has to be written in the unit of 'lowest'")
        if not (self.highest.value - self.lowest.value) / self.step.value < MOST_DRAWN:
            raise ValueError(f"a range may have {MOST_DRAWN} values; write a larger 'step' or bounds closer together")
        return self


class ChoiceGiven(Model):
    """A given drawn from a list."""

    one_of: list[Amount] = Field(min_length=1, max_length=100)


class SizeGiven(Model):
    """A conductor drawn from the rulebook's standard sizes, by their trade names."""

    smallest: str = Field(max_length=20)
    largest: str = Field(max_length=20)


def _given(data: object) -> object:
    return {"from": data} if isinstance(data, str) else data


def _kind_of_given(data: object) -> str | None:
    if isinstance(data, Model):
        return type(data).__name__
    keys = data.keys() if isinstance(data, dict) else ()
    kinds = {"from": "PartGiven", "lowest": "RangeGiven", "one_of": "ChoiceGiven", "smallest": "SizeGiven"}
    return next((kind for key, kind in kinds.items() if key in keys), None)


_AnyGiven = Annotated[
    Annotated[PartGiven, Tag("PartGiven")]
    | Annotated[RangeGiven, Tag("RangeGiven")]
    | Annotated[ChoiceGiven, Tag("ChoiceGiven")]
    | Annotated[SizeGiven, Tag("SizeGiven")],
    Discriminator(_kind_of_given),
]
Given = Annotated[_AnyGiven, BeforeValidator(_given, json_schema_input_type=Role | _AnyGiven)]


class Slip(Model):
    """One wrong way, as a change to the right one."""

    instead: dict[Name, str] = Field(default_factory=dict, description="relations that are replaced")
    swap: dict[Name, Name] = Field(default_factory=dict, description="quantity: the one used in its place")
    misread: dict[Name, Unit] = Field(default_factory=dict, description="given: unit its printed number was taken in")

    @model_validator(mode="after")
    def _changes_something(self) -> Self:
        if not (self.instead or self.swap or self.misread):
            raise ValueError("a mistake needs 'instead', 'swap' or 'misread', else it changes nothing")
        return self


class Mistake(Slip):
    """A wrong way that people take: its slip, further slips that teach the same thing, its name and what to say."""

    words: Sentence = Field(description="what was done, in a few words: 'the cold left out'")
    says: Sentence = Field(description="what the tutor says; it asks or points, and gives no answer away")
    weight: float = Field(
        1.0, gt=0, le=100, strict=True, description="how common it is beside the exercise's other mistakes"
    )
    also: list[Slip] = Field(default_factory=list, max_length=6)

    @cached_property
    def slips(self) -> list[Slip]:
        """All the slips that count as this mistake."""
        return [Slip(instead=self.instead, swap=self.swap, misread=self.misread), *self.also]


DayValue = Annotated[
    Annotated[str, StringConstraints(max_length=60)] | float,
    Field(description="a quantity's name, or a value with its unit"),
]


class DayLoad(Model):
    """A load of a simulated day."""

    name: Sentence
    power: DayValue
    ride_through: DayValue = "0 s"
    restarts: bool = True


class DayEvent(Model):
    """What changes at a time of a simulated day; what is not named stays as it was."""

    at: DayValue
    supply: Literal["on", "off"] | None = None
    array: DayValue | None = None
    load: DayValue | None = Field(None, description="the first load's power from then on")


class Day(Model):
    """A simulated day: the inverter-charger's values by the names of tutor.trade.transfer.System, loads and events."""

    system: dict[Name, DayValue | list[Literal["array", "battery", "supply"]]]
    loads: list[DayLoad] = Field(min_length=1, max_length=4)
    stored: DayValue = Field(description="the energy in the battery at the start")
    events: list[DayEvent] = Field(min_length=1, max_length=12)
    end: DayValue
    clock: DayValue = Field("0 h", description="what the clock shows at the start")


class Protection(Model):
    """What the proof that a conductor may be protected goes by: each field names the quantity that plays its part."""

    conductors: list[Name] = Field(default_factory=list, max_length=3, description="their sizes, all behind one device")
    ampacity: Name | None = Field(None, description="a usable ampacity, where it is told instead of a size")
    load: Name | None = Field(None, description="the continuous current that the device has to let pass")
    other_load: Name | None = Field(None, description="the current beside it that does not run for hours")
    device: Name | None = Field(None, description="the device's rating; none: the first one that the load allows")
    largest_device: Name | None = Field(None, description="the largest rating that may protect the conductors")
    verdict: Name | None = Field(None, description="the yes or no whether the device protects the conductors")
    larger_for: Name | None = Field(None, description="a size that another test asks for, such as that of the drop")
    insulation: Name | None = None
    terminals: Name | None = None
    ambient: Name | None = None
    grouped: Name | None = Field(None, description="how many conductors that carry current lie together")
    devices: Literal["breakers", "fuses"] = Field("breakers", description="fuses: general-purpose ones, gG under iec")
    next_size_up: bool = Field(True, strict=True, description="false where that rule of 240.4(B) is not used")

    @model_validator(mode="after")
    def _of_something(self) -> Self:
        if bool(self.conductors) == bool(self.ampacity):
            raise ValueError("name 'conductors', or an 'ampacity' in their place")
        if self.conductors and self.insulation is None:
            raise ValueError("'insulation' is missing: its rating says which column of the table holds")
        if not (self.load or self.device or self.largest_device):
            raise ValueError("name the 'load' that a device has to suit, or the 'device'")
        return self

    @property
    def names(self) -> list[str]:
        """The quantities that it names."""
        fields = (self.ampacity, self.load, self.other_load, self.device, self.largest_device, self.verdict)
        laid = (self.larger_for, self.insulation, self.terminals, self.ambient, self.grouped)
        return [*self.conductors, *(name for name in (*fields, *laid) if name is not None)]


PLACEHOLDER = re.compile(r"\{(-?[a-z][a-z0-9_]*)\}")
_NAME = re.compile(r"[a-z][a-z0-9_]*")


def filled(sentence: str, texts: Mapping[str, str]) -> str:
    """A sentence or a phrase with the texts of what it names in braces; '' if one of them is not known."""
    if any(not texts.get(name) for name in PLACEHOLDER.findall(sentence)):
        return ""
    return PLACEHOLDER.sub(lambda match: texts[match[1]], sentence)


def _in_braces(phrase: str) -> str:
    """A phrase whose quantities stand in braces, also one that is a quantity's name alone."""
    if re.search(r"[{}]", PLACEHOLDER.sub("", phrase)):
        raise ValueError(f"the braces of '{phrase}' hold no quantity's name such as '{{fuse_rating}}'")
    return f"{{{phrase}}}" if _NAME.fullmatch(phrase) else phrase


def _as_list(data: object) -> object:
    return [data] if isinstance(data, str) else data


Phrase = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=60),
    AfterValidator(_in_braces),
    AfterValidator(without_standing),
]
Label = Annotated[
    tuple[Phrase, ...],
    Field(
        max_length=4, description="quantities, or words around quantities: [battery_voltage, 'lowest {low_voltage}']"
    ),
    BeforeValidator(_as_list, json_schema_input_type=Phrase | list[Phrase]),
]


class Diagram(Model):
    """A wiring diagram: which renderer draws it, and what stands where.

    A phrase is left out where the question has not all of its quantities.
    """

    when_asked: dict[Name, dict[Name, Any]] = Field(
        default_factory=dict, description="roles that differ where a quantity is asked for (null takes one out)"
    )

    def asked(self, ask: str) -> dict[str, Any]:
        """The fields as they are where a quantity is asked for, not yet validated."""
        data = self.model_dump(exclude_unset=True, exclude={"when_asked"})
        return merged(data, self.when_asked.get(ask, {}))

    @property
    def names(self) -> Iterator[tuple[str, str]]:
        """The quantities that it names, each after its role."""
        for role, value in self:
            if isinstance(value, tuple):
                yield from ((role, name) for phrase in value for name in PLACEHOLDER.findall(phrase))
            elif role in self.counts:
                yield role, value

    @property
    def counts(self) -> list[str]:
        """The roles that a whole number plays."""
        return [role for role, value in self if isinstance(value, str) and role != "renderer"]


class SeriesStringDiagram(Diagram):
    """Modules one after the other, drawn where their number is told or asked for."""

    renderer: Literal["series-string"]
    count: Name = Field(description="how many modules")
    module: Label = Field((), description="in every module")


class MixedStringDiagram(Diagram):
    """Modules of two kinds one after the other, drawn where both numbers are told."""

    renderer: Literal["mixed-string"]
    count: Name = Field(description="how many modules of the first kind")
    second_count: Name = Field(description="how many of the second kind")
    module: Label = Field((), description="in every module of the first kind")
    second_module: Label = Field((), description="in every module of the second kind")


class ParallelStringsDiagram(Diagram):
    """Strings side by side on two busbars."""

    renderer: Literal["parallel-strings"]
    count: Name = Field(description="how many strings")
    modules: Name | None = Field(None, description="how many modules a string has")
    string: Label = Field((), description="in every string, after its modules")
    together: Label = Field((), description="where the currents have met")
    fuse: Label | None = Field(None, description="at every string's fuse; '?' leaves open whether there is one")


class BatteryCircuitDiagram(Diagram):
    """Battery, fuse, cable and inverter."""

    renderer: Literal["battery-circuit"]
    battery: Label = ()
    fuse: Label = ()
    cable: Label = ()
    current: Label = ()
    inverter: Label = ()


class SourcePathsDiagram(Diagram):
    """The ways from supply, array and battery to the loads."""

    renderer: Literal["source-paths"]
    feeding: list[Literal["supply", "array", "battery"]] | None = Field(
        None, description="what feeds the loads at the moment asked about; [] for nothing; left out where that is open"
    )
    supply: Label = ()
    array: Label = Field((), description="left out where there is no array")
    battery: Label = ()
    inverter: Label = ()
    loads: Label = ()
    transfer: Label = ()


class UnknownDiagram(Diagram):
    """A diagram whose renderer is not one of those above: a fault that lists them."""

    model_config = ConfigDict(extra="ignore")
    renderer: Literal["series-string", "mixed-string", "parallel-strings", "battery-circuit", "source-paths"]


def _kind_of_diagram(data: object) -> str:
    if isinstance(data, Model):
        return type(data).__name__
    renderer = str(data.get("renderer")) if isinstance(data, dict) else ""
    kind = "".join(part.capitalize() for part in renderer.split("-")) + "Diagram"
    return kind if kind in {known.__name__ for known in Diagram.__subclasses__()} else "UnknownDiagram"


AnyDiagram = Annotated[
    Annotated[SeriesStringDiagram, Tag("SeriesStringDiagram")]
    | Annotated[MixedStringDiagram, Tag("MixedStringDiagram")]
    | Annotated[ParallelStringsDiagram, Tag("ParallelStringsDiagram")]
    | Annotated[BatteryCircuitDiagram, Tag("BatteryCircuitDiagram")]
    | Annotated[SourcePathsDiagram, Tag("SourcePathsDiagram")]
    | Annotated[SkipJsonSchema[UnknownDiagram], Tag("UnknownDiagram")],
    Discriminator(_kind_of_diagram),
]


def merged(data: dict[str, Any], change: dict[str, Any]) -> dict[str, Any]:
    """Fields with those of a change in their places; null takes one out."""
    return {name: value for name, value in {**data, **change}.items() if value is not None}


class ByRulebook(Model):
    """A declaration that differs under a rulebook."""

    in_rulebook: dict[RulebookId, dict[str, Any]] = Field(
        default_factory=dict, description="what differs under one: fields, or entries of fields (null takes one out)"
    )

    def under(self, rulebook: RulebookId) -> dict[str, Any]:
        """The fields as they are under a rulebook, not yet validated."""
        data = self.model_dump(mode="json", by_alias=True, exclude_unset=True, exclude={"in_rulebook"})
        for name, change in self.in_rulebook.get(rulebook, {}).items():
            nested = isinstance(change, dict) and isinstance(data.get(name), dict)
            data[name] = merged(data[name], change) if nested else change
        return data


class Exercise(ByRulebook):
    """A declared family of problems."""

    id: Identifier
    title: Sentence
    lesson: Identifier
    skill: Identifier
    level: int = Field(ge=1, le=3, strict=True)
    story: list[Sentence] = Field(min_length=1, max_length=12)
    givens: dict[Name, Given] = Field(min_length=1, max_length=16)
    relations: dict[Name, str] = Field(min_length=1, max_length=16)
    limits: list[str] = Field(default_factory=list, max_length=4)
    asks: dict[Name, Sentence] = Field(min_length=1, max_length=8)
    why: dict[Name, Sentence]
    within: dict[Name, tuple[float, float]] = Field(default_factory=dict)
    holds_for: dict[Name, Bounds | SizeGiven] = Field(
        default_factory=dict, description="givens beyond which another rule counts: own numbers there are refused"
    )
    mistakes: dict[Identifier, Mistake] = Field(max_length=24)
    hints: list[Sentence] = Field(min_length=2, max_length=6)
    safety: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)
    sources: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)
    day: Day | None = None
    protection: Protection | Sentence | None = Field(
        None, description="how a device protects the conductor; or the reason why none has to, in a sentence"
    )
    diagram: AnyDiagram | None = Field(
        None, description="the wiring: which renderer draws it, which quantity goes where"
    )
    other_methods: list[Identifier] = Field(
        default_factory=list, max_length=4, description="exercises whose method is as good for a working of this one"
    )
    rulebooks: list[RulebookId] = Field(
        default=["us", "iec"], min_length=1, max_length=2, description="those it can be set under"
    )

    @model_validator(mode="after")
    def _few_slips(self) -> Self:
        slips = sum(len(mistake.slips) for mistake in self.mistakes.values())
        if slips > MOST_SLIPS:
            raise ValueError(f"the mistakes have {slips} slips; {MOST_SLIPS} is the most. Take some away")
        return self


class Arrow(Model):
    """One step that has to come before another, and why."""

    first: Identifier
    then: Identifier
    why: Sentence

    @property
    def id(self) -> str:
        """The name of the mistake of turning the two round."""
        return f"{self.then}-before-{self.first}"


class Trap(Model):
    """A step that must never be taken, and why."""

    action: Sentence
    why: Sentence


class NamedMistake(Model):
    """A mistake's words, where its arithmetic is none."""

    words: Sentence
    says: Sentence


EnergySource = Literal["array", "battery", "supply", "generator"]


class Isolation(Model):
    """The actions that make one source safe; `story` where the story says that it is open and locked already."""

    opening: Identifier
    lock: Identifier
    measurement: Identifier

    IN_STORY: ClassVar[str] = "story"


class OrderExercise(Model):
    """A declared family of problems that ask for an order; `asks` holds 'order' and may hold 'next_action'."""

    kind: Literal["order"]
    id: Identifier
    title: Sentence
    lesson: Identifier
    skill: Identifier
    level: int = Field(ge=1, le=3)
    story: list[Sentence] = Field(min_length=1, max_length=12)
    actions: dict[Identifier, Sentence] = Field(min_length=3, max_length=14)
    arrows: list[Arrow] = Field(min_length=1, max_length=40)
    indispensable: list[Identifier] = Field(
        min_length=1, max_length=14, description="actions that no problem leaves out"
    )
    isolation: dict[EnergySource, Isolation] = Field(
        min_length=1, description="every source that the story or an action names, and how it is made safe"
    )
    shown: int = Field(ge=3, le=12, description="how many of the actions a problem shows")
    traps: dict[Identifier, Trap] = Field(min_length=1, max_length=10)
    asks: dict[Literal["order", "next_action"], Sentence] = Field(min_length=1)
    hints: list[Sentence] = Field(min_length=2, max_length=6)
    safety: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)
    sources: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        named = {*self.indispensable, *(end for arrow in self.arrows for end in (arrow.first, arrow.then))}
        unknown = sorted(named - self.actions.keys())
        if unknown:
            raise ValueError(f"'{unknown[0]}' is not one of the actions")
        clashing = sorted(self.actions.keys() & self.traps.keys())
        if clashing:
            raise ValueError(f"'{clashing[0]}' is an action and a trap")
        if not len(self.indispensable) <= self.shown <= len(self.actions):
            raise ValueError("'shown' has to lie between the number of 'indispensable' and that of all actions")
        left = dict(self.actions)
        while left:
            free = [id_ for id_ in left if not any(arrow.then == id_ and arrow.first in left for arrow in self.arrows)]
            if not free:
                raise ValueError(f"the arrows go round in a circle at '{next(iter(left))}'")
            left = {id_: words for id_, words in left.items() if id_ not in free}
        return self

    def after(self, action: str) -> set[str]:
        """All the actions that have to wait for one, also by way of others."""
        reached: set[str] = set()
        new = {action}
        while new:
            new = {arrow.then for arrow in self.arrows if arrow.first in new} - reached
            reached |= new
        return reached

    @cached_property
    def mistakes(self) -> dict[str, NamedMistake]:
        """Every arrow turned round and every trap stepped into."""
        turned = {
            arrow.id: NamedMistake(
                words=f"'{self.actions[arrow.then]}' before '{self.actions[arrow.first]}'", says=arrow.why
            )
            for arrow in self.arrows
        }
        return turned | {id_: NamedMistake(words=f"'{trap.action}'", says=trap.why) for id_, trap in self.traps.items()}

    @property
    def givens(self) -> dict[str, str]:
        """An order rests on no numbers."""
        return {}


class LessonHeader(Model):
    """The front matter of a lesson."""

    id: Identifier
    title: Sentence
    order: int = Field(strict=True)
    question: Sentence
    figure: Identifier
    example: Identifier
    exercises: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)
    safety: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)
    sources: list[Identifier] = Field(min_length=1, max_length=MOST_NAMED)

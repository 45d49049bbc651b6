"""What a file under assets/figures holds: a sweep over the relations of exercises, or a special renderer's controls."""

from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from tutor.content.models import ByRulebook, Day, Given, Identifier, Model, Name, RangeGiven, Sentence, Unit

MOST_POINTS = 400  # more would not be told apart on the screen, and take their time
Renderer = Literal["fuse-between", "inrush", "iv-curve", "shared-load", "transfer-day"]


class Swept(RangeGiven):
    """The given that the figure moves along its axis."""

    quantity: Name

    @model_validator(mode="after")
    def _check_count(self) -> Self:
        if (self.highest.value - self.lowest.value) / self.step.value > MOST_POINTS:
            raise ValueError(f"'step' is so small that there are more than {MOST_POINTS} points")
        return self


Expression = Annotated[
    str, Field(min_length=1, max_length=200, description="plain algebra over the figure's quantities")
]


class Curve(Model):
    """One quantity as the sweep goes on."""

    of: Name
    words: Sentence
    mistake: Identifier | None = Field(None, description="drawn as it comes out with this mistake of an exercise")
    seems: str = Field("", max_length=300, description="what is said of a mistake's value, {trap}, at the chosen point")
    deceives: str = Field("", max_length=300, description="the same where it seems to keep a limit that is broken")
    given: dict[Name, str] = Field(
        default_factory=dict,
        max_length=4,
        description="givens that this curve has for itself: {conductor_size: 10 AWG}; thin if another one is chosen",
    )
    carries: Expression | None = Field(None, description="a comparison; where it does not hold, the curve is thin")
    fails: str = Field("", max_length=60, description="what is said at the curve there: 'too thin'")
    mark: Literal["highest", "lowest"] | None = Field(None, description="which of its points carries its value")


class Limit(Model):
    """What the curves of a quantity have to keep to; {bound} in its words is the limit's value."""

    of: Name
    most: Expression | None = None
    least: Expression | None = None
    words: Sentence = Field(description="at its line: 'destroyed above {bound}'")
    broken: Sentence = Field(description="what a value beyond it is, in a few words: 'too many'")
    harm: Sentence = Field(description="what such a value does: 'the input is destroyed'")
    deadly: bool = Field(False, strict=True, description="whether what lies beyond destroys or kills")

    @model_validator(mode="after")
    def _one_side(self) -> Self:
        if (self.most is None) == (self.least is None):
            raise ValueError("write either 'most' or 'least'")
        return self

    @property
    def bound(self) -> str:
        """The expression that bounds the curves."""
        return self.most or self.least or ""


class Level(Model):
    """A line across the figure that only informs; {bound} in its words is its value."""

    at: Expression
    words: Sentence


class Choice(Model):
    """What is said of the first curve that keeps every limit and is not thin, {curve}, with that curve's values."""

    says: Sentence
    none: Sentence = Field(description="what is said if there is no such curve")
    trap: Sentence = Field(description="what is said of an earlier curve that keeps the limits but is thin")


class Case(Model):
    """A sentence, and the comparison by which it is said."""

    when: Expression | None = Field(None, description="left out: said in all other cases")
    says: Sentence


Kind = Literal["number", "switch", "option", "options", "size", "module"]
_LOAD_AND_FAULT: Mapping[str, Kind] = {"load": "number", "fault": "number"}
_BATTERY: Mapping[str, Kind] = {
    "power": "number",
    "battery": "option",
    "efficiency": "number",
    "resistance": "number",
}
# What each renderer draws from; of several sets a figure has one.
_CONTROLS: Mapping[Renderer, tuple[Mapping[str, Kind], ...]] = {
    "fuse-between": tuple(
        {**circuit, "size": "size", "fuse": "number", "breaking_capacity": "number"}
        for circuit in (_LOAD_AND_FAULT, _BATTERY)
    ),
    "inrush": (dict.fromkeys(("voltage", "capacitance", "resistance", "resistor", "time"), "number"),),
    "iv-curve": ({"module": "module", "irradiance": "number", "cell_temperature": "number"},),
    "shared-load": ({"shared": "option", "loads": "options"},),
    "transfer-day": (
        {
            "order": "option",
            "charging": "switch",
            **dict.fromkeys(("lost", "length", "load", "array", "capacity", "transfer_time"), "number"),
        },
    ),
}
VALUES_OF_A_DAY = ("back", "stored")  # when the supply is back, and the energy at midnight
# What an option brings along, in working units; of several sets it has one.
_OPTION_VALUES: Mapping[str, tuple[set[str], ...]] = {
    "battery": ({"lowest", "full"},),
    "shared": ({"current", "voltage"}, {"power", "factor", "rule"}),
    "loads": ({"power", "continuous"},),
    "order": (set(),),
}


def _label(words: str) -> str:
    """The words of a control, where Streamlit would read marks as a link, a picture or a colour."""
    if set(words) & set("[]<>*_`$!@{}") or "//" in words or "www" in words:
        raise ValueError("a control's words are plain: letters, figures and brackets")
    return words


class Control(Model):
    """A choice beside a figure: a slider between two ends, values or options in a list, a size, a module, a switch."""

    words: Annotated[Sentence, AfterValidator(_label)]
    unit: Unit = Field("", description="of lowest, highest, step, values and start")
    lowest: int | float | None = None
    highest: int | float | None = None
    step: int | float | None = None
    values: list[int | float] = Field(default_factory=list, max_length=40)
    options: dict[str, dict[Name, float | bool | str]] = Field(
        default_factory=dict, max_length=12, description="what each brings along; its name may tell it: '{current} A'"
    )
    table: Literal["fuse_ratings", "sizes"] | None = Field(None, description="standard values of the rulebook")
    part: Literal["module"] | None = None
    start: bool | int | float | str | list[str] | None = Field(None, description="a list: several may be chosen")
    column: Literal["left", "right"] | None = Field(None, description="where it stands beside others")

    @property
    def kind(self) -> Kind:
        """What it chooses."""
        if self.options:
            return "options" if isinstance(self.start, list) else "option"
        if isinstance(self.start, bool):
            return "switch"
        return self.part or ("size" if self.table == "sizes" else "number")

    @model_validator(mode="after")
    def _complete(self) -> Self:
        ends = (self.lowest, self.highest)
        if self.kind in ("option", "options"):
            chosen = self.start if isinstance(self.start, list) else [self.start]
            complete = all(name in self.options for name in chosen)
        elif self.kind == "number" and not self.table:
            complete = isinstance(self.start, int | float) and (
                self.start in self.values
                if self.values
                else None not in (*ends, self.step) and ends[0] <= self.start <= ends[1] and self.step > 0  # type: ignore[operator]
            )
        else:
            complete = self.kind in ("switch", "module") or self.start is not None
        if not complete:
            raise ValueError(
                "write 'start' and, for a number, 'lowest', 'highest', 'step' around it or 'values' with it"
            )
        return self


class SpecialFigure(ByRulebook):
    """A figure with a renderer of its own, and the controls that it is drawn from."""

    renderer: Renderer
    controls: dict[Name, Control] = Field(min_length=1, max_length=12)
    conditions: Sentence | None = Field(None, description="what holds beside the choices, told below them")
    day: Day | None = Field(None, description="what 'transfer-day' simulates, over the values of its controls")
    fixed: Sentence | None = Field(None, description="told below the figure, with the day's {values}")

    @property
    def reads_rulebook(self) -> bool:
        """Whether its numbers rest on the rulebook."""
        return self.renderer in ("fuse-between", "shared-load")

    @model_validator(mode="after")
    def _drawable(self) -> Self:
        kinds = {name: control.kind for name, control in self.controls.items()}
        if kinds not in _CONTROLS[self.renderer]:
            wanted = " or ".join(
                ", ".join(f"{name} ({kind})" for name, kind in sorted(controls.items()))
                for controls in _CONTROLS[self.renderer]
            )
            raise ValueError(f"'{self.renderer}' is drawn from the controls {wanted}")
        for name, control in self.controls.items():
            for option, values in control.options.items():
                if values.keys() not in _OPTION_VALUES[name]:
                    raise ValueError(f"'{option}' has to bring along {_OPTION_VALUES[name][0] or 'nothing'}")
        if (self.day is None) == (self.renderer == "transfer-day"):
            raise ValueError("a 'day' belongs to 'transfer-day', and to no other renderer")
        return self


class Sweep(ByRulebook):
    """One quantity or more against a given that is swept, over the relations of exercises, with limits."""

    renderer: Literal["sweep"] = "sweep"
    exercises: list[Identifier] = Field(min_length=1, max_length=4, description="whose givens and relations are used")
    givens: dict[Name, Given | None] = Field(
        default_factory=dict, description="in the place of theirs; null takes one out"
    )
    relations: dict[Name, str | None] = Field(default_factory=dict, description="likewise")
    swept: Swept | None = None
    along: Literal["year"] | None = Field(
        None, description="year: the coldest morning and the hottest cell of each day"
    )
    axis: Sentence = Field(description="what the curves are, under which their axis stands")
    curves: list[Curve] = Field(min_length=1, max_length=8)
    limits: list[Limit] = Field(default_factory=list, max_length=4)
    levels: list[Level] = Field(default_factory=list, max_length=4)
    band: tuple[Name, Name] | None = Field(None, description="two quantities between which the ground is shaded")
    controls: list[str] = Field(min_length=1, max_length=8, description="parts and givens that the learner chooses")
    start: dict[Name, str] = Field(
        default_factory=dict, max_length=16, description="parts (by name) and givens to begin with"
    )
    says: list[Sentence | list[Case]] = Field(default_factory=list, max_length=8)
    choice: Choice | None = None
    fits: Sentence = Field("fits", description="what a value is that keeps every limit")
    stepped: bool = Field(
        False, strict=True, description="whether each value holds from the point before, as in a table"
    )

    @model_validator(mode="after")
    def _one_axis(self) -> Self:
        if (self.swept is None) == (self.along is None):
            raise ValueError("name either what is 'swept' or what the figure goes 'along'")
        return self

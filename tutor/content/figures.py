"""What a file under assets/figures holds: a sweep over the relations of exercises, or a special renderer's name."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from tutor.content.models import ByRulebook, Given, Identifier, Model, Name, RangeGiven, Sentence

MOST_POINTS = 400  # more would not be told apart on the screen, and take their time
Renderer = Literal["battery-fuse", "fuse-between", "inrush", "iv-curve", "shared-load", "transfer-day"]


class Swept(RangeGiven):
    """The given that the figure moves along its axis."""

    quantity: Name

    @model_validator(mode="after")
    def _few(self) -> Self:
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


class SpecialFigure(Model):
    """A figure with a renderer of its own."""

    renderer: Renderer


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

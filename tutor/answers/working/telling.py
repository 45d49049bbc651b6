"""What is said about a line of a working, in sentences; never the answer itself."""

from tutor.answers.working.arithmetic import Side, same_dimensions
from tutor.answers.working.dims import PURE
from tutor.answers.working.expression import Number
from tutor.engine.problem import Problem
from tutor.engine.ways import Way
from tutor.expression.notation import PLAIN, literal_text
from tutor.expression.tree import Literal, Name
from tutor.units import ABSOLUTE_TEMPERATURES, conversion, written_number, written_unit

_SIGN_WORDS = {"<": "below", "≤": "at most", ">": "above", "≥": "at least"}


class Teller:
    """Says it in the words of one problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def words(self, name: str) -> str:
        """A quantity's words."""
        return self.problem.question.library.quantities[name].words

    def relation(self, name: str) -> str:
        """The right relation of a step, in words and signs."""
        step = next(step for step in self.problem.question.right.steps if step.name == name)

        def leaf(one: Name | Literal) -> str:
            return self.words(one.id) if isinstance(one, Name) else literal_text(one)

        return f"{self.words(name)} = {PLAIN.write(self.problem.tree_of(step), leaf)}"

    def holds(self, name: str | None, *, carried: bool = False) -> str:
        """A line that holds, and which quantity it is."""
        if carried:
            return "It follows from your lines before."
        return f"This is the {self.words(name)}." if name else "It holds."

    def on_the_way(self) -> str:
        """A partial result."""
        return "A result on the way."

    def loose(self) -> str:
        """A calculation whose arithmetic holds, and of which no more is known."""
        return "The arithmetic holds. Which quantity this is was not recognised: write its name before it."

    def look_first(self, text: str) -> str:
        """An earlier line that may be where it departs."""
        return f"Look first at '{text}', which was not recognised."

    def stray(self, number: str) -> str:
        """A calculation with a number from nowhere."""
        return (
            f"{number} is neither a given nor a result of the lines before: say where it comes from, or copy it afresh."
        )

    def factor_lost(self, name: str, number: Number) -> str:
        """A result that is a thousand times off, or the like."""
        return (
            f"But for its unit {number.text} would be the {self.words(name)}; it is not so many "
            f"{written_unit(number.unit or '')}. Bring all units together before you multiply."
        )

    def no_claim(self) -> str:
        """Two sides that need not be meant as the same, such as a row of a table."""
        return "Not read as a calculation, so nothing in it is held against you."

    def familiar(self) -> str:
        """A number that stood there before."""
        return "A number that is known already."

    def given(self, name: str) -> str:
        """A given told again."""
        return f"The {self.words(name)}, as it is given."

    def not_given(self, name: str) -> str:
        """A given copied wrongly."""
        return f"The {self.words(name)} is given as {self.problem.text_of(name)}."

    def formula(self) -> str:
        """A relation without numbers."""
        return "A relation without numbers: put the numbers in, and the line is checked."

    def which_quantity(self, number: Number) -> str:
        """A number that could be anything."""
        return f"{number.text} alone does not say which quantity it is: write its name before it."

    def miscalculated(self, left: Side, right: Side) -> str:
        """A side that is not the next one."""
        value, unit = left.values.get("typed", left.values.get("working", 0.0)), ""
        one, other = left.expression.number, right.expression.number
        if one is not None and other is not None and one.unit and other.unit and same_dimensions(left, right):
            meant = "degC" if other.unit == "K" and one.unit in ABSOLUTE_TEMPERATURES else other.unit
            value, unit = conversion(meant).to_shown(left.values["working"]), f" {written_unit(meant)}"
        return f"{left.expression.text} is {written_number(value, 5)}{unit}, not {right.expression.text}."

    def not_so(self, left: Side, sign: str, right: Side) -> str:
        """A comparison that does not hold."""
        return f"{left.expression.text} is not {_SIGN_WORDS[sign]} {right.expression.text}."

    def unlike(self, side: Side) -> str:
        """Unlike things added."""
        return f"In {side.expression.text} unlike things are added: only like units can be."

    def other_dimension(self, left: Side, right: Side) -> str:
        """Two sides that do not measure the same."""
        number = right.expression.number
        unit = written_unit(number.unit) if number is not None and number.unit else ""
        told = f"in {unit}" if unit else "without that unit"
        if left.dimensions == frozenset({PURE}):
            return f"{left.expression.text} is a plain number or a share; it cannot be told {told}."
        return f"The units of {left.expression.text} do not give a result {told}."

    def other_size(self, left: Side, right: Side) -> str:
        """A result whose digits are right and whose unit is a thousand, or a hundred, times off."""
        return (
            f"The digits of {right.expression.text} are right, but the unit is not: bring the units of "
            f"{left.expression.text} together first."
        )

    def wrong_unit(self, name: str, number: Number) -> str:
        """A quantity in a unit that measures something else."""
        wanted = written_unit(self.problem.unit_of(name))
        unit = written_unit(number.unit or "") if number.unit != "count" else "things"
        if not wanted:
            return f"The {self.words(name)} is a plain number, not {unit}."
        return f"The {self.words(name)} is told in {wanted}, not in {unit}."

    def departs(self, name: str, way: Way | None) -> str:
        """Where a working leaves the method, and the right relation there."""
        said = f"Here it departs: {way.words}." if way else "Here it departs from the method."
        return f"{said} The relation: {self.relation(name)}."

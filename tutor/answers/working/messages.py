"""What is said about a line of a working, in sentences; never the answer itself."""

from functools import cache
from pathlib import Path

import yaml

from tutor.answers.working.dimensions import ONLY_PURE
from tutor.answers.working.expression import Number
from tutor.answers.working.sides import Side, same_dimensions
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion, written_number, written_unit
from tutor.expression.notation import PLAIN, literal_text
from tutor.expression.tree import Literal, Name
from tutor.problems.problem import Problem
from tutor.problems.wrong_method import WrongMethod

_SIGN_WORDS = {"<": "below", "≤": "at most", ">": "above", "≥": "at least"}
FIGURES = 5  # of what a side comes to: one more than learners write


@cache
def _sentences() -> dict[str, str]:
    sentences: dict[str, str] = yaml.safe_load(Path(__file__).with_name("messages.yaml").read_text(encoding="utf-8"))
    return sentences


class WorkingMessages:
    """The sentences of messages.yaml in the words of one problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def say(self, sentence: str, name: str | None = None, number: Number | None = None, **texts: str) -> str:
        """A sentence about a quantity or a number; `texts` fill what else it leaves open."""
        if name is not None:
            texts |= {"words": self._words(name)}
        if number is not None:
            texts |= {"number": number.text, "unit": written_unit(number.unit or "")}
        return _sentences()[sentence].format(**texts).rstrip("\n")

    def _words(self, name: str) -> str:
        return self.problem.question.library.quantities[name].words

    def _relation(self, name: str) -> str:
        """The right relation of a step, in words and signs."""

        def leaf(node: Name | Literal) -> str:
            return self._words(node.id) if isinstance(node, Name) else literal_text(node)

        step = next(step for step in self.problem.question.right.steps if step.name == name)
        return f"{self._words(name)} = {PLAIN.write(self.problem.tree_of(step), leaf)}"

    def departs(self, name: str, way: WrongMethod | None) -> str:
        """Where a working leaves the method, and the right relation there."""
        relation = self._relation(name)
        return (
            self.say("departs_named", mistake=way.words, relation=relation)
            if way
            else self.say("departs", relation=relation)
        )

    def wrong_unit(self, name: str, number: Number) -> str:
        """A quantity in a unit that measures something else."""
        wanted = written_unit(self.problem.unit_of(name))
        unit = written_unit(number.unit or "") if number.unit != "count" else "things"
        return self.say("wrong_unit" if wanted else "plain_wanted", name, wanted=wanted, unit=unit)

    def miscalculated(self, left: Side, right: Side) -> str:
        """A side that is not the next one."""
        value, unit = left.values.get("typed", left.values.get("working", 0.0)), ""
        number, result = left.number, right.number
        if number and result and number.unit and result.unit and same_dimensions(left, right):
            meant = "degC" if result.unit == "K" and number.unit in ABSOLUTE_TEMPERATURES else result.unit
            value, unit = conversion(meant).to_shown(left.values["working"]), f" {written_unit(meant)}"
        text = f"{written_number(value, FIGURES)}{unit}"
        return self.say("miscalculated", left=left.expression.text, value=text, right=right.expression.text)

    def compared(self, left: Side, sign: str, right: Side) -> str:
        """A comparison that does not hold."""
        return self.say("compared", left=left.expression.text, sign=_SIGN_WORDS[sign], right=right.expression.text)

    def other_dimension(self, left: Side, right: Side) -> str:
        """Two sides that do not measure the same."""
        unit = written_unit(right.number.unit or "") if right.number is not None else ""
        in_unit = f"in {unit}" if unit else "without that unit"
        pure = left.dimensions == ONLY_PURE
        return self.say("pure" if pure else "other_dimension", left=left.expression.text, in_unit=in_unit)

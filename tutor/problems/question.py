"""A question: an exercise, what it asks for and a rulebook, with the right method and the limits."""

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any

from tutor.base.errors import FaultyRequestError
from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion
from tutor.content.library import Declared, Library
from tutor.content.models import Amount, Protection, Slip
from tutor.entries.kinds import SAME_SIZE, Kind, YesNo, kind_of
from tutor.expression.evaluate import ROUND, Numeric, Relation, compiled, functions_of, holds_at_most, in_a_row
from tutor.expression.grammar import parse
from tutor.expression.tree import (
    Call,
    Comparison,
    Literal,
    Name,
    Node,
    RelationError,
    Rule,
    kind,
    names,
    replace_names,
    replaced,
)
from tutor.problems.day import SimulatedDay
from tutor.problems.method import Method, forwards, method, needed
from tutor.problems.order import OrderQuestion
from tutor.trade.rulebooks import RULEBOOKS, Rulebook, rulebook


class RequestError(FaultyRequestError, ValueError):
    """A request that cannot be met; one line that says how to mend it."""


@dataclass(frozen=True)
class Limit:
    """A limit that the answer has to respect; `run` gives its `left_side` and `right_side`."""

    tree: Comparison
    run: Numeric

    def sides(self, values: Mapping[str, float]) -> tuple[float, float]:
        """Both sides in working units, for the known values and an answer."""
        sides = self.run(values)
        return sides["left_side"], sides["right_side"]

    def holds(self, values: Mapping[str, float]) -> bool:
        """Whether the limit is respected."""
        left, right = self.sides(values)
        return holds_at_most(left, right) if self.tree.sign == "<=" else holds_at_most(right, left)


class Question:
    """What an exercise asks, compiled once: `known` are the quantities told, `right` the method."""

    def __init__(self, library: Library, declared: Declared, ask: str, book: Rulebook) -> None:
        self.library, self.exercise, self.document = library, declared.exercise, declared.document
        self.ask, self.rulebook = ask, book
        self.day = SimulatedDay(self.exercise.day, _choices(library)) if self.exercise.day else None
        self.functions = {**functions_of(book), **self.day.functions()} if self.day else functions_of(book)
        self.final = next(iter(self.exercise.asks))
        self.reversed = ask in self.exercise.givens
        self.known = [name for name in self.exercise.givens if name != ask] + ([self.final] if self.reversed else [])
        self.relations = {
            name: self.parsed(("relations", name), text) for name, text in self.exercise.relations.items()
        }
        self.limits_declared = [self._limit(place, text) for place, text in enumerate(self.exercise.limits)]
        self.right = self.method_of(("asks", ask), self.relations)
        self._trees: dict[Node, Relation] = {}
        self._namespace: dict[str, Any] = {"__builtins__": {}, **self.functions}

    def plausible(self, name: str) -> tuple[float, float]:
        """The plausible range of a quantity in working units; unbounded for yes-or-no answers."""
        quantity = self.library.quantities[name]
        if quantity.plausible is None:
            return (0.0, max(1.0, len(quantity.choices) - 1.0))
        to_working = conversion(quantity.unit).to_working
        return to_working(quantity.plausible[0]), to_working(quantity.plausible[1])

    @cached_property
    def kinds(self) -> Mapping[str, Kind]:
        """The kinds of all that the exercise names, in the glossary's units."""
        names_here = (*self.exercise.givens, *self.relations)
        return {name: kind_of(self.library.quantities[name], self.rulebook) for name in names_here}

    @cached_property
    def bounds(self) -> dict[str, tuple[float, float]]:
        """The bounds that a draw keeps, in working units: the exercise's own, else the plausible ones."""
        bounds = {}
        for name in (*self.exercise.givens, *self.relations):
            low, high = self.plausible(name)
            if name in self.exercise.within:
                to_working = conversion(self.library.quantities[name].unit).to_working
                low, high = map(to_working, self.exercise.within[name])
            bounds[name] = (low - 1e-9 * abs(low), high + 1e-9 * abs(high))
        return bounds

    def tolerance(self, name: str, value: float) -> float:
        """How far from a value an entry for a quantity may lie, in working units: nothing for counts and yes or no.

        A standard rating is met exactly: there is no device between two of them.
        """
        return SAME_SIZE * value if name in self.standard_ratings else self.kinds[name].tolerance(value)

    @cached_property
    def standard_ratings(self) -> frozenset[str]:
        """The steps whose value is a standard rating: read from a list of ratings, or the least of values of tables."""
        ratings: set[str] = set()
        for step in (step for step in self.right.steps if not step.turned):
            match step.trees[0]:
                case Call("first_at_least" | "last_at_most" | "next_below"):
                    ratings.add(step.name)
                case Call("least" | "greatest") if step.uses & ratings and step.uses <= self.discrete:
                    ratings.add(step.name)
        return frozenset(ratings)

    @cached_property
    def discrete(self) -> frozenset[str]:
        """The steps that can only come out at a few values: whole numbers, sizes, what a table or a choice holds."""
        steps: set[str] = set()
        for step in self.right.steps:
            of_discrete = step.kind == "compare" and step.uses <= steps
            discrete = step.kind in ("round", "look up", "choose", "trace") or of_discrete
            if discrete or not self.kinds[step.name].measured:
                steps.add(step.name)
        return frozenset(steps)

    @cached_property
    def to_final(self) -> tuple[str, ...]:
        """The relations that lead from the other givens and what is asked for to the final answer, in order."""
        stop = (set(self.known) | {self.ask}) - {self.final}
        return tuple(name for name in needed(self.relations, [self.final], stop) if name != self.ask)

    @cached_property
    def jumps_after(self) -> tuple[str, ...]:
        """Those among them that rest on what is asked for, and that a small change of it can only leave or jump.

        None where a day has to be simulated.
        """
        resting = {self.ask}
        for name in self.to_final:
            if resting & names(self.relations[name]):
                resting.add(name)
        trees = {name: self.relations[name] for name in self.to_final if name in resting}
        if any(kind(tree) == "trace" for tree in trees.values()):
            return ()
        jumps = ("round", "look up", "choose")
        return tuple(name for name, tree in trees.items() if isinstance(tree, Comparison) or kind(tree) in jumps)

    @cached_property
    def margins(self) -> dict[str, tuple[str, ...]]:
        """The quantities whose sign decides, and for each the quantities of its kind that its relation uses."""
        return {
            name: tuple(sorted(term for term in names(tree) if self._dimension(term) == self._dimension(name)))
            for name, tree in self.relations.items()
            if self._is_margin(name)
        }

    def _is_margin(self, name: str) -> bool:
        quantity = self.library.quantities[name]
        if not self.kinds[name].measured or quantity.unit in ABSOLUTE_TEMPERATURES or quantity.plausible is None:
            return False
        return quantity.plausible[0] < 0 < quantity.plausible[1]

    def _dimension(self, name: str) -> str:
        return conversion(self.library.quantities[name].unit).dimension

    def shown_unit(self, name: str, shown: Mapping[str, Amount]) -> str:
        """The unit in which a quantity is told: its given's, else the glossary's; temperatures follow the site."""
        if name in shown:
            return shown[name].unit
        quantity = self.library.quantities[name]
        declared_units = (declared for id_, declared in quantity.unit_in.items() if id_ == self.rulebook.id)
        unit: str = next(declared_units, quantity.unit)
        if unit in ABSOLUTE_TEMPERATURES:
            sites = (amount.unit for amount in shown.values() if amount.unit in ABSOLUTE_TEMPERATURES)
            return next(sites, unit)
        return unit

    def read_off(self, tree: Call, *values: float) -> float:
        """The result of a rounding or a table for values in working units.

        Raises TableError outside a table.
        """
        if tree.table:
            result: float = getattr(self.rulebook.tables[tree.table], tree.function)(*values)
            return result
        return ROUND[tree.function](*values)

    def relation(self, tree: Node) -> Relation:
        """A relation as a function of its quantities' values by name, kept once it is compiled."""
        if tree not in self._trees:
            self._trees[tree] = self.compiled(tree)
        return self._trees[tree]

    def compiled(self, tree: Node) -> Relation:
        """The same, but not kept if it has to be compiled."""
        return self._trees.get(tree) or compiled(tree, self._namespace)

    @cached_property
    def version(self) -> str:
        """Eight characters that change whenever something changes that a draw or its marking rests on."""
        exercise = self.exercise.model_dump(
            mode="json", include={"id", "givens", "relations", "limits", "within", "mistakes", "day"}, by_alias=True
        )
        used = set(re.findall(r"[a-z0-9_]+", json.dumps(exercise)))
        drawn_from = [
            exercise,
            *(
                {id_: part.model_dump(mode="json") for id_, part in shelf.items()}
                for shelf in (self.library.modules, self.library.chargers, self.library.places)
            ),
            [list(map(dict, table.rows)) for name, table in self.rulebook.tables.items() if name in used],
            [dict(figure.row) for name, figure in self.rulebook.figures.items() if name in used],
        ]
        return hashlib.sha256(json.dumps(drawn_from, sort_keys=True).encode()).hexdigest()[:8]

    @cached_property
    def forward(self) -> Method:
        """The method that a drawn set of givens follows: that of the question itself, unless it is turned round."""
        if not self.reversed:
            return self.right
        return method(self.relations, None, self.final, self.exercise.givens, self.plausible, self.functions)

    @cached_property
    def protected(self) -> Method | None:
        """The method for the quantities by which a conductor is proved to be protected; None where none has to be."""
        protection = self.exercise.protection
        if not isinstance(protection, Protection):
            return None
        return forwards(self.relations, protection.names, self.exercise.givens, self.functions)

    @cached_property
    def by_other_methods(self) -> list["Question"]:
        """The same question of the exercises whose methods are as good, where they ask for the same."""
        book, sources = self.rulebook, [self.library.declared[id_] for id_ in self.exercise.other_methods]
        declared = [source.under(book.id) for source in sources if book.id in source.exercise.rulebooks]
        return [
            Question(self.library, source, self.ask, book) for source in declared if self.ask in source.exercise.asks
        ]

    @cached_property
    def evidence(self) -> str | None:
        """The step that a yes-or-no answer has to come with, since a bare yes or no is right by luck half the time."""
        if not isinstance(self.kinds[self.ask], YesNo) or len(self.right.steps) == 1:
            return None
        return self.right.steps[-2].name

    @cached_property
    def limits(self) -> list[Limit]:
        """The limits that bind the asked quantity; a quantity on the way is bound by none."""
        if self.ask != self.final and not self.reversed:
            return []
        return [self._compiled_limit(tree) for tree in self.limits_declared]

    def _compiled_limit(self, tree: Comparison) -> Limit:
        stop = {*self.known, self.ask}
        steps = {name: self.relations[name] for name in needed(self.relations, sorted(names(tree)), stop)}
        sides = {**steps, "left_side": tree.left, "right_side": tree.right}
        return Limit(tree, in_a_row(sides, self.functions))

    def slipped(self, id_: str, slip: Slip) -> dict[str, Node]:
        """The relations as one slip of a mistake has them.

        Raises ContentError if it changes what the exercise has not.
        """
        key = ("mistakes", id_, "instead")
        relations = dict(self.relations)
        for field_name, usable in (("swap", {*self.exercise.givens, *relations}), ("misread", {*self.exercise.givens})):
            for name in getattr(slip, field_name):
                if name not in usable:
                    fault = f"{field_name}: '{name}' is not used in this exercise."
                    raise self.document.fault(("mistakes", id_, field_name, name), fault, "Check its spelling.")
        for name, text in slip.instead.items():
            if name not in relations:
                raise self.document.fault((*key, name), f"'{name}' is not one of the relations.", "Name one of them.")
            relations[name] = self.parsed((*key, name), text)
        return {name: _swapped(tree, slip.swap) for name, tree in relations.items()}

    def method_of(
        self, key: tuple[str, ...], relations: Mapping[str, Node], swap: Mapping[str, str] = MappingProxyType({})
    ) -> Method:
        """The method for what is asked by these relations, `swap` exchanging names of the limit, too.

        Raises ContentError with the line of `key` if there is none.
        """
        closing: Comparison | None = None
        if self.limits_declared:
            closing = _swapped(self.limits_declared[0], swap)  # type: ignore[assignment]
        try:
            return method(relations, closing, self.ask, self.known, self.plausible, self.functions)
        except RelationError as error:
            raise self.document.fault(key, f"{'.'.join(key)}: {error}.") from None

    def parsed(self, key: tuple[str | int, ...], text: str) -> Node:
        """A relation as a tree, with the rulebook's own figures in it.

        Raises ContentError with the line of `key` if it cannot be read or names what is not in the glossary.
        """
        try:
            tree = replaced(parse(text), self._completed)
        except RelationError as error:
            raise self.document.fault(key, f"{key[-1]}: {str(error).rstrip('.')}.") from None
        for name in sorted(names(tree)):
            if name not in self.library.quantities:
                raise self.document.fault(
                    key, f"'{name}' is not in the glossary.", "Check it, or add it to quantities.yaml."
                )
        return tree

    def _completed(self, leaf: Name | Rule | Call) -> Node:
        """The rulebook's own figure in the place of a rule; a trace with all that its day rests on."""
        if isinstance(leaf, Name):
            return leaf
        if isinstance(leaf, Call):
            return leaf if leaf.function != "trace" else self._whole_trace(leaf)
        if leaf.figure not in self.rulebook.figures:
            listed = ", ".join(sorted(self.rulebook.figures))
            raise RelationError(f"the rulebook has no figure '{leaf.figure}'; it has {listed}")
        row = self.rulebook.figures[leaf.figure].row
        return Literal(row["value"], row["unit"])

    def _whole_trace(self, trace: Call) -> Call:
        if self.day is None:
            raise RelationError("a trace needs a 'day' to follow")
        return Call("trace", (*trace.arguments, *map(Name, self.day.names)), trace.table)

    def _limit(self, place: int, text: str) -> Comparison:
        tree = self.parsed(("limits", place), text)
        if not isinstance(tree, Comparison):
            raise self.document.fault(
                ("limits", place), f"'{text}' is not a limit.", "Write 'left <= right' or 'left >= right'."
            )
        return tree


def _choices(library: Library) -> dict[str, list[str]]:
    return {name: quantity.choices for name, quantity in library.quantities.items() if quantity.choices}


def _swapped(tree: Node, swap: Mapping[str, str]) -> Node:
    return replace_names(tree, lambda name: Name(swap.get(name, name)))


class Engine:
    """Compiles questions on first use and keeps them; shared by all threads of a process."""

    def __init__(self, library: Library) -> None:
        self.library = library
        self._questions: dict[tuple[str, str, str], Question] = {}

    def question(self, exercise: str, ask: str | None = None, rulebook_id: str = "us") -> Question:
        """The compiled question; `ask` is the exercise's first one if none is named.

        Raises RequestError for an unknown exercise, quantity or rulebook, ContentError for a faulty declaration.
        """
        if ask is not None and (exercise, ask, rulebook_id) in self._questions:
            return self._questions[exercise, ask, rulebook_id]
        declared = self.library.declared.get(exercise)
        if declared is None:
            raise RequestError(f"There is no exercise '{exercise}'. 'coldmorning exercises' lists them.")
        library = self.library.around(exercise)
        book = _known_rulebook(rulebook_id, library)
        if rulebook_id not in declared.exercise.rulebooks:
            first_book = declared.exercise.rulebooks[0]
            raise RequestError(
                f"'{exercise}' is set under the rulebook {first_book} only: choose --rulebook {first_book}."
            )
        declared = declared.under(book.id)
        ask = next(iter(declared.exercise.asks)) if ask is None else ask
        names_here = [*declared.exercise.relations, *declared.exercise.givens]
        if ask not in names_here:
            raise RequestError(f"'{exercise}' has no quantity '{ask}'. It has: {', '.join(names_here)}.")
        key = (exercise, ask, book.id)
        if key not in self._questions:
            self._questions[key] = Question(library, declared, ask, book)
        return self._questions[key]

    def order_question(self, exercise: str, ask: str | None = None, rulebook_id: str = "us") -> OrderQuestion:
        """The question of an exercise that asks for an order.

        Raises RequestError for an unknown ask or rulebook, KeyError if the exercise asks for no order.
        """
        declared = self.library.orders[exercise]
        asks = declared.exercise.asks
        wanted = next((candidate for candidate in asks if ask in (None, candidate)), None)
        if wanted is None:
            raise RequestError(f"'{exercise}' cannot be asked for '{ask}'. It asks for one of: {', '.join(asks)}.")
        library = self.library.around(exercise)
        book = _known_rulebook(rulebook_id, library)
        return OrderQuestion(library, declared.exercise, declared.document, wanted, book)


def _known_rulebook(id_: str, library: Library) -> Rulebook:
    if id_ not in RULEBOOKS:
        raise RequestError(f"There is no rulebook '{id_}'. Choose one of: {', '.join(RULEBOOKS)}.")
    return rulebook(id_, library)

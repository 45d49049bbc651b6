"""Wrong ways that nobody has to declare: every slip that the relations themselves invite, with words for each.

A slip changes one relation in one place (a factor left out, a sign turned, a table read one row off), or takes a
given's printed number in another unit.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from types import MappingProxyType

from tutor.engine.method import Step
from tutor.engine.question import Question
from tutor.expression.evaluate import OF_RATINGS
from tutor.expression.notation import PLAIN, literal_text, plain_leaf
from tutor.expression.tree import (
    ROUNDINGS,
    Call,
    Comparison,
    Literal,
    Name,
    Negative,
    Node,
    Operation,
    names,
    rebuilt,
    replace_names,
)
from tutor.units import ABSOLUTE_TEMPERATURES, conversion, written_unit

WEIGHTS = {
    "left out": 3.0,
    "swapped": 3.0,
    "turned": 2.0,
    "flipped": 2.0,
    "share": 2.0,
    "rounded": 4.0,
    "unit": 3.0,
    "misread": 2.0,
    "early": 2.0,
    "scale": 1.0,
    "twice": 0.5,
    "reference": 1.0,
    "sign": 2.0,
}
REFERENCES = ("25", "20")  # °C: of a label's values and of tables of resistance or of the air, taken for one another
FEW_COLUMNS = 5
NOTHING: Mapping[str, str] = MappingProxyType({})

Term = tuple[Node, bool]  # a term and whether it is added, or a factor and whether it multiplies


@dataclass(frozen=True, slots=True)
class Derived:
    """A wrong way: its steps, the givens whose printed number is taken in another unit, the first step that departs.

    An implausible result is `noticed`, unless the slip is one of units, which people trust.
    """

    id: str
    words: str
    weight: float
    steps: tuple[Step, ...]
    misread: Mapping[str, str] = field(default_factory=lambda: NOTHING)
    noticed: bool = True
    departs: int = 0


@dataclass(frozen=True)
class _Change:
    kind: str
    words: str
    tree: Node


def derived_ways(question: Question, steps: Sequence[Step]) -> list[Derived]:
    """The slips in the relations of these steps, which are the right ones or those of a wrong way."""
    found: list[Derived] = []
    for at, step in enumerate(steps):
        if len(step.trees) > 1 or step.kind == "trace" or isinstance(step.trees[0], Comparison):
            continue
        numbers = count(1)
        for change in _Deriving(question, steps, at).changes():
            changed = (*steps[:at], replace(step, trees=(change.tree,)), *steps[at + 1 :])
            id_ = f"{change.kind.replace(' ', '-')}-{next(numbers)}-in-{step.name.replace('_', '-')}"
            noticed = change.kind != "scale"
            found.append(Derived(id_, change.words, WEIGHTS[change.kind], changed, noticed=noticed, departs=at))
    return found


def unit_slips(question: Question, steps: Sequence[Step], units: Mapping[str, str]) -> list[Derived]:
    """The slips of taking a given's printed number in another unit than it is told in; `units` are those told."""
    found = []
    for name, told_in in units.items():
        departs = next((at for at, step in enumerate(steps) if name in step.uses), None)
        for unit, words in _other_units(told_in) if departs is not None else ():
            told = f"{words}: the {question.library.quantities[name].words}"
            id_ = f"unit-of-{name.replace('_', '-')}"
            found.append(Derived(id_, told, WEIGHTS["unit"], tuple(steps), {name: unit}, False, departs or 0))
    return found


def lost_minuses(question: Question, steps: Sequence[Step], below_zero: Collection[str]) -> list[Derived]:
    """The slips of losing the minus of a given; `below_zero` are those told in °C and below zero."""
    found = []
    for name in below_zero:
        using = [at for at, step in enumerate(steps) if name in step.uses]
        if using:
            words = f"the minus of the {question.library.quantities[name].words} lost"
            changed = list(steps)
            for at in using:
                trees = tuple(_with(tree, name, Negative(Name(name))) for tree in steps[at].trees)
                changed[at] = replace(steps[at], trees=trees)
            id_ = f"minus-of-{name.replace('_', '-')}"
            found.append(Derived(id_, words, WEIGHTS["sign"], tuple(changed), departs=using[0]))
    return found


def _other_units(unit: str) -> Iterator[tuple[str, str]]:
    if unit.startswith("%"):
        rest = unit.removeprefix("%")
        yield (f"1{rest}" if rest else ""), "a per cent not divided by 100"
    elif unit == "degF":
        yield "degC", "°F taken for °C"
    elif unit == "ft":
        yield "m", "feet taken for metres"
    elif unit == "m":
        yield "ft", "metres taken for feet"
    elif unit[:1] in ("k", "m") and unit[1:] in ("W", "Wh", "A", "V", "ohm", "Ah"):
        yield unit[1:], f"{written_unit(unit)} taken for {written_unit(unit[1:])}"


class _Deriving:
    """The slips in one step's relation."""

    def __init__(self, question: Question, steps: Sequence[Step], at: int) -> None:
        self._question, self._steps, self._at = question, steps, at
        self._step = steps[at]
        self._quantities = question.library.quantities

    def changes(self) -> Iterator[_Change]:
        """All of them, the same tree perhaps more than once."""
        tree = self._step.trees[0]
        yield from self._inside(tree)
        yield from self._swapped(tree)
        yield from self._kelvin(tree)
        if self._at == len(self._steps) - 1:
            yield from self._at_the_end(tree)

    def _inside(self, node: Node) -> Iterator[_Change]:
        """The slips of a node itself, then those of its parts."""
        match node:
            case Operation("*" | "/"):
                yield from self._in_product(list(_flat(node, "*", "/")))
            case Operation("+" | "-"):
                yield from self._in_sum(list(_flat(node, "+", "-")))
            case Call(function, arguments, table):
                yield from self._in_call(function, arguments, table)
                yield from self._in_parts(node, arguments)
            case Negative(operand):
                yield from self._in_parts(node, (operand,))
            case Literal(text, "degC") if text in REFERENCES:
                other = next(one for one in REFERENCES if one != text)
                yield _Change("reference", f"{other} °C taken for {text} °C", Literal(other, "degC"))

    def _in_parts(self, node: Node, parts: tuple[Node, ...]) -> Iterator[_Change]:
        for at, part in enumerate(parts):
            for change in self._inside(part):
                whole = rebuilt(node, [*parts[:at], change.tree, *parts[at + 1 :]])
                yield replace(change, tree=whole)

    def _in_product(self, factors: list[Term]) -> Iterator[_Change]:
        for at, (factor, multiplies) in enumerate(factors):
            others = [*factors[:at], *factors[at + 1 :]]
            told = self._told(factor)
            if _can_stand(others):
                one = [(unit, multiplies) for unit in self._one_of(factor)]
                if not self._only_counts(others):
                    yield _Change("left out", f"{told} left out", _product([*others, *one]))
                wrong_way = ("divided by", "multiplied by") if multiplies else ("multiplied by", "divided by")
                flipped = _product([*factors[:at], (factor, not multiplies), *factors[at + 1 :], *one, *one])
                if isinstance(factor, Name | Literal):
                    yield _Change("flipped", f"{wrong_way[0]} {told} instead of {wrong_way[1]} it", flipped)
            if self._is_plain_number(factor):
                yield _Change("twice", f"{told} applied twice", _product([*factors, (factor, multiplies)]))
            yield from self._shares(factors, at)
            for change in self._inside(factor):
                inside = [*factors[:at], (change.tree, multiplies), *factors[at + 1 :]]
                yield replace(change, tree=_product(inside))
        if sorted(up for _, up in factors) == [False, True]:
            ones = [(one, up) for factor, up in factors for one in self._one_of(factor)]
            upside_down = _product([*((factor, not up) for factor, up in factors), *ones, *ones])
            yield _Change("flipped", "the quotient upside down", upside_down)

    def _shares(self, factors: list[Term], at: int) -> Iterator[_Change]:
        """1 + x for 1/(1 - x) and its kin: a share added to the wrong whole."""
        factor, multiplies = factors[at]
        other: Node | None = None
        match factor:
            case Operation("+" | "-" as sign, Literal("1", ""), share):
                other = Operation("-" if sign == "+" else "+", Literal("1"), share)
            case Name(id_) if not multiplies and self._quantities[id_].unit == "%":
                other = Operation("-", Literal("2"), factor)
        others = [*factors[:at], *factors[at + 1 :]]
        if other is not None and any(up for _, up in others):
            changed = [*factors[:at], (other, not multiplies), *factors[at + 1 :]]
            was, now = ("×", "÷") if multiplies else ("÷", "×")
            words = f"{now} ({_plain(other)}) instead of {was} ({_plain(factor)})"
            yield _Change("share", words, _product(changed))

    def _in_sum(self, terms: list[Term]) -> Iterator[_Change]:
        for at, (term, added) in enumerate(terms):
            others = [*terms[:at], *terms[at + 1 :]]
            told = self._told(term)
            if _can_stand(others):
                yield _Change("left out", f"{told} left out", _sum(others))
                turned = [*terms[:at], (term, not added), *terms[at + 1 :]]
                done = "taken away instead of added" if added else "added instead of taken away"
                yield _Change("turned", f"{told} {done}", _sum(turned))
            for change in self._inside(term):
                inside = [*terms[:at], (change.tree, added), *terms[at + 1 :]]
                yield replace(change, tree=_sum(inside))
        if sorted(plus for _, plus in terms) == [False, True]:
            turned = [(term, not plus) for term, plus in terms]
            yield _Change("turned", "the difference taken the other way round", _sum(turned))

    def _in_call(self, function: str, arguments: tuple[Node, ...], table: str) -> Iterator[_Change]:
        whole = Call(function, arguments, table)
        if function in ROUNDINGS:
            for other in sorted(ROUNDINGS - {function}):
                yield _Change("rounded", f"rounded {other.removeprefix('round_')}", Call(other, arguments))
            yield _Change("rounded", "one taken off", Operation("-", whole, Literal("1")))
            yield _Change("rounded", "one added", Operation("+", whole, Literal("1")))
            yield _Change("rounded", "not rounded", arguments[0])
        elif function in ("least", "greatest"):
            other = "greatest" if function == "least" else "least"
            yield _Change("flipped", f"the {other} taken instead of the {function}", Call(other, arguments))
        elif function == "look_up":
            yield _Change("misread", "the table read one row too early", Call("row_before", arguments, table))
            yield _Change("misread", "the table read one row too late", Call("row_after", arguments, table))
        else:
            yield _Change("misread", "one standard size too small", Call("size_before", (whole,), table))
            yield _Change("misread", "one standard size too large", Call("size_after", (whole,), table))
        yield from self._columns(whole)

    def _columns(self, call: Call) -> Iterator[_Change]:
        """Another column of the table, where there are a few of them."""
        if not call.table:
            return
        table = self._question.rulebook.tables[call.table]
        offset = 1 if call.function.startswith("first_size") else 0
        for at, key in enumerate(table.keys[offset:] if call.function not in OF_RATINGS else ()):
            listed = table.listed(key.name)
            if at + offset == 0 or key.match != "equal" or not key.unit or len(listed) > FEW_COLUMNS:
                continue
            place = at + 1 if offset else at
            for value in listed:
                text = f"{conversion(key.unit).to_shown(value):g}"
                arguments = [*call.arguments[:place], Literal(text, key.unit), *call.arguments[place + 1 :]]
                words = f"the table's column for {literal_text(Literal(text, key.unit))}"
                yield _Change("misread", words, replace(call, arguments=tuple(arguments)))

    def _swapped(self, tree: Node) -> Iterator[_Change]:
        """A quantity replaced by another one of its kind and dimension that the learner has before them."""
        before = [*self._question.known, *(step.name for step in self._steps[: self._at])]
        for name in sorted(names(tree)):
            for other in before:
                if other not in names(tree) and self._alike(name, other):
                    words = f"the {self._words(other)} used where the {self._words(name)} belongs"
                    yield _Change("swapped", words, _with(tree, name, Name(other)))

    def _kelvin(self, tree: Node) -> Iterator[_Change]:
        for name in sorted(names(tree)):
            if self._quantities[name].unit in ABSOLUTE_TEMPERATURES and not isinstance(tree, Call):
                in_kelvin = Operation("+", Name(name), Literal("273.15"))
                words = f"the {self._words(name)} in kelvin where degrees Celsius belong"
                yield _Change("unit", words, _with(tree, name, in_kelvin))

    def _at_the_end(self, tree: Node) -> Iterator[_Change]:
        """The step before handed in as the answer, and a kilo lost or gained."""
        last = self._step.name
        for step in self._steps[: self._at]:
            if self._alike(step.name, last):
                yield _Change("early", f"the {self._words(step.name)} handed in as the answer", Name(step.name))
        if self._quantities[last].kind == "number" and self._quantities[last].unit not in ABSOLUTE_TEMPERATURES:
            yield _Change("scale", "a thousand times too much", Operation("*", tree, Literal("1000")))
            yield _Change("scale", "a thousandth of it", Operation("/", tree, Literal("1000")))
            if self._quantities[last].unit.startswith("%"):
                yield _Change("scale", "the share not turned into per cent", Operation("/", tree, Literal("100")))

    def _alike(self, one: str, other: str) -> bool:
        first, second = self._quantities[one], self._quantities[other]
        same_unit = conversion(first.unit).dimension == conversion(second.unit).dimension
        return first.kind == second.kind and first.choices == second.choices and same_unit and first.kind != "answer"

    def _only_counts(self, factors: Sequence[Term]) -> bool:
        """Whether what is left is a mere number of things where a quantity with a unit is asked for."""
        left = {name for factor, _ in factors for name in names(factor)}
        return bool(self._quantities[self._step.name].unit) and all(
            self._quantities[name].kind == "count" for name in left
        )

    def _one_of(self, factor: Node) -> Iterator[Node]:
        """One of the unit in which a factor is told: who leaves the factor out goes on counting in that unit."""
        if isinstance(factor, Name):
            unit = self._question.shown_unit(factor.id, {})
            if (
                conversion(unit).dimension != conversion("").dimension
                and conversion(unit).scale != 1
                and "%" not in unit
            ):
                yield Literal("1", unit)

    def _is_plain_number(self, node: Node) -> bool:
        if isinstance(node, Name):
            return self._quantities[node.id].unit in ("", "%")
        return isinstance(node, Literal) and not node.unit

    def _words(self, name: str) -> str:
        return self._quantities[name].words

    def _told(self, node: Node) -> str:
        if isinstance(node, Name):
            return f"the {self._words(node.id)}"
        return literal_text(node) if isinstance(node, Literal) else f"({_plain(node)})"


def _can_stand(terms: Sequence[Term]) -> bool:
    """Whether what is left of a product or a sum still starts plainly and speaks of a quantity."""
    return any(plain for _, plain in terms) and any(names(term) for term, _ in terms)


def _with(tree: Node, name: str, new: Node) -> Node:
    return replace_names(tree, lambda found: new if found == name else Name(found))


def _plain(node: Node) -> str:
    return PLAIN.write(node, plain_leaf).replace("_", " ")


def _flat(node: Node, joins: str, parts_with: str, plain: bool = True) -> Iterator[Term]:
    """The factors of a product or the terms of a sum, left to right."""
    match node:
        case Operation(sign, left, right) if sign in (joins, parts_with):
            yield from _flat(left, joins, parts_with, plain)
            yield from _flat(right, joins, parts_with, plain == (sign == joins))
        case _:
            yield node, plain


def _product(factors: Sequence[Term]) -> Node:
    return _joined(factors, "*", "/")


def _sum(terms: Sequence[Term]) -> Node:
    return _joined(terms, "+", "-")


def _joined(terms: Sequence[Term], joins: str, parts_with: str) -> Node:
    first = next(at for at, (_, plain) in enumerate(terms) if plain)
    tree = terms[first][0]
    for term, plain in [*terms[:first], *terms[first + 1 :]]:
        tree = Operation(joins if plain else parts_with, tree, term)
    return tree

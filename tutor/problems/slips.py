"""Slips that nobody has to declare: every one that the relations themselves invite, with words for each.

A slip changes one relation in one place (a factor left out, a sign turned, a table read one row off), or takes a
given's printed number in another unit.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from tutor.base.units import ABSOLUTE_TEMPERATURES, conversion, written_unit
from tutor.expression.evaluate import OF_RATINGS
from tutor.expression.notation import literal_text, plain
from tutor.expression.tree import (
    ROUNDINGS,
    Call,
    Comparison,
    Literal,
    Name,
    Negative,
    Node,
    Operation,
    Term,
    factors,
    joined,
    names,
    rebuilt,
    replace_names,
    terms,
)
from tutor.problems.method import Method
from tutor.problems.question import Question
from tutor.problems.wrong_method import WrongMethod

# How common each kind is beside the others: estimates, no source.
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
FEW_COLUMNS = 5  # a table with more columns is read by its labels, not by counting along


class _Change(NamedTuple):
    kind: str
    words: str
    tree: Node


def relation_slips(question: Question, method: Method) -> Iterator[WrongMethod]:
    """The slips in the relations of a method, which is the right one or a wrong one."""
    for place, step in enumerate(method.steps):
        if len(step.trees) > 1 or step.kind == "trace" or isinstance(step.trees[0], Comparison):
            continue
        for number, change in enumerate(_StepSlips(question, method, place).changes(), start=1):
            steps = (*method.steps[:place], replace(step, trees=(change.tree,)), *method.steps[place + 1 :])
            yield WrongMethod(
                question,
                f"{change.kind.replace(' ', '-')}-{number}-in-{_hyphened(step.name)}",
                change.words,
                "derived",
                WEIGHTS[change.kind],
                method.with_steps(steps),
                first_changed_step=place,
                checked_for_plausibility=change.kind != "scale",
                kind=change.kind,
            )


def unit_slips(question: Question, method: Method, units: Mapping[str, str]) -> Iterator[WrongMethod]:
    """The slips of taking a given's printed number in another unit than it is told in; `units` are those told."""
    for name, told_in in units.items():
        first = next((place for place, step in enumerate(method.steps) if name in step.uses), None)
        for unit, words in _other_units(told_in) if first is not None else ():
            yield WrongMethod(
                question,
                f"unit-of-{_hyphened(name)}",
                f"{words}: the {question.library.quantities[name].words}",
                "derived",
                WEIGHTS["unit"],
                method,
                {name: unit},
                first or 0,
                kind="unit",
            )


def lost_minuses(question: Question, method: Method, below_zero: Collection[str]) -> Iterator[WrongMethod]:
    """The slips of losing the minus of a given; `below_zero` are those told in °C and below zero."""
    for name in below_zero:
        using = [place for place, step in enumerate(method.steps) if name in step.uses]
        if using:
            steps = list(method.steps)
            for place in using:
                trees = tuple(_with(tree, name, Negative(Name(name))) for tree in steps[place].trees)
                steps[place] = replace(steps[place], trees=trees)
            yield WrongMethod(
                question,
                f"minus-of-{_hyphened(name)}",
                f"the minus of the {question.library.quantities[name].words} lost",
                "derived",
                WEIGHTS["sign"],
                method.with_steps(steps),
                first_changed_step=using[0],
                checked_for_plausibility=True,
                kind="sign",
            )


def _other_units(unit: str) -> Iterator[tuple[str, str]]:
    if unit.startswith("%"):
        per = unit.removeprefix("%")
        yield (f"1{per}" if per else ""), "a per cent not divided by 100"
    elif unit == "degF":
        yield "degC", "°F taken for °C"
    elif unit == "ft":
        yield "m", "feet taken for metres"
    elif unit == "m":
        yield "ft", "metres taken for feet"
    elif unit[:1] in ("k", "m") and unit[1:] in ("W", "Wh", "A", "V", "ohm", "Ah"):
        yield unit[1:], f"{written_unit(unit)} taken for {written_unit(unit[1:])}"


class _StepSlips:
    """The slips in one step's relation."""

    def __init__(self, question: Question, method: Method, place: int) -> None:
        self._question, self._step = question, method.steps[place]
        self._earlier = method.names[:place]
        self._is_last = place == len(method.steps) - 1
        self._quantities = question.library.quantities

    def changes(self) -> Iterator[_Change]:
        """All of them, the same tree perhaps more than once."""
        tree = self._step.trees[0]
        yield from self._inside(tree)
        yield from self._swapped(tree)
        yield from self._kelvin(tree)
        if self._is_last:
            yield from self._at_the_end(tree)

    def _inside(self, node: Node) -> Iterator[_Change]:
        """The slips of a node itself, then those of its parts."""
        match node:
            case Operation("*" | "/"):
                yield from self._in_product(list(factors(node)))
            case Operation("+" | "-"):
                yield from self._in_sum(list(terms(node)))
            case Call(_, arguments, _):
                yield from self._in_call(node)
                yield from self._in_parts(node, arguments)
            case Negative(operand):
                yield from self._in_parts(node, (operand,))
            case Literal(text, "degC") if text in REFERENCES:
                mistaken = REFERENCES[1 - REFERENCES.index(text)]
                yield _Change("reference", f"{mistaken} °C taken for {text} °C", Literal(mistaken, "degC"))

    def _in_parts(self, node: Node, parts: tuple[Node, ...]) -> Iterator[_Change]:
        for place, part in enumerate(parts):
            for change in self._inside(part):
                yield change._replace(tree=rebuilt(node, [*parts[:place], change.tree, *parts[place + 1 :]]))

    def _in_product(self, product: list[Term]) -> Iterator[_Change]:
        for place, (factor, multiplies) in enumerate(product):
            remainder = _all_but(product, place)
            words = self._words(factor)
            if _can_stand(remainder):
                unit = [(one_unit, multiplies) for one_unit in self._unit_of(factor)]
                if not self._only_counts(remainder):
                    yield _Change("left out", f"{words} left out", joined([*remainder, *unit], "*"))
                if isinstance(factor, Name | Literal):
                    verbs = ("divided by", "multiplied by") if multiplies else ("multiplied by", "divided by")
                    flipped = [*_exchanged(product, place, (factor, not multiplies)), *unit, *unit]
                    flip = f"{verbs[0]} {words} instead of {verbs[1]} it"
                    yield _Change("flipped", flip, joined(flipped, "*"))
            if self._is_plain_number(factor):
                yield _Change("twice", f"{words} applied twice", joined([*product, (factor, multiplies)], "*"))
            yield from self._shares(product, place)
            yield from self._in_term(product, place, "*")
        if sorted(multiplies for _, multiplies in product) == [False, True]:
            units = [(one_unit, multiplies) for factor, multiplies in product for one_unit in self._unit_of(factor)]
            yield _Change("flipped", "the quotient upside down", joined([*_turned(product), *units, *units], "*"))

    def _in_term(self, chain: list[Term], place: int, joins: str) -> Iterator[_Change]:
        """The slips inside one factor of a product, or one term of a sum."""
        part, plain_sign = chain[place]
        for change in self._inside(part):
            yield change._replace(tree=joined(_exchanged(chain, place, (change.tree, plain_sign)), joins))

    def _shares(self, product: list[Term], place: int) -> Iterator[_Change]:
        """1 + x for 1/(1 - x) and its kin: a share added to the wrong whole."""
        factor, multiplies = product[place]
        mistaken: Node | None = None
        match factor:
            case Operation("+" | "-" as sign, Literal("1", ""), share):
                mistaken = Operation("-" if sign == "+" else "+", Literal("1"), share)
            case Name(id_) if not multiplies and self._quantities[id_].unit == "%":
                mistaken = Operation("-", Literal("2"), factor)
        if mistaken is not None and any(up for _, up in _all_but(product, place)):
            sign_right, sign_wrong = ("×", "÷") if multiplies else ("÷", "×")
            words = f"{sign_wrong} ({plain(mistaken)}) instead of {sign_right} ({plain(factor)})"
            yield _Change("share", words, joined(_exchanged(product, place, (mistaken, not multiplies)), "*"))

    def _in_sum(self, chain: list[Term]) -> Iterator[_Change]:
        for place, (term, added) in enumerate(chain):
            remainder = _all_but(chain, place)
            words = self._words(term)
            if _can_stand(remainder):
                yield _Change("left out", f"{words} left out", joined(remainder, "+"))
                verb = "taken away instead of added" if added else "added instead of taken away"
                yield _Change("turned", f"{words} {verb}", joined(_exchanged(chain, place, (term, not added)), "+"))
            yield from self._in_term(chain, place, "+")
        if sorted(added for _, added in chain) == [False, True]:
            yield _Change("turned", "the difference taken the other way round", joined(_turned(chain), "+"))

    def _in_call(self, call: Call) -> Iterator[_Change]:
        function, arguments, table = call.function, call.arguments, call.table
        if function in ROUNDINGS:
            for mistaken in sorted(ROUNDINGS - {function}):
                yield _Change("rounded", f"rounded {mistaken.removeprefix('round_')}", Call(mistaken, arguments))
            yield _Change("rounded", "one taken off", Operation("-", call, Literal("1")))
            yield _Change("rounded", "one added", Operation("+", call, Literal("1")))
            yield _Change("rounded", "not rounded", arguments[0])
        elif function in ("least", "greatest"):
            mistaken = "greatest" if function == "least" else "least"
            yield _Change("flipped", f"the {mistaken} taken instead of the {function}", Call(mistaken, arguments))
        elif function == "look_up":
            yield _Change("misread", "the table read one row too early", Call("row_before", arguments, table))
            yield _Change("misread", "the table read one row too late", Call("row_after", arguments, table))
        else:
            yield _Change("misread", "one standard size too small", Call("size_before", (call,), table))
            yield _Change("misread", "one standard size too large", Call("size_after", (call,), table))
        yield from self._columns(call)

    def _columns(self, call: Call) -> Iterator[_Change]:
        """Another column of the table, where there are a few of them."""
        if not call.table:
            return
        table = self._question.rulebook.tables[call.table]
        offset = 1 if call.function.startswith("first_size") else 0
        keys = table.keys[offset:] if call.function not in OF_RATINGS else ()
        for place, key in enumerate(keys, start=offset):
            listed = table.listed(key.name)
            if place == 0 or key.match != "equal" or not key.unit or len(listed) > FEW_COLUMNS:
                continue
            for value in listed:
                text = f"{conversion(key.unit).to_shown(value):g}"
                arguments = [*call.arguments[:place], Literal(text, key.unit), *call.arguments[place + 1 :]]
                words = f"the table's column for {literal_text(Literal(text, key.unit))}"
                yield _Change("misread", words, replace(call, arguments=tuple(arguments)))

    def _swapped(self, tree: Node) -> Iterator[_Change]:
        """A quantity replaced by another one of its kind and dimension that the learner has before them."""
        for name in sorted(names(tree)):
            for substitute in (*self._question.known, *self._earlier):
                if substitute not in names(tree) and self._alike(name, substitute):
                    words = f"{self._words(Name(substitute))} used where {self._words(Name(name))} belongs"
                    yield _Change("swapped", words, _with(tree, name, Name(substitute)))

    def _kelvin(self, tree: Node) -> Iterator[_Change]:
        for name in sorted(names(tree)):
            if self._quantities[name].unit in ABSOLUTE_TEMPERATURES and not isinstance(tree, Call):
                in_kelvin = Operation("+", Name(name), Literal("273.15"))
                words = f"{self._words(Name(name))} in kelvin where degrees Celsius belong"
                yield _Change("unit", words, _with(tree, name, in_kelvin))

    def _at_the_end(self, tree: Node) -> Iterator[_Change]:
        """The step before handed in as the answer, and a kilo lost or gained."""
        quantity = self._quantities[self._step.name]
        for name in self._earlier:
            if self._alike(name, self._step.name):
                yield _Change("early", f"{self._words(Name(name))} handed in as the answer", Name(name))
        if quantity.kind == "number" and quantity.unit not in ABSOLUTE_TEMPERATURES:
            yield _Change("scale", "a thousand times too much", Operation("*", tree, Literal("1000")))
            yield _Change("scale", "a thousandth of it", Operation("/", tree, Literal("1000")))
            if quantity.unit.startswith("%"):
                yield _Change("scale", "the share not turned into per cent", Operation("/", tree, Literal("100")))

    def _alike(self, name: str, second_name: str) -> bool:
        first, second = self._quantities[name], self._quantities[second_name]
        same_unit = conversion(first.unit).dimension == conversion(second.unit).dimension
        return first.kind == second.kind and first.choices == second.choices and same_unit and first.kind != "answer"

    def _only_counts(self, product: Sequence[Term]) -> bool:
        """Whether a product is a mere number of things where a quantity with a unit is asked for."""
        return bool(self._quantities[self._step.name].unit) and all(
            self._quantities[name].kind == "count" for factor, _ in product for name in names(factor)
        )

    def _unit_of(self, factor: Node) -> Iterator[Node]:
        """One of the unit in which a factor is told: who leaves the factor out goes on counting in that unit."""
        if isinstance(factor, Name):
            unit = self._question.shown_unit(factor.id, {})
            scale = conversion(unit)
            if scale.dimension != conversion("").dimension and scale.scale != 1 and "%" not in unit:
                yield Literal("1", unit)

    def _is_plain_number(self, node: Node) -> bool:
        if isinstance(node, Name):
            return self._quantities[node.id].unit in ("", "%")
        return isinstance(node, Literal) and not node.unit

    def _words(self, node: Node) -> str:
        match node:
            case Name(id_):
                return f"the {self._quantities[id_].words}"
            case Literal():
                return literal_text(node)
            case _:
                return f"({plain(node)})"


def _can_stand(chain: Sequence[Term]) -> bool:
    """Whether what is left of a product or a sum still starts plainly and speaks of a quantity."""
    return any(plain_sign for _, plain_sign in chain) and any(names(part) for part, _ in chain)


def _all_but(chain: list[Term], place: int) -> list[Term]:
    return [*chain[:place], *chain[place + 1 :]]


def _exchanged(chain: list[Term], place: int, part: Term) -> list[Term]:
    return [*chain[:place], part, *chain[place + 1 :]]


def _turned(chain: Iterable[Term]) -> list[Term]:
    return [(part, not plain_sign) for part, plain_sign in chain]


def _with(tree: Node, name: str, new: Node) -> Node:
    return replace_names(tree, lambda leaf: new if leaf == name else Name(leaf))


def _hyphened(name: str) -> str:
    return name.replace("_", "-")

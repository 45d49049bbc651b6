"""A method: the ordered steps that lead from what is known to what is asked, derived from the relations."""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from tutor.expression.evaluate import Functions, Numeric, in_a_row
from tutor.expression.tree import (
    Call,
    Comparison,
    Literal,
    Name,
    Node,
    RelationError,
    is_smooth,
    isolated,
    kind,
    names,
    replace_names,
    residue,
)

Plausible = Callable[[str], tuple[float, float]]
Equation = tuple[Node, Node]
MOST_UNFOLDED = 100  # relations put into one another until one equation is left: each can double what there is


@dataclass(frozen=True)
class Step:
    """One quantity on the way: `trees` are its relation, or the roots that sympy found when it was turned round.

    Where there are several roots, the right one lies `within` these bounds (working units).
    """

    name: str
    kind: str
    trees: tuple[Node, ...]
    turned: bool = False
    within: tuple[float, float] = (-math.inf, math.inf)

    @property
    def whole(self) -> Node:
        """The step as one relation."""
        if len(self.trees) == 1:
            return self.trees[0]
        low, high = (Literal(repr(bound)) for bound in self.within)
        return Call("root_within", (low, high, *self.trees))

    @property
    def uses(self) -> frozenset[str]:
        """The quantities that the step rests on."""
        return frozenset[str]().union(*map(names, self.trees))


@dataclass(frozen=True)
class Method:
    """The steps to `ask`; `functions` are what their relations may call.  All values are in working units."""

    ask: str
    steps: tuple[Step, ...]
    functions: Functions

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of the steps in order."""
        return tuple(step.name for step in self.steps)

    @cached_property
    def inputs(self) -> tuple[str, ...]:
        """The quantities that the steps rest on, sorted."""
        return tuple(sorted({used for step in self.steps for used in step.uses} - set(self.names)))

    @cached_property
    def _run(self) -> Numeric:
        return in_a_row({step.name: step.whole for step in self.steps}, self.functions)

    def values(self, givens: Mapping[str, float]) -> dict[str, float]:
        """The values of the steps by name.

        Raises TableError where a table has no row, ZeroDivisionError where a divisor vanishes.
        """
        return self._run(givens)

    def with_steps(self, steps: Sequence[Step]) -> "Method":
        """The same with other steps."""
        return Method(self.ask, tuple(steps), self.functions)

    def same_as(self, second: "Method") -> bool:
        """Whether two methods do the same arithmetic."""
        return self._residues == second._residues

    @cached_property
    def _residues(self) -> list[tuple[str, int]]:
        return [(step.name, residue(step.whole)) for step in self.steps]


def method(
    relations: Mapping[str, Node],
    closing: Comparison | None,
    ask: str,
    givens: Iterable[str],
    plausible: Plausible,
    functions: Functions,
) -> Method:
    """Derive the method for `ask` from what is known.

    A quantity that the relations define is worked out forwards.  Any other one is found by turning the relations
    round from a known quantity that they define: where that one's relation rounds or uses a table, `closing` (the
    limit, taken as an equation) takes its place.
    Raises RelationError if the quantity cannot be reached.
    """
    givens = set(givens)
    steps = (
        _forwards(relations, ask, givens)
        if ask in relations
        else _backwards(relations, closing, ask, givens, plausible)
    )
    derived = Method(ask, tuple(steps), functions)
    missing = [name for name in derived.inputs if name not in givens]
    if missing:
        raise RelationError(f"{missing[0]} is neither a given nor defined by a relation")
    return derived


def forwards(
    relations: Mapping[str, Node], wanted: Iterable[str], given: Iterable[str], functions: Functions
) -> Method:
    """Derive the method that works several quantities out from what is given; there may be no step to do."""
    return Method("", tuple(_step(name, relations[name]) for name in needed(relations, wanted, given)), functions)


def _step(name: str, tree: Node) -> Step:
    return Step(name, kind(tree), (tree,))


def needed(relations: Mapping[str, Node], wanted: Iterable[str], stop: Iterable[str]) -> list[str]:
    """The defined quantities that `wanted` rest on, in the order of their declaration, not going past `stop`.

    Raises RelationError where relations go round in a circle.
    """
    order: list[str] = []
    above: list[str] = []
    stop = set(stop)

    def visit(name: str) -> None:
        if name in order or name in stop or name not in relations:
            return
        if name in above:
            raise RelationError(f"the relations go round in a circle at {name}")
        above.append(name)
        for used in sorted(names(relations[name])):
            visit(used)
        above.pop()
        order.append(name)

    for name in wanted:
        visit(name)
    return _as_declared(relations, order)


def _as_declared(relations: Mapping[str, Node], reached: Iterable[str]) -> list[str]:
    """Quantities in the order in which a declaration works them out, as far as each comes after those it uses."""
    left = sorted(reached, key=list(relations).index)
    order: list[str] = []
    while left:
        order.append(next(name for name in left if not names(relations[name]) & set(left)))
        left.remove(order[-1])
    return order


def _forwards(relations: Mapping[str, Node], ask: str, givens: set[str]) -> list[Step]:
    return [_step(name, relations[name]) for name in needed(relations, [ask], givens)]


def _backwards(
    relations: Mapping[str, Node], closing: Comparison | None, ask: str, givens: set[str], plausible: Plausible
) -> list[Step]:
    open_relations = {name: tree for name, tree in relations.items() if is_smooth(tree) or name not in givens}
    equations: list[Equation] = [(Name(name), tree) for name, tree in open_relations.items()]
    if len(open_relations) < len(relations):
        if closing is None:
            raise RelationError(f"a limit is needed to turn the question round to {ask}")
        equations.insert(0, (closing.left, closing.right))
    steps: list[Step] = []
    reached = set(givens)
    while ask not in reached:
        step = _next_step(equations, reached, plausible) or _joint_step(
            equations, open_relations, reached, ask, plausible
        )
        steps.append(step)
        reached.add(step.name)
    return _only_needed(steps, ask)


def _next_step(equations: list[Equation], reached: set[str], plausible: Plausible) -> Step | None:
    for left, right in equations:
        unknown = (names(left) | names(right)) - reached
        if len(unknown) != 1:
            continue
        name = next(iter(unknown))
        if left == Name(name) and name not in names(right):
            return _step(name, right)
        if is_smooth(left) and is_smooth(right):
            return _solved(name, left, right, plausible)
    return None


def _joint_step(
    equations: list[Equation], relations: Mapping[str, Node], reached: set[str], ask: str, plausible: Plausible
) -> Step:
    unfolded = 0

    def unfold(name: str) -> Node:
        nonlocal unfolded
        tree = relations.get(name)
        if tree is None or name in reached:
            return Name(name)
        unfolded += 1
        if unfolded > MOST_UNFOLDED:
            raise RelationError(
                f"the relations go round in a circle, or are too long together to be turned round to {ask}"
            )
        return replace_names(tree, unfold)

    for left, right in equations:
        equation = (
            replace_names(left, lambda name: unfold(name) if name != ask else Name(name)),
            replace_names(right, unfold),
        )
        unknown = (names(equation[0]) | names(equation[1])) - reached
        if unknown == {ask} and equation[0] != equation[1] and is_smooth(equation[0]) and is_smooth(equation[1]):
            return _solved(ask, *equation, plausible)
    raise RelationError(f"the relations cannot be turned round to {ask}")


def _solved(name: str, left: Node, right: Node, plausible: Plausible) -> Step:
    from tutor.expression.solve import solve_for  # noqa: PLC0415 - sympy is loaded only where a question is turned round

    roots = solve_for(name, left, right)
    on_paper = isolated(name, left, right)
    if on_paper is not None and [residue(root) for root in roots] == [residue(on_paper)]:
        roots = (on_paper,)
    return Step(name, "solve", roots, turned=True, within=plausible(name))


def _only_needed(steps: list[Step], ask: str) -> list[Step]:
    used = {ask}
    wanted: list[Step] = []
    for step in reversed(steps):
        if step.name in used:
            wanted.append(step)
            used |= step.uses
    return wanted[::-1]

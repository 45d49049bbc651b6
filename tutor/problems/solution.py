"""Worked solutions: every line derived from the method and the problem's numbers, the last one the check."""

from collections.abc import Callable
from dataclasses import dataclass

from tutor.base.units import written, written_unit
from tutor.expression.notation import LATEX, PLAIN, SPOKEN, Leaf, literal_text, plain_leaf
from tutor.expression.tree import Call, Comparison, Literal, Name, Node, names, walk
from tutor.problems.method import Step
from tutor.problems.near import near_in_relations, near_limit
from tutor.problems.order import OrderProblem
from tutor.problems.printing import same
from tutor.problems.problem import AnyProblem, Problem
from tutor.problems.question import Limit

DONE, LEFT_OUT = "Done already", "Not listed in this problem"


@dataclass(frozen=True)
class Line:
    """One step as told: why, the relation in symbols (plain and LaTeX) and in words, the numbers, the value.

    `near` says that a limit is kept but nearly used up ('' if it is not); `why` ends with it.
    """

    name: str
    kind: str
    why: str
    relation: str
    formula: str
    spoken: str
    numbers: str
    value: float | bool | str
    unit: str
    text: str
    source: str
    near: str = ""


def worked_solution(problem: AnyProblem) -> list[Line]:
    """All steps of the right way and, where limits bind the answer, the check of the answer as printed against each."""
    if isinstance(problem, OrderProblem):
        return _order_lines(problem)
    lines = [_line(problem, step) for step in problem.question.right.steps]
    return lines + [check_line(problem, limit, problem.printed_value) for limit in problem.question.limits]


def _order_lines(problem: OrderProblem) -> list[Line]:
    """The whole procedure in one right order, each action with the reasons why those before it come first.

    What the problem has told as done, or has left out, stands in its place and is marked.
    """
    lines = []
    procedure = problem.question.procedure
    letters = {action: letter for letter, action in problem.letters.items()}
    for action in procedure:
        arrows = [problem.question.reason(earlier, action) for earlier in procedure]
        why = " ".join(dict.fromkeys(arrow.why for arrow in arrows if arrow)) or "Nothing has to come before it."
        mark = letters.get(action) or (DONE if action in problem.done else LEFT_OUT)
        words = f"{mark}: {problem.words(action)}"
        lines.append(Line(action, "order", why, words, "", words, "", letters.get(action, ""), "", words, ""))
    return lines


def _line(problem: Problem, step: Step) -> Line:
    tree = problem.tree_of(step)
    exercise = problem.question.exercise
    why = exercise.why.get(step.name, "")
    if step.turned:
        why = f"The relation turned round, so that the {_words(problem, step.name)} stands alone. {why}".strip()
    why = f"{why} {_between_sizes(problem, tree)}".strip()
    near = ""
    if step.name == problem.ask:
        why = f"{why} {_rounded_to_the_safe_side(problem)}".strip()
        near = near_in_relations(problem, problem.values[step.name])
    unit = problem.unit_of(step.name)
    return Line(
        name=step.name,
        kind=step.kind,
        why=f"{why} {near}".strip(),
        relation=in_plain_words(step.name, tree),
        formula=f"{problem.question.library.quantities[step.name].symbol} = {LATEX.write(tree, _latex_leaf(problem))}",
        spoken=_sentence(problem, step.name, tree),
        numbers=in_numbers(problem, tree) if step.kind != "trace" else _the_day(problem),
        value=problem.kind(step.name).plain(problem.values[step.name]),
        unit=unit,
        text=problem.text_of(step.name),
        source=_source(problem, tree),
        near=near,
    )


def _between_sizes(problem: Problem, tree: Node) -> str:
    """What counts in a table for a conductor of the learner's own that is no standard size."""
    book, values = problem.question.rulebook, problem.all_values
    for call in walk(tree):
        table = book.tables.get(call.table) if isinstance(call, Call) and call.function == "look_up" else None
        size = call.arguments[0] if table is not None and isinstance(call, Call) else None
        around = table.sizes_around(values[size.id]) if table is not None and isinstance(size, Name) else None
        if table is not None and around is not None and isinstance(size, Name):
            smaller, larger = (book.size_of(area).name for area in around)
            sentence = f"{problem.text_of(size.id)} is not a standard size of this table."
            if table.between == "smaller":
                return f"{sentence} Use the next smaller listed size, {smaller}, which is on the safe side."
            return (
                f"{sentence} Its resistance follows from its cross-section and from the sizes {smaller} and {larger}."
            )
    return ""


def _rounded_to_the_safe_side(problem: Problem) -> str:
    """That the printed answer is rounded, and to which side, where one side is safe; '' if none is."""
    exact, printed = problem.answer.value, float(problem.printed)
    limits, side = problem.question.limits, problem.question.library.quantities[problem.ask].safe_side
    if not (limits or side) or same(printed, exact):
        return ""
    safe = "the side on which the limit is respected" if limits else "the safe side"
    return f"The result is rounded {'up' if printed > exact else 'down'}, to {safe}."


def _the_day(problem: Problem) -> str:
    day = problem.question.day
    return " ".join(day.told({**problem.known, **problem.values})) if day else ""


def check_line(problem: Problem, limit: Limit, answer: float) -> Line:
    """The check of an answer, in working units, against a limit, in numbers."""
    tree = limit.tree
    values = problem.with_answer(tree, answer)
    sides, is_kept = limit.sides(values), limit.holds(values)
    figures = max(problem.telling_figures(tree, values), problem.step_figures)
    left, right = (_side(problem, tree, side, figures) for side in sides)
    near = near_limit(problem, tree, values)
    sign = "=" if left == right else PLAIN.signs[tree.sign].strip()
    return Line(
        name="limit",
        kind="compare",
        why=" ".join(
            ["The answer has to respect this limit; here it is", f"{_verdict(is_kept, near)}. {near}".strip()]
        ),
        relation=PLAIN.write(tree, plain_leaf),
        formula=LATEX.write(tree, _latex_leaf(problem)),
        spoken=spoken(tree, problem),
        numbers=_in_numbers(problem, tree, lambda name: _in_check(problem, name, values[name], figures)),
        value=is_kept,
        unit="",
        text=f"{'' if is_kept else 'not '}{left} {sign} {right}: {_verdict(is_kept, near)}",
        source="",
        near=near,
    )


def _verdict(is_kept: bool, near: str) -> str:
    if not is_kept:
        return "broken"
    return "respected, but only just" if near else "respected"


def _in_check(problem: Problem, name: str, value: float, figures: int) -> str:
    """A quantity's value in a check: a given as told, anything else with the figures that the check needs."""
    return problem.text_of(name) if name in problem.shown else problem.text_of(name, value, figures)


def _side(problem: Problem, tree: Comparison, value: float, figures: int) -> str:
    """One side of a limit as text, in the unit of the side that is a single quantity; a given as told."""
    for side in (tree.right, tree.left):
        if isinstance(side, Name):
            is_given = side.id in problem.shown and value == problem.known[side.id]
            return problem.text_of(side.id) if is_given else problem.text_of(side.id, value, figures)
    return written(value, "", figures)


def in_numbers(problem: Problem, tree: Node) -> str:
    """A relation with the problem's numbers and units put in; a temperature told in °F is brought to °C first."""
    return _in_numbers(problem, tree, problem.text_of)


def _in_numbers(problem: Problem, tree: Node, text_of: Callable[[str], str]) -> str:
    in_fahrenheit = [name for name in sorted(names(tree)) if problem.unit_of(name) == "degF"]
    converted = {name: written(problem.all_values[name], "degC") for name in in_fahrenheit}

    def leaf_text(leaf: Name | Literal) -> str:
        if isinstance(leaf, Literal):
            return literal_text(leaf)
        return converted.get(leaf.id) or text_of(leaf.id)

    first = "".join(f"{text_of(name)} = {text}; " for name, text in converted.items())
    return first + PLAIN.write(tree, leaf_text)


def formula_of(problem: Problem, name: str) -> str:
    """The right relation of a step as LaTeX."""
    step = next(step for step in problem.question.right.steps if step.name == name)
    return _line(problem, step).formula


def in_plain_words(name: str, tree: Node) -> str:
    """A relation with the quantities' names: 'modules_that_fit = input_voltage_max ÷ cold_voltage'."""
    return f"{name} = {PLAIN.write(tree, plain_leaf)}"


def _latex_leaf(problem: Problem) -> Leaf:
    def leaf_text(leaf: Name | Literal) -> str:
        if isinstance(leaf, Literal):
            return rf"{leaf.text}\,\text{{{written_unit(leaf.unit)}}}" if leaf.unit else leaf.text
        return problem.question.library.quantities[leaf.id].symbol

    return leaf_text


def _spoken_leaf(problem: Problem) -> Leaf:
    return lambda leaf: literal_text(leaf) if isinstance(leaf, Literal) else f"the {_words(problem, leaf.id)}"


def _words(problem: Problem, name: str) -> str:
    return problem.question.library.quantities[name].words


def _sentence(problem: Problem, name: str, tree: Node) -> str:
    return f"The {_words(problem, name)} equals {spoken(tree, problem)}."


def spoken(tree: Node, problem: Problem) -> str:
    """A relation in words, for those who listen."""
    return SPOKEN.write(tree, _spoken_leaf(problem)).replace("  ", " ").strip()


def _source(problem: Problem, tree: Node) -> str:
    """The table that a step reads, with its rulebook and edition."""
    for node in walk(tree):
        if isinstance(node, Call) and node.table in problem.question.rulebook.tables:
            table = problem.question.rulebook.tables[node.table]
            row = table.rows[0]
            return f"{table.title}: {row['edition'] or row['source']}"
    return ""

"""What the tutor says: about the task, never bare right or wrong, with the right relation and the next goal.

None of these sentences gives the answer to a question that is still open.
"""

import re
from collections.abc import Sequence

from tutor.answers.naming import OFFERED
from tutor.answers.verdicts import Candidate, Marking, claimed
from tutor.base.units import with_unit
from tutor.entries.entry import Entry
from tutor.expression.evaluate import NO_VALUE
from tutor.expression.tree import Literal, Name, names
from tutor.problems.method import Step
from tutor.problems.near import near_limits
from tutor.problems.problem import Problem
from tutor.problems.question import Limit
from tutor.problems.solution import check_line, in_plain_words, spoken

_NUMBER_AND_UNIT = re.compile(r"[-+−]?\d[\d.,]*( ?[^\W\d][^\d+*×÷()]*| ?[%°][^\d+*×÷()]*)?")


def right(problem: Problem, text: str, value: float) -> str:
    """The answer, told as `text`, is right; says which limit it respects, and which it is too near to."""
    checks = _checks(problem, value)
    sentence = f"Right: the {_words(problem, problem.ask)} is {text}."
    return " ".join([sentence, *(f"Check: {check}." for check in checks), *near_limits(problem, value)])


def as_typed(problem: Problem, entry: Entry, value: float) -> str:
    """An entry as it was typed, with its unit; what is more than a number with a unit, as people write its value."""
    number = _NUMBER_AND_UNIT.fullmatch(entry.text)
    if number is None or not problem.kind(problem.ask).measured:
        return problem.text_of(problem.ask, value)
    return entry.text if number[1] else with_unit(entry.text, problem.unit)


def past_the_limit(problem: Problem, value: float) -> str:
    """Right arithmetic, but rounding carried the answer over a limit, or no answer keeps it with these numbers."""
    checks = " ".join(f"Check: {check}." for check in _checks(problem, value))
    if not all(_keeps_limit(problem, limit) for limit in problem.question.limits):
        return (
            f"The arithmetic is right, but with these numbers no answer keeps the limits. {checks} "
            "Nothing may be built so: other parts are needed."
        )
    return (
        f"The arithmetic is right, but rounding has carried the answer past a limit. {checks} "
        "Round to the safe side, or give more figures."
    )


def rounded_too_far(entry: Entry) -> str:
    """The entry could be the right value with too few figures."""
    return (
        f"'{entry.text}' is rounded too far to be judged. Give at least three significant figures; nothing was counted."
    )


def evidence_wanted(problem: Problem, evidence: str) -> str:
    """A yes or no without the number that decides."""
    return f"A yes or no alone may be luck. Give the {_words(problem, evidence)} with it; nothing was counted."


def step_right(problem: Problem, name: str) -> str:
    """A step is right; names the next goal."""
    names = [step.name for step in problem.question.right.steps]
    following = names[names.index(name) + 1]
    return f"Right. Next: the {_words(problem, following)}."


def step_carried(problem: Problem, name: str) -> str:
    """A step follows from the learner's own earlier value."""
    return f"This follows from your own earlier value, so the {_words(problem, name)} counts as rightly worked out."


def step_wrong(problem: Problem, step: Step, mistake: Candidate | None) -> str:
    """A step departs; says why if that is known, else shows the relation."""
    if mistake is None:
        return f"Not yet. {_relation(step)}"
    return f"{_says(problem, mistake)} {_beside(problem, mistake, step.name)}".strip()


def wrong(
    problem: Problem,
    marking: Marking,
    explaining: Sequence[Candidate],
    value: float,
    *,
    carried: bool,
    closed_book: bool,
) -> str:
    """The answer is wrong: the mistake if it may be claimed, the ways that lead there, or what its size tells.

    `explaining` are the ways that may have led to the first quantity that departs, `value` is the answer's.
    """
    first = next((name for name, mark in marking.steps.items() if mark.verdict == "wrong"), problem.ask)
    named, further = claimed(explaining), claimed(marking.answer)
    if not explaining and first == problem.question.evidence:
        sentences = [f"Not proved yet: the {_words(problem, first)}, which decides, is not right."]
    elif named is not None:
        sentences = [_says(problem, named), _beside(problem, named, None)]
    else:
        sentences = _not_named(problem, marking, first, explaining, value)
    if further is not None:
        sentences += [f"From there on: {_says(problem, further)}", _beside(problem, further, None)]
    if carried:
        sentences.append(f"Your last step is right for your own {_words(problem, first)}; mend that one first.")
    if marking.entry:
        sentences.append(consequence(problem, value).replace("{entry}", as_typed(problem, marking.entry, value)))
    if problem.breaks_limit(value):
        sentences += _broken(problem, value, closed_book=closed_book)
    return " ".join(filter(None, (*sentences, _next_goal(problem, first, named))))


def _not_named(
    problem: Problem, marking: Marking, first: str, explaining: Sequence[Candidate], value: float
) -> list[str]:
    """What is said of a first wrong entry that no single mistake explains."""
    entry = marking.entry if first == problem.ask else marking.steps[first].entry
    text = entry.text if entry else ""
    if not explaining:
        return [
            f"Not yet. How {text} came about is not identified.",
            _size(problem, value) if first == problem.ask else "",
        ]
    ways = "; ".join(candidate.words for candidate in explaining[:OFFERED])
    if len(explaining) == 1:
        return [f"Not yet. One way to {text} with these numbers: {ways}. Was it yours?"]
    question = f"What did you get for the {_words(problem, marking.separating)}?" if marking.separating else ""
    return [f"Not yet. With these numbers more than one way can lead to {text}: {ways}. Which was yours?", question]


def _size(problem: Problem, value: float) -> str:
    kind, answer = problem.kind(problem.ask), problem.values[problem.ask]
    if not kind.ranked:
        return ""
    if kind.whole and value != round(value):
        return "A number of parts is a whole number."
    if kind.measured and answer != 0:
        for factor in (1000, 100, 10):
            if abs(value / answer / factor - 1) < 0.01 or abs(value * factor / answer - 1) < 0.01:
                return f"It differs by a factor of {factor}: look at the units and the decimal mark."
        if abs(value / answer + 1) < 0.01:
            return "Its size is right but its sign is not."
    return "It is too high." if value > answer else "It is too low."


def _next_goal(problem: Problem, first: str, named: Candidate | None) -> str:
    steps, goal = problem.question.right.steps, first
    if first == problem.ask:
        goal = (_first_changed(problem, named) if named else None) or steps[0].name
    return f"Next: work out the {_words(problem, goal)} again." if len(steps) > 1 else ""


def _first_changed(problem: Problem, mistake: Candidate) -> str | None:
    right_way = {step.name: step.trees for step in problem.question.right.steps}
    return next((s.name for s in mistake.method.steps if s.name in right_way and right_way[s.name] != s.trees), None)


def _beside(problem: Problem, mistake: Candidate, name: str | None) -> str:
    """The learner's own wrong line beside the right relation."""
    name = name or _first_changed(problem, mistake)
    wrong_step = next((step for step in mistake.method.steps if step.name == name), None)
    step = next((step for step in problem.question.right.steps if step.name == name), None)
    if wrong_step is None or step is None or wrong_step.trees == step.trees or step.kind == "trace":
        return ""
    return f"Your line: {_line(wrong_step)}. {_relation(step)}"


def _relation(step: Step) -> str:
    return f"The relation: {_line(step)}."


def _line(step: Step) -> str:
    return in_plain_words(step.name, step.trees[0]).replace("_", " ")


def _says(problem: Problem, mistake: Candidate) -> str:
    declared = problem.question.exercise.mistakes.get(mistake.id)
    return declared.says if declared else f"This is what comes out with this slip: {mistake.words}."


def _checks(problem: Problem, value: float) -> list[str]:
    return [check_line(problem, limit, value).text for limit in problem.question.limits]


def _keeps_limit(problem: Problem, limit: Limit) -> bool:
    """Whether the right answer keeps a limit; one that cannot be worked out is not kept."""
    try:
        return limit.holds(problem.all_values)
    except NO_VALUE:
        return False


def consequence(problem: Problem, value: float) -> str:
    """What a wrong value would do in the real system; '{entry}' stands for it."""
    quantity, right = problem.question.library.quantities[problem.ask], problem.values[problem.ask]
    return (quantity.too_low if value < right else quantity.too_high if value > right else None) or ""


def _broken(problem: Problem, value: float, *, closed_book: bool) -> list[str]:
    """What the answer would do: each limit that it breaks, in words and, where they give nothing away, in numbers."""
    values = {**problem.all_values, problem.ask: value}
    sentences = []
    for limit in problem.question.limits:
        try:
            if not limit.holds(values):
                broken = f"it no longer holds that {spoken(limit.tree, problem)}"
                if not (closed_book or _gives_away(problem, limit)):
                    broken += f": {check_line(problem, limit, value).text}"
                sentences.append(f"As it stands the answer breaks a limit: {broken}.")
        except NO_VALUE:
            sentences.append(f"As it stands it cannot be shown that {spoken(limit.tree, problem)}.")
    return sentences


def _gives_away(problem: Problem, limit: Limit) -> bool:
    """Whether a side of a limit that the answer has no part in is worked out: it may be the right answer or a step."""
    for side in (limit.tree.left, limit.tree.right):
        used = set(names(side))
        is_given = isinstance(side, Name | Literal) and not used & problem.values.keys()
        if problem.ask not in used and not is_given:
            return True
    return False


def _words(problem: Problem, name: str) -> str:
    return problem.question.library.quantities[name].words

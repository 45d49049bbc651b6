"""What holds for every marking, over drawn problems of all exercises."""

import random
from functools import lru_cache

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.answers.marking import ON_THE_WAY, mark
from tutor.base.units import conversion, written_unit
from tutor.expression.tree import names
from tutor.problems.draw import draw

registry = pint.UnitRegistry()
searched = settings(max_examples=12, deadline=None)

# a glossary unit, and other ways to type it, each with pint's name for both
OTHER_UNITS = {
    "V": ("volt", [("mV", "millivolt"), ("kV", "kilovolt"), ("volts", "volt")]),
    "A": ("ampere", [("mA", "milliampere"), ("amps", "ampere")]),
    "W": ("watt", [("kW", "kilowatt"), ("mW", "milliwatt")]),
    "degC": ("degC", [("°F", "degF"), ("K", "kelvin")]),
    "degF": ("degF", [("°C", "degC"), ("K", "kelvin")]),
    "K": ("delta_degC", [("°F", "delta_degF"), ("°C", "delta_degC")]),
    "%": ("percent", [("percent", "percent")]),
    "%/K": ("percent/delta_degC", [("/K", "1/delta_degC"), ("%/°C", "percent/delta_degC")]),
    "V/K": ("volt/delta_degC", [("mV/K", "millivolt/delta_degC"), ("V/°F", "volt/delta_degF")]),
    "mV/K": ("millivolt/delta_degC", [("V/K", "volt/delta_degC"), ("mV/°C", "millivolt/delta_degC")]),
    "mm^2": ("millimetre**2", [("cm²", "centimetre**2")]),
    "m": ("metre", [("ft", "foot"), ("cm", "centimetre")]),
    "W/m^2": ("watt/metre**2", [("kW/m²", "kilowatt/metre**2")]),
    "": ("dimensionless", [("%", "percent")]),
}


@lru_cache(maxsize=4096)
def drawn(question, number):
    return draw(question, number)


def near(problem, share):
    """A value as shown that misses the right one by `share` of the tolerance; counts by whole numbers."""
    right, unit = problem.values[problem.ask], problem.unit
    if problem.question.library.quantities[problem.ask].kind == "count":
        return right + round(share)
    reach = problem.question.tolerance(problem.ask, right)
    return conversion(unit).to_shown(right + share * reach)


def is_told_in_words(problem, name=None):
    return problem.question.library.quantities[name or problem.ask].kind in ("answer", "choice", "size")


numbers = st.integers(0, 400)
EDGES = (-1, -ON_THE_WAY, 0, ON_THE_WAY, 1)  # where a verdict changes, the last bit of a float decides
shares = st.floats(-3, 3).filter(lambda share: all(abs(share - edge) > 1e-3 for edge in EDGES))


def verdict(problem, text):
    return mark(problem, text).verdict


@pytest.mark.one_in(5)
@searched
@given(numbers, shares)
def test_the_unit_typed_does_not_change_the_verdict(question, number, share):
    problem = drawn(question, number)
    if is_told_in_words(problem) or question.library.quantities[question.ask].kind == "count":
        return
    name, others = OTHER_UNITS.get(problem.unit, ("", []))
    value = near(problem, share)
    expected = verdict(problem, f"{value:#.12g}")  # so many figures in every unit: 0.2 kW says less than 200 W
    for typed, other in others:
        converted = registry.Quantity(value, name).to(other).magnitude
        separator = "" if typed.startswith("/") else " "
        assert verdict(problem, f"{converted:#.12g}{separator}{typed}") == expected


@pytest.mark.one_in(5)
@searched
@given(numbers, shares, st.sampled_from([2, 4, 5]), st.sampled_from("\u00a0\u2009\u202f "))
def test_marks_and_groups_do_not_change_the_verdict(question, number, share, decimals, space):
    problem = drawn(question, number)
    if is_told_in_words(problem):
        return
    value = near(problem, share)
    plain = f"{value:.{decimals}f}"
    expected = verdict(problem, plain)
    whole, _, rest = plain.partition(".")
    digits = whole.lstrip("-")
    grouped = whole.removesuffix(digits) + f"{int(digits):,}".replace(",", space)
    for text in (f"{whole},{rest}", f"{grouped}.{rest}", f"{grouped},{rest}", f"= {plain}", plain.replace("-", "−")):
        assert verdict(problem, text) == expected, text


@pytest.mark.one_in(5)
@searched
@given(numbers, shares)
def test_an_equivalent_form_does_not_change_the_verdict(question, number, share):
    problem = drawn(question, number)
    if is_told_in_words(problem):
        return
    value = near(problem, share)
    expected = verdict(problem, f"{value:.12g}")
    for text in (
        f"{value:.11e}",
        f"{value * 8:.14g}/8",
        f"({value / 4:.14g})*4",
        f"{value + 1:.14g} - 1",
        f"{value * 1e3:.12g}*10^-3",
        f"{value * 1e3:.12g}×10⁻³",
    ):
        assert verdict(problem, text) == expected, text


@pytest.mark.one_in(5)
@searched
@given(numbers, st.data())
def test_what_is_accepted_is_one_interval_around_the_right_value(question, number, data):
    problem = drawn(question, number)
    if is_told_in_words(problem):
        return
    typed = sorted(
        {float(f"{near(problem, share):.9g}") for share in data.draw(st.lists(st.floats(-4, 4), min_size=8))}
    )
    accepted = [verdict(problem, f"{value:.9g}") == "right" for value in typed]
    if any(accepted):
        first, last = accepted.index(True), len(accepted) - accepted[::-1].index(True)
        assert all(accepted[first:last])


@pytest.mark.one_in(5)
@searched
@given(
    numbers, st.one_of(st.text(max_size=20), st.sampled_from(["", "1,234", "12 or 13", "nan", "1e999", "((", "13-ish"]))
)
def test_what_is_not_read_never_counts(question, number, text):
    marking = mark(drawn(question, number), text)
    assert marking.counts == (marking.verdict in ("right", "wrong"))
    if marking.verdict in ("refused", "unclear"):
        assert (marking.named, marking.candidates) == (None, ())
    assert len(marking.feedback) > 10


@pytest.mark.one_in(5)
@searched
@given(numbers, st.integers(0, 10**6))
def test_steps_that_follow_from_a_wrong_one_are_carried_and_the_answer_stays_wrong(question, number, seed):
    problem = drawn(question, number)
    chosen = [values for _, values in problem.predictions if len(values) > 1]
    if not chosen or question.evidence:
        return
    values = chosen[seed % len(chosen)]
    names = [step.name for step in question.right.steps if step.name in values]
    texts = {
        name: problem.text_of(name, values[name])
        if is_told_in_words(problem, name)
        else f"{conversion(problem.unit_of(name)).to_shown(values[name]):.10g} {written_unit(problem.unit_of(name))}"
        for name in names
    }
    marking = mark(problem, texts.pop(question.ask), texts)
    assert marking.verdict != "right"
    verdicts = [one.verdict for one in marking.steps.values()]
    assert set(verdicts) <= {"right", "wrong", "carried"}
    if "carried" in verdicts:
        assert "wrong" in verdicts[: verdicts.index("carried")]


CATEGORIES = ("uniform", "rim", "edge", "rounded", "neighbour", "far")


def random_entry(problem, choice):
    """A number as typed: near the right value, on the rim of its tolerance, at the limit, or rounded to few figures."""
    if problem.question.library.quantities[problem.ask].kind == "size":
        return choice.choice(problem.question.rulebook.sizes).name
    right = problem.values[problem.ask]
    reach = problem.question.tolerance(problem.ask, right) or 1.0
    category = choice.choice(CATEGORIES)
    value = {
        "uniform": lambda: right + choice.uniform(-2, 2) * reach,
        "rim": lambda: (
            right + choice.choice((-1, 1)) * reach * (1 + choice.choice((-1, 1)) * 10 ** choice.uniform(-12, -1))
        ),
        "edge": lambda: right * (1 + choice.choice((-1, 1)) * 10 ** choice.uniform(-14, -3)),
        "rounded": lambda: right,
        "neighbour": lambda: right + choice.randint(-2, 2),
        "far": lambda: right * choice.choice((-1, 0, 0.5, 2, 10, 1000)),
    }[category]()
    figures = choice.randint(1, 6) if category == "rounded" else choice.randint(3, 17)
    return f"{conversion(problem.unit).to_shown(value):.{figures}g}"


def never_right_past_a_limit(questions, count, evaluate_tree, seed):
    """Mark `count` random entries; each that is marked right has to respect its limits, judged a second way."""
    choice = random.Random(seed)
    right = 0
    for at in range(count):
        problem = drawn(questions[at % len(questions)], choice.randint(0, 60))
        text = random_entry(problem, choice)
        if verdict(problem, text) != "right":
            continue
        right += 1
        known = {name: in_working_unit(amount.value, amount.unit) for name, amount in problem.shown.items()}
        values = with_steps(problem, known | {problem.ask: answered(problem, text)}, evaluate_tree)
        for limit in problem.question.limits_declared:
            sides = (limit.left, limit.right)
            low, high = (evaluate_tree(side, values, functions=problem.question.functions) for side in sides)
            low, high = (low, high) if limit.sign == "<=" else (high, low)
            assert low <= high + 2e-9 * max(1.0, abs(high)), (problem.question.exercise.id, problem.number, text)
    return right


def answered(problem, text):
    """The answer typed, in working units."""
    if problem.question.library.quantities[problem.ask].kind == "size":
        return problem.question.rulebook.size_named(text).area
    return in_working_unit(float(text), problem.unit)


def in_working_unit(number, unit):
    """A value as told in the unit that relations are worked in, by pint's own conversion."""
    if unit in ("degC", "degF"):
        return registry.Quantity(number, unit).to("degC").magnitude
    factors = unit.replace("%", "percent").replace("^", "**") or "dimensionless"
    return registry.Quantity(number, factors).to_base_units().magnitude


def with_steps(problem, values, evaluate_tree):
    """The values of all relations that rest on what is known and on the answer typed."""
    while True:
        open_ = {
            name: tree
            for name, tree in problem.question.relations.items()
            if name not in values and names(tree) <= values.keys()
        }
        if not open_:
            return values
        functions = problem.question.functions
        values = values | {name: evaluate_tree(tree, values, functions=functions) for name, tree in open_.items()}


def test_no_answer_marked_right_breaks_its_limit(bounded_questions, evaluate_tree):
    assert never_right_past_a_limit(bounded_questions, 3_000, evaluate_tree, seed=1) > 300


@pytest.mark.million
def test_no_answer_of_a_million_marked_right_breaks_its_limit(bounded_questions, evaluate_tree):
    assert never_right_past_a_limit(bounded_questions, 1_000_000, evaluate_tree, seed=2) > 100_000

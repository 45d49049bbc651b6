"""Marking an order: right for exactly the linear extensions of the partial order, as permutations tell them."""

from itertools import permutations
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.answers.marking import mark
from tutor.content.library import load
from tutor.content.models import OrderExercise
from tutor.problems.order import OrderQuestion, draw_order
from tutor.trade.rulebooks import rulebook

LIBRARY = load()
EXERCISES = sorted(LIBRARY.orders)


def closure(exercise):
    """All pairs of actions of which the first has to come before the second, also by way of others (Warshall)."""
    before = {(arrow.first, arrow.then) for arrow in exercise.arrows}
    for between in exercise.actions:
        into = {first for first, then in before if then == between}
        out = {then for first, then in before if first == between}
        before |= {(first, then) for first in into for then in out}
    return before


def linear_extensions(problem):
    """Every order of the actions to be taken that keeps to the closure, as letters."""
    before = closure(problem.question.exercise)
    actions = [(letter, one) for letter, one in problem.letters.items() if one in problem.question.exercise.actions]

    def orders(left):
        for letter, one in left:
            if not any((other, one) in before for _, other in left):
                yield from (letter + rest for rest in orders([action for action in left if action[1] != one]))
        if not left:
            yield ""

    return set(orders(actions))


def count_extensions(problem):
    """How many orders keep to the closure: the sum over the actions that may come last."""
    before = closure(problem.question.exercise)

    def count(left):
        last = [one for one in left if not any((one, other) in before for other in left)]
        return sum(count(left - {one}) for one in last) if left else 1

    return count(frozenset(problem.to_order))


def letters_to_order(problem):
    return [letter for letter, one in problem.letters.items() if one in problem.question.exercise.actions]


def all_orders(problem):
    return ["".join(order) for order in permutations(letters_to_order(problem))]


def any_orders(problem, count, seed):
    """Orders at random, and as many that are right but for two steps exchanged: most of all orders are far off."""
    random, letters, right = Random(seed), letters_to_order(problem), sorted(linear_extensions(problem))
    for _ in range(count):
        yield "".join(random.sample(letters, len(letters)))
        one, other = random.sample(letters, 2)
        yield random.choice(right).translate(str.maketrans(one + other, other + one))


@pytest.fixture(params=EXERCISES)
def exercise(request):
    return request.param


@pytest.mark.parametrize("number", [1, 2, 3])
def test_right_orders_are_the_linear_extensions(engine, exercise, number):
    problem = draw_order(engine.order_question(exercise), number)
    right = linear_extensions(problem)
    assert len(right) == count_extensions(problem)
    assert all(mark(problem, order).verdict == "right" for order in right)
    for order in any_orders(problem, 1000, number):
        assert (mark(problem, order).verdict == "right") is (order in right)
    assert problem.answer_text.replace(" ", "") in right


def test_many_orders_are_right(engine, exercise):
    counts = [count_extensions(draw_order(engine.order_question(exercise), number)) for number in range(1, 101)]
    assert min(counts) >= 2
    assert max(counts) >= 10


@st.composite
def orders(draw):
    """An exercise of up to six actions, all of them shown, with any arrows that make no circle."""
    names = [f"action-{letter}" for letter in "abcdef"[: draw(st.integers(3, 6))]]
    pairs = [(first, then) for at, then in enumerate(names) for first in names[:at]]
    arrows = draw(st.lists(st.sampled_from(pairs), min_size=1, unique=True))
    return OrderExercise(
        kind="order",
        id="any-order",
        title="Any order",
        lesson="switch-on-order",
        skill="any",
        level=1,
        story=["A story."],
        actions={name: f"Do {name}." for name in draw(st.permutations(names))},
        arrows=[{"first": first, "then": then, "why": f"{first} is needed by {then}."} for first, then in arrows],
        indispensable=names,
        isolation={"array": {"opening": names[0], "lock": names[0], "measurement": names[0]}},
        shown=len(names),
        traps={"never": {"action": "Do what is never done.", "why": "It is never done."}},
        asks={"order": "In which order?", "next_action": "Which is next?"},
        hints=["One.", "Two."],
        safety=["local-code-decides"],
        sources=["arithmetic-of-strings"],
    )


@settings(max_examples=60, deadline=None)
@given(orders(), st.integers(1, 1000))
def test_any_partial_order_is_marked_by_its_linear_extensions(any_order, number):
    document = LIBRARY.orders[EXERCISES[0]].document
    question = OrderQuestion(LIBRARY, any_order, document, "order", rulebook("us"))
    problem = draw_order(question, number)
    right = {order for order in all_orders(problem) if mark(problem, order).verdict == "right"}
    assert right == linear_extensions(problem)
    upcoming = OrderQuestion(LIBRARY, any_order, document, "next_action", rulebook("us"))
    problem = draw_order(upcoming, number)
    firsts = {order[0] for order in linear_extensions(problem)}
    assert {letter for letter in problem.letters if mark(problem, letter).verdict == "right"} == firsts


@pytest.mark.parametrize("number", range(1, 8))
def test_what_may_come_next_begins_a_right_order(engine, exercise, number):
    problem = draw_order(engine.order_question(exercise, "next_action"), number)
    firsts = {order[0] for order in linear_extensions(problem)}
    assert {letter for letter in problem.letters if mark(problem, letter).verdict == "right"} == firsts


@pytest.mark.parametrize("number", range(1, 8))
def test_the_first_broken_arrow_is_named(engine, exercise, number):
    problem = draw_order(engine.order_question(exercise), number)
    declared = problem.question.exercise
    right = linear_extensions(problem)
    for order in sorted(set(any_orders(problem, 40, number)) - right):
        steps = [problem.letters[letter] for letter in order]
        # The first step for which one of its arrows starts at a step that comes later in what was typed.
        early, broken = next(
            (letter, found)
            for at, letter in enumerate(order)
            if (found := [arrow for arrow in declared.arrows if arrow.then == steps[at] and arrow.first in steps[at:]])
        )
        marking = mark(problem, order)
        assert marking.verdict == "wrong"
        assert marking.named.id in {arrow.id for arrow in broken}
        told = next(arrow for arrow in broken if arrow.id == marking.named.id)
        assert marking.feedback.startswith(f"Step {early} comes too early: {problem.letter_of(told.first)} has to")
        assert told.why in marking.feedback


@pytest.mark.parametrize("number", range(1, 11))
def test_a_trap_is_named_wherever_it_stands(engine, exercise, number):
    problem = draw_order(engine.order_question(exercise), number)
    traps = problem.question.exercise.traps
    right = problem.answer_text.replace(" ", "")
    for letter, action in problem.letters.items():
        for at in range(len(right) + 1) if action in traps else ():
            marking = mark(problem, right[:at] + letter + right[at:])
            assert (marking.verdict, marking.named.id) == ("wrong", action)
            assert letter in marking.feedback
            assert traps[action].why in marking.feedback


@pytest.mark.parametrize("number", [1, 2])
def test_an_order_that_stops_short_is_not_right(engine, exercise, number):
    problem = draw_order(engine.order_question(exercise), number)
    right = problem.answer_text.replace(" ", "")
    for length in range(1, len(right)):
        marking = mark(problem, right[:length])
        assert (marking.verdict, marking.named) == ("wrong", None)
        assert f" {len(right) - length} of the steps " in marking.feedback


def test_the_trade_facts_are_named_when_turned_round(engine):
    """Common practice, no source: the battery's breaker before the power button; the array's disconnect open."""
    question = engine.order_question("switching-on")
    problem = next(one for one in (draw_order(question, n) for n in range(1, 50)) if "join-string" in one.to_order)
    order = list(problem.right_order)

    def exchanged(one, other):
        places = {one: other, other: one}
        return " ".join(problem.letter_of(places.get(action, action)) for action in order)

    assert mark(problem, exchanged("close-battery", "press-power")).named.id == "press-power-before-close-battery"
    assert mark(problem, exchanged("join-string", "close-array")).named.id.startswith("close-array-before-")
    closed_first = [action for action in order if action != "join-string"]
    closed_first.append("join-string")
    typed = " ".join(map(problem.letter_of, closed_first))
    assert mark(problem, typed).named.id == "close-array-before-join-string"


@pytest.mark.parametrize(
    "write",
    [
        "".join,
        lambda letters: "".join(letters).lower(),
        ", ".join,
        " -> ".join,
        lambda letters: "→".join(letters).lower(),
        " – ".join,
        lambda letters: ".\n".join(letters) + ".",
        lambda letters: f"\t{'/'.join(letters)}  ",
        " > ".join,
        "; ".join,
    ],
)
def test_letters_in_any_case_and_with_any_usual_sign_between(engine, exercise, write):
    problem = draw_order(engine.order_question(exercise), 5)
    assert mark(problem, write(problem.answer_text.split())).verdict == "right"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Nothing was typed"),
        ("  \n ", "Nothing was typed"),
        ("1 2 3", "only letters"),
        ("A, 2", "only letters"),
        ("(A B)", "only letters"),
        ("А Б В", "only letters"),
        ("A=B", "only letters"),
        ("A\0B", "only letters"),
        ("A " * 50_000, "only letters"),
        ("->", "no letter in it"),
        ("A Z", "no step “Z”"),
        ("open the breaker", "no step “O”"),
        ("A B a", "stands twice"),
    ],
)
@pytest.mark.parametrize("ask", ["order", "next_action"])
def test_nonsense_is_refused_and_does_not_count(engine, exercise, ask, typed, words):
    problem = draw_order(engine.order_question(exercise, ask), 1)
    marking = mark(problem, typed)
    assert (marking.verdict, marking.counts, marking.named) == ("refused", False, None)
    assert words in marking.feedback
    assert marking.feedback.endswith(".")


def test_one_letter_is_asked_for_where_one_step_is_asked_for(engine, exercise):
    problem = draw_order(engine.order_question(exercise, "next_action"), 1)
    marking = mark(problem, "A B")
    assert (marking.verdict, marking.counts) == ("refused", False)
    assert "one letter" in marking.feedback


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=130))
def test_no_text_upsets_the_marking(text):
    declared = LIBRARY.orders[EXERCISES[0]]
    question = OrderQuestion(LIBRARY, declared.exercise, declared.document, "order", rulebook("us"))
    marking = mark(draw_order(question, 1), text)
    assert marking.verdict in ("right", "wrong", "refused")
    assert marking.feedback.endswith(".")

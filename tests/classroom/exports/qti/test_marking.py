"""Round trip: what an item, read by another reader, marks right is what the engine marks right."""

import random
from decimal import Decimal

import pytest

from tutor.answers.marking import mark
from tutor.classroom.exports.qti.elements import written_item
from tutor.classroom.exports.qti.items import item
from tutor.problems.draw import draw
from tutor.problems.problem_factory import make_problem

VERSIONS = ("2.1", "3.0")


def kind(problem):
    return problem.question.library.quantities[problem.ask].kind


def shown_choices(read):
    return {read.get(one, "identifier"): one.text for one in read.all("simpleChoice")}


def typed(problem, value):
    """A number as a learner would type it, in the unit beside the box."""
    return format(Decimal(repr(value)), "f") if kind(problem) == "number" else str(value)


@pytest.mark.one_in(4)
@pytest.mark.parametrize("version", VERSIONS)
def test_the_right_answer_comes_back_within_its_tolerance(question, reader, drawn, version):
    """Each item's declared right answer, given to the engine, is right, and the item itself scores it."""
    problem = drawn(question, 1)
    read = reader(written_item(item(problem), version))
    assert read.version == version
    (right,) = read.right["RESPONSE"]
    steps = {question.evidence: read.right["EVIDENCE"][0]} if question.evidence else {}
    told = shown_choices(read).get(right, right)
    assert mark(problem, told, steps).verdict == "right"
    answers = {"RESPONSE": right}
    base = read.get(read.declared["RESPONSE"], "baseType")
    answers["RESPONSE"] = {"float": float, "integer": int, "identifier": str}[base](right)
    if question.evidence:
        answers["EVIDENCE"] = float(read.right["EVIDENCE"][0])
    assert read.respond(**answers)["SCORE"] == 1
    assert read.respond(**answers)["FEEDBACK"] == "right"
    if base == "float":
        assert right == problem.printed


@pytest.mark.one_in(4)
def test_the_item_and_the_engine_agree_about_other_answers(question, reader, drawn):
    """At the edges of the tolerance, just beyond them, and anywhere around."""
    chance = random.Random(question.exercise.id)
    for number_ in (1, 2):
        problem = drawn(question, number_)
        read = reader(written_item(item(problem), "2.1"))
        for value in answers_around(problem, read, chance):
            score = read.respond(RESPONSE=value, EVIDENCE=evidence_of(read))["SCORE"]
            steps = {question.evidence: read.right["EVIDENCE"][0]} if question.evidence else {}
            told = shown_choices(read).get(value) if isinstance(value, str) else typed(problem, value)
            verdict = mark(problem, told, steps).verdict
            assert (score == 1) == (verdict == "right"), (value, verdict)


def evidence_of(read):
    return float(read.right["EVIDENCE"][0]) if "EVIDENCE" in read.right else None


def answers_around(problem, read, chance):
    if read.all("simpleChoice"):
        return list(shown_choices(read))
    right = float(read.right["RESPONSE"][0])
    if kind(problem) == "count":
        return [round(right) + apart for apart in range(-3, 4)]
    (equal,) = [one for one in read.all("equal") if read.inside(one, "correct")]
    below, above = map(float, read.get(equal, "tolerance").split())
    slack = 1e-8 * abs(right)  # so close to a limit the last digits decide, and the file may be the stricter one
    edges = [right - 0.999 * below, right - 1.01 * below - slack, right + 0.999 * above, right + 1.01 * above + slack]
    return [*(edge for edge in edges if edge != right), *(right * chance.uniform(0.97, 1.03) for _ in range(8))]


def test_no_item_marks_right_what_breaks_a_limit(bounded_questions, reader, drawn):
    for question in bounded_questions:
        problem = drawn(question, 2)
        if kind(problem) != "number":
            continue
        read = reader(written_item(item(problem), "3.0"))
        for share in (0.9951, 0.998, 0.9999, 1.0001, 1.002, 1.0049):
            value = problem.answer.value * share
            if read.respond(RESPONSE=value)["SCORE"] == 1:
                assert mark(problem, f"{value:.10f}").verdict == "right"


def test_a_bare_yes_or_no_is_not_right(engine, reader):
    problem = draw(engine.question("does-the-string-survive"), 1)
    read = reader(written_item(item(problem), "2.1"))
    answer, evidence = read.right["RESPONSE"][0], float(read.right["EVIDENCE"][0])
    assert read.respond(RESPONSE=answer)["SCORE"] == 0
    assert read.respond(RESPONSE=answer, EVIDENCE=evidence * 1.2)["SCORE"] == 0
    assert read.respond(RESPONSE=answer, EVIDENCE=evidence)["SCORE"] == 1


def test_a_mistake_that_a_response_gives_away_is_told(engine, reader):
    problem = draw(engine.question("most-modules-in-series", "cold_voltage"), 2)
    read = reader(written_item(item(problem), "3.0"))
    without_cold = next(v["cold_voltage"] for way, v in problem.predictions if way.id == "cold-left-out")
    told = read.respond(RESPONSE=without_cold)
    assert told == {"SCORE": 0, "FEEDBACK": "mistake.cold-left-out"}
    words = {read.get(one, "identifier"): " ".join(one.itertext()) for one in read.all("modalFeedback")}
    assert problem.question.exercise.mistakes["cold-left-out"].says in words["mistake.cold-left-out"]
    assert read.respond(RESPONSE=1.0) == {"SCORE": 0, "FEEDBACK": "wrong"}
    assert read.respond() == {"SCORE": 0, "FEEDBACK": "wrong"}


@pytest.mark.parametrize("ask", ["order", "next_action"])
@pytest.mark.parametrize("exercise", ["switching-on", "switching-off", "replacing-a-module"])
def test_orders_are_marked_as_the_engine_marks_them(engine, reader, exercise, ask):
    chance = random.Random(exercise)
    verdicts = set()
    for number_ in range(1, 4):
        problem = make_problem(engine, exercise, ask, number_)
        read = reader(written_item(item(problem), "2.1"))
        right = read.right["RESPONSE"]
        assert mark(problem, " ".join(right)).verdict == "right"
        for letters in orders_around(problem, right, chance):
            given = letters if ask == "order" else letters[0]
            verdict = mark(problem, " ".join(letters)).verdict
            assert (read.respond(RESPONSE=given)["SCORE"] == 1) == (verdict == "right"), letters
            verdicts.add(verdict)
    assert verdicts == {"right", "wrong"}


def orders_around(problem, right, chance):
    if problem.ask == "next_action":
        return [[letter] for letter in problem.letters]
    found = [list(right), right[:-1]]
    for _ in range(60):
        order = list(right)
        for _ in range(chance.randint(1, 3)):
            at = chance.randrange(len(order) - 1)
            order[at], order[at + 1] = order[at + 1], order[at]
        found.append(order)
    trap = next(letter for letter in problem.letters if letter not in right)
    return [*found, [*right, trap], [trap, *right]]

"""Which diagram a problem gets: from its own numbers, with what is asked left open and nothing given away."""

import pytest

from tutor.content.library import load
from tutor.diagrams.choosing import diagram_of
from tutor.engine.problem import Problem
from tutor.engine.question import Engine
from tutor.engine.setting import set_problem
from tutor.looks import LIGHT

LESSONS = ("series-strings", "parallel-strings", "battery-circuit", "transfer", "switch-on-order")


@pytest.fixture(scope="module")
def engine():
    return Engine(load())


def drawn(engine, exercise, ask=None, number=1):
    problem = set_problem(engine, exercise, ask, number, "us", None)
    return problem, diagram_of(problem, LIGHT)


def test_strings_in_parallel_are_drawn_from_the_problem(engine):
    problem, diagram = drawn(engine, "array-current", "array_isc")
    count, current = problem.text_of("strings_in_parallel"), problem.text_of("module_isc")
    assert diagram.sentence.startswith(f"{count} strings in parallel, each with")
    assert f"Isc {current}" in diagram.sentence
    assert "to ?\u00a0A together" in diagram.sentence


def test_the_operating_current_is_drawn_where_it_is_asked(engine):
    problem, diagram = drawn(engine, "array-current", "array_imp")
    assert f"Imp {problem.text_of('module_imp')}" in diagram.sentence
    assert "Isc" not in diagram.sentence


def test_an_asked_number_of_strings_stays_open(engine):
    _, diagram = drawn(engine, "strings-that-the-input-takes", "strings_in_parallel")
    assert diagram.sentence.startswith("Some strings in parallel")
    assert "? more" in diagram.svg


def test_string_fuses_are_open_where_they_are_asked(engine):
    assert "a fuse (?\u00a0A)" in drawn(engine, "string-fuse-rating", "string_fuse")[1].sentence
    assert "left open" in drawn(engine, "do-the-strings-need-fuses", "strings_spared")[1].sentence


def test_the_source_asked_for_is_not_given_away(engine):
    for number in range(1, 6):
        problem, diagram = drawn(engine, "source-at-a-moment", "feeding_source", number)
        assert "left open" in diagram.sentence
        assert f"the loads ({problem.text_of('load_power')})" in diagram.sentence


def test_pass_through_and_runtime_show_their_ways(engine):
    assert (
        "the supply feeds them: the way straight through" in drawn(engine, "supply-current-in-pass-through")[1].sentence
    )
    assert "the battery feeds them: the way through the inverter" in drawn(engine, "runtime-after-outage")[1].sentence


def test_in_the_moment_of_transfer_nothing_feeds_the_loads(engine):
    problem, diagram = drawn(engine, "does-the-load-ride-through")
    assert "nothing feeds the loads" in diagram.sentence
    assert f"transfer ({problem.text_of('transfer_time')})" in diagram.sentence


def test_a_series_string_alone_is_drawn_as_before(engine):
    _, diagram = drawn(engine, "most-modules-in-series")
    assert diagram.sentence.startswith("Some modules in series, each")


def test_both_kinds_of_modules_in_one_string_are_drawn(engine):
    for number in range(1, 4):
        problem, diagram = drawn(engine, "mismatched-modules-in-series", "string_power", number)
        first, second = problem.text_of("modules_in_series"), problem.text_of("second_modules")
        assert f"{first} of kind A ({problem.parts['module']}" in diagram.sentence
        assert f"{second} of kind B ({problem.parts['second_module']}" in diagram.sentence


def test_no_diagram_gives_the_answer_away(engine):
    """With the givens' own values set aside, the answer's text stands nowhere in the drawing."""
    for id_, exercise in engine.library.exercises.items():
        if exercise.lesson not in LESSONS:
            continue
        for ask in getattr(exercise, "asks", ()):
            book = getattr(exercise, "rulebooks", ("us",))[0]
            problem = set_problem(engine, id_, ask, 1, book, None)
            if not isinstance(problem, Problem) or (diagram := diagram_of(problem, LIGHT)) is None:
                continue
            answer = problem.text_of(ask)
            told = {amount.text for amount in problem.shown.values()}
            if "\u00a0" in answer and answer not in told:  # a value with its unit: a bare count may stand for a module
                assert answer not in diagram.svg + diagram.sentence, (id_, ask)

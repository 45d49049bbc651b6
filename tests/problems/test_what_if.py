"""How an answer moves with a given: by the law itself worked by hand, and for every question of every exercise."""

import math

import pytest

from tutor.pictures.looks import LIGHT
from tutor.pictures.plots.sweep import sweep
from tutor.problems.draw import draw
from tutor.problems.question import Engine
from tutor.problems.what_if import movable, what_if


@pytest.fixture(scope="module")
def engine(library):
    return Engine(library)


def followed(engine, exercise, ask, given, number=1, book="us"):
    problem = draw(engine.question(exercise, ask, book), number)
    return problem, what_if(problem, given)


def test_the_most_modules_follow_the_cold(engine):
    # the module's Voc rises by its coefficient for each kelvin below 25 °C; whole modules below the input's limit
    problem, found = followed(engine, "most-modules-in-series", "modules_in_series", "record_low")
    known, (line,) = problem.known, found.lines
    colds = [(at - 32) / 1.8 if found.axis.unit == "degF" else at for at in found.axis.shown]
    for cold, count in zip(colds, line.values, strict=True):
        voltage = known["module_voc"] * (1 + known["voc_coefficient"] * (cold - 25))
        assert count == math.floor(known["input_voltage_max"] / voltage + 1e-9)
    assert line.values[0] < line.values[-1]
    assert "the number of modules in series rises from" in found.sentence


def test_a_drop_grows_in_proportion_to_the_run(engine):
    problem, found = followed(engine, "drop-on-a-run", "drop", "run_length")
    (line,) = found.lines
    for length, drop in zip(found.axis.shown, line.values, strict=True):
        feet = length / (problem.known["run_length"] / 0.3048)
        assert drop == pytest.approx(feet * problem.values["drop"], rel=1e-9)
    assert f"In this problem it is {problem.text_of('run_length')}" in found.sentence


def test_a_yes_or_no_is_followed_by_the_number_that_decides(engine):
    _, found = followed(engine, "does-the-string-survive", "string_survives", "record_low")
    assert found.lines[0].of == "cold_string_voltage"
    assert len(set(found.lines[0].values)) > 10


def test_sizes_stand_on_the_axis_by_their_names(engine):
    problem, found = followed(engine, "conductor-for-current", "conductor_size", "run_current")
    figure = sweep(found, LIGHT).figure
    names = [name for name in figure.data[0].y if name is not None]
    assert set(names) <= {size.name for size in problem.question.rulebook.sizes}
    assert figure.layout.yaxis.type == "category"
    assert [name for name in figure.layout.yaxis.categoryarray if name in names] == list(dict.fromkeys(names))


def test_what_a_table_does_not_hold_is_not_drawn(engine):
    # correction factors end below 70 °C for 75 °C insulation: no ampacity beyond
    problem, found = followed(engine, "ampacity-after-correction", "ampacity_after_factors", "conductors_grouped")
    assert None not in found.lines[0].values
    assert "no line is drawn" not in found.sentence
    problem, found = followed(engine, "fill-factor", "fill_factor", "module_imp")
    contradicting = [
        current > problem.known["module_isc"] + 1e-9 for current in found.axis.shown
    ]  # Imp above Isc is no module
    assert any(contradicting)
    assert all(value is None for value, bad in zip(found.lines[0].values, contradicting, strict=True) if bad)
    assert "Where no line is drawn" in found.sentence


def test_a_conductor_grows_with_its_load(engine):
    _, found = followed(engine, "conductor-for-current", "conductor_size", "run_current")
    sizes = [size for size in found.lines[0].values if size is not None]
    assert sizes == sorted(sizes)
    assert len(set(sizes)) > 2


def test_every_question_can_be_moved_by_each_of_its_givens(engine):
    moved = 0
    for id_, declared in engine.library.declared.items():
        book = declared.exercise.rulebooks[0]
        for ask in declared.under(book).exercise.asks:
            problem = draw(engine.question(id_, ask, book), 2)
            assert movable(problem), (id_, ask)
            for given in movable(problem):
                found = what_if(problem, given)
                drawn = sweep(found, LIGHT)
                assert drawn.sentence.endswith("."), (id_, ask, given)
                assert drawn.rows
                assert found.lines[0].here == problem.values[found.lines[0].of]
                moved += 1
    assert moved > 700

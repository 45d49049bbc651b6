"""A declared diagram: drawn from the problem's numbers, what is asked left open; its faults told at load with lines."""

from pathlib import Path

import pytest

from tutor.content.errors import ContentError
from tutor.content.library import load
from tutor.pictures.diagrams.declared import diagram_of
from tutor.pictures.looks import LIGHT
from tutor.problems.problem import Problem
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import Engine

LESSONS = ("series-strings", "parallel-strings", "battery-circuit", "transfer", "switch-on-order")


@pytest.fixture(scope="module")
def engine():
    return Engine(load())


def drawn(engine, exercise, ask=None, number=1):
    problem = make_problem(engine, exercise, ask, number, "us", None)
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
            problem = make_problem(engine, id_, ask, 1, book, None)
            if not isinstance(problem, Problem) or (diagram := diagram_of(problem, LIGHT)) is None:
                continue
            answer = problem.text_of(ask)
            told = {amount.text for amount in problem.shown.values()}
            if "\u00a0" in answer and answer not in told:  # a value with its unit: a bare count may stand for a module
                assert answer not in diagram.svg + diagram.sentence, (id_, ask)


SOUND = Path(__file__).parents[2] / "corpora" / "faulty_exercises" / "sound-exercise.yaml"
SERIES = "  renderer: series-string\n  count: modules_in_series\n"


def own_exercise(folder, diagram, **more):
    """A folder with a sound exercise and a diagram; `more` are lines of other fields after it."""
    path = folder / "exercises" / "own" / SOUND.name
    path.parent.mkdir(parents=True)
    fields = "".join(f"{field}:\n{lines}" for field, lines in more.items())
    path.write_text(f"{SOUND.read_text(encoding='utf-8')}diagram:\n{diagram}{fields}", encoding="utf-8")
    return path


def line_of(path, words):
    return next(at for at, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1) if words in line)


@pytest.mark.parametrize(
    ("diagram", "faulty", "words"),
    [
        ("  renderer: series\n", "renderer: series", "diagram.renderer: Input should be 'series-string', 'mixed-"),
        ("  renderer: unknown\n", "renderer: unknown", "or 'source-paths'."),
        ("  count: modules_in_series\n", "diagram:", "diagram.renderer: this field is missing"),
        ("  [series-string]\n", "diagram:", "diagram"),
        ("  renderer: series-string\n", "diagram:", "diagram.count: this field is missing. Add it."),
        (SERIES + "  fuse: module_voc\n", "fuse: module_voc", "diagram.fuse: there is no such field."),
        ("  renderer: series-string\n  count: [modules_in_series]\n", "  count:", "diagram.count: text is expected"),
        ("  renderer: series-string\n  count: modules_in_row\n", "modules_in_row", "no quantity 'modules_in_row'"),
        ("  renderer: series-string\n  count: cold_voltage\n", "count: cold", "'cold_voltage' is no whole number"),
        (SERIES + "  module: module_isc\n", "module: module_isc", "the exercise has no quantity 'module_isc'. Choose"),
        (SERIES + "  module: ['Vmp {module_vpm}']\n", "module: [", "the exercise has no quantity 'module_vpm'"),
        (SERIES + "  module: '{module_voc'\n", "module: '{", "hold no quantity's name"),
        (SERIES + "  module: '{Module Voc}'\n", "module: '{", "hold no quantity's name"),
        (SERIES + "  when_asked:\n    module_isc: {module: module_vmp}\n", "module_isc", "'module_isc' to ask for"),
        (SERIES + "  when_asked:\n    module_voc: {modul: module_vmp}\n", "modul:", "modul: there is no such field"),
        (SERIES + "  when_asked:\n    module_voc: {module: module_imp}\n", "module_imp", "no quantity 'module_imp'"),
        (SERIES + "  when_asked:\n    module_voc: {count: null}\n", "count: null", "count: this field is missing"),
    ],
)
def test_a_faulty_diagram_is_told_with_its_line(tmp_path, diagram, faulty, words):
    path = own_exercise(tmp_path, diagram)
    with pytest.raises(ContentError) as caught:
        load(tmp_path)
    assert words in str(caught.value)
    assert (caught.value.path, caught.value.line) == (path, line_of(path, faulty))


def test_a_fault_of_one_rulebook_is_told_at_load(tmp_path):
    path = own_exercise(tmp_path, SERIES, in_rulebook="  iec:\n    diagram:\n      module: module_isc\n")
    with pytest.raises(ContentError, match="no quantity 'module_isc'") as caught:
        load(tmp_path)
    assert (caught.value.path, caught.value.line) == (path, line_of(path, "module: module_isc"))


def test_a_rulebook_changes_a_diagram_entry_by_entry(tmp_path):
    changed = "  iec:\n    diagram: {module: 'Vmp {module_vmp}'}\n"
    own_exercise(tmp_path, SERIES + "  module: module_voc\n", in_rulebook=changed)
    own = Engine(load(tmp_path))
    for book, name, words in (("us", "module_voc", ""), ("iec", "module_vmp", "Vmp ")):
        problem = make_problem(own, SOUND.stem, None, 1, book, None)
        assert f"each {words}{problem.text_of(name)}:" in diagram_of(problem, LIGHT).sentence


def test_an_exercise_without_a_diagram_has_none(engine):
    assert drawn(engine, "power-from-the-label")[1] is None


def test_a_phrase_without_its_quantity_is_left_out(engine):
    """The cable's size is worked out after the current, so it has no place in a question for the current."""
    assert "the cable (?)" in drawn(engine, "battery-cable", "conductor_size")[1].sentence
    assert "the cable to the plus" in drawn(engine, "battery-cable", "inverter_input_current")[1].sentence

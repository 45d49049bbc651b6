"""Numbers that contradict each other: declared once, kept by every draw, and asked about in a learner's own numbers."""

from dataclasses import replace

import pytest

from tutor.answers.own import own_amounts
from tutor.content.errors import ContentError
from tutor.content.models import Agreement
from tutor.problems.agreements import agreements, binding, broken
from tutor.problems.declaration import check_agreements
from tutor.problems.draw import draw
from tutor.problems.question import RequestError


def with_own(engine, exercise, own, book="us", ask=None, number=1):
    question = engine.question(exercise, ask, book)
    return draw(question, number, own_amounts(question, own))


def sentence(engine, exercise, own, book="us"):
    with pytest.raises(RequestError) as refused:
        with_own(engine, exercise, own, book)
    return str(refused.value).replace("\u00a0", " ")


def test_every_agreement_compares_like_with_like(engine):
    check_agreements(engine.library)
    assert len(agreements(engine.library)) > 40


@pytest.mark.parametrize(
    ("holds", "fault"),
    [
        ("module_imp + module_isc", "is no comparison"),
        ("module_imp <= module_voc", "the dimensions do not fit"),
        ("module_imp <= module_iscc", "is not in the glossary"),
    ],
)
def test_a_faulty_agreement_is_told(engine, holds, fault):
    faulty = {"new-one": Agreement(holds=holds, says="Check both on the label.")}
    origins = {("agreements", "new-one"): engine.library.origins["agreements", "imp-below-isc"]}
    with pytest.raises(ContentError, match=rf"line \d+: new-one: .*{fault}"):
        check_agreements(replace(engine.library, agreements=faulty, origins=origins))


def working(part):
    fields = {name: getattr(part, name) for name in type(part).model_fields}
    return {name: field.working for name, field in fields.items() if hasattr(field, "working")}


def test_every_invented_part_keeps_every_agreement(engine):
    library = engine.library
    for shelf in (library.modules, library.chargers, library.places):
        for id_, part in shelf.items():
            assert [one.id for one in broken(agreements(library), working(part))] == [], id_


def test_every_agreement_binds_a_question_or_a_part(engine):
    library = engine.library
    bound = {one.id for id_ in library.declared for one in binding(some_question(engine, id_))}
    shelves = [{*working(next(iter(shelf.values())))} for shelf in (library.modules, library.chargers, library.places)]
    on_parts = {one.id for one in agreements(library) if any(shelf.issuperset(one.joins) for shelf in shelves)}
    assert {one.id for one in agreements(library)} == bound | on_parts


def some_question(engine, id_):
    return engine.question(id_, None, engine.library.declared[id_].exercise.rulebooks[0])


def test_every_draw_keeps_its_agreements(question, drawn):
    for number in range(10):
        problem = drawn(question, number)
        assert [one.id for one in broken(binding(question), problem.all_values)] == [], number


@pytest.mark.parametrize(
    ("exercise", "own", "says"),
    [
        (
            "fill-factor",
            {"module_imp": "12 A"},
            "Imp) is always less than its short-circuit current (Isc). Check both on the label: they may be swapped. "
            "You entered 12 A for the module's operating current. "
            "This problem has 9.97 A for the module's short-circuit current: enter yours too.",
        ),
        (
            "fill-factor",
            {"module_vmp": "41 V", "module_voc": "38 V"},
            "You entered 41 V for the module's operating voltage and 38 V for the module's open-circuit voltage.",
        ),
        (
            "fill-factor",
            {"module_vmp": "39 V", "module_voc": "40 V", "module_imp": "9.5 A", "module_isc": "9.8 A"},
            "No module has a fill factor above 0.9.",
        ),
        (
            "fill-factor",
            {"module_vmp": "22 V", "module_voc": "40 V", "module_imp": "5.5 A", "module_isc": "9.8 A"},
            "No sound module has a fill factor below 0.5.",
        ),
        (
            "mismatched-modules-in-series",
            {"module_power": "400 W", "module_vmp": "31.2 V", "module_imp": "11.2 A"},
            "to within 3%. Check all three on the label.",
        ),
        ("coefficient-in-volts", {"voc_coefficient": "-0.3 %/K", "vmp_coefficient": "-0.06 %/K"}, "and their signs"),
        ("current-hardly-moves", {"isc_coefficient": "0.28 %/K", "voc_coefficient": "-0.05 %/K"}, "may be swapped"),
        ("inverter-input-current", {"battery_voltage": "480 V"}, "ask a licensed electrician. You entered 480 V"),
        ("battery-cable", {"battery_voltage": "24 V", "battery_voltage_low": "25 V"}, "is not above its nominal"),
        ("battery-cable", {"battery_voltage": "48 V", "battery_voltage_low": "24 V"}, "at least 70%"),
        (
            "pre-charge-resistor",
            {"battery_voltage_full": "14.6 V", "battery_voltage": "24 V"},
            "full battery's voltage is not below",
        ),
        (
            "fewest-modules-in-series",
            {"input_voltage_min": "200 V", "input_voltage_best": "150 V"},
            "A charger's minimum voltage is not above",
        ),
        ("string-lengths-in-the-window", {"input_voltage_min": "300 V", "input_voltage_max": "250 V"}, "voltage limit"),
        ("current-hardly-moves", {"hottest_ambient": "45 °C", "hottest_cell": "40 °C"}, "not colder than the air"),
        ("string-lengths-in-the-window", {"record_low": "20 °C", "hottest_cell": "120 °F", "module_voc": "5 V"}, "Vmp"),
        ("source-at-a-moment", {"stored_energy": "5 kWh", "battery_energy": "2 kWh"}, "does not store more than"),
        ("drop-at-a-higher-voltage", {"battery_voltage": "48 V", "higher_voltage": "24 V"}, "must not be below"),
        ("thin-copper", {"copper_meant": "4 mm²", "copper_bought": "6 mm²"}, "they may be swapped"),
        (
            "drop-on-a-run",
            {"battery_voltage": "12 V", "run_current": "100 A", "conductor_size": "14 AWG", "run_length": "200 ft"},
            "A cable cannot lose more voltage than the battery has.",
        ),
    ],
)
def test_own_numbers_that_contradict_each_other_are_asked_about(engine, exercise, own, says):
    book = engine.library.declared[exercise].exercise.rulebooks[0]
    assert says in sentence(engine, exercise, own, book)


@pytest.mark.parametrize(
    ("exercise", "own", "says"),
    [
        (
            "drop-on-a-run",
            {"battery_voltage": "12 V", "run_current": "100 A", "conductor_size": "6 AWG", "run_length": "90 ft"},
            "for the voltage drop as a share of the supply. Real values are at most 60 %. "
            "You entered 12 V for the battery's nominal voltage,",
        ),
        ("most-modules-in-series", {"input_voltage_max": "12 V"}, "lead to 0 for the number of modules in series"),
        ("breaking-capacity-of-a-battery-fuse", {"battery_resistance": "0.1 mohm"}, "and the values that you left"),
    ],
)
def test_own_numbers_that_lead_beyond_what_is_real_are_asked_about(engine, exercise, own, says):
    told = sentence(engine, exercise, own)
    assert says in told
    assert "Check those numbers and their units" in told


@pytest.mark.parametrize("voc", ["22 V", "41.3 V", "49.8 V", "60 V"])
def test_one_own_figure_takes_the_others_of_a_module_that_agrees(engine, voc):
    for number in range(1, 6):
        problem = with_own(engine, "fill-factor", {"module_voc": voc}, number=number)
        assert list(broken(binding(problem.question), problem.all_values)) == []
        assert 0.5 <= problem.values["fill_factor"] <= 0.9


def test_a_figure_that_the_answer_does_not_rest_on_is_changed_in_proportion(engine):
    """A worked example of small modules seldom tells more than it needs: 5 V and 2 A, and no open-circuit voltage."""
    problem = with_own(engine, "string-power-and-current", {"module_vmp": "5 V", "module_imp": "2 A"})
    assert problem.known["module_voc"] == pytest.approx(6.1, rel=0.1)
    assert problem.known["module_isc"] == pytest.approx(2.1, rel=0.1)
    assert problem.values["string_power"] == pytest.approx(problem.known["modules_in_series"] * 10)


@pytest.mark.parametrize("voc", ["6 V", "18 V", "200 V"])
def test_where_no_module_agrees_the_related_figures_are_asked_for(engine, voc):
    assert "enter yours too" in sentence(engine, "fill-factor", {"module_voc": voc})


@pytest.mark.parametrize(
    ("exercise", "own", "book"),
    [  # real labels and systems, small and large
        (
            "fill-factor",
            {"module_voc": "6.1 V", "module_vmp": "5 V", "module_isc": "0.22 A", "module_imp": "0.2 A"},
            "us",
        ),
        (
            "fill-factor",
            {"module_voc": "52 V", "module_vmp": "43.9 V", "module_isc": "18.4 A", "module_imp": "17.4 A"},
            "us",
        ),
        (
            "fill-factor",
            {"module_voc": "280 V", "module_vmp": "216 V", "module_isc": "1.2 A", "module_imp": "1 A"},
            "iec",
        ),
        ("three-hours", {"load_power": "4 W"}, "us"),
        ("breaker-for-an-appliance", {"load_power": "1 W"}, "us"),
        ("drop-on-a-run", {"run_current": "0.3 A", "run_length": "0.1 m"}, "us"),
        ("drop-on-a-run", {"run_current": "0.3 A", "run_length": "300 m"}, "iec"),
        ("most-modules-in-series", {"input_voltage_max": "950 V"}, "us"),
        ("most-modules-in-series", {"input_voltage_max": "1500 V", "record_low": "-60 °C"}, "iec"),
        (
            "inverter-input-current",
            {"inverter_power": "15 kW", "battery_voltage": "48", "battery_voltage_low": "42"},
            "us",
        ),
        (
            "inverter-input-current",
            {"inverter_power": "30 W", "battery_voltage": "12.8", "battery_voltage_low": "11"},
            "us",
        ),
        ("correction-factor", {"ambient": "-60 °C"}, "us"),
        ("correction-factor", {"ambient": "60 °C"}, "iec"),
        ("do-the-strings-need-fuses", {"strings_in_parallel": "1"}, "us"),
    ],
)
def test_real_numbers_are_taken(engine, exercise, own, book):
    problem = with_own(engine, exercise, own, book)
    assert all(name in problem.shown for name in own)


def test_an_edge_that_is_asked_for_is_bound_by_no_label(engine):
    """Up to which cell temperature a string charges is no hot afternoon's temperature beside that day's air."""
    question = engine.question("fewest-modules-in-series", "hottest_cell")
    assert all("hottest_cell" not in one.joins for one in binding(question))


def test_a_value_by_itself_that_the_answer_does_not_rest_on_becomes_what_it_contradicts(engine):
    problem = with_own(engine, "inverter-input-current", {"battery_voltage_low": "12 V"})
    assert problem.shown["battery_voltage"].text == "12\u00a0V"

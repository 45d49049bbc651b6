"""A learner's own numbers for the givens."""

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.draw import draw
from tutor.problems.question import RequestError
from tutor.problems.solution import worked_solution


@pytest.fixture
def usual(engine):
    return engine.question("most-modules-in-series")


@pytest.mark.parametrize(
    ("name", "text", "value", "unit", "shown"),
    [
        ("module_voc", "41.3 V", 41.3, "V", "41.3\u00a0V"),
        ("module_voc", "41,3", 41.3, "V", "41.3\u00a0V"),
        ("module_voc", "0.0413 kV", 0.0413, "kV", "0.0413\u00a0kV"),
        ("voc_coefficient", "-0.27 %/K", -0.27, "%/K", "−0.27\u00a0%/K"),
        ("voc_coefficient", "-0.27 %/°C", -0.27, "%/K", "−0.27\u00a0%/K"),
        ("voc_coefficient", "-0.15 %/°F", -0.15, "%/delta_degF", "−0.15\u00a0%/°F"),
        ("voc_coefficient", "-0.0027/K", -0.0027, "K^-1", "−0.0027\u00a0K⁻¹"),
        ("record_low", "-24", -24, "degC", "−24\u00a0°C"),
        ("record_low", "-11.2 °F", -11.2, "degF", "−11.2\u00a0°F"),
        ("record_low", "249 K", -24.15, "degC", "−24.15\u00a0°C"),
        ("modules_in_series", "9 panels", 9, "", "9"),
    ],
)
def test_own_numbers_are_kept_as_typed(usual, name, text, value, unit, shown):
    amount = own_amounts(usual, {name: text})[name]
    assert (amount.value, amount.unit, amount.text) == (pytest.approx(value), unit, shown)


def test_a_unit_too_long_for_a_label_gives_way_to_the_glossarys(usual):
    amount = own_amounts(usual, {"module_voc": "41.3 V*km*km*km*km/km/km/km/km"})["module_voc"]
    assert (amount.value, amount.unit) == (pytest.approx(41.3), "V")


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("colour", "3", "'colour' is not a given here"),
        ("module_voc", "", "Module's open-circuit voltage: The entry is empty"),
        ("module_voc", "41.3 A", "gives a current"),
        ("module_voc", "1,234 V", "can be read as"),
        ("record_low", "-24 V", "gives a voltage"),
        ("modules_in_series", "nine-ish", "module"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_name(usual, name, text, words):
    with pytest.raises(RequestError, match=words):
        own_amounts(usual, {name: text})


@pytest.mark.parametrize(
    ("text", "book", "shown", "mm2"),
    [
        ("5 mm²", "iec", "5 mm²", 5),
        ("5 mm2", "us", "5 mm²", 5),
        ("5", "iec", "5 mm²", 5),
        ("6", "iec", "6 mm²", 6),
        ("10 AWG", "iec", "5.26 mm²", 5.2606),  # ASTM B258: 10 380 circular mils
        ("#10", "iec", "5.26 mm²", 5.2606),
        ("2/0 AWG", "iec", "67.44 mm²", 67.44),
        ("10 AWG", "us", "10 AWG", 5.2612),
        ("10", "us", "10 AWG", 5.2612),
    ],
)
def test_a_conductor_of_any_size_is_taken(engine, text, book, shown, mm2):
    amount = own_amounts(engine.question("drop-on-a-run", None, book), {"conductor_size": text})["conductor_size"]
    assert amount.text == shown
    assert amount.working == pytest.approx(mm2 * 1e-6, rel=2e-3)


@pytest.mark.parametrize(
    ("text", "book", "words"),
    [
        ("5", "us", "is not a standard size"),  # 5 AWG is none that these tables have, and 5 mm² is not what it says
        ("5 V", "iec", "is not a standard size"),
        ("0.2 mm²", "iec", "the sizes run from 1.5 mm² to 240 mm²"),
        ("1000 mm²", "iec", "the sizes run from 1.5 mm² to 240 mm²"),
    ],
)
def test_a_conductor_that_no_table_covers_is_told(engine, text, book, words):
    with pytest.raises(RequestError, match=words):
        own_amounts(engine.question("drop-on-a-run", None, book), {"conductor_size": text})


def test_an_odd_size_is_explained_where_a_table_is_read(engine):
    question = engine.question("ampacity-after-correction", None, "iec")
    problem = draw(question, 1, own_amounts(question, {"conductor_size": "5 mm²"}))
    why = next(line.why for line in worked_solution(problem) if line.name == "table_ampacity")
    assert why.endswith("Use the next smaller listed size, 4 mm², which is on the safe side.")
    question = engine.question("drop-on-a-run", None, "iec")
    problem = draw(question, 1, own_amounts(question, {"conductor_size": "5 mm²"}))
    told = " ".join(line.why for line in worked_solution(problem))
    assert "5 mm² is not a standard size of this table." in told
    assert "from the sizes 4 mm² and 6 mm²." in told


@pytest.mark.parametrize(
    ("exercise", "name", "text", "whole", "shown"),
    [  # each worked by hand: the value per kelvin divided by the label's own
        ("most-modules-in-series", "voc_coefficient", "-0.12 V/K", {"module_voc": "40 V"}, "−0.3\u00a0%/K"),
        ("most-modules-in-series", "voc_coefficient", "-120 mV/°C", {"module_voc": "40 V"}, "−0.3\u00a0%/K"),
        ("most-modules-in-series", "voc_coefficient", "-118 mV/K", {"module_voc": "41.3 V"}, "−0.28571\u00a0%/K"),
        ("string-voltage-at-hottest-cell", "vmp_coefficient", "-0.136 V/K", {"module_vmp": "34 V"}, "−0.4\u00a0%/K"),
        ("power-on-a-hot-roof", "power_coefficient", "-1.2 W/K", {"module_power": "300 W"}, "−0.4\u00a0%/K"),
        ("current-hardly-moves", "isc_coefficient", "5 mA/K", {"module_isc": "10 A"}, "0.05\u00a0%/K"),
    ],
)
def test_a_coefficient_per_kelvin_is_converted_with_its_label(engine, exercise, name, text, whole, shown):
    question = engine.question(exercise)
    amounts = own_amounts(question, {name: text} | whole)
    assert list(amounts) == [name, *whole]
    assert amounts[name].text == shown


def test_a_coefficient_per_kelvin_alone_asks_for_its_label(usual):
    with pytest.raises(RequestError, match="in V/K, enter the module's open-circuit voltage from the same label too"):
        own_amounts(usual, {"voc_coefficient": "-0.12 V/K"})
    with pytest.raises(RequestError, match="gives a current per degree"):
        own_amounts(usual, {"voc_coefficient": "-0.12 A/K", "module_voc": "40 V"})


@pytest.mark.parametrize(("factor", "verdict"), [(0.999, "right"), (1.2, "wrong"), (0.8, "wrong")])
def test_an_answer_per_kelvin_is_a_share_of_the_label_shown(engine, factor, verdict):
    problem = draw(engine.question("most-modules-in-series", "voc_coefficient"), 1)
    volts = factor * problem.values["voc_coefficient"] * problem.known["module_voc"]
    for text in (f"{volts:.6g} V/K", f"{1000 * volts:.6g} mV/K", f"{volts:.6g} V/°C"):
        assert mark(problem, text).verdict == verdict, text


def test_where_the_question_is_the_conversion_its_given_is_no_answer(engine):
    problem = draw(engine.question("coefficient-in-volts", "voc_coefficient"), 1)
    marking = mark(problem, problem.shown["voc_per_kelvin"].text)
    assert marking.verdict == "wrong"
    assert "gives a voltage per degree" in marking.feedback


def test_every_given_as_it_is_told_is_read_back(question, drawn):
    """What the form for own numbers shows can be sent as it stands."""
    for number in (1, 2):
        problem = drawn(question, number)
        own = own_amounts(question, {name: amount.text for name, amount in problem.shown.items()})
        again = draw(question, number, own)
        assert {name: amount.text for name, amount in again.shown.items()} == {
            name: amount.text for name, amount in problem.shown.items()
        }
        assert again.known == pytest.approx(problem.known, rel=1e-9)

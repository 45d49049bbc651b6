"""What problems show as ordinary is fit to be built: no cable overheated by its current, no rating past a rule."""

import pytest

from tutor.answers.marking import mark
from tutor.answers.own import own_amounts
from tutor.problems.draw import draw
from tutor.problems.problem_factory import make_problem
from tutor.problems.question import RequestError

DRAWS = 150
TERMINALS = {"us": 75.0, "iec": 70.0}
CABLES = [
    (exercise, book)
    for exercise in (
        "drop-on-a-run",
        "longest-run",
        "drop-at-a-higher-voltage",
        "drop-in-weak-light",
        "drop-under-the-inverters-load",
        "drop-by-circular-mils",
    )
    for book in ("us", "iec")
    if (exercise, book) != ("drop-by-circular-mils", "iec")
]


def set_with(engine, exercise, own, book="us"):
    return make_problem(engine, exercise, None, 1, book, own_amounts(engine.question(exercise, None, book), own))


@pytest.mark.parametrize(("exercise", "book"), CABLES)
def test_a_cable_whose_drop_is_asked_carries_its_current(engine, exercise, book):
    question = engine.question(exercise, None, book)
    for number in range(DRAWS):
        problem = draw(question, number)
        told = {**problem.known, **problem.values}
        current = told.get("run_current", told.get("inverter_input_current"))
        ampacity = question.rulebook.tables["ampacity"].look_up(told["conductor_size"], TERMINALS[book])
        assert current <= ampacity, problem.shown


@pytest.mark.parametrize("exercise", ["conductor-for-drop", "conductor-for-current", "conductor-in-a-hot-conduit"])
def test_a_conductor_that_is_asked_for_may_be_protected_for_its_load(engine, exercise):
    # NFPA 70-2017 240.4(D) (third-party transcription): 15, 20 and 30 A on 14, 12 and 10 AWG copper.
    question = engine.question(exercise, None, "us")
    limits = question.rulebook.tables["small_conductor_limit"]
    for number in range(DRAWS):
        problem = draw(question, number)
        size = problem.values["conductor_size"]
        if size <= question.rulebook.size_named("10 AWG").area * 1.001:
            assert problem.values["current_for_terminals"] <= limits.look_up(size), problem.shown


@pytest.mark.parametrize("amperes", range(4, 33))
@pytest.mark.parametrize(
    ("exercise", "given", "own"),
    [
        ("conductor-for-current", "run_current", {"ambient": "80 degF"}),
        ("conductor-in-a-hot-conduit", "run_current", {"ambient": "80 degF", "conductors_grouped": "2"}),
        ("conductor-for-drop", "run_current", {"terminal_rating": "75 degC", "run_length": "1 ft"}),
        ("battery-cable", "inverter_power", {"battery_voltage_low": "20 V", "inverter_efficiency": "100 %"}),
    ],
)
def test_own_small_currents_get_the_smallest_conductor_that_may_be_protected_for_them(
    engine, exercise, given, own, amperes
):
    # NFPA 70-2017 210.20(A), 240.4(D), 240.6(A) and Table 310.15(B)(16) (third-party transcription).
    current = f"{amperes} A" if given == "run_current" else f"{20 * amperes} W"
    problem = set_with(engine, exercise, {**own, given: current})
    device = next(rating for rating in (5, 10, 15, 20, 25, 30, 35, 40, 45) if rating >= 1.25 * amperes)
    sizes = {"14 AWG": (20, 15), "12 AWG": (25, 20), "10 AWG": (35, 30), "8 AWG": (50, 50)}
    fitting = [size for size, (ampacity, limit) in sizes.items() if 1.25 * amperes <= ampacity and device <= limit]
    assert problem.text_of(problem.ask) == fitting[0]
    assert mark(problem, fitting[0]).verdict == "right"


def test_a_conductor_for_hours_is_none_of_those_with_a_limit_of_their_own(engine):
    question = engine.question("continuous-current-of-a-conductor", None, "us")
    smallest = question.rulebook.size_named("10 AWG").area
    assert all(draw(question, number).known["conductor_size"] > smallest * 1.001 for number in range(DRAWS))


@pytest.mark.parametrize("book", ["us", "iec"])
def test_an_inverter_bears_for_seconds_what_it_bears_for_hours(engine, book):
    question = engine.question("can-the-inverter-take-over", None, book)
    for number in range(DRAWS):
        known = draw(question, number).known
        assert known["overload_power"] >= known["inverter_power"]


@pytest.mark.parametrize(
    ("exercise", "own"),
    [
        ("largest-fuse-for-a-cable", {"conductor_size": "14 AWG"}),
        ("what-the-fuse-protects", {"second_conductor_size": "12 AWG"}),
        ("is-the-battery-fuse-too-large", {"conductor_size": "10 AWG"}),
        ("continuous-current-of-a-conductor", {"conductor_size": "10 AWG"}),
        ("battery-fuse", {"cable_ampacity": "20 A"}),
        ("battery-fuse", {"cable_ampacity": "900 A"}),
    ],
)
def test_own_numbers_for_which_another_rule_counts_are_refused(engine, exercise, own):
    with pytest.raises(RequestError, match="this exercise applies from"):
        set_with(engine, exercise, own)


def test_the_same_sizes_are_taken_under_the_rulebook_without_that_rule(engine):
    own = {"conductor_size": "2.5 mm2", "fuse_rating": "25 A"}
    problem = set_with(engine, "is-the-battery-fuse-too-large", own, "iec")
    assert mark(problem, "no", {"largest_fuse": "20 A"}).verdict == "right"


@pytest.mark.parametrize("book", ["us", "iec"])
def test_where_no_fuse_fits_the_load_and_the_cable_own_numbers_are_refused_with_the_reason(engine, book):
    with pytest.raises(RequestError, match=r"the load needs a .* device, not one of .*: take a thicker conductor"):
        set_with(engine, "battery-fuse", {"cable_ampacity": "50 A", "inverter_power": "2500 W"}, book)


PROTECTED = [
    (exercise, book)
    for exercise in (
        "battery-cable",
        "conductor-behind-a-fuse",
        "conductor-for-current",
        "conductor-for-drop",
        "conductor-in-a-hot-conduit",
    )
    for book in ("us", "iec")
]


@pytest.mark.parametrize(("exercise", "book"), PROTECTED)
def test_a_conductor_asked_for_is_one_that_the_device_its_load_needs_may_protect(engine, exercise, book):
    """NFPA 70-2017 210.20(A), 240.4(B) and (D) (third-party transcription); IEC 60364-4-43 on engineering pages."""
    question = engine.question(exercise, None, book)
    factor = 1.25 if book == "us" else 1.0
    for number in range(DRAWS):
        problem = draw(question, number)
        told = {**problem.known, **problem.values}
        device = told.get("device_rating", told.get("fuse_rating"))
        assert device >= factor * told.get("run_current", told.get("inverter_input_current")), problem.shown
        table, size = question.rulebook.tables["ampacity"].look_up, told["conductor_size"]
        corrected = told.get("ambient_factor", 1.0) * told.get("grouping_factor", 1.0)
        usable = min(
            table(size, told.get("terminal_rating", told["insulation_rating"])),
            table(size, told["insulation_rating"]) * corrected,
        )
        if book == "us":
            ratings = question.rulebook.tables["fuse_ratings" if "fuse_rating" in told else "standard_ratings"].sizes
            assert not [rating for rating in ratings if usable <= rating < device], problem.shown
        else:
            room = told.get("tripping_factor", 1.45) / 1.45  # breakers to IEC 60898 open at 1.45 I_n
            assert device * room <= usable * (1 + 1e-9), problem.shown


def test_a_larger_fuse_that_still_protects_is_not_said_to_let_anything_burn(engine):
    own = {"module_isc": "9.2 A", "module_fuse_max": "20 A", "cable_ampacity": "30 A"}
    marking = mark(set_with(engine, "string-fuse-rating", own), "20 A")  # 15 A is the smallest; 20 A is allowed too
    assert marking.verdict == "wrong"
    assert "if the modules or the cable allow less" in marking.feedback


@pytest.mark.parametrize(
    ("exercise", "own"),
    [
        # 15 A at 120 V leave 1440 W for hours.
        ("load-on-a-fixed-circuit", {"branch_rating": "15 A", "supply_voltage": "120 V", "load_power": "1700 W"}),
        # 80 % of 1800 W are less than the loads take.
        (
            "input-limit-for-a-generator",
            {"generator_power": "1800 W", "generator_share": "80 %", "load_power": "2500 W", "supply_voltage": "120 V"},
        ),
    ],
)
def test_what_more_is_taken_than_there_is_never_comes_out_right(engine, exercise, own):
    problem = set_with(engine, exercise, own)
    marking = mark(problem, problem.text_of(problem.ask))
    assert marking.verdict in ("unclear", "wrong")
    assert "no answer keeps the limits" in marking.feedback


def test_a_charger_cannot_take_more_than_comes_in(engine):
    """5000 W of 12 A at 120 V would leave less than nothing for the loads: the learner is asked, nothing is marked."""
    own = {"charge_power": "5000 W", "supply_current": "12 A", "supply_voltage": "120 V", "inverter_power": "2000 W"}
    with pytest.raises(RequestError, match="lead to −3560\u00a0W for the load's power"):
        set_with(engine, "can-the-inverter-take-over", own)

"""Overcurrent devices: the next rating up and where it is not allowed, small conductors, strings, faults."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tutor.problems.sweep import follow
from tutor.trade.conductors import Laid, carries, usable_ampacity
from tutor.trade.protection import (
    conductor_and_device,
    fault_current,
    largest_device,
    protects,
    rating_allowed,
    small_conductor_limit,
    smallest_device,
    tripping_current,
)
from tutor.trade.rulebooks import TableError, rulebook

US, IEC = rulebook("us"), rulebook("iec")
RATINGS = US.tables["standard_ratings"].sizes
SIZES = US.tables["ampacity"].listed("size")


def awg(name):
    return US.size_named(name).area


# Standard ratings


def test_the_device_carries_125_per_cent_of_the_continuous_current():
    # NFPA 70-2017 210.20(A), 240.6(A), third-party transcription
    assert smallest_device(US, 16.0) == 20.0
    assert smallest_device(US, 16.1) == 25.0
    assert smallest_device(US, 12.0, 5.0) == 20.0
    assert smallest_device(IEC, 16.0) == 16.0
    assert smallest_device(US, 180.0, ratings="fuse_ratings") == 225.0
    assert smallest_device(US, 4.0, ratings="fuse_ratings") == 6.0
    with pytest.raises(TableError):
        smallest_device(IEC, 126.0)


# NFPA 70-2017 Table 210.21(B)(2), third-party transcription: 15 A: 12 A; 20 A: 16 A; 30 A: 24 A
@pytest.mark.parametrize(("rating", "load"), [(15.0, 12.0), (20.0, 16.0), (30.0, 24.0)])
def test_the_80_per_cent_rule(relations, rating, load):
    values = relations("load-on-a-fixed-circuit", branch_rating=rating, supply_voltage=1.0)
    assert values["continuous_power"] == pytest.approx(load)
    assert smallest_device(US, load) == rating
    assert rating / IEC.number("continuous_factor") == rating


@pytest.mark.parametrize(
    ("ampacity", "rating"),
    [(35.0, 35.0), (85.0, 90.0), (55.0, 60.0), (115.0, 125.0), (380.0, 400.0), (701.0, 800.0), (801.0, 800.0)],
)
def test_between_two_ratings_the_next_one_up_is_allowed_to_800_amperes(ampacity, rating):
    # NFPA 70-2017 240.4(B), third-party transcription; 85 A for 4 AWG and a 90 A fuse: a practice question recomputed
    assert largest_device(US, awg("500"), ampacity) == rating


def test_with_several_outlets_the_device_stays_at_or_below_the_ampacity():
    assert rating_allowed(US, 55.0) == 60.0
    assert rating_allowed(US, 55.0, next_size_up=False) == 55.0
    assert largest_device(US, awg("8"), 55.0, next_size_up=False) == 50.0


def test_in_iec_the_device_never_exceeds_the_ampacity():
    # IEC 60364-4-43, as quoted in two engineering pages: I_b <= I_n <= I_z
    assert rating_allowed(IEC, 24.0) == 24.0
    assert largest_device(IEC, 2.5e-6, 24.0) == 20.0
    assert largest_device(IEC, 2.5e-6, 25.0) == 25.0


# IEC 60364-4-43: I_2 <= 1.45 I_z, with I_2 = 1.6 I_n from 16 A on and 1.9 I_n below for gG fuses (a design program's
# help page): I_n <= I_z/1.10 and I_z/1.31.  Up to 4 A I_2 = 2.1 I_n, from memory.
@pytest.mark.parametrize(
    ("ampacity", "fuse"), [(125.0, 100.0), (137.0, 100.0), (138.0, 125.0), (151.0, 125.0), (17.5, 12.0), (13.0, 8.0)]
)
def test_in_iec_a_general_purpose_fuse_leaves_room_for_the_current_that_opens_it(ampacity, fuse):
    assert largest_device(IEC, 35e-6, ampacity, ratings="fuse_ratings") == fuse
    trips = tripping_current(IEC, fuse)
    assert trips is not None
    assert trips <= 1.45 * ampacity
    assert protects(IEC, 35e-6, ampacity, fuse)  # as a breaker


def test_the_current_that_opens_a_fuse_by_its_rating():
    assert [tripping_current(IEC, rating) for rating in (4.0, 10.0, 16.0, 125.0)] == [8.4, 19.0, 25.6, 200.0]
    assert tripping_current(US, 125.0) is None


def test_a_fuse_as_large_as_the_ampacity_is_too_large_in_iec():
    # 1.6 * 125 A = 200 A > 1.45 * 125 A = 181 A
    assert not protects(IEC, 35e-6, 125.0, 125.0, ratings="fuse_ratings")
    assert protects(IEC, 35e-6, 125.0, 125.0)


# NFPA 70-2017 240.4(D), third-party transcription
@pytest.mark.parametrize(("size", "limit"), [("18", 7), ("16", 10), ("14", 15), ("12", 20), ("10", 30), ("8", None)])
def test_small_conductors_keep_their_limit(size, limit):
    assert small_conductor_limit(US, awg(size)) == limit
    if limit and limit >= 15:
        assert largest_device(US, awg(size), 40.0) == limit


def test_small_aluminium_conductors_and_other_rulebooks():
    assert small_conductor_limit(US, awg("12"), "small_conductor_limit_aluminium") == 15
    assert small_conductor_limit(IEC, 2.5e-6) is None


def test_a_conductor_too_small_for_any_device_is_told():
    with pytest.raises(TableError, match="15 A, is too large"):
        largest_device(US, awg("16"), 13.0)
    assert not protects(US, awg("16"), 13.0, 15.0)


@given(st.sampled_from(SIZES), st.floats(0.5, 1200), st.booleans())
def test_the_largest_device_is_never_two_ratings_above_the_ampacity(size, ampacity, next_size_up):
    try:
        device = largest_device(US, size, ampacity, next_size_up)
    except TableError:
        assert ampacity < RATINGS[0]
        return
    limit = small_conductor_limit(US, size)
    assert limit is None or device <= limit
    assert not [rating for rating in RATINGS if ampacity * (1 + 1e-9) <= rating < device]
    if not next_size_up or ampacity > 800:
        assert device <= ampacity * (1 + 1e-9)


@given(st.floats(0.5, 200), st.floats(10, 60), st.integers(1, 9), st.booleans())
def test_the_chosen_conductor_carries_and_is_protected(continuous, ambient, conductors, next_size_up):
    laid = Laid(90.0, ambient, conductors, terminals=75.0)
    needed = smallest_device(US, continuous)
    assert needed >= 1.25 * continuous * (1 - 1e-9)
    will_do = [
        area
        for area in SIZES
        if carries(US, area, laid, continuous)
        and protects(US, area, usable_ampacity(US, area, laid), needed, next_size_up)
    ]
    if not will_do:
        with pytest.raises(TableError, match="no size carries this load"):
            conductor_and_device(US, laid, continuous, next_size_up=next_size_up)
        return
    size, device = conductor_and_device(US, laid, continuous, next_size_up=next_size_up)
    assert (size.area, device) == (will_do[0], needed)
    limit = small_conductor_limit(US, size.area)
    assert limit is None or device <= limit
    if not next_size_up:
        assert device <= usable_ampacity(US, size.area, laid) * (1 + 1e-9)


def test_the_device_asks_for_a_size_more_in_a_hot_conduit():
    # NFPA 70-2017 210.20(A), 240.4(B), 240.6(A), 310.15(B)(2) and (3)(a), third-party transcription: 51 A for hours
    # needs 63.75 A, so 70 A; 2/0 AWG has 195 A * 0.58 * 0.5 = 56.6 A, which allows 60 A; 3/0 AWG has 65.3 A.
    laid = Laid(90.0, 66.0, 10, terminals=75.0)
    assert carries(US, awg("2/0"), laid, 51.0)
    assert largest_device(US, awg("2/0"), usable_ampacity(US, awg("2/0"), laid)) == 60.0
    size, device = conductor_and_device(US, laid, 51.0)
    assert (size.name, device) == ("3/0 AWG", 70.0)


def test_the_fuse_asks_for_a_size_more_on_a_battery_cable_in_iec():
    # IEC 60364-4-43 and 60364-5-52 Table B.52.2 (reproduction), B1: 50 mm² carries 151 A, 70 mm² 192 A
    laid = Laid(70.0, terminals=70.0)
    assert carries(IEC, 50e-6, laid, 128.8)
    size, device = conductor_and_device(IEC, laid, 128.8, ratings="fuse_ratings")
    assert (size.name, device) == ("70 mm²", 160.0)


def test_a_device_that_is_already_there_asks_for_its_own_conductor():
    size, device = conductor_and_device(US, Laid(75.0), 70.0, device=125.0)
    assert (size.name, device) == ("2 AWG", 125.0)


def test_the_small_conductor_limit_asks_for_a_size_more():
    # 17 A continuous: 21.25 A, so a 25 A device; 12 AWG has 25 A at 75 °C, yet 240.4(D) holds it at 20 A
    laid = Laid(75.0, terminals=75.0)
    assert carries(US, awg("12"), laid, 17.0)
    size, device = conductor_and_device(US, laid, 17.0)
    assert (size.name, device) == ("10 AWG", 25.0)


def test_no_size_large_enough_is_told():
    with pytest.raises(TableError, match="the largest in the table is 500 kcmil"):
        conductor_and_device(US, Laid(75.0, terminals=75.0), 400.0)


# Parallel strings


@pytest.fixture(scope="session")
def string_test(relations):
    """The test of parallel strings by a rulebook's relations, the cable bearing more than the module."""

    def string_test(rulebook, strings, short_circuit, fuse_max):
        known = {"strings_in_parallel": float(strings), "module_isc": short_circuit, "module_fuse_max": fuse_max}
        values = relations("do-the-strings-need-fuses", rulebook, cable_ampacity=1000.0, **known)
        return values["backfeed_current"], not values["strings_spared"]

    return string_test


@given(st.integers(1, 12), st.floats(0.5, 20), st.floats(5, 40))
def test_whether_strings_need_fuses_by_each_rulebooks_own_rule(string_test, strings, short_circuit, fuse_max):
    (us, us_needs), (iec, iec_needs) = (string_test(book, strings, short_circuit, fuse_max) for book in ("us", "iec"))
    assert us == pytest.approx(1.25 * iec)
    assert iec == pytest.approx((strings - 1) * short_circuit)
    assert us_needs >= iec_needs
    assert not string_test("us", 1, short_circuit, fuse_max)[1]


def test_the_two_rulebooks_can_disagree_and_say_whose_rule_it_is(string_test):
    # 17.5 A and 14 A against 15 A
    assert [string_test(book, 3, 7.0, 15.0)[1] for book in ("us", "iec")] == [True, False]
    assert US.figures["string_fuse_test_factor"].row["standing"] == "common practice, no source"
    assert IEC.figures["string_fuse_test_factor"].row["edition"] == "IEC 62548:2016"


def test_three_strings_of_five_amperes_and_a_15_ampere_module(string_test):
    # public forum thread (the customary form of the test): 2 · 1.25 · 5 A = 12.5 A, no fuse needed
    assert string_test("us", 3, 5.0, 15.0) == (pytest.approx(12.5), False)
    assert string_test("us", 4, 5.0, 15.0)[1]


@given(st.sampled_from(["us", "iec"]), st.floats(1, 15), st.floats(10, 40))
def test_a_string_fuse_lies_in_its_range_and_within_the_modules_largest(engine, book, short_circuit, fuse_max):
    question = engine.question("string-fuse-rating", rulebook_id=book)
    known = {"module_isc": short_circuit, "module_fuse_max": fuse_max, "cable_ampacity": 1000.0}
    values = follow(question, known)
    low = {"us": 1.5625, "iec": 1.5}[book] * short_circuit
    high = min(fuse_max, {"us": math.inf, "iec": 2.4 * short_circuit}[book])
    assert values["string_fuse_least"] == pytest.approx(low)
    sizes = rulebook(book).tables["string_fuse_ratings"].sizes
    fitting = [size for size in sizes if low * (1 - 1e-9) <= size <= high * (1 + 1e-9)]
    allowed = [size for size in sizes if all(limit.holds(values | {"string_fuse": size}) for limit in question.limits)]
    assert allowed == fitting
    assert not fitting or values["string_fuse"] == fitting[0]


def test_whose_rule_sets_each_end_of_the_range():
    assert IEC.number("string_fuse_high") * 5.0 == 12.0
    assert "string_fuse_high" not in US.figures
    assert IEC.figures["string_fuse_low"].row["source"].startswith("IEC 62548:2016")


def test_a_range_without_a_standard_fuse_is_no_problem(engine):
    # 17.19 A to 18 A
    question = engine.question("string-fuse-rating")
    values = follow(question, {"module_isc": 11.0, "module_fuse_max": 18.0, "cable_ampacity": 40.0})
    assert values["string_fuse"] == 20.0
    assert [limit.holds(values) for limit in question.limits] == [False, True, True]


def test_currents_of_strings_together_and_behind_a_shared_device(relations):
    assert relations("pv-circuit-current", strings_in_parallel=2.0, module_isc=9.0)["pv_current"] == pytest.approx(22.5)
    shared = [
        relations("shared-fuse", device_rating=15.0, module_isc=9.0, shared_modules=count) for count in (1.0, 2.0)
    ]
    assert [values["shared_current"] for values in shared] == pytest.approx([15.0, 26.25])


# Faults


def test_breaking_capacity_against_the_fault(relations):
    # 51.2 V behind 8 mΩ in all (invented): 6.4 kA
    fault = fault_current(51.2, 0.008)
    assert fault == pytest.approx(6400.0)
    bank = {"batteries_in_parallel": 1.0, "battery_voltage_full": 51.2, "battery_resistance": 0.008}
    for capacity, breaks in ((6000.0, 0.0), (20000.0, 1.0), (fault, 1.0)):
        values = relations("breaking-capacity-of-a-battery-fuse", breaking_capacity=capacity, **bank)
        assert (values["fault_current"], values["fuse_breaks_fault"]) == (pytest.approx(fault), breaks)


def test_two_other_strings_may_not_melt_the_fuse():
    # 1.45·I_n (IEC 60269-6) and 1.35·I_n (UL 248-19), both from a fuse maker's paper
    assert [book.number("fusing_current_factor") * 20.0 for book in (IEC, US)] == pytest.approx([29.0, 27.0])

"""The desk: opened by its passphrase alone, slow on wrong tries, sessions that end, nothing of it to be read."""

import re
from contextlib import closing
from datetime import timedelta

import pytest

from tutor.classroom.desk import SESSION, Desk, DeskError
from tutor.store.database import Store

PASSPHRASE = "cold copper carries current"
SECOND = timedelta(seconds=1)


@pytest.fixture
def desk(store):
    return Desk(store)


@pytest.fixture
def shut(desk, noon):
    desk.set_passphrase(PASSPHRASE, noon)
    return desk


def test_the_first_passphrase_is_set_with_the_servers_code(desk, noon):
    code = desk.new_set_up_code(noon)
    assert not desk.has_passphrase()
    with pytest.raises(DeskError, match="no passphrase yet"):
        desk.enter(PASSPHRASE, noon)
    with pytest.raises(DeskError, match="not the set-up code"):
        desk.set_first(PASSPHRASE, "0" * 16, noon + 2 * SECOND)
    token = desk.set_first(PASSPHRASE, f" {code.upper()} ", noon + 10 * SECOND)
    assert desk.has_passphrase()
    assert desk.is_inside(token, noon + 10 * SECOND)
    with pytest.raises(DeskError, match="has a passphrase already"):
        desk.set_first("another long passphrase", code, noon + 90 * SECOND)


def test_a_set_up_code_lasts_a_day_and_only_until_it_was_used(desk, noon):
    code = desk.new_set_up_code(noon)
    with pytest.raises(DeskError, match="not the set-up code"):
        desk.set_first(PASSPHRASE, code, noon + timedelta(hours=24))
    desk.set_passphrase(PASSPHRASE, noon)
    assert not desk.is_inside(code, noon)


def test_the_codes_of_two_servers_are_both_good(desk, noon):
    first, _second = desk.new_set_up_code(noon), desk.new_set_up_code(noon)
    assert desk.set_first(PASSPHRASE, first, noon)


@pytest.mark.parametrize("poor", ["", "short", " " * 20, "x" * 1001])
def test_a_poor_passphrase_is_refused(desk, noon, poor):
    with pytest.raises(DeskError, match="at least 10 characters"):
        desk.set_passphrase(poor, noon)
    with pytest.raises(DeskError, match="at least 10 characters"):
        desk.set_first(poor, desk.new_set_up_code(noon), noon)


def test_the_passphrase_opens_and_leaving_shuts(shut, noon):
    token = shut.enter(PASSPHRASE, noon)
    assert shut.is_inside(token, noon)
    assert not shut.is_inside(token + "x", noon)
    assert not shut.is_inside("", noon)
    shut.leave(token)
    assert not shut.is_inside(token, noon)


def test_a_session_ends_after_twelve_hours(shut, noon):
    token = shut.enter(PASSPHRASE, noon)
    assert timedelta(hours=12) == SESSION
    assert shut.is_inside(token, noon + SESSION - SECOND)
    assert not shut.is_inside(token, noon + SESSION)


def test_a_new_passphrase_ends_all_sessions(shut, noon):
    token = shut.enter(PASSPHRASE, noon)
    shut.set_passphrase("another long passphrase", noon)
    assert not shut.is_inside(token, noon)
    with pytest.raises(DeskError):
        shut.enter(PASSPHRASE, noon)
    assert shut.enter("another long passphrase", noon + 2 * SECOND)


def test_the_wait_doubles_to_a_minute_and_the_right_passphrase_waits_too(shut, noon):
    now, waits = noon, []
    for _ in range(9):
        with pytest.raises(DeskError, match="This is not the passphrase") as caught:
            shut.enter("a wrong passphrase", now)
        seconds = int(re.search(r"Wait (\d+) s", str(caught.value))[1])
        with pytest.raises(DeskError, match="just now"):
            shut.enter(PASSPHRASE, now + seconds * SECOND - SECOND / 2)
        waits.append(seconds)
        now += seconds * SECOND
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60, 60]
    assert shut.enter(PASSPHRASE, now)
    with pytest.raises(DeskError, match="Wait 1 s"):
        shut.enter("a wrong passphrase", now)


def test_waiting_outlives_the_process(shut, store_address, noon):
    with pytest.raises(DeskError):
        shut.enter("a wrong passphrase", noon)
    with (
        closing(Store.open(store_address)) as again,
        pytest.raises(DeskError, match="just now"),
    ):
        Desk(again).enter(PASSPHRASE, noon)


def test_a_clock_that_is_set_back_keeps_nobody_waiting(shut, store, noon):
    wrong = "a wrong passphrase"
    for desk in (shut, Desk(store, "the instructor's browser")):
        with pytest.raises(DeskError, match="Wait 1 s"):
            desk.enter(wrong, noon + timedelta(days=400))
        assert desk.enter(PASSPHRASE, noon)
        with pytest.raises(DeskError, match="Wait 1 s"):
            desk.enter(wrong, noon)
        with pytest.raises(DeskError, match="just now"):
            desk.enter(PASSPHRASE, noon)
        assert desk.enter(PASSPHRASE, noon + 2 * SECOND)


def test_a_try_that_began_before_the_last_one_waits_too(shut, noon):
    for minute in range(8):
        with pytest.raises(DeskError, match="not the passphrase"):
            shut.enter("a wrong passphrase", noon + timedelta(minutes=minute))
    with pytest.raises(DeskError, match="just now"):
        shut.enter(PASSPHRASE, noon + timedelta(minutes=7) - SECOND)


def test_nothing_of_it_can_be_read_in_the_store(shut, noon, held):
    code = shut.new_set_up_code(noon)
    token = shut.enter(PASSPHRASE, noon)
    for secret in (PASSPHRASE, token, code):
        assert secret.encode() not in held()


def test_who_comes_by_an_identity_provider_has_a_session_too(desk, noon):
    token = desk.begin_for_owner(noon, noon + SESSION - SECOND)
    assert desk.is_inside(token, noon + SESSION - SECOND)
    assert not desk.is_inside(token, noon + SESSION)


def test_wrong_tries_of_others_do_not_keep_out_who_has_been_inside(shut, store, noon):
    mine, thief = Desk(store, "the instructor's browser"), Desk(store, "another browser")
    mine.enter(PASSPHRASE, noon)
    for minute in range(1, 20):
        with pytest.raises(DeskError):
            thief.enter("a wrong passphrase", noon + timedelta(minutes=minute))
    assert mine.enter(PASSPHRASE, noon + timedelta(minutes=19))
    with pytest.raises(DeskError, match="just now"):
        Desk(store, "a third browser").enter(PASSPHRASE, noon + timedelta(minutes=19))
    with pytest.raises(DeskError, match="Wait 1 s"):
        mine.enter("a wrong passphrase", noon + timedelta(minutes=19))
    with pytest.raises(DeskError, match="just now"):
        mine.enter(PASSPHRASE, noon + timedelta(minutes=19))

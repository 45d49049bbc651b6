"""The desk: opened by its passphrase alone, slow on wrong tries, sessions that end, nothing of it to be read."""

import hashlib
import re
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import timedelta
from statistics import median

import pytest
from sqlalchemy import func, select, update

from tutor.classroom import desk as desk_module
from tutor.classroom.desk import COST, ENTRY_CODE, SESSION, DeskError, InstructorAuth
from tutor.classroom.roster.tries import DESK
from tutor.store import tables
from tutor.store.database import Store
from tutor.store.tables import desk_session

PASSPHRASE = "cold copper carries current"
SECOND = timedelta(seconds=1)


@pytest.fixture
def quick(monkeypatch):
    """Hashes that cost nothing, for all tests that are not of their cost."""
    monkeypatch.setattr(
        desk_module, "_hashed", lambda text, salt, _cost: hashlib.sha256((salt + text).encode()).hexdigest()
    )


@pytest.fixture
def desk(quick, store):
    return InstructorAuth(store)


@pytest.fixture
def shut(desk, noon):
    desk.set_passphrase(PASSPHRASE, noon)
    return desk


@pytest.fixture
def costly(store, noon):
    """A desk that is shut by a hash at its full cost."""
    desk = InstructorAuth(store)
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
        InstructorAuth(again).enter(PASSPHRASE, noon)


def test_a_clock_that_is_set_back_keeps_nobody_waiting(shut, store, noon):
    wrong = "a wrong passphrase"
    for desk in (shut, InstructorAuth(store, "the instructor's browser")):
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
    code, one_time = shut.new_set_up_code(noon), shut.new_entry_code(noon)
    token = shut.enter(PASSPHRASE, noon)
    for secret in (PASSPHRASE, token, code, one_time):
        assert secret.encode() not in held()


def test_who_comes_by_an_identity_provider_has_a_session_too(desk, noon):
    token = desk.begin_for_owner(noon, noon + SESSION - SECOND)
    assert desk.is_inside(token, noon + SESSION - SECOND)
    assert not desk.is_inside(token, noon + SESSION)


def test_a_login_that_has_left_is_let_in_no_more_and_forgotten_in_the_end(desk, store, noon):
    assert not desk.has_left("ines 1", noon)
    for _ in ("in one tab", "and in another"):
        desk.end_login("ines 1", noon, noon + SECOND)
    assert desk.has_left("ines 1", noon + SESSION - SECOND)
    assert not desk.has_left("ines 2", noon)
    assert not desk.is_inside("ines 1", noon)
    desk.begin_for_owner(noon + SESSION, noon + SESSION)
    with store.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(desk_session)) == 1


def test_wrong_tries_of_others_do_not_keep_out_who_has_been_inside(shut, store, noon):
    mine, thief = InstructorAuth(store, "the instructor's browser"), InstructorAuth(store, "another browser")
    mine.enter(PASSPHRASE, noon)
    for minute in range(1, 20):
        with pytest.raises(DeskError):
            thief.enter("a wrong passphrase", noon + timedelta(minutes=minute))
    assert mine.enter(PASSPHRASE, noon + timedelta(minutes=19))
    with pytest.raises(DeskError, match="just now"):
        InstructorAuth(store, "a third browser").enter(PASSPHRASE, noon + timedelta(minutes=19))
    with pytest.raises(DeskError, match="Wait 1 s"):
        mine.enter("a wrong passphrase", noon + timedelta(minutes=19))
    with pytest.raises(DeskError, match="just now"):
        mine.enter(PASSPHRASE, noon + timedelta(minutes=19))


SCHOOL, HOME = "198.51.100.7", "192.0.2.4"  # addresses for documentation (RFC 5737)


@pytest.fixture
def guess(store, noon):
    """guess(address, browser, seconds after noon): what a wrong passphrase is told."""

    def guess(address, browser="", after=0):
        with pytest.raises(DeskError) as caught:
            InstructorAuth(store, browser, address).enter("a wrong passphrase", noon + after * SECOND)
        return str(caught.value)

    return guess


# A try each second, for so long; beyond the first six waits, which double, a minute lets one in.
FOR_MINUTES = pytest.mark.parametrize("minutes", [10, pytest.param(60, marks=pytest.mark.long)])


@FOR_MINUTES
def test_strangers_elsewhere_do_not_keep_the_instructor_out(shut, store, noon, guess, minutes):
    """Not of a browser that was inside, nor of a new one where somebody has been inside."""
    InstructorAuth(store, "the instructor's", SCHOOL).enter(PASSPHRASE, noon)
    looked_at = 0
    for second in range(1, 60 * minutes + 1):
        looked_at += "not the passphrase" in guess(f"203.0.113.{second % 200}", f"stranger {second}", second)
    assert looked_at <= DESK.free_of_all + 6 + minutes
    later = noon + 60 * minutes * SECOND
    assert InstructorAuth(store, "the instructor's", HOME).enter(PASSPHRASE, later)
    assert InstructorAuth(store, "another of the instructor's", SCHOOL).enter(PASSPHRASE, later)
    with pytest.raises(DeskError, match="just now"):
        InstructorAuth(store, "a stranger's", "203.0.113.250").enter(PASSPHRASE, later)


@FOR_MINUTES
def test_one_address_makes_few_tries_whatever_browsers_it_shows(shut, guess, minutes):
    looked_at = sum("not the passphrase" in guess(SCHOOL, f"browser {at}", at) for at in range(60 * minutes))
    assert minutes <= looked_at <= 6 + minutes


def test_a_browser_waits_at_whatever_address(shut, store, noon, guess):
    assert "Wait 1 s" in guess(SCHOOL, "a stranger's")
    assert "just now" in guess(HOME, "a stranger's")
    assert InstructorAuth(store, "another", HOME).enter(PASSPHRASE, noon)


def test_many_at_once_are_looked_at_once(shut, store, noon):
    def try_it(_):
        with pytest.raises(DeskError) as caught:
            InstructorAuth(store, "", SCHOOL).enter("a wrong passphrase", noon)
        return "not the passphrase" in str(caught.value)

    with ThreadPoolExecutor(8) as at_once:
        assert sum(at_once.map(try_it, range(40))) == 1


def test_a_button_pressed_twice_at_once_enters(shut, store, noon):
    """The framework begins the second run while the first one still works, and keeps the last one's."""
    same = InstructorAuth(store, "a browser", "203.0.113.5")
    with ThreadPoolExecutor(2) as pool:
        tokens = [one.result() for one in [pool.submit(same.enter, PASSPHRASE, noon) for _ in range(2)]]
    assert all(same.is_inside(token, noon) for token in tokens)


def test_a_one_time_code_opens_while_everybody_waits(shut, store, noon, guess):
    for at in range(200):
        guess(SCHOOL, "the instructor's", at)
    later, mine = noon + 200 * SECOND, InstructorAuth(store, "the instructor's", SCHOOL)
    code = InstructorAuth(store).new_entry_code(later)
    with pytest.raises(DeskError, match="just now"):
        mine.enter(PASSPHRASE, later)
    token = mine.enter(f" {code.upper()} ", later)
    assert mine.is_inside(token, later)
    assert mine.enter(PASSPHRASE, later)


def test_a_one_time_code_is_good_once_and_soon_and_only_the_last(shut, store, noon):
    earlier, code = shut.new_entry_code(noon), shut.new_entry_code(noon)
    thieves = [InstructorAuth(store, f"browser {at}", f"203.0.113.{at}") for at in range(3)]
    with pytest.raises(DeskError, match="not the passphrase"):
        thieves[0].enter(earlier, noon)
    with pytest.raises(DeskError, match="not the passphrase"):
        thieves[1].enter(code, noon + ENTRY_CODE)
    assert not shut.is_inside(code, noon)
    assert shut.enter(code, noon + ENTRY_CODE - SECOND)
    with pytest.raises(DeskError, match="not the passphrase"):
        thieves[2].enter(code, noon + ENTRY_CODE - SECOND)


def test_of_many_with_the_same_one_time_code_one_enters(shut, store, noon):
    code = shut.new_entry_code(noon)

    def try_it(at):
        try:
            return InstructorAuth(store, f"browser {at}", f"203.0.113.{at}").enter(code, noon)
        except DeskError:
            return None

    with ThreadPoolExecutor(8) as at_once:
        assert len([token for token in at_once.map(try_it, range(16)) if token]) == 1


def test_a_new_passphrase_ends_the_one_time_code_and_all_waiting(shut, store, noon, guess):
    code = shut.new_entry_code(noon)
    guess(SCHOOL)
    shut.set_passphrase("another long passphrase", noon)
    with pytest.raises(DeskError, match="not the passphrase"):
        InstructorAuth(store, "", SCHOOL).enter(code, noon)


def test_a_hash_of_earlier_cost_opens_and_is_made_anew(costly, store, noon):
    salt = "5a" * 16
    earlier = hashlib.scrypt(PASSPHRASE.encode(), salt=bytes.fromhex(salt), n=2**15, r=8, p=3, maxmem=2**26, dklen=32)
    values = {"salt": salt, "passphrase_hash": earlier.hex()}
    store.write(lambda connection: connection.execute(update(tables.desk).values(values)))

    def kept():
        with store.reading() as connection:
            return connection.execute(select(tables.desk.c.salt, tables.desk.c.passphrase_hash)).one()

    with pytest.raises(DeskError):
        costly.enter("a wrong passphrase", noon)
    assert tuple(kept()) == (salt, earlier.hex())
    assert costly.enter(PASSPHRASE, noon + 2 * SECOND)
    renewed = kept()
    assert renewed.salt != salt
    assert renewed.passphrase_hash.startswith("16-8-2:")
    assert costly.enter(PASSPHRASE, noon + 3 * SECOND)
    assert kept() == renewed


def seconds_of_a_hash(cost):
    began = time.thread_time()
    desk_module._hashed(PASSPHRASE, "00" * 16, cost)
    return time.thread_time() - began


def test_a_hash_costs_what_is_said():
    """64 MB, twice (RFC 7914, section 2: 128 * r * N bytes, p times): 32 times the time of 2^12 once, cache or not."""
    assert 128 * COST.r * 2**COST.log_n == 64 * 2**20
    small = COST._replace(log_n=12, p=1)
    ratio = median(seconds_of_a_hash(COST) / seconds_of_a_hash(small) for _ in range(3))
    assert 32 / 2 < ratio < 32 * 4
    program = """
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from tutor.classroom.desk import COST, _hashed

def most():
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024

before = most()
with ThreadPoolExecutor(4) as at_once:
    list(at_once.map(lambda _: _hashed("x" * 20, "00" * 16, COST), range(4)))
print(most() - before)
"""
    grown = float(subprocess.run([sys.executable, "-c", program], check=True, capture_output=True).stdout)
    assert 55 < grown < 64 + 20  # four at once take the memory of one


def test_who_waits_too_long_for_a_turn_is_told(costly, noon, monkeypatch):
    monkeypatch.setattr(desk_module, "_BUSY", 0.05)
    with desk_module._hashing, pytest.raises(DeskError, match="Many are trying to enter"):
        costly.enter(PASSPHRASE, noon)
    assert costly.enter(PASSPHRASE, noon + 2 * SECOND)

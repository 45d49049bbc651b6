"""Names of the class list: taken with the slip's code, guessed slowly, released at once; old sets go on."""

import random
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import timedelta

import pytest
from sqlalchemy import event, func, select, update

from tutor.classroom.errors import ClassError
from tutor.classroom.models import Member
from tutor.classroom.roster import claims, tries
from tutor.classroom.roster.claims import NO_MATCH, Claims
from tutor.classroom.roster.codes import ALPHABET
from tutor.classroom.roster.tries import LONGEST_WAIT, NAMES, Tries, network_of
from tutor.learner.record import new_token
from tutor.store.database import Store
from tutor.store.tables import practice_set
from tutor.store.tables import tries as table

SECOND = timedelta(seconds=1)
SCHOOL, THIEF = "198.51.100.7", "203.0.113.9"  # addresses for documentation (RFC 5737)


@pytest.fixture
def thirty(register):
    return register.enter([Member(id=0, name=f"Learner {at}", number=str(at)) for at in range(1, 31)]).new


@pytest.fixture
def of(make_set, thirty):
    return make_set(claim_with="personal code")


class Person:
    """Somebody at an address who tries names, each time as a browser without a cookie."""

    def __init__(self, store, of, address):
        self.claims, self.address = Claims(store, of), address
        self.looked_at, self.entered, self.told = 0, [], set()

    def tries(self, name, code, now):
        """Whether it was looked at: not while waiting."""
        try:
            self.entered.append(self.claims.claim(new_token(), name, code, address=self.address, moment=now))
        except ClassError as error:
            if "Too many tries" in str(error):
                return False
            self.told.add(str(error))
        self.looked_at += 1
        return True


def a_code(chance):
    return "".join(chance.choices(ALPHABET, k=8))


def test_who_has_the_sets_code_alone_takes_no_name(store, register, of, thirty, noon):
    thief, chance = Person(store, of, THIEF), random.Random(1)
    for tenth in range(450):
        one = thirty[tenth % 30]
        thief.tries(
            chance.choice([one.name, one.number]), chance.choice(["", a_code(chance)]), noon + tenth * SECOND / 10
        )
    assert thief.entered == []
    assert register.claimed() == {}
    assert thief.told == {NO_MATCH}
    assert NAMES.free_of_address <= thief.looked_at <= NAMES.free_of_address + 6


@pytest.mark.parametrize("minutes", [10, pytest.param(60, marks=pytest.mark.long)])
def test_an_address_makes_few_tries(store, of, thirty, noon, minutes):
    thief, chance = Person(store, of, THIEF), random.Random(2)
    for second in range(60 * minutes):
        thief.tries(thirty[second % 30].name, a_code(chance), noon + second * SECOND)
    # the free ones, the waits that grow to a minute, then one a minute
    assert thief.looked_at <= NAMES.free_of_address + 6 + minutes
    assert not thief.tries(thirty[0].name, "", noon + 60 * minutes * SECOND)


def test_a_class_behind_one_address_comes_in_within_a_minute_though_each_errs_twice(store, register, of, thirty, noon):
    school, codes = Person(store, of, SCHOOL), register.personal_codes()
    for at, one in enumerate(thirty):
        now = noon + 2 * at * SECOND
        assert school.tries(one.name, codes[one.id][:-1], now)
        assert school.tries("Lerner", codes[one.id], now + SECOND / 2)
        assert school.tries(one.number, codes[one.id].lower().replace("-", " "), now + SECOND)
    assert school.entered == thirty


def test_the_wait_grows_to_a_minute_and_is_forgotten_in_an_afternoon(store, of, register, thirty, noon):
    thief, now, waits = Person(store, of, THIEF), noon, []
    for _ in range(NAMES.free_of_address):
        assert thief.tries("Learner 1", "", now)
    for _ in range(9):
        assert thief.tries("Learner 1", "", now)
        waits.append(next(s for s in range(1, 62) if thief_may_try(store, now + s * SECOND)))
        now += waits[-1] * SECOND
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60, 60]
    later = now + timedelta(hours=3)
    for _ in range(NAMES.free_of_address):
        assert thief.tries("Learner 1", "", later)


def thief_may_try(store, now):
    with store.reading() as connection:
        return Tries(NAMES, THIEF).wait(connection, now) == 0


def test_many_addresses_together_are_slowed_but_not_where_learners_came_in(store, register, of, thirty, noon):
    school, codes, looked_at = Person(store, of, SCHOOL), register.personal_codes(), 0
    assert school.tries(thirty[0].name, codes[thirty[0].id], noon)
    for second in range(600):
        thief = Person(store, of, f"203.0.113.{second % 250}")
        looked_at += thief.tries(thirty[1].name, "", noon + second * SECOND)
    assert looked_at <= NAMES.free_of_all + 6 + 10
    for one in thirty[1:]:
        assert school.tries(one.name, codes[one.id], noon + 600 * SECOND)
    assert school.entered == thirty


def test_waiting_outlives_the_process_and_two_servers_count_together(store, store_address, of, noon):
    with closing(Store.open(store_address)) as second:
        thieves = [Person(store, of, THIEF), Person(second, of, THIEF)]
        for at in range(200):
            thieves[at % 2].tries("Learner 1", "", noon)
        assert sum(one.looked_at for one in thieves) == NAMES.free_of_address + 1
    with closing(Store.open(store_address)) as again:
        assert not Person(again, of, THIEF).tries("Learner 1", "", noon)


def test_many_at_once_gain_nothing(store, of, noon):
    thief = Person(store, of, THIEF)
    with ThreadPoolExecutor(8) as at_once:
        looked_at = list(at_once.map(lambda _: thief.tries("Learner 1", "", noon), range(100)))
    assert sum(looked_at) == NAMES.free_of_address + 1


def test_no_reply_tells_which_names_there_are(store, register, of, thirty, noon, monkeypatch):
    """The words, the statements that the store runs, and the codes that are compared are the same."""
    codes, compared, statements = register.personal_codes(), [], []
    Claims(store, of).claim(new_token(), "Learner 1", codes[thirty[0].id], moment=noon)
    is_personal_code = claims.is_personal_code
    monkeypatch.setattr(claims, "is_personal_code", lambda *of: compared.append(1) or is_personal_code(*of))
    Person(store, of, THIEF).tries("Learner 3", "", noon)  # the rows of the counts are there from here on
    event.listen(store._engine, "before_cursor_execute", lambda _c, _u, statement, *_: statements.append(statement))
    replies = []
    for name, code in (
        ("Nobody", ""),
        ("Nobody", codes[thirty[0].id]),
        ("Learner 1", ""),
        ("Learner 1", codes[thirty[1].id]),
        ("Learner 2", ""),
        ("2", "AAAA-AAAA"),
    ):
        compared.clear()
        statements.clear()
        with pytest.raises(ClassError) as caught:
            Claims(store, of).claim(new_token(), name, code, address=THIEF, moment=noon)
        replies.append((str(caught.value), len(compared), *statements))
    assert len(set(replies)) == 1
    assert replies[0][1] == 1


def test_who_is_somebody_here_learns_nothing_of_other_names(store, register, of, thirty, noon):
    token, codes = new_token(), register.personal_codes()
    Claims(store, of).claim(token, "1", codes[thirty[0].id], moment=noon)
    for other in ("Learner 2", "Nobody"):
        with pytest.raises(ClassError, match="On this device you are Learner 1"):
            Claims(store, of).claim(token, other, moment=noon)


def test_two_of_one_name_are_told_apart_by_their_codes(store, register, make_set):
    first, second = register.enter([Member(id=0, name="Eva", number="1"), Member(id=0, name="Eva", number="2")]).new
    ours, codes = Claims(store, make_set(claim_with="personal code")), register.personal_codes()
    assert ours.claim(new_token(), "Eva", codes[second.id]) == second
    assert ours.claim(new_token(), "eva", codes[first.id]) == first


def test_a_set_from_before_the_choice_goes_on_with_the_name_alone(store, register, make_set, thirty):
    of = make_set()
    earlier = of.declaration.model_dump(mode="json", exclude={"claim_with"})
    store.write(lambda connection: connection.execute(update(practice_set).values(declaration=earlier)))
    of = register.get(of.id)
    assert of.declaration.claim_with == "name alone"
    assert Claims(store, of).claim(new_token(), "Learner 1") == thirty[0]
    assert register.open_set(of.declaration.model_copy(update={"claim_with": "personal code"})) == of


def test_the_strictest_set_of_a_class_that_is_not_closed_decides(store, register, make_set, thirty, noon):
    loose, strict = make_set(), make_set(id="second", claim_with="personal code")
    with pytest.raises(ClassError, match="do not match"):
        Claims(store, loose).claim(new_token(), "Learner 1")
    register.close(strict.id)
    assert Claims(store, loose).claim(new_token(), "Learner 1") == thirty[0]
    with pytest.raises(ClassError, match="do not match"):
        Claims(store, strict).claim(new_token(), "Learner 2")
    register.change_claiming(strict.id, "name alone")
    assert Claims(store, register.get(strict.id)).claim(new_token(), "Learner 2") == thirty[1]


def test_all_names_are_released_at_once(store, register, of, thirty):
    register.enter([Member(id=0, name="Dana")], "evening")
    (dana,) = register.members("evening")
    evening = register.open_set(of.declaration, "evening")
    theirs, before = register.personal_codes("evening"), register.personal_codes()
    tokens = [new_token() for _ in thirty[:12]]
    Claims(store, evening).claim(tokens[0], "Dana", theirs[dana.id])
    for token, one in zip(tokens, thirty, strict=False):
        Claims(store, of).claim(token, one.name, before[one.id])
    assert register.release_all() == 12
    assert register.claimed() == {}
    assert [Claims(store, of).member(token) for token in tokens] == [None] * 12
    after = register.personal_codes()
    assert not set(after.values()) & set(before.values())
    assert Claims(store, of).claim(tokens[0], "Learner 1", after[thirty[0].id]) == thirty[0]
    assert Claims(store, evening).member(tokens[0]) == dana
    assert register.personal_codes("evening") == theirs


def test_what_is_kept_of_tries_is_bounded_and_names_no_address(store, of, noon, held, monkeypatch):
    monkeypatch.setattr(tries, "MOST_ROWS", 40)
    for at in range(200):
        Person(store, of, f"203.0.113.{at}").tries("Learner 1", "", noon + at * LONGEST_WAIT)
    with store.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(table)) <= 41
    assert b"203.0.113" not in held()
    Person(store, of, SCHOOL).tries("Learner 1", "", noon + timedelta(days=3))
    with store.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(table)) == 2


@pytest.mark.parametrize(
    ("one", "other"), [("2001:db8::1", "2001:db8::ffff:2"), ("::ffff:203.0.113.9", "203.0.113.9"), ("nonsense",) * 2]
)
def test_addresses_that_are_one_network(one, other):
    assert network_of(one) == network_of(other)


def test_addresses_that_are_two_networks():
    assert len({network_of(one) for one in ("203.0.113.9", "203.0.113.10", "2001:db8::1", "2001:db8:0:1::1")}) == 4

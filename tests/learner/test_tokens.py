"""Learners' tokens: only signed ones count, and one whose place another has taken opens nothing."""

import hashlib
import hmac
from base64 import urlsafe_b64decode
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import func, select

from tutor.learner.record import Attempt, Record, new_token
from tutor.learner.tokens import SOON, Tokens, renew, renewal_handle
from tutor.store.database import Store
from tutor.store.tables import learner, renewal, token_secret

LATER = SOON + timedelta(seconds=1)


@pytest.fixture
def store(store_address):
    with closing(Store.open(store_address)) as store:
        yield store


@pytest.fixture
def tokens(store):
    return Tokens(store)


def attempt(entry: str) -> Attempt:
    values = {"exercise": "modules-in-series", "version": "1", "number": 7, "ask": "modules_in_series"}
    return Attempt(**values, rulebook="us", entry=entry, verdict="right")


def entries(store, token: str) -> list[str | None]:
    return [one.entry for one in Record(store, token).attempts()]


def rows(store) -> tuple[int, int]:
    with store.reading() as connection:
        return tuple(connection.scalar(select(func.count()).select_from(table)) for table in (learner, renewal))


def renewed(store, tokens, earlier: str) -> str:
    another = tokens.issue()
    store.write(lambda connection: renew(connection, earlier, another))
    return another


def test_a_token_is_its_name_and_the_stores_signature(store, tokens):
    """RFC 2104 by the standard library's other function for it; the secret is as long as the hash (section 3)."""
    with store.reading() as connection:
        secret = bytes.fromhex(connection.scalar(select(token_secret.c.value)))
    name, signature = tokens.issue().split(".")
    told = urlsafe_b64decode(signature + "=")
    assert told == hmac.new(secret, name.encode(), hashlib.sha256).digest()
    assert len(secret) == 32
    assert len(urlsafe_b64decode(name + "==")) == 16


def test_two_servers_on_one_store_know_each_others_tokens(store_address, tokens):
    with closing(Store.open(store_address)) as other:
        assert Tokens(other).is_issued(tokens.issue())
        assert tokens.is_issued(Tokens(other).issue())


def test_only_what_the_store_issued_counts(tmp_path, tokens):
    own = tokens.issue()
    name, signature = own.split(".")
    with closing(Store.open(str(tmp_path / "another.sqlite3"))) as another:
        foreign = Tokens(another).issue()
    planted = [
        new_token(),
        "",
        ".",
        name,
        f"{name}.",
        f"{name}.{signature[:-1]}",
        f"x{own}",
        f"{own}=",
        f".{signature}",
    ]
    planted += [
        foreign,
        f"{name}.{foreign.split('.')[1]}",
        f"{foreign.split('.')[0]}.{signature}",
        "é" * 43,
        "\udcff" * 43,
    ]
    assert tokens.is_issued(own)
    assert [one for one in planted if tokens.is_issued(one)] == []
    for one in planted:
        given = tokens.for_page(one)
        assert given != one
        assert tokens.is_issued(given)


def test_who_only_looks_in_leaves_nothing(store, tokens):
    tokens.for_page("")
    tokens.for_page(new_token())
    assert tokens.for_page(tokens.issue()) is None
    assert rows(store) == (0, 0)


def test_the_work_goes_along_and_the_earlier_token_opens_nothing(store, tokens):
    first = tokens.issue()
    Record(store, first).add(attempt("9"))
    second = renewed(store, tokens, first)
    third = renewed(store, tokens, second)
    assert [entries(store, token) for token in (first, second, third)] == [[], [], ["9"]]
    assert [tokens.is_superseded(token) for token in (second, third)] == [True, False]
    assert rows(store) == (1, 1)  # one row a learner, however often


def test_a_browser_left_with_an_earlier_token_gets_a_fresh_one_after_a_while(store, tokens):
    Record(store, earlier := tokens.issue()).add(attempt("9"))
    now_held = renewed(store, tokens, earlier)
    now = datetime.now(UTC)
    assert tokens.for_page(earlier, now) is None  # else it could come after the renewed one, and take its place
    fresh = tokens.for_page(earlier, now + LATER)
    assert fresh not in (None, earlier, now_held)
    assert entries(store, fresh) == []
    assert tokens.for_page(now_held, now + LATER) is None


def test_a_new_token_is_fetched_once_soon_and_by_the_browser_that_held_the_earlier_one(store, tokens):
    Record(store, earlier := tokens.issue()).add(attempt("9"))
    renewed_now = renewed(store, tokens, earlier)
    handle, now = renewal_handle(renewed_now), datetime.now(UTC)
    assert handle not in (renewed_now, "")
    assert not tokens.is_issued(handle)
    for stranger in ("", tokens.issue(), renewed_now, new_token()):
        assert tokens.fetch(handle, stranger, now) is None
    assert tokens.fetch(renewal_handle(tokens.issue()), earlier, now) is None
    assert tokens.fetch("", earlier, now) is None
    assert tokens.fetch(handle, earlier, now + LATER) is None
    assert tokens.fetch(handle, earlier, now) == renewed_now
    assert tokens.fetch(handle, earlier, now) is None


def test_an_unsigned_token_is_exchanged_with_its_work(store, tokens):
    """As a browser holds it from before tokens were signed; several pages that it opens at once get the same."""
    Record(store, unsigned := new_token()).add(attempt("9"))
    signed, now = tokens.for_page(unsigned), datetime.now(UTC)
    assert tokens.is_issued(signed)
    assert (entries(store, signed), entries(store, unsigned)) == (["9"], [])
    assert tokens.for_page(unsigned, now) == signed
    afterwards = tokens.for_page(unsigned, now + LATER)
    assert entries(store, afterwards) == []
    assert entries(store, signed) == ["9"]


def test_an_erased_learner_leaves_no_renewal(store, tokens):
    Record(store, earlier := tokens.issue()).add(attempt("9"))
    Record(store, renewed(store, tokens, earlier)).erase()
    assert rows(store) == (0, 0)

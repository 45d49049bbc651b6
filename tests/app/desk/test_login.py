from datetime import UTC, datetime, timedelta

import pytest

from tutor.app.desk import login
from tutor.classroom.desk import SESSION

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
ALLOWED = {"ines@school.example"}
# The claims of an ID token: OpenID Connect Core 1.0, sections 2 (iat) and 5.1 (email, email_verified).
USER = {"email": "Ines@School.example", "email_verified": True, "iat": int((NOW - timedelta(hours=1)).timestamp())}


def test_who_is_listed_may_enter():
    assert login.why_not(USER, ALLOWED, NOW) == ""


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"email": "dan@school.example"}, "dan@school.example is not among those who may enter"),
        ({"email": ""}, "gave no e-mail address"),
        ({"email_verified": False}, "has not confirmed your e-mail"),
        ({"email_verified": "false"}, "has not confirmed your e-mail"),
        ({"email_verified": 0}, "has not confirmed your e-mail"),
        ({"email_verified": None}, "has not confirmed your e-mail"),
        ({"email": "ine\u017f@school.example"}, "is not among those who may enter"),
        ({"email": "ines@\u017fchool.example"}, "is not among those who may enter"),
        ({"iat": None}, "does not tell when it was made"),
        ({"iat": int((NOW - SESSION).timestamp())}, "older than a session"),
        ({"iat": int((NOW + timedelta(hours=1)).timestamp())}, "older than a session"),
    ],
)
def test_anybody_else_stays_outside_with_a_reason(changed, told):
    assert told in login.why_not(USER | changed, ALLOWED, NOW)


def test_addresses_that_only_fold_alike_are_different(monkeypatch):
    monkeypatch.setattr(login, "_secrets", lambda: {"desk": {"emails": [" Ines@Strasse.example "]}})
    assert login.why_not(USER | {"email": "ines@STRASSE.example"}, login.allowed_emails(), NOW) == ""
    for other in ("ines@straße.example", "ineſ@strasse.example"):
        assert "is not among" in login.why_not(USER | {"email": other}, login.allowed_emails(), NOW)


def test_a_login_is_as_old_as_the_provider_says():
    assert login.since(USER) == NOW - timedelta(hours=1)


def test_with_nobody_listed_nobody_enters():
    assert login.why_not(USER, login.allowed_emails(), NOW) != ""


def test_without_secrets_nothing_is_configured():
    assert not login.is_configured()

"""Entering by the school's own login (OpenID Connect), where the server's secrets configure one.

Streamlit does the login; its cookie lasts for weeks, so here it counts only for as long after the login as a session of
the desk lasts. Who may enter stands in the secrets as `[desk] emails = [...]`; with none listed nobody may.
"""

from collections.abc import Collection, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import streamlit as st

from tutor.classroom.desk import SESSION

_CLOCKS_APART = timedelta(minutes=2)


def is_configured() -> bool:
    """Whether the server's secrets name an identity provider."""
    return "auth" in _secrets()


def allowed_emails() -> frozenset[str]:
    """The e-mail addresses that may enter the desk."""
    listed = _secrets().get("desk", {}).get("emails", [])
    return frozenset(map(_address, listed))


def why_not(user: Mapping[str, Any], allowed: Collection[str], moment: datetime) -> str:
    """Why a person of whom the provider says `user` stays outside; '' if they may enter."""
    email = _address(user.get("email", ""))
    if not email:
        return "The login gave no e-mail address, so it cannot be told whether you may enter. Ask who runs the server."
    if str(user.get("email_verified", True)).casefold() != "true":
        return "The login has not confirmed your e-mail address. Confirm it there, then enter again."
    if email not in allowed:
        return f"{email} is not among those who may enter the desk. Ask who runs the server to add it."
    if not isinstance(user.get("iat"), int | float):
        return "The login does not tell when it was made, so it cannot be used here. Ask who runs the server."
    if not moment - SESSION < since(user) <= moment + _CLOCKS_APART:
        return "Your login is older than a session of the desk lasts. Log in again."
    return ""


def since(user: Mapping[str, Any]) -> datetime:
    """When the login of a person was made."""
    return datetime.fromtimestamp(user["iat"], UTC)


def key(user: Mapping[str, Any]) -> str:
    """One login of one person, among all."""
    return f"{_address(user['email'])} {user['iat']}"


def _address(text: object) -> str:
    """An e-mail address as it is compared: only plain letters are the same in both cases, for 'ß' is not 'ss'."""
    address = str(text).strip()
    return address.lower() if address.isascii() else address


def _secrets() -> Mapping[str, Any]:
    return st.secrets if st.secrets.load_if_toml_exists() else {}

"""The address at which learners' own devices open the tutor: what may be printed and handed out."""

import unicodedata
from collections.abc import Iterable
from ipaddress import ip_address
from urllib.parse import SplitResult, urlsplit

from tutor.classroom.errors import ClassError

_EXAMPLE = "Give the one that learners' devices open, such as http://192.0.2.20:8765."


def is_of_this_computer_alone(address: str) -> bool:
    """Whether an address names the computer on which it is opened, so that it leads nowhere from another one."""
    host = (_split(address).hostname or "").rstrip(".")
    if host == "localhost" or host.endswith(".localhost"):  # RFC 6761, 6.3
        return True
    try:
        number = ip_address(host)
    except ValueError:
        return False
    number = getattr(number, "ipv4_mapped", None) or number
    return number.is_loopback or number.is_unspecified


def origin_named(text: str) -> str:
    """The origin of links for learners, from an address that the instructor gives, with or without 'http://'.

    What cannot be seen, as a copied address may hold it, is left out. Raises ClassError for what is no web address, or
    one of this computer alone.
    """
    visible = "".join(character for character in text if unicodedata.category(character) not in ("Cc", "Cf", "Zs"))
    address = (visible if "://" in visible else f"http://{visible}").rstrip("/")
    parts = _split(address)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.username or parts.query or parts.fragment:
        raise ClassError(f"'{text.strip()[:60]}' is not a web address. {_EXAMPLE}")
    if is_of_this_computer_alone(address):
        raise ClassError(f"On a learner's device, '{parts.hostname}' is that device itself. {_EXAMPLE}")
    return address


def origin_served(host: str, port: int, host_names: Iterable[str] = ()) -> str:
    """The origin of links for learners as the server was started: '' if it can be reached from this computer alone.

    It is the address at which the server listens, else the name of a front proxy. Such a name comes without its
    protocol; 'http' is right for a proxy without a certificate, and one with a certificate sends browsers on.
    """
    possible = (f"http://{host}:{port}", *(f"http://{name}" for name in host_names))
    return next((origin for origin in possible if not is_of_this_computer_alone(origin)), "")


def _split(address: str) -> SplitResult:
    """The parts of an address; all empty for what is none."""
    try:
        parts = urlsplit(address)
        _ = parts.port
    except ValueError:
        return urlsplit("")
    return parts

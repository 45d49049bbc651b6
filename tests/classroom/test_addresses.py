"""Which addresses lead from a learner's own device to the tutor. Names and numbers are those for documentation."""

import pytest

from tutor.classroom.addresses import is_of_this_computer_alone, origin_named, origin_served
from tutor.classroom.errors import ClassError


@pytest.mark.parametrize(
    ("address", "alone"),
    [
        ("http://127.0.0.1:8765/class-work?set=37B-YDY", True),
        ("http://127.1.2.3", True),  # all of 127.0.0.0/8: RFC 1122, 3.2.1.3
        ("http://localhost:8765/class-work?set=37B-YDY", True),
        ("http://LOCALHOST.:8765", True),
        ("http://tutor.localhost", True),  # RFC 6761, 6.3
        ("http://[::1]:8765", True),  # RFC 4291, 2.5.3
        ("http://[::ffff:127.0.0.1]", True),
        ("http://0.0.0.0:8765", True),
        ("https://class.example/class-work?set=37B-YDY", False),
        ("http://192.0.2.20:8765", False),
        ("http://localhost.example", False),
        ("/class-work?set=37B-YDY", False),
    ],
)
def test_an_address_that_leads_to_no_other_device_is_known(address, alone):
    assert is_of_this_computer_alone(address) is alone


@pytest.mark.parametrize(
    ("text", "origin"),
    [
        ("http://192.0.2.20:8765", "http://192.0.2.20:8765"),
        ("https://school.example/", "https://school.example"),
        (" school.example:8501 ", "http://school.example:8501"),
        ("https://school.example/tutor/", "https://school.example/tutor"),
        ("http\u2060://school\u200b.example\u00a0\ufeff", "http://school.example"),
    ],
)
def test_the_instructors_address_is_taken_without_what_cannot_be_seen(text, origin):
    assert origin_named(text) == origin


@pytest.mark.parametrize(
    "text", ["", "ftp://school.example", "http://", "http://a.example:x", "http://[", "a.example?b"]
)
def test_what_is_no_web_address_is_refused(text):
    with pytest.raises(ClassError, match="is not a web address"):
        origin_named(text)


@pytest.mark.parametrize("text", ["http://localhost:8765", "127.0.0.1", "http://[::1]"])
def test_an_address_of_this_computer_alone_is_refused(text):
    with pytest.raises(ClassError, match="is that device itself"):
        origin_named(text)


@pytest.mark.parametrize(
    ("host", "names", "origin"),
    [
        ("127.0.0.1", [], ""),
        ("192.0.2.20", [], "http://192.0.2.20:8765"),
        ("192.0.2.20", ["class.example"], "http://192.0.2.20:8765"),
        ("127.0.0.1", ["class.example"], "http://class.example"),
        ("127.0.0.1", ["localhost", "class.example"], "http://class.example"),
    ],
)
def test_the_address_follows_from_where_the_server_listens(host, names, origin):
    assert origin_served(host, 8765, names) == origin

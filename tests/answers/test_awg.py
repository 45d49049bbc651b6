"""Wire sizes in American Wire Gauge, good and bad."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tutor.entries.entry import EntryError
from tutor.entries.kinds import read_awg


# ASTM B258: the sizes above 1 AWG are 1/0 (0), 2/0 (00), 3/0 (000) and 4/0 (0000).
@pytest.mark.parametrize(
    ("text", "size"),
    [
        *[(text, -1) for text in ("2/0", "AWG 2/0", "2/0 AWG", "#2/0", "awg2/0", "00", "２／０", " 2/0 ga ")],
        *[(text, 10) for text in ("10", "10 AWG", "#10", "AWG 10", "10awg", "10 gauge", "No. 10")],
        *[(text, 0) for text in ("0", "1/0")],
        *[(text, -2) for text in ("000", "3/0")],
        *[(text, -3) for text in ("0000", "4/0")],
        ("1", 1),
        ("40", 40),
    ],
)
def test_a_wire_size_is_read(text, size):
    assert read_awg(text) == size


@pytest.mark.parametrize(
    "text", ["", "5/0", "0/0", "00000", "41", "-2", "010", "10 mm2", "250 kcmil", "10.5", "2/0/0", "#"]
)
def test_what_is_no_wire_size_is_refused(text):
    with pytest.raises(EntryError) as caught:
        read_awg(text)
    assert caught.value.verdict == "refused"


@settings(max_examples=400, deadline=None)
@given(st.one_of(st.text(max_size=130), st.lists(st.sampled_from([*"0123456789/# ", "AWG"]), max_size=8).map("".join)))
def test_any_text_is_a_wire_size_or_refused(text):
    try:
        size = read_awg(text)
    except EntryError:
        return
    assert -3 <= size <= 40

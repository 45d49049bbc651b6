"""Reads wire sizes in American Wire Gauge as people type them."""

import re

from tutor.answers.entry import EntryError, plain_text, quoted

_AWG = re.compile(
    r"(?:#|no[. ] ?|awg ?#?|size )? ?(?:(?P<aught>[1-4])[/-][0o]|(?P<zeros>0{1,4})|(?P<gauge>[1-9]|[1-3]\d|40))"
    r"(?:[ -]?(?:awg|gauge|gage|ga))?(?: (?:cu|copper|thhn|thwn|thwn-2|xhhw|xhhw-2|use-2))?",
    re.IGNORECASE,
)


def read_awg(text: str) -> int:
    """Read a wire size in American Wire Gauge: 10 for "10 AWG" or "#10", and 0, -1, -2, -3 for 1/0, 2/0, 3/0, 4/0.

    Raises EntryError if the text is no such size.  The sizes 4/0 to 40 are read, of the series in ASTM B258.
    """
    plain = plain_text(text)
    size = _AWG.fullmatch(plain)
    if size is None:
        raise EntryError(f"{quoted(plain)} is not an AWG size: type one such as 10 AWG or 2/0 AWG.")
    return 1 - int(size["aught"] or len(size["zeros"] or "")) if size["gauge"] is None else int(size["gauge"])

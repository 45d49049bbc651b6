"""Values as people type them: none is misread, nearly all are read, and what is not read says what to type."""

from pathlib import Path

import pytest
import yaml

from tutor.entries.entry import EntryError, read_entry
from tutor.entries.kinds import read_size
from tutor.trade.rulebooks import rulebook

FILE = Path(__file__).parents[1] / "corpora" / "entries" / "as_typed.yaml"
GROUPS = yaml.safe_load(FILE.read_text(encoding="utf-8"))
MEANT = [(group["unit"], text, meant) for group in GROUPS for meant, texts in group["means"].items() for text in texts]
NOT_READ = [
    (group["unit"], text, verdict)
    for group in GROUPS
    for verdict, key in (("unclear", "asked"), ("refused", "refused"))
    for text in group.get(key, [])
]


def read(unit, text):
    """Read an entry as the answer to a question that asks for a unit; an AWG size gives its trade name."""
    match unit:
        case "mm2":
            return read_size(text, rulebook("iec")).value
        case "awg":
            book = rulebook("us")
            return book.size_of(read_size(text, book).value * 1e-6).name
        case "count":
            return read_entry(text, "", "count").value
        case "yes":
            return read_entry(text, "", "yes-or-no").value
    return read_entry(text, unit).value


def test_there_are_enough():
    assert len(MEANT) >= 180
    assert len(NOT_READ) >= 80
    assert len({text for _, text, _ in MEANT}) >= 170


@pytest.mark.parametrize(("unit", "text", "meant"), MEANT)
def test_what_people_type_is_read_as_meant(unit, text, meant):
    value = read(unit, text)
    assert value == (meant if isinstance(meant, str) else pytest.approx(meant, rel=1e-5))


@pytest.mark.parametrize(("unit", "text", "verdict"), NOT_READ)
def test_what_is_not_read_costs_no_attempt_and_says_what_to_type(unit, text, verdict):
    with pytest.raises(EntryError) as caught:
        read(unit, text)
    assert caught.value.verdict == verdict, str(caught.value)
    assert "type" in str(caught.value).lower()
    assert str(caught.value).endswith(".")

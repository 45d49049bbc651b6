"""Hostile and broken files: a sentence with file, line and mend, within a second, and nothing evaluated."""

import time

import pytest

from tutor.content.errors import ContentError
from tutor.content.files import MAX_BYTES, read_yaml

BILLION = "a: &a [x, x]\n" + "".join(
    f"{new}: &{new} [*{old}, *{old}]\n" for old, new in zip("abcdefgh", "bcdefghi", strict=True)
)

# bytes of a file, the line that is told, a fragment of the fault
BROKEN = {
    "huge": (b"a: " + b"x" * MAX_BYTES, 0, "larger than 256 KiB"),
    "huge beyond memory's patience": (b"- x\n" * 2_000_000, 0, "larger than 256 KiB"),
    "many values": (b"a:\n" + b"- x\n" * 60_001, 59_998, "too many values"),
    "deep brackets": (b"a: b\nc: " + b"[" * 100_000, 2, "nest"),
    "deep braces": (b"{a: " * 60_000, 1, "nested more than 12 deep"),
    "deep indents": ("\n".join(" " * deep + "a:" for deep in range(40)).encode(), 13, "nested more than 12 deep"),
    "alias bomb": (BILLION.encode(), 1, "anchors and aliases"),
    "self-reference": (b"a: 1\nb: &b [*b]\n", 2, "anchors and aliases"),
    "anchor alone": (b"a: 1\nb: &b 2\n", 2, "anchors and aliases"),
    "alias alone": (b"a: 1\nb: *a\n", 2, "anchors and aliases"),
    "merge": (b"a: {b: 1}\nc:\n  <<: *a\n", 3, "anchors and aliases"),
    "python object": (b"a: 1\nb: !!python/object/apply:os.system ['false']\n", 2, "python/object/apply:os.system"),
    "python name": (b"a: !!python/name:os.system\n", 1, "python/name:os.system is not read"),
    "binary tag": (b"a: !!binary aGVsbG8=\n", 1, "binary is not read"),
    "set tag": (b"a: 1\nb: 2\nc: !!set {x}\n", 3, "set is not read"),
    "own tag": (b"a: !x y\n", 1, "the tag !x is not read"),
    "int tag": (b"a: !!int '3'\n", 1, "int is not read"),
    "duplicate key": (b"a: 1\nb: 2\na: 3\n", 3, "'a' is written twice"),
    "duplicate key inside": (b"a:\n  b: 1\n  b: 2\n", 3, "'b' is written twice"),
    "duplicate key in other quotes": (b"a: 1\n'a': 2\n", 2, "'a' is written twice"),
    "mapping as key": (b"a: 1\n? {b: c}\n: d\n", 2, "a key has to be a word"),
    "list as key": (b"a: 1\n? [b]\n: d\n", 2, "a key has to be a word"),
    "second document": (b"a: 1\n---\nb: 2\n", 2, "second document"),
    "bytes": (bytes(range(256)), 2, "not UTF-8"),
    "latin-1": ("a: 1\nb: 25 °C\n".encode("latin-1"), 2, "not UTF-8"),
    "utf-16": ("a: 1\n".encode("utf-16"), 1, "not UTF-8"),
    "utf-16 without mark": ("a: 1\n".encode("utf-16-le"), 1, "cannot be printed (U+0000)"),
    "utf-32": ("a: 1\n".encode("utf-32"), 1, "not UTF-8"),
    "null byte": (b"a: 1\nb: x\0y\n", 2, "cannot be printed (U+0000)"),
    "control character": (b"a: 1\nb: x\x1by\n", 2, "cannot be printed (U+001B)"),
    "surrogate": (b"a: 1\nb: \xed\xa0\x80\n", 2, "not UTF-8"),
    "tab indent": (b"a:\n\tb: 1\n", 2, "cannot be read"),
    "open quote": (b'a: 1\nb: "x\nc: 3\n', 4, "cannot be read"),
    "open bracket": (b"a: [1, 2\n", 2, "cannot be read"),
    "bad indent": (b"a: 1\n  b: 2\n", 2, "cannot be read"),
    "colon in text": (b"a: 1\nb: c: d\n", 2, "cannot be read"),
    "directive": (b"%YAML 9.9\n---\na: 1\n", 1, "cannot be read"),
}


def read(tmp_path, raw):
    path = tmp_path / "file.yaml"
    path.write_bytes(raw)
    return read_yaml(path)


@pytest.mark.parametrize(("raw", "line", "fragment"), BROKEN.values(), ids=BROKEN)
def test_a_broken_file_is_told_with_its_line(tmp_path, raw, line, fragment):
    began = time.perf_counter()
    with pytest.raises(ContentError) as caught:
        read(tmp_path, raw)
    assert time.perf_counter() - began < 1
    assert fragment in caught.value.fault
    assert caught.value.line == line
    assert caught.value.mend.endswith(".")
    assert str(caught.value).startswith(str(tmp_path / "file.yaml"))
    assert "\n" not in str(caught.value)


def test_nothing_in_a_file_is_run(tmp_path):
    proof = tmp_path / "proof"
    for text in (
        f"a: !!python/object/apply:pathlib.Path.touch [!!python/object/apply:pathlib.Path ['{proof}']]",
        f"a: !!python/object/new:subprocess.Popen [[touch, {proof}]]",
    ):
        with pytest.raises(ContentError):
            read(tmp_path, text.encode())
    assert not proof.exists()


@pytest.mark.parametrize("name", ["missing.yaml", "folder", "loop", "missing/inside.yaml"])
def test_a_file_that_cannot_be_opened_is_told(tmp_path, name):
    (tmp_path / "folder").mkdir()
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    with pytest.raises(ContentError, match="cannot be read") as caught:
        read_yaml(tmp_path / name)
    assert caught.value.line == 0


# YAML 1.1 readers turn some of these into dates and numbers of other bases; here only plain ones are more than text.
MEANINGS = [
    ("12", 12),
    ("-3.5", -3.5),
    ("true", True),
    ("~", None),
    ("'12'", "12"),
    ("2024-01-31", "2024-01-31"),
    ("1:30", "1:30"),
    ("0o17", "0o17"),
    ("0x1F", "0x1F"),
    ("0b11", "0b11"),
    ("=", "="),
    ("<<", "<<"),
    ("1_000", 1000),
    ("25 degC", "25 degC"),
    (".inf", ".inf"),
    (".nan", ".nan"),
]


@pytest.mark.parametrize(("text", "meant"), MEANINGS)
def test_a_plain_value_means_what_it_says(tmp_path, text, meant):
    data = read(tmp_path, f"a: {text}\n".encode()).data
    assert data == {"a": meant}
    assert type(data["a"]) is type(meant)


@pytest.mark.parametrize("key", ["no", "on", "yes", "null", "12", "2024-01-31", "1:30"])
def test_a_key_is_always_a_word(tmp_path, key):
    assert read(tmp_path, f"{key}: x\n".encode()).data == {key: "x"}


@pytest.mark.parametrize("raw", [b"", b"# nothing\n", b"---\n", b"\xef\xbb\xbf"])
def test_an_empty_file_holds_nothing(tmp_path, raw):
    assert read(tmp_path, raw).data in (None, "")


def test_a_byte_order_mark_is_no_part_of_the_first_key(tmp_path):
    assert read(tmp_path, b"\xef\xbb\xbfa: 1\r\nb: 2\r\n").data == {"a": 1, "b": 2}


def test_each_key_and_item_has_its_line(tmp_path):
    document = read(tmp_path, b"# note\na:\n  - x\n  - b: 1\n    c: 2\nd: >-\n  long\n  text\ne: [1,\n  2]\n")
    assert {key: document.line(key) for key in [("a",), ("a", 0), ("a", 1, "c"), ("d",), ("e", 1)]} == {
        ("a",): 2,
        ("a", 0): 3,
        ("a", 1, "c"): 5,
        ("d",): 6,
        ("e", 1): 10,
    }
    assert document.line(("a", 1, "missing")) == 4
    assert document.line(("missing",)) == 2


def test_the_line_of_a_part_counts_from_where_the_part_begins(tmp_path):
    with pytest.raises(ContentError) as caught:
        read_yaml(tmp_path / "lesson.md", "a: 1\na: 2", first_line=10)
    assert caught.value.line == 11

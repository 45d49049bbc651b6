"""Files that other programs read: CSV, harmless in a spreadsheet, and archives that come out the same each time."""

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal
from uuid import UUID, uuid5

NAMESPACE = UUID("6f2b0f4e-6f0a-5c1e-9d0b-0c01d30a11e5")
"""Ours alone: ids made in it from the same names are the same each time."""

Separator = Literal[",", ";"]

_CONTROLS = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+")
# A cell that begins so is run as a formula; so is what follows a separator, where a program splits at another one.
_SIGNS = r"=+\-@\uff1d\uff0b\uff0d\uff20\ufe66\ufe62\ufe63\ufe6b"  # the full-width and the small forms too
_UNSEEN = r"\s\"\u00ad\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff"
_FORMULA = re.compile(rf"(^|[,;|])(?=[{_UNSEEN}]*[{_SIGNS}])")
_EARLIEST = (1980, 1, 1, 0, 0, 0)


def harmless(text: str) -> str:
    """Make a cell that no spreadsheet takes for a formula: an apostrophe before it, control characters as spaces."""
    return _FORMULA.sub(r"\1'", _CONTROLS.sub(" ", text).strip())


def csv_bytes(rows: Iterable[Sequence[str]], *, separator: Separator = ",", bom: bool = False) -> bytes:
    """Write rows as CSV in UTF-8 with CRLF (RFC 4180); the byte order mark tells some spreadsheets that it is UTF-8."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator, lineterminator="\r\n").writerows(rows)
    return text.getvalue().encode("utf-8-sig" if bom else "utf-8", "replace")


def zip_bytes(files: Mapping[str, bytes]) -> bytes:
    """Pack files into an archive that is the same, byte for byte, whenever its files are."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, _EARLIEST)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(entry, data)
    return packed.getvalue()


def stable_id(*names: object) -> str:
    """An id that the same names always give."""
    return str(uuid5(NAMESPACE, "\x1f".join(map(str, names))))

"""Tables as spreadsheet programs save them: CSV in any usual encoding, parted by comma, semicolon, tab or bar."""

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tutor.classroom.errors import ClassError
from tutor.classroom.roster.names import tidy

LARGEST = 20_000_000  # bytes
MOST_ROWS = 200_000
MOST_COLUMNS = 200
LONGEST_FIELD = 10_000
_SEPARATORS = ",;\t|"
_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}


@dataclass(frozen=True)
class Fault:
    """A line of a file that could not be used, and why."""

    line: int
    reason: str

    def __str__(self) -> str:
        return f"line {self.line}: {self.reason}"


@dataclass(frozen=True)
class Row:
    """A row with the line on which it begins; `cells` by column, tidied."""

    line: int
    cells: Mapping[str, str]


def read_file(path: Path) -> bytes:
    """Read a file of at most LARGEST bytes. Raises ClassError if it cannot be read or is larger."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except OSError as error:
        raise ClassError(f"The file {path} cannot be read ({error.strerror}). Check its name and rights.") from None
    if len(data) > LARGEST:
        raise ClassError(f"The file is larger than {LARGEST // 10**6} MB. Split it.")
    return data


def decoded(data: bytes) -> str:
    """The text of a file: by its byte order mark, else UTF-8, else UTF-16 without a mark, else Windows' Latin-1.

    Raises ClassError for data that is no text.
    """
    encoding = next((name for mark, name in _MARKS.items() if data.startswith(mark)), None)
    if encoding is None:
        encoding = _utf_16_by_its_zeros(data) or "utf-8"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8":
            raise ClassError("The file breaks off within a character. Save it again as CSV.") from None
        text = data.decode("cp1252", "replace")
    if "\0" in text:
        raise ClassError("The file is no text. In the spreadsheet program, save it as CSV.")
    return text


def _utf_16_by_its_zeros(data: bytes) -> str | None:
    """Plain text in UTF-16 has a zero beside nearly every letter; UTF-8 and Latin-1 have none."""
    head = data[:2000]
    if head[1::2].count(0) > len(head) // 4:
        return "utf-16-le"
    return "utf-16-be" if head[0::2].count(0) > len(head) // 4 else None


def rows(text: str, columns: Mapping[str, Sequence[str]], faults: list[Fault]) -> Iterator[Row]:
    """The rows of a table whose first row names its columns; a row that cannot be used is added to the faults.

    `columns` are the known columns with the names that each goes by; any further ones keep their own names. Empty rows
    are left out. Raises ClassError if the table has no header.
    """
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=False)
    header: list[str] | None = None
    while True:
        line = lines.line_num + 1
        try:
            cells = next(lines)
            if max(map(len, cells), default=0) > LONGEST_FIELD:
                raise csv.Error(f"field larger than field limit ({LONGEST_FIELD})")
        except StopIteration:
            break
        except csv.Error as error:
            faults.append(Fault(line, f"the row cannot be read ({error}). Look for a quotation mark left open."))
            continue
        if line > MOST_ROWS:
            raise ClassError(f"The table has more than {MOST_ROWS} rows. Split it.")
        if len(cells) > MOST_COLUMNS:
            raise ClassError(
                f"Line {line} has {len(cells)} columns; at most {MOST_COLUMNS} are read. Take the others away."
            )
        cells = [tidy(cell) for cell in cells]
        if not any(cells) or (header is None and len("".join(cells)) <= len("sep=") and cells[0].startswith("sep=")):
            continue
        if header is None:
            header = _header(cells, columns)
        elif len(cells) > len(header) and any(cells[len(header) :]):
            faults.append(
                Fault(
                    line,
                    f"the row has {len(cells)} cells, the header {len(header)}. Quote a cell that holds the separator.",
                )
            )
        else:
            cells += [""] * (len(header) - len(cells))
            yield Row(line, dict(zip(header, cells, strict=False)))
    if header is None:
        raise ClassError("The table is empty. Its first row has to name its columns.")


def _header(cells: Sequence[str], columns: Mapping[str, Sequence[str]]) -> list[str]:
    named = {_key(alias): name for name, aliases in columns.items() for alias in (name, *aliases)}
    header = [named.get(_key(cell), cell.lower()) for cell in cells]
    repeated = next((name for name, count in Counter(header).items() if name and count > 1), None)
    if repeated is not None:
        raise ClassError(f"Two columns are named '{repeated[:60]}'. Take one away or rename it.")
    return header


def _key(cell: str) -> str:
    return "".join(c for c in cell.casefold() if c.isalnum())


def _separator(text: str) -> str:
    """What parts the cells: the commonest separator outside quotes in the first line that is not empty."""
    first = next((line for line in text.splitlines() if line.strip() and not line.startswith("sep=")), "")
    outside = "".join(first.split('"')[::2])
    return max(_SEPARATORS, key=outside.count)

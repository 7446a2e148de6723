"""Cut a file of comma-separated values (RFC 4180) into rows, whatever program wrote it, and say where it is broken.

A row that breaks off does not take those behind it along: a quote that opens and never closes would swallow the rest of
the file, so reading begins again on the next line.
"""

import csv
import io
import itertools
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet takes for one (OWASP, CSV injection)
LARGEST = 32 << 20  # bytes; 5 000 packages make half a megabyte (our choice)
SPAN = 500  # lines of one row at most: the longest cell, a note, has as many characters (food/draft.py)
DELIMITERS = ",;\t|"  # the standard's, and what spreadsheets of other countries write
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)  # byte order marks (Unicode standard, 23.8); the longer first


class Row(NamedTuple):
    """Hold one row: the line it begins on, its cells, and what is wrong with its form (empty: nothing)."""

    line: int
    cells: list[str]
    wrong: str = ""


def decode(raw: bytes) -> tuple[str, str]:
    """Return the text of a file, and what its keeper should know of how it was read (empty: plain UTF-8).

    ValueError where it is too large, or is no text.
    """
    if len(raw) > LARGEST:
        raise ValueError(f"the file has {len(raw) >> 20} MB; {LARGEST >> 20} MB are allowed. Cut it into several")
    for mark, name in _MARKS:
        if raw.startswith(mark):
            return _decoded(raw, name), "" if name == "utf-8-sig" else f"It is {name.upper()}."
    if len(raw) % 2 == 0 and raw[:200].count(0) * 3 > len(raw[:200]):  # plain letters have a zero in each two bytes
        name = "utf-16-be" if raw[:1] == b"\0" else "utf-16-le"
        return _decoded(raw, name), f"It seems to be {name.upper()} without a mark that says so."
    try:
        return raw.decode("utf-8"), ""
    except UnicodeDecodeError as wrong:
        line = raw[: wrong.start].count(b"\n") + 1
        said = f"It is no UTF-8 (line {line}); it was read as Western European (Windows-1252): look at the accents."
    try:
        return raw.decode("cp1252"), said
    except UnicodeDecodeError:
        return raw.decode("latin-1"), said.replace("Windows-1252", "Latin-1")


def _decoded(raw: bytes, name: str) -> str:
    try:
        return raw.decode(name)
    except UnicodeDecodeError as wrong:
        raise ValueError(
            f"the file says that it is {name.upper()} but breaks off at byte {wrong.start}; save it anew as UTF-8"
        ) from wrong


def cut(text: str, known: Callable[[str], object], most: int | None = None) -> list[Row]:
    """Return the rows of `text`, those without anything in them left out, the first `most` if that is said.

    The first is the header, which sets how many cells a row has. The delimiter is the one by which the header has most
    cells that are `known`. Lines are counted from 1, and a row is known by the line on which it begins.
    """
    header = next((line for line in io.StringIO(text, newline="") if line.strip()), "")
    delimiter = max(DELIMITERS, key=lambda each: _recognised(header, each, known))
    before = csv.field_size_limit(len(text) + 1)  # else one long cell ends the whole reading
    try:
        return list(itertools.islice(_rows(_Lines(text), delimiter), most))
    finally:
        csv.field_size_limit(before)


def _recognised(header: str, delimiter: str, known: Callable[[str], object]) -> int:
    return sum(1 for cell in header.split(delimiter) if known(cell.strip().strip('"')))


class _Lines:
    """Give the lines of a text one by one, and those of a row that came to nothing once more, but for its first."""

    def __init__(self, text: str) -> None:
        self._text = io.StringIO(text, newline="")
        self._second = 0  # where the second line of the row begins
        self.first = 1  # the line on which the row begins
        self.next = 1  # the line that comes next

    def __iter__(self) -> Iterator[str]:
        """Return the lines from here on; they end early where one row takes so many that a quote must be astray."""
        while self.next - self.first < SPAN and (line := self._text.readline()):
            if self.next == self.first:
                self._second = self._text.tell()
            self.next += 1
            yield line

    def begin_row(self) -> None:
        """Take what comes next for a new row."""
        self.first = self.next

    def go_back(self) -> None:
        """Go back to the second line of the row, and take that for a new one."""
        self._text.seek(self._second)
        self.first += 1
        self.next = self.first


def _rows(lines: _Lines, delimiter: str) -> Iterator[Row]:
    width = 0
    while True:
        try:
            for cells in csv.reader(lines, delimiter=delimiter, strict=True):
                first, last = lines.first, lines.next - 1
                blank = not any(map(str.strip, cells))
                width = width or (0 if blank else len(cells))
                if len(cells) != width and last > first:  # several lines, and not the cells: a quote gone astray
                    yield Row(first, [], f"a quote opens here and closes on line {last}, in the middle of another row")
                    lines.go_back()
                    break
                if not blank:
                    fits = len(cells) == width
                    yield Row(first, cells, "" if fits else f"{_cells(len(cells))} where the header has {width}")
                lines.begin_row()
            else:
                return
        except csv.Error as wrong:
            yield Row(lines.first, [], _explained(str(wrong)))
            lines.go_back()


def _cells(n: int) -> str:
    return "1 cell" if n == 1 else f"{n} cells"


def _explained(wrong: str) -> str:
    if "unexpected end of data" in wrong:
        return "a quote opens here and never closes"
    if "expected after" in wrong:
        return "a quote stands in the middle of a cell; write it twice, and the whole cell in quotes"
    return f"this is no row ({wrong})"


def safe(text: str) -> str:
    """Return the text of a cell so that no spreadsheet takes it for a formula: with an apostrophe in front."""
    return f"'{text}" if text.startswith(_FORMULA) else text


def lines(rows: Iterable[list[str]]) -> Iterator[str]:
    """Write rows as RFC 4180 has them: commas, quotes where needed and doubled inside, CR LF at the end."""
    out = io.StringIO()
    writer = csv.writer(out)
    for row in rows:
        writer.writerow(row)
        yield out.getvalue()
        out.seek(0)
        out.truncate()

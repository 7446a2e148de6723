"""Cut a file of comma-separated values (RFC 4180) into rows, whatever program wrote it, and say where it is broken.

A row that breaks off does not take those behind it along: a quote that opens and never closes would swallow the rest of
the file, so reading begins again on the next line.
"""

import csv
import io
from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

_FORMULA = ("=", "+", "-", "@", "\t", "\r")  # what a spreadsheet takes for one (OWASP, CSV injection)
LARGEST = 32 << 20  # bytes; 5 000 packages make half a megabyte (our choice)
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


def cut(text: str, known: Callable[[str], object]) -> list[Row]:
    """Return the rows of `text`, empty lines left out; the first is the header, which sets how many cells a row has.

    The delimiter is the one by which the header has most cells that are `known`. Lines are counted from 1, and a row
    is known by the line on which it begins.
    """
    lines = list(io.StringIO(text, newline=""))
    header = next((line for line in lines if line.strip()), "")
    delimiter = max(DELIMITERS, key=lambda each: _recognised(header, each, known))
    before = csv.field_size_limit(len(text) + 1)  # else one long cell ends the whole reading
    try:
        return list(_rows(lines, delimiter))
    finally:
        csv.field_size_limit(before)


def _recognised(header: str, delimiter: str, known: Callable[[str], object]) -> int:
    return sum(1 for cell in header.split(delimiter) if known(cell.strip().strip('"')))


def _rows(lines: list[str], delimiter: str) -> Iterator[Row]:
    begin, width = 0, 0
    while begin < len(lines):
        reader = csv.reader((lines[n] for n in range(begin, len(lines))), delimiter=delimiter, strict=True)
        first = begin
        try:
            for cells in reader:
                line, first = first + 1, begin + reader.line_num
                if not cells:
                    continue
                width = width or len(cells)
                if len(cells) == width:
                    yield Row(line, cells)
                elif first > line:  # several lines in one row that has not its cells: a quote gone astray
                    yield Row(line, [], f"a quote opens here and closes on line {first}, in the middle of another row")
                    first = line
                    break
                else:
                    yield Row(line, cells, f"{_cells(len(cells))} where the header has {width}")
            else:
                return
        except csv.Error as wrong:
            yield Row(first + 1, [], _explained(str(wrong)))
            first += 1
        begin = first


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

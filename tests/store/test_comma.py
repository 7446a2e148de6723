"""A file of comma-separated values is cut into rows, whatever wrote it and however it is broken."""

import csv
import io
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.store.comma import LARGEST, cut, decode, lines

HEADER = "food,count,note\r\n"


def known(header: str) -> bool:
    """Return whether a header is one of ours."""
    return header in ("food", "count", "note")


def rows(text: str) -> list[tuple[int, list[str], str]]:
    """Return what a text is cut into."""
    return [tuple(row) for row in cut(text, known)]  # type: ignore[misc]


class TestDecode:
    @pytest.mark.parametrize(
        ("raw", "said"),
        [
            ("food\r\nplüms".encode(), ""),
            ("food\r\nplüms".encode("utf-8-sig"), ""),
            ("food\r\nplüms".encode("utf-16"), "UTF-16"),
            (b"\xfe\xff" + "food\r\nplüms".encode("utf-16-be"), "UTF-16"),
            ("food\r\nplüms".encode("utf-16-le"), "UTF-16-LE without a mark"),
            ("food\r\nplüms".encode("utf-16-be"), "UTF-16-BE without a mark"),
            ("food\r\nplüms".encode("utf-32"), "UTF-32"),
            ("food\r\nplüms".encode("cp1252"), "no UTF-8 (line 2)"),
            ("food\r\nplüms".encode("latin-1") + b"\x81", "Latin-1"),
        ],
    )
    def test_encodings(self, raw: bytes, said: str) -> None:
        """Every encoding that a spreadsheet writes is read, and said where it was guessed."""
        text, remark = decode(raw)

        assert text.rstrip("\x81") == "food\r\nplüms"
        assert said in remark
        assert bool(said) == bool(remark)

    def test_too_large(self) -> None:
        """A file that no household has is refused unread."""
        with pytest.raises(ValueError, match="32 MB are allowed"):
            decode(b"x" * (LARGEST + 1))

    def test_broken_mark(self) -> None:
        """A file that breaks off in the middle of a letter is refused with what to do."""
        with pytest.raises(ValueError, match="save it anew as UTF-8"):
            decode(b"\xff\xfef\x00o")


class TestCut:
    # RFC 4180, section 2: rules 1 to 7 by their own examples' forms
    @pytest.mark.parametrize(
        ("text", "cells"),
        [
            ("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
            ("aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
            ('"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
            ('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
            ('"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
        ],
    )
    def test_standard(self, text: str, cells: list[list[str]]) -> None:
        """What RFC 4180 allows is read as it says."""
        assert [row.cells for row in cut(text, known)] == cells

    @pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
    @pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
    def test_dialects(self, end: str, mark: str) -> None:
        """Other line ends and the delimiters of other countries are found by the header."""
        text = end.join((mark.join(("food", "count", "note")), mark.join(("beans", "2", "a")), ""))

        assert rows(text) == [(1, ["food", "count", "note"], ""), (2, ["beans", "2", "a"], "")]

    def test_lines(self) -> None:
        """A row is known by the line it begins on, also behind empty lines and cells of several lines."""
        text = HEADER + '\r\nbeans,1,"two\r\nlines"\r\nplums,2,\r\n'

        assert [line for line, _, _ in rows(text)] == [1, 3, 5]

    def test_wrong_width(self) -> None:
        """A row with too few or too many cells is said, and the next is read."""
        found = rows(HEADER + "beans\r\nplums,2,x,y\r\ntrout,1,\r\n")

        assert [wrong for _, _, wrong in found] == [
            "", "1 cell where the header has 3", "4 cells where the header has 3", "",
        ]  # fmt: skip

    def test_open_quote(self) -> None:
        """A quote that never closes costs its own line and not the rest of the file."""
        found = rows(HEADER + 'beans,"2,\r\nplums,2,\r\ntrout,many,\r\n')

        assert [(line, cells[:1], bool(wrong)) for line, cells, wrong in found] == [
            (1, ["food"], False), (2, [], True), (3, ["plums"], False), (4, ["trout"], False),
        ]  # fmt: skip
        assert "never closes" in found[1][2]

    def test_quotes_that_never_close(self) -> None:
        """Each line that opens a quote costs itself and is soon done with: a file of them holds nobody up."""
        text = HEADER + 'x","\n' * 20_000
        began = time.process_time()
        found = rows(text)

        assert [line for line, _, wrong in found if wrong] == list(range(2, 20_002))
        assert time.process_time() - began < 8  # read to the end from each line anew it takes a minute on a small board

    def test_most(self) -> None:
        """No more rows are cut than are wanted, and those without anything in them do not count."""
        found = cut(HEADER + ",,\r\n" * 5 + "beans,1,\r\n" * 5, known, most=3)

        assert [row.line for row in found] == [1, 7, 8]

    def test_quote_astray(self) -> None:
        """Two quotes astray in two lines cost those, and not what is between them."""
        found = rows(HEADER + 'beans,"2,\r\nplums,2,\r\ntrout,1,"\r\nbread,1,\r\n')

        assert [line for line, _, wrong in found if wrong] == [2, 4]
        assert [cells[0] for _, cells, wrong in found if not wrong] == ["food", "plums", "bread"]

    def test_quote_in_the_middle(self) -> None:
        """Letters behind a closing quote cost that line only."""
        found = rows(HEADER + '"beans"x,1,\r\nplums,2,\r\n')

        assert [(line, bool(wrong)) for line, _, wrong in found] == [(1, False), (2, True), (3, False)]

    def test_long_cell(self) -> None:
        """A cell of a megabyte is read whole, and so is what comes behind it."""
        found = rows(HEADER + "beans,1," + "x" * (1 << 20) + "\r\nplums,2,\r\n")

        assert [len(cells[2]) for _, cells, _ in found[1:]] == [1 << 20, 0]

    def test_nul(self) -> None:
        """A NUL ends neither the cell nor the reading."""
        assert [cells[0] for _, cells, _ in rows(HEADER + "be\0ans,1,\r\nplums,2,\r\n")] == ["food", "be\0ans", "plums"]

    def test_other_readers_are_left_alone(self) -> None:
        """The limit of the standard reader is as before."""
        before = csv.field_size_limit()
        rows(HEADER + "x" * 200_000)

        assert csv.field_size_limit() == before

    @given(st.text(st.sampled_from('abc",;\r\n\0\t '), max_size=80))
    def test_any_text(self, text: str) -> None:
        """Whatever is in a file is cut to its end, each line being met once at most."""
        found = [row.line for row in cut(text, known)]

        assert found == sorted(set(found))
        assert all(1 <= line <= len(text) + 1 for line in found)


@given(st.lists(st.lists(st.text(max_size=8), min_size=2, max_size=2), min_size=1, max_size=5))
def test_round_trip(table: list[list[str]]) -> None:
    """What is written is read again, cell by cell, and the standard reader agrees."""
    text = "".join(lines(table))

    assert list(csv.reader(io.StringIO(text, newline=""))) == table
    if "," in text.split("\r\n", maxsplit=1)[0].replace(";", "").replace("|", "").replace("\t", ""):
        assert [row.cells for row in cut(text, lambda _: False)] == [
            row for row in table if any(map(str.strip, row))
        ]  # fmt: skip

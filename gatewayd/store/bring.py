"""Bring a list of packages in from a file: read it against what is there, say what is wrong, cut it into pieces."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from gatewayd.food import exchange
from gatewayd.food.draft import Draft, cells
from gatewayd.food.exchange import Fault, Taken
from gatewayd.food.larder import Larder
from gatewayd.model.moment import from_wall
from gatewayd.store import comma

LINES = 8  # of a file that are named: what fits one line of a screen (our choice)
ROWS = 50_000  # of one file: 50 MB in memory at most while it is read, ten times what a house has (our choice)
PIECE = 50_000  # bytes of one piece of a file: the door takes lines of 64 KiB

TOO_MANY = f"the file has more than {ROWS} rows; cut it into several"


def look(text: str, mapping: Mapping[str, str], there: Larder, *, as_new: bool) -> Taken:
    """Return what a file holds and what is wrong with it; `there` is the list with what is used up.

    `mapping` gives headers a field of `exchange.FIELDS`; with `as_new` the ids are of another list. Of a file with too
    many rows no more than that is said.
    """
    rows = comma.cut(text, lambda header: exchange.column(header, mapping), most=ROWS + 2)  # with the header
    if len(rows) > ROWS + 1:
        return Taken(faults=[Fault(rows[-1].line, TOO_MANY)])
    today = from_wall(there.now).astimezone(there.house.zone).date()
    numbers = frozenset(one.id for one in there.packages)
    known = exchange.House(there.places, today, there.house.zone, numbers, as_new)
    return exchange.take(rows, known, mapping)


def left_out(same: Sequence[int]) -> str:
    """Say that rows are there already, with their lines as far as a screen has room."""
    lines = ", ".join(map(str, same[:LINES])) + (f" and {len(same) - LINES} more" if len(same) > LINES else "")
    if len(same) == 1:
        return f"1 row is the same as a package already there (line {lines}); it is left out."
    return f"{len(same)} rows are the same as packages already there (lines {lines}); they are left out."


def pieces(drafts: Iterable[Draft]) -> Iterator[list[Any]]:
    """Yield the rows in pieces that fit a request."""
    piece: list[Any] = []
    size = 0
    for draft in drafts:
        row = list(cells(draft))
        long = len(json.dumps(row, ensure_ascii=False).encode()) + 2
        if piece and size + long > PIECE:
            yield piece
            piece, size = [], 0
        piece.append(row)
        size += long
    if piece:
        yield piece

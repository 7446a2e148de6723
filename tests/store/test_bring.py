"""A file is looked at in little memory, however many rows somebody puts in it."""

import tracemalloc

import pytest

from gatewayd.food.exchange import HEADER, Taken
from gatewayd.food.larder import Larder
from gatewayd.store import bring
from tests.days.player import house

NOW = 1_780_000_000_000  # wall ms
MB = 1 << 20


def look(text: str) -> tuple[Taken, int]:
    """Return what a file brings to an empty list, and how much memory (bytes) it took beside the file."""
    there = Larder(house(1), NOW, [], [])
    tracemalloc.start()
    try:
        return bring.look(text, {}, there, as_new=False), tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("line", ["a\n", "a,b\n", '"a\n'])
def test_too_many_rows(line: str) -> None:
    """Of a file with too many rows that alone is said, and no more memory is taken than for one that may come in."""
    taken, peak = look("food\n" + line * 300_000)

    assert [str(fault) for fault in taken.faults] == [
        "line 50002: the file has more than 50000 rows; cut it into several"
    ]  # fmt: skip
    assert taken.drafts == []
    assert peak < 40 * MB  # 260 MB where all rows were read before they were counted


def test_as_many_rows_as_may_be() -> None:
    """A file with as many rows as are taken comes in, without the empty ones that a spreadsheet adds."""
    taken, _ = look("food,count\n" + "beans,1\n" * bring.ROWS + ",\n" * 1000)

    assert len(taken.drafts) == bring.ROWS
    assert taken.faults == []


def test_wrong_in_every_cell() -> None:
    """A file in which each cell is wrong says each, in little more memory than a sound one."""
    text = ",".join(name.partition(" ")[0] for name in HEADER) + "\n" + (",".join(["ab"] * 13) + "\n") * 20_000
    taken, peak = look(text)

    assert len(taken.faults) == 20_000 * 8
    assert peak < 60 * MB

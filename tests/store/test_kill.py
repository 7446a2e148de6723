"""kill -9 at any moment."""

import subprocess
import sys
import time
from pathlib import Path
from random import Random

import pytest

from gatewayd.store.rollup import QUARTER
from tests.store.killed import ROWS
from tests.store.make import rolled_up, rows

ROUNDS = 12


def one_round(path: Path, first: int, delay: float) -> int:
    """Start the child, kill it some time after its first commit, and return the number of its last told commit."""
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.store.killed", str(path), str(first)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    with child:
        assert child.stdout is not None
        told = [child.stdout.readline()]
        time.sleep(delay)
        child.kill()
        told += child.stdout.readlines()
    assert all(told), "the child never committed"
    return int([line for line in told if line.endswith("\n")][-1])


@pytest.mark.rig
@pytest.mark.slow  # starts an interpreter for each round
def test_killed_while_committing(path: Path) -> None:
    """Whatever a commit said was stored is in the file after a kill, whole batches only, and the file is sound."""
    rng = Random(4)
    last = 0
    for _ in range(ROUNDS):
        last = one_round(path, last + 1, rng.uniform(0, 0.05))
        assert rows(path, "PRAGMA integrity_check") == [("ok",)]

        per_batch = rows(
            path,
            "SELECT value / -1000, count(*) FROM (SELECT value FROM reading UNION ALL SELECT value FROM log "
            "WHERE series > 0) GROUP BY 1 ORDER BY 1",
        )
        stored = [number for number, _ in per_batch]
        assert set(range(1, last + 1)) <= set(stored)
        assert {count for _, count in per_batch} == {ROWS}
        assert [row[0] for row in rows(path, "SELECT number FROM event ORDER BY 1")] == stored
        assert rows(path, "SELECT count(*) FROM delivery") == [(2 * len(stored),)]
        moved = rows(path, "SELECT series, t / ?, count(*) FROM reading GROUP BY 1, 2 ORDER BY 1, 2", QUARTER)
        assert [row[:3] for row in rolled_up(path)[0]] == moved
        last = stored[-1]

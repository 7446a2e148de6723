"""The child of test_kill: commits until it is killed, and tells each commit that has returned.

Run as `python -m tests.store.killed FILE FIRST`: batches are numbered from FIRST on; the number of a batch is written
to standard output when its commit has returned.
"""

import asyncio
import sys
from pathlib import Path

from gatewayd.model.moment import SECOND
from gatewayd.store.store import Store
from tests.store.make import LONDON, T0, at, batch, deliveries, event, reading

ROWS = 20


async def main(path: Path, first: int) -> None:
    """Commit for ever; the log is moved now and then, so that kills fall into moves too."""
    store = await Store.open(path, LONDON)
    number = first
    while True:
        wall = T0 + number * SECOND
        made = [reading(wall + n, -number) for n in range(ROWS)]
        await store.commit(
            batch(*made, events=[event(number, wall)], deliveries=deliveries(number, wall=wall), wall=wall)
        )
        print(number, flush=True)
        if number % 7 == 0:
            await store.tidy(at(wall), 0)
        number += 1


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1]), int(sys.argv[2])))

"""Let a household answer at its door after a day that was lived: a real gateway and store, only the clock is played."""

import asyncio
import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from gatewayd.cli.main import cli
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.stock import Box, Package
from gatewayd.store import stock
from gatewayd.store.store import Store
from gatewayd.watch.watch import Watch
from tests.cli.household import LONDON, settle
from tests.cli.lived import Lived
from tests.fakes.clock import FakeClock


class Household:
    """Hold what was lived, its store, and who answers at the door."""

    def __init__(self, folder: Path, lived: Lived) -> None:
        """Write all that was lived into a store."""
        self.lived = lived
        self.file = settle(folder, lived.kept())
        self._path = folder / "house.db"
        self.clock = FakeClock(lived.now.wall, lived.now.steady, lived.now.boot)
        self.requests: list[dict[str, Any]] = []

    @property
    def watch(self) -> Watch:
        """Return the watch, which goes on."""
        return self.lived.watch

    def fill(self, boxes: Sequence[str], foods: Sequence[str], freezer: str = "shed-chest", kg: float = 0.5) -> None:
        """Put one package of each food into each box, forty days before."""
        began = self.lived.now.wall - 40 * DAY

        def work(conn: Any) -> str:
            writing = stock.pen(conn, began, "ann")
            for name in boxes:
                writing.new_box(Box(name.lower().replace(" ", "-"), name, freezer))
                those = [Package(0, name.lower().replace(" ", "-"), food, 1, kg, began, since=began) for food in foods]
                for one in those:
                    writing.add(one)
            return ""

        self.run(lambda gateway: gateway.store.carry_out(work, self.clock.now()))

    def run(self, doing: Callable[[Gateway], Any]) -> Any:
        """Do something with a gateway that runs, and commit what came of it."""

        async def act() -> Any:
            store = await Store.open(self._path, LONDON)
            gateway = Gateway(self.watch, store, Mailbag(store), self.clock, SECOND)

            async def commits() -> None:
                while True:
                    await asyncio.sleep(0)
                    if gateway.wanted:
                        await gateway.commit()

            running = asyncio.create_task(commits())
            try:
                return await doing(gateway)
            finally:
                running.cancel()
                await gateway.commit()
                await store.close()

        return asyncio.run(act())

    def __call__(self, _door: Path, request: dict[str, Any], _patience: float = 30.0) -> Iterator[dict[str, Any]]:
        """Answer one request at the door, a minute after the last."""
        self.requests.append(request)

        async def doing(gateway: Gateway) -> list[dict[str, Any]]:
            await self.clock.advance(MINUTE)

            async def restored() -> None:
                """Do nothing after a copy was put back."""

            return [told async for told in Answers(gateway, self.clock, restored)(request, "ann")]

        yield from self.run(doing)

    def call(self, *args: str, says: Sequence[str] = ()) -> Result:
        """Call a command, and answer its questions."""
        given = "".join(f"{word}\n" for word in says)
        return CliRunner().invoke(cli, [*args, "--settings", str(self.file)], input=given, env={"COLUMNS": "200"})

    def asked(self, *args: str) -> Any:
        """Call a command for JSON."""
        done = self.call(*args, "--json")
        assert done.exit_code == 0, done.output
        return json.loads(done.output)

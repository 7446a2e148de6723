"""Let people into a played house: what its people did before, its pages, and what answers behind them."""

import asyncio
import contextlib
from collections.abc import Coroutine, Iterable
from pathlib import Path
from typing import Any

from gatewayd.clock import PlayedClock, SystemClock
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.recalling import recall
from gatewayd.daemon.reception import Reception
from gatewayd.demo.before import Deed
from gatewayd.model.event import Notice
from gatewayd.model.moment import Moment
from gatewayd.settings.typed import Settings
from gatewayd.store.batch import Batch


class OpenDay:
    """Hold the pages of a played house: the house goes by its own clock, sign-ins by this computer's."""

    def __init__(self, settings: Settings, state_dir: Path, deeds: Iterable[Deed] = ()) -> None:
        """Take the settings, the folder of the lock, and what was ordered before the house begins to play."""
        self._settings = settings
        self._state_dir = state_dir
        self._deeds = deeds
        self._reception: Reception | None = None
        self._running: list[asyncio.Task[None]] = []

    async def furnish(self, gateway: Gateway, clock: PlayedClock) -> None:
        """Carry out what was ordered before, each at its own time. Raise RuntimeError for what was refused."""
        now = clock.now()
        for deed in self._deeds:
            then = Moment(now.wall - deed.before, now.steady, "before")
            answers = Answers(gateway, PlayedClock(then), _unrestored)
            async for answer in answers(deed.request, deed.who):
                if answer.get("done") is not True:
                    raise RuntimeError(f"{deed.request} was refused: {answer.get('error')}")

    def open(self, gateway: Gateway, clock: PlayedClock) -> None:
        """Serve the pages from now on; says by the log where they are, and the code for the first phone."""

        async def restored() -> None:
            await gateway.refit(Batch(clock.now()), alone=False)
            await gateway.commit()

        answers = Answers(gateway, clock, restored)
        self._reception = Reception(self._settings, gateway, clock, self._state_dir, answers, SystemClock())
        answers.add("pages", self._reception.door)
        self._run("pages", self._reception.run())
        self._run("what the freezers hold", answers.pantry.run())
        self._run("what is due", answers.duty.run())
        self._run("the stored past", recall(gateway, clock))

    def line(self, notice: Notice) -> str:
        """Return the line that leads from a message to its page, nothing before the pages are open."""
        return self._reception.line(notice) if self._reception is not None else ""

    async def close(self) -> None:
        """Close the pages."""
        for task in self._running:
            task.cancel()
        for task in self._running:
            with contextlib.suppress(asyncio.CancelledError):
                await task

    def _run(self, name: str, work: Coroutine[Any, Any, None]) -> None:
        self._running.append(asyncio.create_task(work, name=name))


async def _unrestored() -> None:
    """Do nothing: no copy is put back before the house plays."""

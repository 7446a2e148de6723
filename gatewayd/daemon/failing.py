"""Notice that a way to reach people does not work, at the inspection or when it is used, and that it does again.

Both reasons are held here, for they are one alarm: one that is settled must not end it while the other stands.
"""

import asyncio
import logging
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from gatewayd.clock import Clock
from gatewayd.model.given import Condition
from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.route import Route
from gatewayd.notify.letter import Letter, Outcome

log = logging.getLogger(__name__)

KIND = "route"
AFTER = 10 * MINUTE  # a server's restart is over by then, and six tries have failed (message/retry.py)


@dataclass(slots=True)
class _Trouble:
    """Hold a route whose letters do not get out: since when (steady ms), the last error, and whether that is told."""

    since: int
    error: str
    told: bool


class Ways:
    """Judge the routes: pure, time comes in."""

    def __init__(self) -> None:
        """Begin with all well."""
        self._inspected: dict[str, str] = {}
        self._troubles: dict[str, _Trouble] = {}
        self._failed: dict[str, int] = {}

    def inspected(self, problems: Iterable[tuple[str, str]]) -> None:
        """Take what an inspection of all routes found: (route, problem)."""
        self._inspected = dict(problems)

    def left_failing(self, errors: Mapping[str, str], now: Moment) -> None:
        """Take routes that failed in an earlier run: they are told of at once, until a letter gets out."""
        for route, error in errors.items():
            self._troubles.setdefault(route, _Trouble(now.steady, error, told=True))

    def keep(self, routes: Collection[str]) -> None:
        """Forget routes that are no longer in the settings."""
        self._inspected = {route: text for route, text in self._inspected.items() if route in routes}
        self._troubles = {route: found for route, found in self._troubles.items() if route in routes}
        self._failed = {route: wall for route, wall in self._failed.items() if route in routes}

    def tried(self, route: str, outcome: Outcome, now: Moment) -> None:
        """Take how one try ended. What an inspection found stays: a letter may reach only some of those it is for."""
        if outcome.ok:
            self._troubles.pop(route, None)
            self._failed.pop(route, None)
            return
        self._failed[route] = now.wall
        found = self._troubles.setdefault(route, _Trouble(now.steady, outcome.error, told=False))
        found.error = outcome.error
        found.told = found.told or outcome.hopeless

    def due(self, now: Moment) -> int | None:
        """Return in how many ms the next trouble has lasted long enough, None if none is growing."""
        growing = [found.since + AFTER - now.steady for found in self._troubles.values() if not found.told]
        return max(0, min(growing)) if growing else None

    def failed(self) -> dict[str, int]:
        """Return the routes of which the last try in this run failed, and when (wall ms)."""
        return dict(self._failed)

    def told(self) -> dict[str, str]:
        """Return why those routes fail by which letters do not get out, as far as that was told."""
        return {route: found.error for route, found in self._troubles.items() if found.told}

    def condition(self, now: Moment) -> Condition:
        """Return how the routes stand."""
        for found in self._troubles.values():
            found.told = found.told or now.steady - found.since >= AFTER
        texts = {route: f"route {route}: {text}" for route, text in self._inspected.items()}
        texts |= {route: f"route {route}: {why}" for route, why in self.told().items()}
        return Condition(KIND, bool(texts), "; ".join(text.rstrip(".") for text in texts.values()))


class Sends(Protocol):
    """Send one letter by one route; the sender does, and so does Failing, which looks on."""

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:
        """Return how it ended, within the deadline (ms) and a little."""
        ...


class Gives(Protocol):
    """Hear of the condition; the gateway does."""

    def give(self, given: Condition, /) -> object:
        """Hand it to the watch."""
        ...


class Remembers(Protocol):
    """Remember over a restart which routes were told to fail; what has passed does."""

    def fails(self, failing: Mapping[str, str]) -> None:
        """Take which they are now, and why."""
        ...


class Failing:
    """Stand between the pump and the sender, and tell how the routes stand."""

    def __init__(self, sender: Sends, gateway: Gives, clock: Clock, memory: Remembers) -> None:
        """Take who really sends, who is told, the clock, and what remembers the failing routes."""
        self._memory = memory
        self._sender = sender
        self._gateway = gateway
        self._clock = clock
        self._ways = Ways()
        self._told: Condition | None = None
        self._changed = asyncio.Event()

    def begin(self, problems: Iterable[tuple[str, str]], failing: Mapping[str, str]) -> None:
        """Take what the inspection at the start found, and which routes failed before it and were not tried since."""
        self._ways.left_failing(failing, self._clock.now())
        self.inspected(problems)

    def inspected(self, problems: Iterable[tuple[str, str]]) -> None:
        """Take what an inspection of all routes found, at the start or after the settings were read again."""
        problems = list(problems)
        for route, problem in problems:
            log.error("route %s: %s", route, problem)
        self._ways.inspected(problems)
        self._tell()

    def keep(self, routes: Collection[str]) -> None:
        """Forget routes that are no longer in the settings."""
        self._ways.keep(routes)
        self._tell()

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:
        """Send, and take note of how it ended."""
        outcome = await self._sender.send(route, letter, deadline_ms)
        self._ways.tried(route.id, outcome, self._clock.now())
        self._tell()
        return outcome

    def failed(self) -> dict[str, int]:
        """Return the routes of which the last try in this run failed, and when (wall ms)."""
        return self._ways.failed()

    async def run(self) -> None:
        """Tell of a trouble that has lasted long enough, for ever; with none it does not wake."""
        while True:
            await self._changed.wait()
            self._changed.clear()
            while (wait := self._ways.due(self._clock.now())) is not None:
                await self._clock.sleep(wait)
                self._tell()

    def _tell(self) -> None:
        """Tell how the routes stand if that has changed; the first time in any case."""
        self._changed.set()
        condition = self._ways.condition(self._clock.now())
        self._memory.fails(self._ways.told())
        if condition != self._told:
            self._told = condition
            self._gateway.give(condition)

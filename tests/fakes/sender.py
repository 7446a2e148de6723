"""A sender that the test directs: the fake of gatewayd/notify/sender.py."""

import asyncio
from collections.abc import Callable

from gatewayd.model.route import Route
from gatewayd.notify.letter import Letter, Outcome

OK = Outcome(ok=True)


class FakeSender:
    """Answer as told per route, and remember what went out. Unknown routes succeed at once."""

    def __init__(self) -> None:
        """Begin with every route working."""
        self.answers: dict[str, Outcome | Exception | Callable[[Letter], Outcome]] = {}
        self.holds: dict[str, asyncio.Event] = {}  # a route waits until its event is set
        self.sent: list[tuple[str, Letter]] = []  # letters that were handed over and reported as sent
        self.tried: list[tuple[str, Letter]] = []
        self.under_way = 0
        self.most = 0
        self.entered = asyncio.Event()  # set with each letter that is handed over

    def hold(self, route: str) -> asyncio.Event:
        """Make a route hang until the returned event is set."""
        self.holds[route] = asyncio.Event()
        return self.holds[route]

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:
        """Take a letter, hang if told so, answer."""
        self.tried.append((route.id, letter))
        self.under_way += 1
        self.entered.set()
        self.most = max(self.most, self.under_way)
        try:
            if route.id in self.holds:
                await self.holds[route.id].wait()
            answer = self.answers.get(route.id, OK)
            if isinstance(answer, Exception):
                raise answer
            outcome = answer if isinstance(answer, Outcome) else answer(letter)
        finally:
            self.under_way -= 1
        if outcome.ok:
            self.sent.append((route.id, letter))
        return outcome

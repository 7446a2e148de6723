"""What the pages need of the gateway; the daemon provides it."""

import sqlite3
from collections.abc import Callable
from typing import Any, Protocol, TypeVar

from gatewayd.model.effect import Answer
from gatewayd.model.given import Beat, Order
from gatewayd.model.house import House
from gatewayd.model.moment import Moment
from gatewayd.web.button import Sight

Plain = dict[str, Any]
T = TypeVar("T")


class Home(Protocol):
    """Look at the house and give it orders. What is looked at is as the watch has it at this moment."""

    @property
    def name(self) -> str:
        """Return what the house is called."""
        ...

    @property
    def house(self) -> House:
        """Return the wired house; after the settings were read again it is another one."""
        ...

    def now(self) -> Moment:
        """Return the house's time."""
        ...

    def status(self) -> Plain:
        """Return the house at a glance, as `watch.view.status` and the door's ask `status` say it."""
        ...

    def health(self) -> list[Plain]:
        """Return one entry a sensor, as `watch.view.health` says it."""
        ...

    def forecast(self) -> Plain:
        """Return what the temperatures of each freezer mean, as `watch.forecast.forecast` says it."""
        ...

    def pulse(self) -> tuple[int, int]:
        """Return what changes when a page would show something else: the last event's number, the last hearing."""
        ...

    async def ask(self, request: Plain, who: str) -> Plain:
        """Return the last answer of the door to a request of `who`; the requests are those of `daemon/answers.py`.

        An order is answered after its commit: `done` says whether it was carried out, `text` or `error` the words.
        """
        ...

    async def read(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Return what `work` reads from the store, on a reader's connection in a thread of its own.

        It sees what is committed, and holds up nobody who writes. Raise StoreTrouble where the file cannot be read.
        """
        ...

    def sight(self, number: int) -> Sight | None:
        """Return the alarm that event `number` belongs to as it stands now, None if it needs nobody any more."""
        ...

    async def order(self, order: Order) -> Answer:
        """Carry an order out and return its answer after the commit."""
        ...

    def give(self, given: Beat, /) -> object:
        """Hand a neighbour's sign of life to the watch."""
        ...

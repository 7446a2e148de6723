"""Guide the check of a probe in ice: set the probe aside, keep its freezer quiet, watch it settle, store what is found.

The check lives in the watch, with the probe that is set aside, so a command that is called again goes on with it.
"""

import sqlite3
from collections.abc import AsyncIterator

from gatewayd.clock import Clock
from gatewayd.daemon.duty import Duty
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.model.chore import Chore, Kind
from gatewayd.model.given import Aside, Calibrated, Order
from gatewayd.model.moment import HOUR, MINUTE, SECOND, iso
from gatewayd.model.reading import Quantity
from gatewayd.store import calibration, chore
from gatewayd.store.batch import Calibration
from gatewayd.store.trouble import StoreTrouble
from gatewayd.upkeep.icepoint import Look, Stage, look
from gatewayd.watch.aside import SetAside
from gatewayd.watch.post import Post

# Our choice: a probe that reports every 10 minutes has its five readings within the hour, and the ice is to be made.
LASTS = 2 * HOUR
RETURN = 30 * MINUTE  # our choice: dried and put back, a probe is as cold as its freezer within a quarter of an hour
# A freezer is opened to take the probe out and to put it back, and kept quiet each time. In between it is shut, and
# another probe of it goes on watching. Our choice: finding a probe under the food takes a few minutes.
OPENED = 30 * MINUTE
STEP = SECOND  # how often a check is looked at while somebody looks on; sensors say something every few seconds at most
STILL = 15 * SECOND  # without news: say so all the same, for a command waits half a minute for a line


class IceBath:
    """Answer what the command `calibrate` asks."""

    def __init__(self, gateway: Gateway, clock: Clock, duty: Duty) -> None:
        """Take the gateway, the clock, and who keeps the book of what was done."""
        self._gateway = gateway
        self._clock = clock
        self._duty = duty

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Answer one request of `who`: begin, look on until it is done, keep what was found, or end."""
        sensor, key = str(request.get("sensor", "")), str(request.get("key", ""))[:80]
        post = self._gateway.watch.posts.get(sensor)
        if post is None or post.measures is not Quantity.TEMPERATURE:
            yield {"done": False, "error": self._no_such(sensor)}
            return
        match request.get("do"):
            case "begin":
                yield await self._begin(post, who)
            case "state":
                yield {"done": True, **self._state(post)}
            case "look":
                async for told in self._look(post):
                    yield told
            case "keep":
                yield await self._keep(post, who, key)
            case "end":
                yield await self._end(post, who)
            case other:
                yield {"done": False, "error": f"a check knows begin, state, look, keep and end, not {other!r}"}

    def _no_such(self, sensor: str) -> str:
        posts = self._gateway.watch.posts.values()
        known = ", ".join(post.sensor.id for post in posts if post.measures is Quantity.TEMPERATURE) or "none"
        return f"There is no thermometer {sensor!r}; there are: {known}."

    async def _begin(self, post: Post, who: str) -> Plain:
        again = self._aside(post) is not None
        if not again:  # its two hours count from its begin, whoever calls again
            self._gateway.give(Aside(post.sensor.id, LASTS, who))
            await self._quiet(post, who)
        return {"done": True, "again": again, "lasts": LASTS, **self._state(post)}

    async def _quiet(self, post: Post, who: str) -> None:
        """Keep the probe's freezer quiet, as for anybody who works at it; a room's thermometer disturbs no freezer."""
        if post.judge is not None:
            freezer, why = post.judge.freezer.id, f"a check of {post.sensor.name} in ice"
            await self._gateway.order(Order("at the freezer", who=who, why=why, subject=freezer, span=OPENED))

    def _aside(self, post: Post) -> SetAside | None:
        """Return the check that runs, None where none does."""
        found = post.aside
        if found is None or found.returning or found.until <= self._clock.now().steady:
            return None
        return found

    def _found(self, post: Post) -> Look | None:
        found = self._aside(post)
        return None if found is None else look(tuple(found.seen))

    def _state(self, post: Post) -> Plain:
        """Return how the check stands; °C, K and ms."""
        aside, found = self._aside(post), self._found(post)
        watch, now = self._gateway.watch, self._clock.now()
        stated: Plain = {
            "sensor": post.sensor.id,
            "name": post.sensor.name,
            "units": watch.house.units.value,
            "freezer": post.judge.freezer.name if post.judge is not None else None,
            "running": aside is not None,
            "was_k": post.offsets.get(Quantity.TEMPERATURE, 0.0),
        }
        if aside is None or found is None:
            return stated
        return stated | {
            "stage": found.stage.value,
            "readings": len(aside.seen),
            "raw_c": found.raw,
            "steady_ms": found.steady_for,
            "count": found.count,
            "mean_c": found.mean,
            "spread_k": found.spread,
            "offset_k": found.offset,
            "until": iso(now.wall + aside.until - now.steady, watch.house.zone),
        }

    async def _look(self, post: Post) -> AsyncIterator[Plain]:
        """Say how the check stands, again with each reading, until it is done or over."""
        before, said = None, -STILL
        while True:
            state, now = self._state(post), self._clock.now().steady
            news = (state["running"], state.get("stage"), state.get("readings"))
            if news != before or now - said >= STILL:
                before, said = news, now
                yield {"done": True, **state}
            if not state["running"] or state["stage"] == Stage.DONE.value:
                return
            await self._clock.sleep(STEP)

    async def _keep(self, post: Post, who: str, key: str) -> Plain:
        """Store what was found, use it from now on, and let the probe go back."""
        found, name = self._found(post), post.sensor.name
        if found is None:
            before = await self._duty.answered(key)
            text = f"No check of {name} is running. Begin with: gatewayd calibrate {post.sensor.id}"
            return {"done": True, "text": before} if before else {"done": False, "error": text}
        if found.stage is not Stage.DONE or found.offset is None:
            return {"done": False, "error": f"The check of {name} is not done yet; nothing was stored."}
        now, sensor, offset = self._clock.now(), post.sensor.id, found.offset
        show = self._gateway.watch.house.units.show_difference
        text = f"{name}: {show(offset, 2)} is added to its readings from now on."
        facts = {
            "offset": offset,
            "was": post.offsets.get(Quantity.TEMPERATURE, 0.0),
            "mean": found.mean,
            "spread": found.spread,
        }
        done: list[Chore] = []
        row = Calibration(sensor, Quantity.TEMPERATURE, offset, now.wall, who)

        def work(conn: sqlite3.Connection) -> str:
            calibration.put(conn, row, now.boot)
            done[:] = [chore.add(conn, sensor, Kind.ICE_POINT, now.wall, who, facts)]
            return text

        try:
            await self._gateway.store.carry_out(work, now, key)
        except StoreTrouble as trouble:
            return {"done": False, "error": f"{trouble} Nothing was stored; the check can be kept later."}
        self._gateway.give(Calibrated(sensor, Quantity.TEMPERATURE, offset))
        if done:
            await self._duty.tell(done[0])
        await self._back(post, who)
        return {"done": True, "text": text, "offset_k": offset}

    async def _end(self, post: Post, who: str) -> Plain:
        if self._aside(post) is None:
            return {"done": False, "error": f"No check of {post.sensor.name} is running; nothing changed."}
        await self._back(post, who)
        return {"done": True, "text": f"The check of {post.sensor.name} is over; nothing was stored. Put it back now."}

    async def _back(self, post: Post, who: str) -> None:
        self._gateway.give(Aside(post.sensor.id, RETURN, who, returning=True))
        await self._quiet(post, who)

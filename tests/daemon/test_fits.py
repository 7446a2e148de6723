"""Fits in a thread of their own: the loop goes on, one that fails kills nothing, and the daemon stops in order."""

import asyncio
import logging
import threading
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.daemon import fits as module
from gatewayd.daemon.fits import AtOnce, Worker
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.run import Daemon
from gatewayd.door import ask
from gatewayd.model.given import Fitted, Given, Remark, SourceNews
from gatewayd.model.house import Freezer, House, Sensor
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.reading import Heard
from gatewayd.settings.typed import Settings, Storing
from gatewayd.thermal.computing import Wanted
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.picture import Picture
from gatewayd.watchdog import Watchdog

FAST = 240  # played seconds in a real one: a minute of the daemon is a quarter of a second of the test


def wanted(seed: int = 1) -> Wanted:
    """Return the inputs of a fit over half a day of cycles."""
    picture = Picture(Facts(), seed)
    for minute in range(720):
        picture.take(minute, -20 + 4 * abs((minute / 30) % 2 - 1))
    return picture.ask(720)


class FastClock(SystemClock):
    """The computer's clock, running fast."""

    def __init__(self) -> None:
        """Begin at the present."""
        super().__init__()
        self._begun = super().now()

    def now(self) -> Moment:
        """Return the begin and what has passed since, many times over."""
        return self._begun.later((super().now().steady - self._begun.steady) * FAST)

    async def sleep(self, ms: float) -> None:
        """Wait for less."""
        await super().sleep(ms / FAST)

    def synced(self) -> bool:
        """Return True: nobody sets it."""
        return True


async def until(condition: object, seconds: float = 20.0) -> None:
    """Wait until a condition holds."""
    async with asyncio.timeout(seconds):
        while not condition():  # type: ignore[operator]  # noqa: ASYNC110 - what it waits for is in other hands
            await asyncio.sleep(0.01)


async def test_newest_of_each_freezer(monkeypatch: pytest.MonkeyPatch) -> None:
    """While one fit runs, others wait; of the same freezer only the newest is computed, in another thread."""
    gate, done, given = threading.Event(), [], []

    def slow(wants: object) -> object:
        gate.wait(10)
        done.append((wants, threading.current_thread().name))
        return wants

    monkeypatch.setattr(module, "Wanted", str)
    monkeypatch.setattr(module, "compute", slow)
    worker = Worker(given.append)
    task = asyncio.create_task(worker.run())
    worker.want([("shed", "first")])
    await until(lambda: not worker._waiting)
    worker.want([("shed", "second"), ("porch", "third")])
    worker.want([("shed", "fourth")])
    gate.set()
    await until(lambda: len(given) == 3)
    task.cancel()

    assert [wants for wants, _ in done] == ["first", "third", "fourth"]
    assert {name for _, name in done} == {"fit_0"}
    assert given == [Fitted("shed", "first"), Fitted("porch", "third"), Fitted("shed", "fourth")]


async def test_failed_fit_is_a_remark(caplog: pytest.LogCaptureFixture) -> None:
    """A fit that fails is written down with its traceback and remarked on, and the next one is computed."""
    given: list[Given] = []
    worker = Worker(given.append)
    task = asyncio.create_task(worker.run())
    with caplog.at_level(logging.ERROR):
        worker.want([("shed", "nothing that can be fitted")])
        await until(lambda: len(given) == 2)
    worker.want([("shed", wanted())])
    await until(lambda: len(given) == 3)
    task.cancel()

    assert given[0] == Fitted("shed", None)
    assert isinstance(given[1], Remark)
    assert isinstance(given[2], Fitted)
    assert given[2].result is not None
    assert "Traceback" in caplog.text
    assert "str is nothing that can be fitted" in caplog.text


def test_at_once_is_the_same() -> None:
    """Where a clock is played the result is there at once, and the same inputs give the same answer."""
    given: list[Given] = []
    AtOnce(given.append).want([("shed", wanted()), ("porch", wanted())])

    assert [type(each) for each in given] == [Fitted, Fitted]
    first, second = (each.result.reserve for each in given)  # type: ignore[union-attr]
    assert first == second


@pytest.mark.slow  # a real daemon lives through some hours, quickly
async def test_daemon_fits_in_its_thread(tmp_path: Path) -> None:
    """A real daemon has a forecast of its freezer, recalls its past after a restart, and stops while a fit may run."""
    sensors = {"air": Sensor("air", "Probe", "home", "air/shed")}
    freezers = {"shed": Freezer("shed", "Shed", sensors=("air",))}
    house = House("heron-lane", "Heron Lane", freezers=freezers, sensors=sensors, sources={"home": "Home broker"})
    storing = Storing(tmp_path / "state" / "house.db")
    settings = Settings(house, {}, storing, tmp_path / "door", (), tmp_path / "house.yaml")
    clock = FastClock()
    for _ in range(2):
        daemon = Daemon(settings, lambda: settings, clock, Watchdog({}), tmp_path / "state")
        task = asyncio.create_task(daemon.run())
        await until(lambda d=daemon: hasattr(d, "_sources"))
        gateway = daemon._gateway
        gateway.give(SourceNews("home", up=True))
        begun = clock.now().steady

        def listen(gateway: Gateway = gateway, begun: int = begun) -> bool:
            gateway.hear(Heard("home", "air", b"-18", clock.now()), None)
            outlook = gateway.watch.pictures["shed"].outlook
            return outlook is not None and outlook.at.steady > begun  # that of the run before does not count

        await until(listen)
        course = gateway.watch.pictures["shed"].course
        names = {thread.name for thread in threading.enumerate()}
        before = begun // MINUTE - course.first
        told = await asyncio.to_thread(lambda: next(ask(settings.socket, {"ask": "forecast"})))
        daemon.stop.set()
        await task

        assert "fit_0" in names
        assert told["freezers"][0]["at"]
        assert clock.now().steady - begun < 3 * HOUR
    assert before > 0  # the second run knew what the first one had heard

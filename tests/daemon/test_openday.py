"""A played house that people may look at: what was done before, its pace, and orders while it plays."""

import asyncio
import random
from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.cli.demo import FIRST_DAY
from gatewayd.clock import SystemClock
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.openday import OpenDay, Overheard
from gatewayd.daemon.show import Pacing, Show, Told
from gatewayd.demo.before import BOXES, FROST, ICE, PACKAGES, deeds
from gatewayd.demo.house import ZONE, Aired, HeronLane
from gatewayd.demo.keeper import written
from gatewayd.demo.story import evening
from gatewayd.model.given import Order
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.settings.load import load
from gatewayd.settings.typed import Settings
from gatewayd.store.file import open_reader
from gatewayd.web.hearing import LASTS

REAL = 1 / 3600


def lane() -> HeronLane:
    """Return the house at its beginning, with the thermometer in its garden."""
    return HeronLane(random.Random(0), evening(FIRST_DAY, ZONE), garden=random.Random(0))


def settings(folder: Path) -> Settings:
    """Write and load the settings; the pages are not asked for."""
    text = written(lane().house(), "127.0.0.1:8470", "http://127.0.0.1:8470").partition("\npages:")[0]
    (folder / "gatewayd.yaml").write_text(text)
    return load([folder / "gatewayd.yaml"], env={}, state_dir=folder)


def quiet(_stamp: str, _text: str, _letter: object) -> None:
    """Show nothing."""


def furnished(folder: Path) -> tuple[list[tuple[object, ...]], list[Told]]:
    """Play an hour of the furnished house and return what its store holds of the time before, and what was told."""
    folder.mkdir()
    played = lane()
    show = Show(quiet, played.house(), played.start, folder, OpenDay(settings(folder), folder, deeds(), ICE))
    told = asyncio.run(show.play(played.play(played.start + HOUR), Pacing(pace=1000)))
    with closing(open_reader(folder / "house.db")) as conn:
        held = [
            tuple(conn.execute(f"SELECT * FROM {table}").fetchall())  # noqa: S608 - names of ours
            for table in ("box", "package", "frost", "chore", "calibration")
        ]
    return held, told


@pytest.mark.slow  # plays an hour twice through a real store
def test_house_is_furnished_alike_each_time(tmp_path: Path) -> None:
    """What was done before goes through the door into the store, the same on every run, and troubles nobody."""
    (first, told), (second, _) = furnished(tmp_path / "a"), furnished(tmp_path / "b")
    boxes, packages, frost, chores, checks = first

    assert first == second
    assert told == []  # nothing of it is worth a message
    assert (len(boxes), len(packages), len(frost)) == (len(BOXES), len(PACKAGES), len(FROST))
    assert chores
    assert [check[3] for check in checks] == [-200]  # mK


class Caller:
    """Order something as soon as people are let in."""

    before = 0

    def __init__(self) -> None:
        """Have no answer yet."""
        self.took: float | None = None
        self._task: asyncio.Task[None] | None = None

    async def furnish(self, gateway: Gateway, clock: object) -> None:
        """Do nothing."""

    def open(self, show: Show, gateway: Gateway) -> None:
        """Order."""

        async def order() -> None:
            own = SystemClock()
            began = own.now().steady
            await gateway.order(Order("at the freezer", who="ann", subject="porch-chest", span=MINUTE))
            self.took = (own.now().steady - began) / SECOND

        self._task = asyncio.create_task(order())

    def overhear(self, source: str, topic: str, payload: bytes) -> None:
        """Hear nothing."""

    def line(self, notice: object) -> str:
        """Say nothing."""
        return ""

    async def close(self) -> None:
        """End."""
        assert self._task is not None
        await self._task


@pytest.mark.slow  # lives for half a second as slow as life
async def test_order_is_answered_at_once_however_slow_the_house(tmp_path: Path) -> None:
    """A house that is played as slow as life keeps to that pace, and answers an order between two readings."""
    played, caller, own = lane(), Caller(), SystemClock()
    show = Show(quiet, played.house(), played.start, tmp_path, caller)
    began = own.now().steady
    ahead = HOUR + 45 * SECOND
    await show.play(
        played.play(), Pacing(REAL, ahead, left=lambda: show.clock.now().wall >= played.start + ahead + 300)
    )
    lived = own.now().steady - began

    assert caller.took is not None
    assert caller.took < 0.5  # a slow disk; between two readings lie 3 s
    assert lived < 20 * SECOND  # the hour before was played fast


async def test_overheard_is_what_came_while_somebody_listened() -> None:
    """Nothing is kept while nobody listens; then strangers and known probes are, and a thermometer is understood."""
    heard = Overheard()
    aired = next(what for _, what in lane().play() if isinstance(what, Aired))
    heard.hear(aired.source, aired.topic, aired.payload)
    before = heard.nearby.find(aired.topic)
    heard.begin()
    heard.hear(aired.source, aired.topic, aired.payload)
    found = heard.nearby.find(aired.topic)

    assert before is None
    assert found is not None
    assert heard.until is not None
    assert 0 < heard.until - heard.now().steady <= LASTS

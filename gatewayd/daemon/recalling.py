"""Give the watch the stored past of its freezers' temperatures, once after a start, when the clock can be trusted."""

import asyncio
import logging
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.model.given import Recalled
from gatewayd.model.house import House
from gatewayd.model.moment import MINUTE
from gatewayd.store import read
from gatewayd.store.file import open_reader
from gatewayd.store.trouble import StoreTrouble
from gatewayd.thermal.course import MINUTES

log = logging.getLogger(__name__)

Past = Mapping[str, Sequence[tuple[int, float]]]


async def recall(gateway: Gateway, clock: Clock) -> None:
    """Wait until the watch asks for its past, and give it, for ever."""
    while True:
        await gateway.recalling.wait()
        gateway.recalling.clear()
        await gateway.commit()  # stamps of a clock that was set later are put right with the commit
        for sensors in wanted(gateway.watch.house):  # a freezer at a time, so that nobody waits for all of them
            try:
                past = await asyncio.to_thread(look_up, gateway.store.path, clock.now().wall, sensors)
            except (StoreTrouble, sqlite3.Error, OSError) as trouble:
                log.warning("the stored past could not be read (%s); forecasts begin anew from what is heard", trouble)
                break
            if past:
                gateway.give(Recalled(past))


def wanted(house: House) -> list[list[str]]:
    """Return the thermometers of each watched freezer, with that of its room."""
    return [
        [*freezer.sensors, *([freezer.room] if freezer.room in house.sensors else [])]
        for freezer in house.freezers.values()
        if freezer.sensors
    ]


def look_up(path: Path, now: int, sensors: Sequence[str]) -> Past:
    """Return what these sensors measured in the days before `now` (wall ms), as minutes. Raise StoreTrouble."""
    with closing(open_reader(path)) as conn:
        return {sensor: read.minutes(conn, sensor, now - MINUTES * MINUTE, now) for sensor in sensors}

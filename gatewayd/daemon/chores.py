"""What the daemon does by the clock: the hourly tidying of the store and its nightly copy."""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta, tzinfo

from gatewayd.clock import Clock
from gatewayd.model.moment import HOUR, MINUTE, Moment, from_wall
from gatewayd.settings.typed import Storing
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble

log = logging.getLogger(__name__)

Ail = Callable[[StoreTrouble], None]


def until_copy(now: Moment, minutes: int, zone: tzinfo) -> int:
    """Return in how many ms it is `minutes` after local midnight; on the night a clock change skips it, just after."""
    here = from_wall(now.wall).astimezone(zone)
    day = here.date()
    while True:
        when = datetime(day.year, day.month, day.day, *divmod(minutes, 60), tzinfo=zone)
        wait = round((when - here).total_seconds() * 1000)
        if wait > 0:
            return wait
        day += timedelta(days=1)


async def tidy(store: Store, storing: Storing, clock: Clock, ail: Ail) -> None:
    """Tidy the store every hour, for ever. What fails is tried at the next hour; nothing is lost by waiting.

    `ail` hears of every trouble, for a damaged file is not mended by waiting.
    """
    while True:
        await clock.sleep(HOUR)
        try:
            await store.tidy(clock.now(), storing.keep_raw)
        except StoreTrouble as trouble:
            log.warning("the store could not be tidied: %s", trouble)
            ail(trouble)


async def copy_nightly(store: Store, storing: Storing, clock: Clock, zone: tzinfo, ail: Ail) -> None:
    """Every night at the wished time read the whole store for damage and copy it, for ever.

    Damage lies unseen in old readings until somebody looks; found the same night, all older copies are still good.
    """
    while True:
        # in steps, so that a clock that is set does not make us miss the night
        while (wait := until_copy(clock.now(), storing.nightly_copy_at, zone)) > HOUR:
            await clock.sleep(HOUR - MINUTE)
        await clock.sleep(wait)
        try:
            await store.examine()
            if not storing.copies:
                continue
            path = await store.copy(storing.path.parent / "copies", clock.now(), storing.copies)
        except StoreTrouble as trouble:
            log.warning("the nightly copy could not be made: %s", trouble)
            ail(trouble)
        else:
            log.info("nightly copy: %s", path)
        await clock.sleep(MINUTE)

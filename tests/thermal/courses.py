"""Courses of freezers for the tests of thermal/: plain shapes, no physics."""

from collections.abc import Iterable, Iterator
from math import exp

from gatewayd.model.moment import MINUTE, Moment
from gatewayd.thermal.computing import compute
from gatewayd.thermal.picture import Picture

DAY = 1440  # min


def at(minute: int, boot: str = "one", wall: int = 30_000_000) -> Moment:
    """Return the moment of a slot; `wall` is the wall minute of slot 0."""
    return Moment((wall + minute) * MINUTE, minute * MINUTE, boot)


def running(minutes: int, level: float = -18.5, period: int = 70, swing: float = 1.5) -> Iterator[float]:
    """Yield a compressor's saw-tooth, a value each minute: it rises for two thirds of the period, then falls."""
    rest = period * 2 // 3
    for minute in range(minutes):
        place = minute % period
        share = place / rest if place < rest else 1 - (place - rest) / (period - rest)
        yield level + swing * (2 * share - 1)


def stopped(minutes: int, base: float = -20.0) -> Iterator[float]:
    """Yield the air of a freezer without cooling from its low on."""
    for minute in range(minutes):
        yield base + 8 * (1 - exp(-minute / 120)) + minute / 60 * 0.3


def play(
    picture: Picture,
    values: Iterable[float | None],
    minute: int,
    *,
    fits: bool = True,
    wall: int = 30_000_000,
    boot: str = "one",
) -> int:
    """Give a picture a value each minute from slot `minute` on, compute what it wants; return the next slot."""
    for value in values:
        if value is not None:
            picture.take(minute, value)
        minute += 1
        now = at(minute, boot, wall)
        picture.look(now)
        wanted = picture.wanted(now) if fits else None
        if wanted is not None:
            picture.fitted(compute(wanted), now)
    return minute

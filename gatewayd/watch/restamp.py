"""Shift the wall stamps that the watch holds, after the clock was set right. Steady times do not move."""

from collections.abc import Iterable
from typing import Protocol

from gatewayd.alarm.dark import Dark
from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.limit import Limit
from gatewayd.alarm.source import Link
from gatewayd.model.effect import Restamp
from gatewayd.model.moment import Moment


class Holds(Protocol):
    """Hold stamps; the watch does."""

    alarms: Alarms
    judges: dict[str, Judge]
    links: dict[str, Link]
    dark: Dark | None
    since: Moment


def shift(watch: Holds, by: Restamp) -> None:
    """Shift every stamp of `by.boot` between `by.first` and `by.last` (wall ms) by `by.delta` ms."""

    def moved(moment: Moment | None) -> Moment | None:
        if moment is None or moment.boot != by.boot or not by.first <= moment.wall <= by.last:
            return moment
        return Moment(moment.wall + by.delta, moment.steady, moment.boot)

    for alarm in watch.alarms.all.values():
        alarm.began, alarm.raised = moved(alarm.began), moved(alarm.raised)
        alarm.over, alarm.acknowledged_at = moved(alarm.over), moved(alarm.acknowledged_at)
    for limit in _limits(watch.judges.values()):
        limit.began, limit.warmest_at, limit.cleared = moved(limit.began), moved(limit.warmest_at), moved(limit.cleared)
    for link in watch.links.values():
        link.since = moved(link.since) or link.since
    if watch.dark is not None:
        watch.dark.back = moved(watch.dark.back) or watch.dark.back
    watch.since = moved(watch.since) or watch.since


def _limits(judges: Iterable[Judge]) -> Iterable[Limit]:
    for judge in judges:
        yield from (judge.high, judge.highhigh)

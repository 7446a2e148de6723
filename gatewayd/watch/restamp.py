"""Shift the wall stamps that the watch holds, after the clock was set right. Steady times do not move."""

from collections.abc import Callable, Iterable
from typing import Protocol

from gatewayd.alarm.dark import Dark
from gatewayd.alarm.engine import Alarms
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.lid import Lid
from gatewayd.alarm.limit import Limit
from gatewayd.alarm.mains import Mains
from gatewayd.alarm.neighbour import Pulse
from gatewayd.alarm.source import Link
from gatewayd.message.teller import Teller
from gatewayd.model.effect import Restamp
from gatewayd.model.moment import Moment
from gatewayd.watch.session import Session
from gatewayd.watch.trial import SwitchOff

Shift = Callable[[Moment | None], Moment | None]


class Holds(Protocol):
    """Hold stamps; the watch does."""

    alarms: Alarms
    judges: dict[str, Judge]
    links: dict[str, Link]
    pulses: dict[str, Pulse]
    lids: dict[str, Lid]
    mains: Mains
    teller: Teller
    dark: Dark | None
    since: Moment
    tests: dict[str, SwitchOff]
    defrosts: dict[str, Session]


def shift(watch: Holds, by: Restamp) -> None:
    """Shift every stamp of `by.boot` between `by.first` and `by.last` (wall ms) by `by.delta` ms."""

    def moved(moment: Moment | None) -> Moment | None:
        if moment is None or moment.boot != by.boot or not by.first <= moment.wall <= by.last:
            return moment
        return Moment(moment.wall + by.delta, moment.steady, moment.boot)

    def later(moment: Moment | None) -> Moment | None:
        """Shift an end that lies ahead, whatever its stamp: it was counted from the wrong clock."""
        if moment is None or moment.boot != by.boot:
            return moment
        return Moment(moment.wall + by.delta, moment.steady, moment.boot)

    for alarm in watch.alarms.all.values():
        alarm.began, alarm.raised = moved(alarm.began), moved(alarm.raised)
        alarm.over, alarm.acknowledged_at = moved(alarm.over), moved(alarm.acknowledged_at)
        alarm.again_from, alarm.shelved_until = moved(alarm.again_from), later(alarm.shelved_until)
    _shift_waits(watch, moved, later)
    for limit in _limits(watch.judges.values()):
        limit.began, limit.warmest_at, limit.cleared = moved(limit.began), moved(limit.warmest_at), moved(limit.cleared)
    for line in watch.mains.lines.values():
        line.since = moved(line.since)
    for meter in watch.mains.meters.values():
        meter.last, meter.idle = moved(meter.last), moved(meter.idle)
    watch.mains.orphans = {who: moved(since) or since for who, since in watch.mains.orphans.items()}
    for link in watch.links.values():
        link.since = moved(link.since) or link.since
    for call in watch.teller.calls.calls.values():
        call.stepped = moved(call.stepped) or call.stepped
        call.round = {who: moved(then) or then for who, then in call.round.items()}
    if watch.dark is not None:
        watch.dark.back = moved(watch.dark.back) or watch.dark.back
    watch.since = moved(watch.since) or watch.since


def _shift_waits(watch: Holds, moved: Shift, later: Shift) -> None:
    """Shift what somebody or something is waited for."""
    for pulse in watch.pulses.values():
        pulse.last, pulse.gone = moved(pulse.last) or pulse.last, moved(pulse.gone)
    for lid in watch.lids.values():
        lid.opened, lid.shut = moved(lid.opened), moved(lid.shut)
    for test in watch.tests.values():
        test.began, test.until = moved(test.began) or test.began, later(test.until) or test.until
        test.ended = moved(test.ended)
    for session in watch.defrosts.values():
        session.until, session.limit = later(session.until) or session.until, later(session.limit) or session.limit
        session.began, session.asked = moved(session.began) or session.began, moved(session.asked)
        session.out, session.back, session.ended = moved(session.out), moved(session.back), moved(session.ended)


def _limits(judges: Iterable[Judge]) -> Iterable[Limit]:
    for judge in judges:
        yield from (judge.high, judge.highhigh)

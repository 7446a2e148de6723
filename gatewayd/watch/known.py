"""All that the watch knows, and how an event leaves it: written down, told of, and its next deadline armed."""

import heapq
from collections.abc import Mapping
from dataclasses import dataclass

from gatewayd.alarm.dark import Dark
from gatewayd.alarm.engine import Alarm, Alarms
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import KINDS
from gatewayd.alarm.lid import Lid
from gatewayd.alarm.mains import Mains
from gatewayd.alarm.neighbour import Pulse
from gatewayd.alarm.source import Link
from gatewayd.alarm.table import Shelf
from gatewayd.message.teller import Teller, Told
from gatewayd.model.contents import Contents
from gatewayd.model.effect import Effects
from gatewayd.model.event import Event
from gatewayd.model.given import Chored
from gatewayd.model.house import House
from gatewayd.model.moment import Moment
from gatewayd.model.outlook import Outlook
from gatewayd.model.priority import Priority
from gatewayd.thermal.picture import Picture
from gatewayd.watch.post import Post
from gatewayd.watch.session import Session
from gatewayd.watch.trial import SwitchOff
from gatewayd.watch.weeks import Weeks


@dataclass(frozen=True, slots=True)
class Pace:
    """Say how often a fit may be asked for (ms): while the freezer warms, and else. 0 is as often as is wanted."""

    warming: int = 0
    calm: int = 0


class Known:
    """Hold what is known, the timers, and what follows from the step that runs.

    A timer is a deadline in steady time on a lazy heap: what was armed for nothing finds nothing to do. What is due at
    the same moment is done in the order of its name, so that a restart changes no order.
    """

    def __init__(self, house: House, now: Moment, *, pictured: bool = True) -> None:
        """Begin with nothing known; `pictured` says whether it is to be seen what the temperatures mean."""
        self.house = house
        self.alarms = Alarms(self._write)
        self.teller = Teller(house)
        self.posts: dict[str, Post] = {}
        self.judges: dict[str, Judge] = {}
        self.links: dict[str, Link] = {}
        self.lids: dict[str, Lid] = {}
        self.pulses: dict[str, Pulse] = {}
        self.mains = Mains(house.id)
        self.pictured = pictured
        self.pictures: dict[str, Picture] = {}
        self.rooms: dict[str, list[str]] = {}  # a thermometer of a room -> the freezers that stand there
        self.stocked: Mapping[str, Contents] = {}  # what the stock's list has of a freezer (kg by group)
        self.pace: Pace | None = None  # how often fits may be asked for; None: nobody is there to compute them
        self.asked: dict[str, int] = {}  # when a fit of a freezer was last asked for (steady ms)
        self.remarked: dict[str, int] = {}  # "kind freezer" -> when that was last noted (wall ms)
        self.stopped: tuple[int, list[tuple[str, Moment]]] = (-1, [])  # as of a minute: who no longer cools, since when
        self.recalled = False  # whether the stored past was asked for in this run
        self.carried: dict[str, Outlook] = {}  # the last forecasts of the run before, until they are put to use
        self.tests: dict[str, SwitchOff] = {}
        self.defrosts: dict[str, Session] = {}
        self.thawed: dict[str, tuple[int, int]] = {}  # the last defrost of each freezer: from and until (wall ms)
        self.weeks = Weeks(now.wall)
        self.chored: Chored | None = None  # what was done; None: nobody has said yet, and then nothing is due
        self.dark: Dark | None = None
        self.orderly: bool | None = None  # whether the run before was stopped by order
        self.leaving = False  # this one is being stopped by order
        self.trusted = True
        self.unset: Moment | None = None  # since when nothing keeps the wall clock right
        self.since = now
        self._now = now
        self._out = Effects()
        self._heap: list[tuple[int, str, str]] = []
        self._ring: int | None = None  # when the teller was last armed for

    def next_wake(self) -> int | None:
        """Return the steady time (ms) of the next deadline, None if there is none."""
        return self._heap[0][0] if self._heap else None

    def _arm(self, due: int, what: str, who: str) -> None:
        # a deadline that a change of the settings moved into the past is due now; it is no sign of having overslept
        heapq.heappush(self._heap, (max(due, self._now.steady), what, who))

    def _standing(self, subject: str, kind: str) -> bool:
        alarm = self.alarms.all.get((subject, kind))
        return alarm is not None and alarm.standing

    # -- what leaves ---------------------------------------------------------------------------------------

    def _write(self, event: Event) -> None:
        self._out.events.append(event)
        kind = KINDS.get(event.kind)
        self._tell(self.teller.hear(event, kind is not None and kind.asks, self._standing), event.at)
        alarm = self.alarms.all.get((event.subject, event.kind))
        if alarm is not None:
            self._arm_alarm(alarm)

    def _tell(self, told: Told, now: Moment) -> None:
        self._out.notices += told.notices
        self._out.decisions += told.decisions
        wake = self.teller.next_wake(now)
        if wake is not None and wake != self._ring:
            self._ring = wake
            self._arm(wake, "tell", "")

    def _arm_alarm(self, alarm: Alarm) -> None:
        who = f"{alarm.subject} {alarm.kind}"
        due = self._again_at(alarm)
        if due is not None:
            self._arm(due, "again", who)
        if alarm.shelf is not Shelf.NONE and alarm.shelved_until is not None:
            self._arm(alarm.shelved_until.steady, "shelf", who)

    def _again_at(self, alarm: Alarm) -> int | None:
        """Return when an alarm is told again (steady ms), None for one that is not."""
        kind = KINDS[alarm.kind]
        if not (alarm.standing and kind.asks and kind.again and alarm.again_from) or alarm.hidden:
            return None
        telling = self.house.telling
        again = telling.again_high if alarm.priority is Priority.HIGH else telling.again_medium
        return alarm.again_from.steady + again

    def _alarm(self, who: str) -> Alarm | None:
        subject, kind = who.split(" ")
        return self.alarms.all.get((subject, kind))

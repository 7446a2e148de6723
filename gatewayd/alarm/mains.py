"""Judge the mains: by a sensor, a meter in a plug, the gateway's own supply, or all freezers of a place at once.

It is the parent of what follows from it: while it stands, the alarms of the freezers it covers are suppressed, up to
High High, which never is.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import Enum

from gatewayd.alarm.engine import Alarm, Alarms
from gatewayd.alarm.kinds import CHATTERING, HIGH, MAINS_OUT, RISING, UNWATCHED, WARM_LONG
from gatewayd.alarm.meter import IDLE, Meter
from gatewayd.model.event import Fact
from gatewayd.model.moment import HOUR, MINUTE, Moment, between

CHILDREN = (HIGH, RISING, WARM_LONG, CHATTERING, UNWATCHED)
OUT_AFTER = 2 * MINUTE  # the network switches over and reclosers try again within seconds to a minute; our choice
BACK_AFTER = MINUTE  # power that comes back often fails again at once, under the load of all that starts
# A freezer that ran when the power failed turns at once, one that rested turned when its rest began. A household
# freezer runs for about a third of its time, in periods of up to an hour: rests of up to 40 min, and some slack.
TOGETHER = 45 * MINUTE
RELEARN = 2 * HOUR  # after a dark spell: until a freezer that still warms is known to, as long as its longest rest


class How(Enum):
    """Name how an outage is known, the surest first."""

    HOST = "host"
    SENSOR = "sensor"
    POWER = "power"
    INFERRED = "inferred"


@dataclass(frozen=True, slots=True)
class Sign:
    """Say what one freezer's air shows: since when it warms (None while it does not), whether that is sure to be more
    than a rest, and since when it truly cools (None: it does not), which no noise and no look under the lid can feign.

    A slow thaw is neither always sure nor cooling.
    """

    place: str
    turned: Moment | None
    sure: bool
    cools: Moment | None


@dataclass(slots=True)
class Line:
    """Hold one way to know of the mains: whether it is on, `since` when (None: not known any more), and what it covers.

    `subject` is whose alarm it moves. `out` says that its delay is over and it counts as out. Empty `covers` of the
    gateway's own supply mean every freezer.
    """

    subject: str
    how: How
    covers: tuple[str, ...]
    place: str
    on: bool
    since: Moment | None
    out: bool = False


@dataclass(slots=True)
class Mains:
    """Hold all that is known of one house's mains.

    `lines` goes by a word for the way and the id of the sensor or place. `freezers` are the ids of those watched.
    `hiding` says that children are suppressed now, `parents` names those that ever suppressed one. `hold` (steady ms)
    is until when what was inferred is not taken back (below 0: counted from the next reading), `orphans` since when an
    alarm stands that nothing speaks for.
    """

    house: str
    freezers: tuple[str, ...] = ()
    lines: dict[str, Line] = field(default_factory=dict)
    meters: dict[str, Meter] = field(default_factory=dict)
    hiding: bool = False
    parents: list[str] = field(default_factory=list)
    hold: int = 0
    orphans: dict[str, Moment] = field(default_factory=dict)

    # -- news ----------------------------------------------------------------------------------------------

    def sensor(self, sensor: str, covers: tuple[str, ...], place: str, on: bool, now: Moment) -> None:  # noqa: FBT001 - the state itself
        """Take what a sensor of the mains says; `covers` are the ids of the freezers it speaks for."""
        self._news(f"sensor {sensor}", Line(sensor, How.SENSOR, covers, place, on, now), now)

    def host(self, on: bool, now: Moment) -> None:  # noqa: FBT001 - the state itself
        """Take what the gateway's own supply says; it speaks for every freezer."""
        self._news("host", Line(self.house, How.HOST, (), "", on, now), now)

    def power(self, sensor: str, freezer: str, watts: float, now: Moment) -> None:
        """Take what a freezer's plug draws (W)."""
        key = f"power {sensor}"
        line = self.lines.get(key)
        out = line is not None and line.out
        meter = self.meters.get(sensor) or Meter(freezer)
        self.meters[sensor], meter.freezer = meter, freezer
        meter.take(watts, now, learn=not out)
        if watts >= IDLE or out:
            self._news(key, Line(sensor, How.POWER, (freezer,), "", watts >= IDLE, now), now)
        elif line is None:  # at rest, as far as is known
            self.lines[key] = Line(sensor, How.POWER, (freezer,), "", True, None)

    def _news(self, key: str, said: Line, now: Moment) -> None:
        line = self.lines.setdefault(key, said)
        if line.on != said.on or line.since is None:
            line.on, line.since = said.on, now
        line.covers, line.place = said.covers, said.place

    # -- turns ---------------------------------------------------------------------------------------------

    def due(self, alarms: Alarms) -> int | None:
        """Return the steady time (ms) of the next turn, None if there is nothing to wait for."""
        dues = [self._line_due(line, alarms) for line in self.lines.values()]
        dues += [self._meter_due(sensor) for sensor in self.meters]
        return min((due for due in dues if due is not None), default=None)

    def _line_due(self, line: Line, alarms: Alarms) -> int | None:
        if line.how is How.INFERRED or line.since is None:
            return None
        if line.on:
            ending = line.out or (self._stands(line.subject, alarms) and not self._out(line.subject))
            return line.since.steady + BACK_AFTER if ending else None
        return None if line.out or line.how is How.POWER else line.since.steady + OUT_AFTER

    def _meter_due(self, sensor: str) -> int | None:
        line = self.lines.get(f"power {sensor}")
        return None if line is None or line.out else self.meters[sensor].due()

    def turn(self, now: Moment, alarms: Alarms) -> None:
        """Raise or clear what is due."""
        for line in list(self.lines.values()):
            due = self._line_due(line, alarms)
            if due is not None and due <= now.steady:
                line.out = not line.on
                self._settle(line, now, alarms)
                if line.on:
                    self._follow_back(line, now, alarms)
        for sensor, meter in self.meters.items():
            due = self._meter_due(sensor)
            if due is not None and due <= now.steady:
                line = self.lines[f"power {sensor}"]
                line.on, line.since, line.out = False, meter.idle, True
                self._settle(line, now, alarms)

    def _follow_back(self, line: Line, now: Moment, alarms: Alarms) -> None:
        """Take back what was inferred of the freezers for which a surer word says that the power is back."""
        for key, other in list(self.lines.items()):
            if other.how is How.INFERRED and set(other.covers) <= set(self._covers(line)):
                del self.lines[key]
                other.since = line.since
                self._settle(other, now, alarms)

    # -- by the freezers -----------------------------------------------------------------------------------

    @property
    def inferring(self) -> bool:
        """Return whether an outage stands that only the freezers tell of."""
        return any(line.how is How.INFERRED for line in self.lines.values())

    def turning(self, signs: Mapping[str, Sign], now: Moment, alarms: Alarms) -> None:
        """Judge by the signs of the watched freezers.

        All of one place at once, two at least, have lost the power and not each its compressor; so have all of the
        house, which is the widest place.
        """
        if self.hold < 0:
            self.hold = now.steady + RELEARN
        for place, ids in _places(signs).items():
            key = f"inferred {place}"
            line = self.lines.get(key)
            if line is not None:
                if now.steady >= self.hold:
                    self._cooling(key, line, signs, now, alarms)
                continue
            turned = [moment for who in ids if (moment := signs[who].turned) is not None and signs[who].sure]
            if len(turned) < len(ids) or len(ids) < 2 or self._known(ids):
                continue
            first, last = turned[0], turned[0]
            for moment in turned:
                first = moment if between(moment, first) > 0 else first
                last = moment if between(last, moment) > 0 else last
            if between(first, last) <= TOGETHER:  # the power failed after the last of them still ran
                self.lines[key] = line = Line(self.house, How.INFERRED, tuple(ids), place, False, last, True)
                self._settle(line, now, alarms)
        gone = [key for key, line in self.lines.items() if line.how is How.INFERRED and key[9:] not in _places(signs)]
        for key in gone:
            self._end(key, now, alarms)

    def _known(self, ids: Iterable[str]) -> bool:
        """Return whether it is said already that all these freezers have no power."""
        covered = {f for line in self.lines.values() if line.out for f in self._covers(line)}
        return set(ids) <= covered

    def _cooling(
        self,
        key: str,
        line: Line,
        signs: Mapping[str, Sign],
        now: Moment,
        alarms: Alarms,
    ) -> None:
        members = [signs[who] for who in line.covers if who in signs]
        cool = [sign.cools for sign in members if sign.cools is not None]
        if cool or not members:
            line.on, line.since = True, min(cool, key=lambda each: each.steady, default=now)
            self._end(key, now, alarms)

    def _end(self, key: str, now: Moment, alarms: Alarms) -> None:
        line = self.lines.pop(key)
        line.since = line.since if line.on else now
        self._settle(line, now, alarms)

    # -- the alarm -----------------------------------------------------------------------------------------

    def _settle(self, line: Line, now: Moment, alarms: Alarms) -> None:
        """Fit the alarm of a line's subject to what is out now, and the children to it."""
        alarm = alarms.get(line.subject, MAINS_OUT)
        out = self._out(line.subject)
        began = min((each.since for each in out if each.since), key=lambda each: each.steady, default=now)
        if out and not alarm.standing:
            alarms.raise_(alarm, now, began, self._facts(out, began, now))
        elif out:
            self._more(alarm, out, now, alarms)
        elif alarm.standing:
            began, ended = alarm.began or now, line.since or now
            covers, place, how = (alarm.facts.get(name) for name in ("covers", "place", "how"))
            alarms.clear(
                alarm,
                now,
                {
                    "since": began.wall,
                    "lasted": max(0, between(began, ended)),
                    "covers": covers,
                    "place": place,
                    "how": how,
                },
            )
        self.suppress(alarms, now)

    def _more(self, alarm: Alarm, out: list[Line], now: Moment, alarms: Alarms) -> None:
        """Tell anew of an outage that has grown: nobody else speaks for the freezers that came to it."""
        before = set(_ids(alarm))
        began = alarm.began or now
        facts = self._facts(out, began, now)
        alarm.facts.update(facts)
        if set(_ids(alarm)) - before:
            alarms.re_alarm(alarm, now, facts)

    def _facts(self, out: list[Line], began: Moment, now: Moment) -> dict[str, Fact]:
        surest = min(out, key=lambda line: list(How).index(line.how))
        covers = dict.fromkeys(f for line in out for f in self._covers(line))
        places = dict.fromkeys(line.place for line in out)
        facts: dict[str, Fact] = {
            "since": began.wall,
            "lasted": max(0, between(began, now)),
            "covers": ",".join(covers),
            "place": "" if "" in places else ", ".join(places),
            "how": surest.how.value,
        }
        if surest.how is How.POWER:
            facts["draws"] = True
        return facts

    def _covers(self, line: Line) -> tuple[str, ...]:
        return self.freezers if line.how is How.HOST else line.covers

    def _out(self, subject: str) -> list[Line]:
        return [line for line in self.lines.values() if line.subject == subject and line.out]

    @staticmethod
    def _stands(subject: str, alarms: Alarms) -> bool:
        alarm = alarms.all.get((subject, MAINS_OUT.name))
        return alarm is not None and alarm.standing

    def suppress(self, alarms: Alarms, now: Moment) -> None:
        """Suppress the children of what stands, and show those again for which no parent stands any more.

        Children are suppressed before they are raised, so that a later raise is hidden as well. One that clears is
        shown again by the engine; so this is to be called after a clear while `hiding`.
        """
        outages = [a for a in alarms.all.values() if a.kind == MAINS_OUT.name and a.occurrence]
        # one that is suppressed itself (its plug was pulled for a test) can speak for nobody
        standing = [a for a in outages if a.standing and not a.out_of_service and not a.suppressed]
        by: dict[str, list[str]] = {}
        for parent in sorted(standing, key=lambda a: a.first):
            for freezer in _ids(parent):
                if freezer in self.freezers or not self.freezers:
                    by.setdefault(freezer, []).append(parent.subject)
        self.parents += [p.subject for p in outages if p.subject not in self.parents]
        names = {kind.name for kind in CHILDREN}
        for alarm in list(alarms.all.values()):
            ours = alarm.suppressed and alarm.kind in names and alarm.suppressed_by in self.parents
            if ours and alarm.subject not in by:
                alarms.unsuppress(alarm, now)
        for freezer, parents in by.items():
            for kind in CHILDREN:
                child = alarms.get(freezer, kind)
                gone = child.suppressed_by in self.parents and child.suppressed_by not in parents
                if not child.suppressed or gone:
                    alarms.suppress(child, now, parents[0])
        self.hiding = bool(by)

    # -- changes -------------------------------------------------------------------------------------------

    def fit(self, freezers: Iterable[str], sensors: Iterable[str]) -> None:
        """Fit to the settings: the ids of the watched freezers, and of all sensors. Events come with the next look."""
        self.freezers = tuple(freezers)
        known = {*sensors, self.house}
        self.lines = {key: line for key, line in self.lines.items() if line.subject in known}
        self.meters = {key: meter for key, meter in self.meters.items() if key in known}

    def look(self, now: Moment, alarms: Alarms) -> None:
        """Tidy up, now and then: fit the alarms to what is covered, end those of the house that nothing speaks for."""
        for line in list(self.lines.values()):
            if line.out and self._stands(line.subject, alarms):
                self._settle(line, now, alarms)
        if not self._stands(self.house, alarms) or self._out(self.house):
            self.orphans.clear()
        elif (since := self.orphans.setdefault(self.house, now)) and between(since, now) >= RELEARN:
            self._settle(Line(self.house, How.INFERRED, (), "", True, now), now, alarms)
            self.orphans.clear()
        self.suppress(alarms, now)

    def dark(self, now: Moment) -> None:
        """Begin anew after nobody looked: delays start again, and what was inferred waits until it can be known."""
        self.forget_steady()
        self.hold = now.steady + RELEARN
        host = self.lines.get("host")
        if host is not None:
            host.since = now  # it speaks only of changes; a sensor's state is what its next message says

    def forget_steady(self) -> None:
        """Forget what counts on the steady time of another boot; what is out stays out until it is said to be on."""
        self.lines = {key: line for key, line in self.lines.items() if line.out or key == "host"}
        for line in self.lines.values():
            line.since = None
            line.on = line.on and not line.out
        for meter in self.meters.values():
            meter.forget_steady()
        self.hold = -1
        self.orphans.clear()


def _places(signs: Mapping[str, Sign]) -> dict[str, list[str]]:
    """Return the freezers by place, and all of the house by an empty one."""
    found: dict[str, list[str]] = {}
    for who, sign in signs.items():
        if sign.place:
            found.setdefault(sign.place, []).append(who)
    return found | {"": list(signs)}


def _ids(alarm: Alarm) -> list[str]:
    covers = alarm.facts.get("covers")
    return [each for each in covers.split(",") if each] if isinstance(covers, str) else []

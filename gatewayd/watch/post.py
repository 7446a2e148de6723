"""A post: what the watch knows of one sensor."""

from dataclasses import dataclass, field

from gatewayd.alarm.engine import Alarm, Alarms
from gatewayd.alarm.fault import Fault
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import BATTERY, WEAK_SIGNAL, Kind
from gatewayd.alarm.life import Life
from gatewayd.alarm.source import Link
from gatewayd.decode.frame import Opener
from gatewayd.decode.plausible import Trail
from gatewayd.model.house import House, Sensor
from gatewayd.model.moment import DAY, MINUTE, Moment, between
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Decoded, Heard, Quantity, Reading, Value
from gatewayd.upkeep.ailing import Finding
from gatewayd.upkeep.ailing import Turn as Change
from gatewayd.upkeep.battery import Battery
from gatewayd.upkeep.health import Health
from gatewayd.watch.aside import SetAside

STAMP_OLD = 15 * MINUTE  # a sensor's own stamp older than this was queued on the way; most report every few minutes
STAMP_AHEAD = 2 * MINUTE  # a sensor's clock ahead by more than this is wrong, and its stamps are not used


@dataclass(slots=True)
class Post:
    """Hold one sensor's life, trail of values, health and newest readings.

    `kept` and `kept_late` are the numbers of the last spans of `keep_every` that have their row. `armed` is the steady
    time (ms) of the deadline of its silence that counts. `value` is the last raw temperature and `changed` the steady
    time (ms) at which it last moved. `stamp` is the sensor's own last stamp, `counter` the last one of its frames.
    `ailing` says that a silent or stuck alarm of it stands; `opener` opens encrypted frames. `judge` is that of the
    freezer whose thermometer it is, `owner` that of the freezer it belongs to at all.
    """

    sensor: Sensor
    life: Life
    judge: Judge | None = None
    trail: Trail = field(default_factory=Trail)
    health: Health = field(default_factory=Health)
    newest: dict[Quantity, Reading] = field(default_factory=dict)
    retained: Reading | None = None
    offsets: dict[Quantity, float] = field(default_factory=dict)
    kept: dict[Quantity, int] = field(default_factory=dict)
    kept_late: dict[Quantity, int] = field(default_factory=dict)
    value: float | None = None
    changed: int = 0
    armed: int = 0
    stamp: int | None = None
    ailing: bool = False
    counter: int | None = None
    opener: Opener | None = None
    battery: Battery = field(default_factory=Battery)
    owner: Judge | None = None
    fault: Fault = field(init=False)
    measures: Quantity = Quantity.TEMPERATURE
    aside: SetAside | None = None

    def __post_init__(self) -> None:
        """Begin with no fault seen."""
        self.fault = Fault(self.sensor.id)

    @property
    def irregular(self) -> bool:
        """Return whether it is a contact or a look at the mains: such a sensor sends when something happens."""
        return self.measures in (Quantity.LID, Quantity.MAINS)

    @property
    def counted_as(self) -> str:
        """Return the name under which the counter is kept: another device at the same place counts for itself."""
        return f"{self.sensor.id}@{self.sensor.channel}"

    def repeats(self, value: Value) -> bool:
        """Return whether a live temperature carries the stamp of the one before: the same reading again."""
        if value.measured is not None and value.measured == self.stamp:
            self.health.repeats += 1
            return True
        self.stamp = value.measured
        return False

    def known(self, frame: Decoded) -> bool:
        """Return whether a live frame is one that was heard before, by its counter; remember a new one."""
        if frame.counter is None:
            return False
        if frame.counter == self.counter:
            self.health.repeats += 1
            return True
        self.counter = frame.counter
        return False

    def follow_battery(self, reading: Reading) -> None:
        """Take a battery's level into its trend, beside the probe's temperature."""
        if reading.quantity is Quantity.VOLTAGE and Quantity.BATTERY in self.newest:
            return  # one scale only: volts and percent have no common mean
        warm = self.newest.get(Quantity.TEMPERATURE)
        if reading.good and warm is not None and warm.good:
            self.battery.add(reading.heard.wall // DAY, reading.value, warm.value)

    def new_battery(self, now: Moment, alarms: Alarms) -> None:
        """Forget what the old battery taught, and end what was said of it."""
        self.battery = Battery()
        self._found(Finding(Change.ENDS, {}), BATTERY, now, alarms)

    def look(self, now: Moment, since: int, alarms: Alarms) -> None:
        """Judge battery and signal, once an hour; `since` is the steady time (ms) from which this boot has watched."""
        unit = "%" if Quantity.BATTERY in self.newest else "V" if Quantity.VOLTAGE in self.newest else None
        standing = alarms.standing(self.sensor.id, BATTERY)
        self._found(self.battery.judge(now.wall // DAY, unit, standing=standing), BATTERY, now, alarms)
        standing = alarms.standing(self.sensor.id, WEAK_SIGNAL)
        regular = None if self.life.irregular else self.life.told or self.life.learnt
        missed = self.health.missed(regular, now, since)
        self._found(self.health.signals.judge(now, missed, standing=standing), WEAK_SIGNAL, now, alarms)

    def _found(self, found: Finding | None, kind: Kind, now: Moment, alarms: Alarms) -> None:
        if found is None:
            return
        alarm = alarms.get(self.sensor.id, kind)
        match found:
            case Finding(Change.BEGINS):
                priority = Priority.MEDIUM if found.urgent else None
                alarms.raise_(alarm, now, now, found.facts, priority)
            case Finding(Change.WORSE):
                alarms.worsen(alarm, now, Priority.MEDIUM, found.facts)
            case _:
                alarms.clear(alarm, now, {**found.facts, "lasted": lasted(alarm, now)})

    def due_row(self, reading: Reading, keep_every: int) -> bool:
        """Return whether this is the first row of its quantity in the present span of `keep_every` (ms, 0 = all).

        Live rows are sorted into spans by steady time. Late rows with a stamp have spans of their own, so that a
        backlog does not close the present one; late rows without a stamp cannot be sorted, and all are kept.
        """
        if not keep_every:
            return True
        if reading.arrival is Arrival.LATE:
            if reading.measured_from != reading.measured_to:
                return True
            spans, span = self.kept_late, reading.measured_to // keep_every
        else:
            spans, span = self.kept, reading.heard.steady // keep_every
        if spans.get(reading.quantity) == span:
            return False
        spans[reading.quantity] = span
        return True


def when(value: Value, heard: Heard, now: Moment, *, trusted: bool) -> tuple[Arrival, int, int]:
    """Say how fresh a value is and between which wall stamps (ms) it was measured.

    The sensor's own stamp is used where the house's clock is `trusted` and the stamp does not lie ahead of it.
    """
    stamp = value.measured
    if stamp is not None and trusted and stamp <= now.wall + STAMP_AHEAD:
        old = heard.arrival is Arrival.LIVE and now.wall - stamp > STAMP_OLD
        return Arrival.LATE if old else heard.arrival, stamp, stamp
    if heard.arrival is Arrival.LIVE:
        return Arrival.LIVE, now.wall, now.wall
    first = heard.not_before if heard.not_before is not None else now.wall
    return heard.arrival, min(first, now.wall), now.wall


def why_silent(post: Post, link: Link, house: House) -> str:
    """Say what is known of a sensor's silence, nothing where nothing is."""
    health = post.health
    if not link.up:
        return f"{house.sources.get(link.source, link.source)} is not reachable: {link.reason}."
    if health.last_heard is not None and health.last_heard.steady > post.life.last:
        return f"Messages of its sensor arrive but cannot be read: {health.last_unread}."
    newest = post.newest.get(Quantity.TEMPERATURE)
    if newest is not None and not newest.good:
        return f"Its sensor reports, but nothing that can be true ({newest.quality.value})."
    return ""


def lasted(alarm: Alarm, now: Moment) -> int:
    """Return for how long an alarm has been on (ms), on steady time where one boot saw its begin."""
    return between(alarm.began or now, now)

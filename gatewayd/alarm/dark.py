"""Tell of a dark spell: a time in which the watcher itself was not awake."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import DARK_LEAST, SETTLE
from gatewayd.model.event import Fact
from gatewayd.model.moment import HOUR, Moment

CLOCK_WAIT = HOUR  # a router needs minutes to come back after a power cut; later the message goes without a figure
# A computer without a battery clock wakes with the time of its last shutdown, or up to an hour before it; so a clock
# further ahead than this was set by something, even if nothing keeps it right now.
FAKE_CLOCK = 2 * HOUR
SETTLED = 2  # good readings of a freezer before its temperature is told


def ended(alive: Moment, back: Moment, orderly: bool | None) -> str:  # noqa: FBT001 - None is an answer as well
    """Return how the watcher came to an end: power, shutdown, stop or crash; empty where that is not known.

    `orderly` says whether it was stopped by order. Another boot without an order means that the power failed, or that
    somebody reset the computer, which looks the same from within.
    """
    if orderly is None:
        return ""
    if alive.boot != back.boot:
        return "shutdown" if orderly else "power"
    return "stop" if orderly else "crash"


@dataclass(slots=True)
class Dark:
    """Hold a dark spell that has not been told yet: the last sign of the watcher's life, and its return.

    `orderly` says whether it was stopped by order, None where that is not known. `before` maps a freezer to what it was
    when last seen: °C, and the wall stamp (ms) of that reading.
    """

    alive: Moment
    back: Moment
    orderly: bool | None = None
    before: dict[str, tuple[float, int]] = field(default_factory=dict)

    @classmethod
    def begin(
        cls,
        alive: Moment,
        back: Moment,
        orderly: bool | None,  # noqa: FBT001 - None is an answer as well
        judges: Iterable[Judge],
    ) -> "Dark":
        """Begin a dark spell and keep what each freezer was, before the judges begin anew."""
        before = {j.freezer.id: (j.value, j.last.heard.wall) for j in judges if j.value is not None and j.last}
        return cls(alive, back, orderly, before)

    def lasted(self, *, trusted: bool) -> int | None:
        """Return how long it was dark (ms); None if the two stamps cannot be compared."""
        if self.alive.boot == self.back.boot:
            return self.back.steady - self.alive.steady
        away = self.back.wall - self.alive.wall
        return max(0, away) if trusted or away > FAKE_CLOCK else None

    def short(self, *, trusted: bool) -> bool:
        """Return whether it is known to have been no longer than a restart takes."""
        lasted = self.lasted(trusted=trusted)
        return lasted is not None and lasted < DARK_LEAST

    def ready(self, judges: Iterable[Judge], now: Moment, *, trusted: bool) -> bool:
        """Return whether it can be told: its length is known and every freezer was heard, or the wait is over."""
        waited = now.steady - self.back.steady
        if not trusted and self.alive.boot != self.back.boot and waited < CLOCK_WAIT:
            return False  # a clock that nothing keeps may be hours off, even if it does not look so
        return waited >= SETTLE or all(j.since_start >= SETTLED for j in judges if j.freezer.sensors)

    def facts(self, judges: Iterable[Judge], *, trusted: bool) -> dict[str, Fact]:
        """Return what the message needs.

        `freezer:ID` holds °C now and `before:ID` °C before, with `before_at:ID` its wall stamp (ms); None: not known.
        """
        found: dict[str, Fact] = {
            "lasted": self.lasted(trusted=trusted),
            "since": self.alive.wall,
            "until": self.back.wall,
            "ended": ended(self.alive, self.back, self.orderly),
        }
        for judge in judges:
            if judge.freezer.sensors:
                seen = judge.since_start > 0 and judge.last is not None
                found[f"freezer:{judge.freezer.id}"] = judge.value if seen else None
                before, at = self.before.get(judge.freezer.id, (None, None))
                found[f"before:{judge.freezer.id}"], found[f"before_at:{judge.freezer.id}"] = before, at
        return found

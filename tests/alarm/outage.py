"""Three freezers of Heron Lane and their mains, turned when it is due, as the watch does."""

from gatewayd.alarm.kinds import Kind
from gatewayd.alarm.mains import Mains, Sign
from gatewayd.model.moment import MINUTE
from tests.alarm.scene import Log, at

HOUSE, SHED, CELLAR, PORCH = "heron-lane", "shed-chest", "cellar-upright", "porch-chest"
ALL = (SHED, CELLAR, PORCH)
MAINS = "mains-out"
Signs = dict[str, Sign]


class House(Log):
    """Hold three freezers' alarms and their mains, and do what the watch does: turn when it is due."""

    def __init__(self, freezers: tuple[str, ...] = ALL) -> None:
        """Begin with the mains unknown."""
        super().__init__()
        self.mains = Mains(HOUSE)
        self.mains.fit(freezers, ("shed-mains", "cellar-mains", "shed-plug"))

    def go(self, until: int, boot: str = "boot") -> None:
        """Make all turns up to a time (ms after the start), each at its own moment."""
        end = at(until, boot)
        while (due := self.mains.due(self.alarms)) is not None and due <= end.steady:
            self.mains.turn(end.later(due - end.steady), self.alarms)

    def stand(self, freezer: str, kind: Kind, ms: int) -> None:
        """Raise an alarm of a freezer."""
        self.alarms.raise_(self.alarms.get(freezer, kind), at(ms), at(ms), {})

    def hidden(self, freezer: str) -> set[str]:
        """Return the kinds of a freezer's alarms that are suppressed."""
        return {a.kind for a in self.alarms.all.values() if a.subject == freezer and a.suppressed}

    def turn_at(self, ms: int, *, sure: bool = True, **turned: int | None) -> None:
        """Let freezers of the shed be warming since some minute, None for one that truly cools."""
        signs: Signs = {
            who.replace("_", "-"): cooling(ms) if minute is None else Sign("shed", at(minute * MINUTE), sure, None)
            for who, minute in turned.items()
        }
        self.mains.turning(signs, at(ms), self.alarms)


def cooling(ms: int) -> Sign:
    """Return what the air of a freezer of the shed shows that truly cools since a time (ms after the start)."""
    return Sign("shed", None, sure=False, cools=at(ms))


def shed_out(house: House, ms: int = 0) -> None:
    """Let the sensor in the shed say that the mains is off, and tell of it."""
    house.mains.sensor("shed-mains", (SHED, PORCH), "shed", False, at(ms))
    house.go(ms + 2 * MINUTE)


def cycles(house: House, begin: int, end: int, *, until: int = 0) -> None:
    """Let the shed chest run 20 min and rest 40, heard every 5 min; from `end` to `until` it draws nothing."""
    for ms in range(begin, max(end, until), 5 * MINUTE):
        running = ms < end and ms // MINUTE % 60 < 20
        house.go(ms)
        house.mains.power("shed-plug", SHED, 90.0 if running else 0.0, at(ms))

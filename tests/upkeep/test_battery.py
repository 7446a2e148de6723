"""When a battery counts as low, and when as good again."""

import pytest

from gatewayd.model.pack import pack, unpack
from gatewayd.upkeep.ailing import Finding, Severity, Turn
from gatewayd.upkeep.battery import Battery, verdict


@pytest.mark.parametrize(
    ("level", "unit", "warmth", "severity"),
    [
        (2.9, "V", -18.0, None),
        (2.41, "V", -18.0, None),
        (2.4, "V", -18.0, Severity.LOW),
        (2.21, "V", -18.0, Severity.LOW),
        (2.2, "V", -18.0, Severity.URGENT),
        (2.0, "V", 20.0, Severity.URGENT),
        (1.5, "V", 20.0, None),  # a single alkaline cell, not a dead coin cell
        (6.0, "%", -18.0, None),
        (4.9, "%", -18.0, Severity.LOW),
        (15.0, "%", 4.0, None),
        (14.9, "%", 4.0, Severity.LOW),
        (14.9, "%", -18.0, None),
    ],
)
def test_floors(level: float, unit: str, warmth: float, severity: Severity | None) -> None:
    """Floors of 2.4 and 2.2 V hold for 3 V cells, those in percent are lower in the cold."""
    found, why = verdict(level, unit, warmth, None)

    assert found is severity
    assert bool(why) is (severity is not None)


@pytest.mark.parametrize(
    ("level", "unit", "trend", "low"),
    [
        (2.7, "V", -0.16, True),
        (2.7, "V", -0.14, False),
        (45.0, "%", -16.0, True),
        (45.0, "%", -14.0, False),
        (80.0, "%", -16.0, False),  # an alkaline cell falls evenly, and is good for months
        (45.0, "%", 20.0, False),
    ],
)
def test_fall_at_like_temperature(level: float, unit: str, trend: float, low: bool) -> None:
    """A fall of more than 0.15 V or 15 points against the weeks before is told, with its size."""
    found, why = verdict(level, unit, -18.0, trend)

    assert (found is Severity.LOW) is low
    assert ("it fell by" in why) is low


def test_held_needs_a_margin() -> None:
    """What was low is low until it is better by 0.1 V or 5 points."""
    assert verdict(2.49, "V", -18.0, None, held=True)[0] is Severity.LOW
    assert verdict(2.51, "V", -18.0, None, held=True)[0] is None
    assert verdict(19.0, "%", 4.0, None, held=True)[0] is Severity.LOW
    assert verdict(21.0, "%", 4.0, None, held=True)[0] is None
    assert verdict(45.0, "%", -18.0, -11.0, held=True)[0] is Severity.LOW


class Cell:
    """Play a battery's days, one judgement each hour as the watch asks."""

    def __init__(self, unit: str) -> None:
        """Begin with a new battery."""
        self.battery = Battery()
        self.unit = unit
        self.day = 0
        self.standing = False
        self.found: list[tuple[int, Finding]] = []

    def live(self, *levels: float, warmth: float = -18.0) -> None:
        """Let days pass with these mean levels."""
        for level in levels:
            for _ in range(24):
                self.battery.add(self.day, level, warmth)
                found = self.battery.judge(self.day, self.unit, standing=self.standing)
                if found is not None:
                    self.standing = found.turn is not Turn.ENDS
                    self.found.append((self.day, found))
            self.day += 1

    @property
    def turns(self) -> list[Turn]:
        """Return what was found, in order."""
        return [found.turn for _, found in self.found]


def test_steady_battery_is_never_told() -> None:
    """A battery that stands level for months is none of anybody's business."""
    cell = Cell("V")
    cell.live(*[2.82 + 0.02 * (n % 2) for n in range(90)])

    assert cell.found == []


def test_cold_night_is_no_low_battery() -> None:
    """A probe that is moved from the room into the freezer loses 0.3 V and is not told of."""
    cell = Cell("V")
    cell.live(*[3.0] * 30, warmth=20.0)
    cell.live(*[2.7] * 30, warmth=-18.0)

    assert cell.found == []


def test_fall_is_told_once_and_not_taken_back() -> None:
    """A fall is told once; that it is weeks ago later, with the battery as low as ever, makes nothing good."""
    cell = Cell("V")
    cell.live(*[2.85] * 28, *[2.66] * 60)

    assert cell.turns == [Turn.BEGINS]
    facts = cell.found[0][1].facts
    assert (facts["level"], facts["unit"]) == (pytest.approx(2.66), "V")
    assert facts["why"] == "it fell by 0.19 V within a month, at the same temperature"


def test_floor_is_told_on_the_next_day() -> None:
    """A low day is judged when it is whole, and only once."""
    cell = Cell("%")
    cell.live(60.0, 60.0, 4.0, 4.0, 4.0)

    assert cell.turns == [Turn.BEGINS]
    assert cell.found[0][0] == 3


def test_urgent_is_told_beside_low() -> None:
    """At 2.2 V a low battery becomes urgent, once; one that is found there is urgent at once."""
    cell, late = Cell("V"), Cell("V")
    cell.live(2.5, 2.38, 2.3, 2.19, 2.21, 2.15)
    late.live(2.1, 2.1)

    assert cell.turns == [Turn.BEGINS, Turn.WORSE]
    assert [f.urgent for _, f in cell.found] == [False, True]
    assert late.found[0][1].urgent


def test_new_battery_is_good_after_two_days() -> None:
    """A new battery ends it after two whole days, and the next fall is told anew."""
    cell = Cell("V")
    cell.live(2.5, 2.39, 2.39, 3.0, 3.0, 3.0)
    assert cell.turns == [Turn.BEGINS, Turn.ENDS]
    assert cell.found[1][0] == 5
    cell.live(2.3, 2.3)

    assert cell.turns == [Turn.BEGINS, Turn.ENDS, Turn.BEGINS]


def test_warm_day_is_not_a_new_battery() -> None:
    """One day at which warmth lifts the voltage ends nothing, nor do days that lift it by less than 0.1 V."""
    cell = Cell("V")
    cell.live(2.5, 2.38, 2.55, 2.39, 2.47, 2.47, 2.47)

    assert cell.turns == [Turn.BEGINS]


def test_unit_that_changes_begins_anew() -> None:
    """A sensor that gives percent instead of volts is not called fallen or risen for it."""
    cell = Cell("%")
    cell.live(*[90.0] * 20)
    cell.unit = "V"
    cell.live(*[2.9] * 20)

    assert cell.found == []


def test_unit_that_is_not_known_is_not_judged() -> None:
    """Until a sensor said its battery in this run nothing is judged and nothing forgotten."""
    battery = Battery()
    for day in range(3):
        battery.add(day, 1.0, -18.0)

    assert battery.judge(3, None, standing=False) is None
    assert battery.judge(3, "%", standing=False) is not None
    assert Battery().judge(3, "%", standing=False) is None


def test_alarm_that_outlived_its_battery_memory_ends() -> None:
    """An alarm that stands without its beginning being known ends once the level has risen and stays."""
    battery = Battery()
    turns = []
    for day, level in enumerate([2.35, 2.35, 3.0, 3.0, 3.0]):
        battery.add(day, level, -18.0)
        turns.append(battery.judge(day, "V", standing=True))

    assert [t.turn for t in turns if t is not None] == [Turn.ENDS]


def test_trend_needs_two_weeks() -> None:
    """A trend is told after a week and most of one before it, and leaves out days of another temperature."""
    battery = Battery()
    for day in range(11):
        battery.add(day, 2.9, -18.0)
    assert battery.trend() is None
    for day in range(11, 21):
        battery.add(day, 2.8, -18.0)
    assert battery.trend() == pytest.approx(-0.1)
    battery.add(21, 3.1, 20.0)
    assert battery.trend() == pytest.approx(-0.1)


def test_battery_can_be_packed() -> None:
    """What is known of a battery survives being packed."""
    cell = Cell("V")
    cell.live(2.5, 2.38, 2.3)

    assert unpack(Battery, pack(cell.battery)) == cell.battery

"""Colder than it ever is, measured by its own habit."""

from gatewayd.alarm.cold import HOURS, LEARNT, YOUNG, Cold
from gatewayd.alarm.kinds import TOO_COLD
from gatewayd.alarm.limit import Turn
from gatewayd.alarm.signs import Signs
from gatewayd.model.event import What
from gatewayd.model.house import Freezer
from gatewayd.model.limits import Limits
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.units import Kelvin
from tests.alarm.scene import Log, at
from tests.days.player import house

GAP = 15 * MINUTE
EVERY = 5  # min
LIMITS = Limits()


class Chest:
    """Hold what is learnt of one freezer, heard every five minutes, and its turns with their minute."""

    def __init__(self) -> None:
        """Begin knowing nothing."""
        self.cold, self.minute, self.turns = Cold(), 0, list[tuple[Turn, int]]()

    def live(self, value: float, minutes: int, limits: Limits = LIMITS) -> None:
        """Hear a value for some minutes."""
        for _ in range(minutes // EVERY):
            turn = self.cold.take(value, at(self.minute * MINUTE), limits, GAP)
            if turn in (Turn.ON, Turn.OFF):
                self.turns.append((turn, self.minute))
                if turn is Turn.OFF:
                    self.cold.limit.close()
            self.minute += EVERY


def test_fall_is_told_after_two_hours_and_ends_with_its_deadband() -> None:
    """8.1 K under its habit for 2 h is told; it ends 1 K above that line, for the off-delay, and no sooner."""
    chest = Chest()
    chest.live(-18.0, 3 * 24 * 60)
    chest.live(-26.1, 150)
    assert chest.turns == [(Turn.ON, 3 * 24 * 60 + 120)]
    chest.live(-25.5, 120)
    assert len(chest.turns) == 1
    chest.live(-24.9, 15)
    assert [turn for turn, _ in chest.turns] == [Turn.ON, Turn.OFF]


def test_habit_does_not_follow_the_fault() -> None:
    """Two days into a fault the habit is that of before."""
    chest = Chest()
    chest.live(-18.0, 3 * 24 * 60)
    chest.live(-28.0, 2 * 24 * 60)
    assert chest.cold.habit is not None
    assert abs(chest.cold.habit + 18.0) < 0.1
    assert [turn for turn, _ in chest.turns] == [Turn.ON]


def test_slow_fall_is_seen_too() -> None:
    """A thermostat that lets the air fall by 10 K in ten hours is measured by the week before, not by itself."""
    chest = Chest()
    chest.live(-18.0, 5 * 24 * 60)
    for hour in range(10):
        chest.live(-18.0 - hour, 60)
    chest.live(-28.0, 6 * 60)
    assert [turn for turn, _ in chest.turns] == [Turn.ON]


def test_new_setting_becomes_the_habit_after_a_week() -> None:
    """A knob turned down for good is told once; after a week that is its habit, and the alarm is over."""
    chest = Chest()
    chest.live(-14.0, 3 * 24 * 60)
    chest.live(-24.0, (HOURS + LEARNT + YOUNG + 24) * 60)
    assert [turn for turn, _ in chest.turns] == [Turn.ON, Turn.OFF]
    assert chest.cold.habit is not None
    assert abs(chest.cold.habit + 24.0) < 0.1


def test_probe_from_the_table_into_the_freezer_is_not_too_cold() -> None:
    """Days at room temperature, or of a freezer that was off, teach no habit."""
    chest = Chest()
    chest.live(20.0, 3 * 24 * 60)
    chest.live(-18.0, 4 * 24 * 60)
    assert chest.turns == []


def test_gap_adds_nothing() -> None:
    """Half an hour too cold, six hours of nothing, half an hour too cold are one hour, not two; nor after the dark."""
    for dark in (False, True):
        chest = Chest()
        chest.live(-18.0, 3 * 24 * 60)
        chest.live(-28.0, 30)
        chest.minute += 6 * 60
        if dark:
            chest.cold.forget_steady()
        chest.live(-28.0, 30)
        assert chest.turns == []
        chest.live(-28.0, 90)
        assert [turn for turn, _ in chest.turns] == [Turn.ON]


def test_newest_hours_do_not_count_yet() -> None:
    """Five hours into a fall that is not yet too cold the habit is still that of before, even in the first days."""
    chest = Chest()
    chest.live(-18.0, (LEARNT + YOUNG + 1) * 60)
    chest.live(-24.0, 5 * 60)
    assert chest.cold.habit == -18.0


def test_new_boot_goes_on_with_what_was_seen() -> None:
    """An hour seen in one boot and an hour in the next, whose steady time is smaller, are two hours."""
    cold = Cold()
    for minute in range(0, 3 * 24 * 60 + 61, EVERY):
        cold.take(-18.0 if minute < 3 * 24 * 60 else -28.0, at(minute * MINUTE), LIMITS, GAP)
    cold.forget_steady()
    after = range(0, 90, EVERY)
    turns = [cold.take(-28.0, at(minute * MINUTE, "another"), LIMITS, GAP) for minute in after]
    assert [minute for turn, minute in zip(turns, after, strict=True) if turn is Turn.ON] == [60]


def test_zero_switches_it_off() -> None:
    """With 0 nothing is told, and what stood is over."""
    off = Limits(too_cold=Kelvin(0.0))
    chest = Chest()
    chest.live(-18.0, 3 * 24 * 60, off)
    chest.live(-30.0, 5 * 60, off)
    assert chest.turns == []
    chest.live(-30.0, 5 * 60)
    chest.live(-30.0, 10, off)
    assert [turn for turn, _ in chest.turns] == [Turn.ON, Turn.OFF]


def test_event_says_how_cold_and_since_when() -> None:
    """The event names the value, the habit, since when and for how long; it needs no person."""
    signs, log = Signs(), Log()
    freezer = Freezer("shed-chest", "Shed chest")
    for minute in range(0, 2 * DAY // MINUTE + 4 * 60, EVERY):
        value = -18.0 if minute < 2 * DAY // MINUTE else -28.0
        signs.take(value, at(minute * MINUTE), GAP, freezer, log.alarms, house().zone)

    facts = log.told(TOO_COLD.name, What.RAISED)
    assert (facts["value"], facts["lasted"], facts["since"]) == (-28.0, 2 * HOUR, at(2 * DAY).wall)
    assert isinstance(facts["habit"], float)
    assert abs(facts["habit"] + 18.0) < 0.1
    assert not TOO_COLD.asks

"""An alarm that comes and goes, counted before its delays."""

from gatewayd.alarm.chatter import Chatter
from gatewayd.alarm.kinds import CHATTERING, HIGH
from gatewayd.alarm.signs import Signs
from gatewayd.model.house import Freezer
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from tests.alarm.scene import Log, at
from tests.days.player import house

FREEZER = Freezer("shed-chest", "Shed chest")


class Probe:
    """Hold signs that are fed values at the edge of High."""

    def __init__(self, gap: int = 5 * MINUTE) -> None:
        """Begin cold."""
        self.signs, self.log, self.gap = Signs(), Log(), gap

    def say(self, minute: float, value: float) -> None:
        """Feed one value."""
        now = at(round(minute * MINUTE))
        self.signs.take(value, now, self.gap, FREEZER, self.log.alarms, house().zone)

    def spike(self, minute: float) -> None:
        """Feed one activation of 10 s."""
        self.say(minute, -11.0)
        self.say(minute + 1 / 6, -14.0)

    @property
    def turns(self) -> list[str]:
        """Return what became of the alarm."""
        return self.log.turns(CHATTERING.name)


def test_three_activations_within_an_hour_chatter() -> None:
    """Spikes far shorter than High's delay are counted: the third within the hour is told, and High is not."""
    probe = Probe()
    for minute in (0, 20, 40):
        assert probe.turns == []
        probe.spike(minute)

    assert probe.turns == ["raised"]
    facts = probe.log.told(CHATTERING.name)
    assert (facts["count"], facts["window"], facts["limit"]) == (3, 40 * MINUTE, -12.0)
    assert probe.log.turns(HIGH.name) == []


def test_three_in_more_than_an_hour_do_not() -> None:
    """A freezer that crosses its limit now and then does not chatter."""
    probe = Probe()
    for minute in range(0, 20 * 40, 40):
        probe.spike(minute)
    assert probe.turns == []


def test_slow_probe_has_a_longer_window() -> None:
    """A probe that reports every 20 min is judged by ten of its reports, 200 min."""
    probe = Probe(gap=60 * MINUTE)
    for minute in (0, 90, 180):
        probe.spike(minute)
    assert probe.turns == ["raised"]


def test_it_ends_when_the_window_has_none() -> None:
    """While one still comes now and then it goes on; an hour after the last it is over."""
    probe = Probe()
    for minute in (0, 5, 10, 60, 110):
        probe.spike(minute)
    assert probe.turns == ["raised"]
    probe.say(169, -18.0)
    assert probe.turns == ["raised"]
    probe.say(171, -18.0)
    assert probe.turns == ["raised", "over"]


def test_value_that_stays_beyond_has_come_once() -> None:
    """A thaw is no chatter, however long."""
    chatter = Chatter()
    came = [chatter.take(-11.0 + n / 10, at(n * SECOND), -12.0, 1.0) for n in range(100)]
    assert sum(came) == 1
    assert not chatter.often(at(100 * SECOND).steady, HOUR)


def test_another_boot_is_not_the_same_window() -> None:
    """Times of another boot are forgotten: two before and one after are not three."""
    chatter = Chatter()
    for n in (0, 2):
        chatter.take(-11.0, at(n * MINUTE), -12.0, 1.0)
        chatter.take(-14.0, at((n + 1) * MINUTE), -12.0, 1.0)
    chatter.forget_steady()
    chatter.take(-11.0, at(0, "another"), -12.0, 1.0)
    assert not chatter.often(at(0, "another").steady, HOUR)


def test_chatter_of_another_boot_is_over() -> None:
    """What chattered in the boot before is over with the first reading in which nothing is known of it."""
    probe = Probe()
    for minute in (0, 20, 40):
        probe.spike(minute)
    probe.signs.forget_steady()
    probe.say(60, -18.0)
    assert probe.turns == ["raised", "over"]

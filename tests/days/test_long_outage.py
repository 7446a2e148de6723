"""Two days without power in which noisy probes tell of the mains: it is off once and back once."""

import math
import random
from collections import Counter
from dataclasses import dataclass, field

import pytest

from gatewayd.model.event import What
from gatewayd.model.moment import HOUR, MINUTE
from tests.days.player import Player, house

pytestmark = pytest.mark.slow  # four days of three freezers are played

EVERY = 2 * MINUTE
OUT, BACK, END = 50, 90, 100  # h
# A freezer's cycle (min), its time constant without power (h) and its room (°C).
CABINETS = {"shed-chest": (40, 35.0, 8.0), "cellar-upright": (50, 18.0, 14.0), "porch-chest": (35, 50.0, 5.0)}


def cycle(minute: float, period: int) -> float:
    """Return the air (°C) of ordinary running: down from -17 to -20 and up again."""
    x = minute % period / period
    return -17.0 - 7.5 * x if x < 0.4 else -20.0 + 5.0 * (x - 0.4)


@dataclass
class Outage:
    """Play two days of running, 40 h without power and ten hours after it, with looks under the lid at `looks` (h)."""

    noise: float
    step: float
    looks: tuple[float, ...] = ()
    hours: float = 0.0
    player: Player = field(default_factory=lambda: Player(house(3)))

    def __post_init__(self) -> None:
        """Seed the noise."""
        self.rng = random.Random(5)

    def air(self, who: str, hours: float) -> float:
        """Return the true air (°C)."""
        period, tau, room = CABINETS[who]
        if hours < OUT:
            return cycle(hours * 60, period)
        off = min(hours, BACK) - OUT
        still = room + (cycle(OUT * 60, period) + 2.5 * (1 - math.exp(-off / 0.4)) - room) * math.exp(-off / tau)
        if hours >= BACK:
            return max(still - 12.0 * (hours - BACK), cycle(hours * 60, period))
        since = min((hours - look for look in self.looks if hours >= look), default=9.0)
        return still + 6.0 * math.exp(-since / 0.3)

    def live(self, until: float) -> None:
        """Hear each probe every two minutes until an hour."""
        while self.hours < until:
            for who in CABINETS:
                said = self.air(who, self.hours) + self.rng.gauss(0.0, self.noise)
                self.player.hear(round(round(said / self.step) * self.step, 4), who)
            self.player.go(EVERY)
            self.hours += EVERY / HOUR


LOOKS = (55.0, 64.2, 71.0, 83.5)


@pytest.mark.parametrize(
    ("noise", "step", "looks"), [(0.05, 0.01, ()), (0.02, 0.0625, LOOKS), (0.05, 0.1, LOOKS), (0.0, 0.1, ())]
)
def test_off_once_and_back_once(noise: float, step: float, looks: tuple[float, ...]) -> None:
    """Forty hours are one outage: told within two hours, never taken back before something cools, and back within one
    more; noise of a probe and looks under the lid change nothing, and all the rest are reminders."""
    outage = Outage(noise, step, looks)
    outage.live(BACK)
    player = outage.player
    assert player.turns("mains-out").count("heron-lane raised") == 1
    assert not any(event.what is What.OVER for event in player.events)
    off = next(event for event in player.events if event.kind == "mains-out")
    assert (off.at.steady - HOUR) / HOUR <= OUT + 2.0
    told = Counter(title for title in player.told() if "still" not in title)
    assert sum(told.values()) <= 8  # each freezer stopped, the power, and each much too warm

    outage.live(END)
    assert sum("the power is back" in title for title in player.told()) == 1
    assert sum(title.startswith("the power seems to be off") for title in player.told()) == 1
    assert player.turns("mains-out")[-1] == "heron-lane over"
    lasted = player.facts("mains-out", What.OVER)["lasted"]
    assert isinstance(lasted, int)
    assert abs(lasted / HOUR - (BACK - OUT)) <= 1.2


@pytest.mark.parametrize("boot", [None, "boot-b"])
def test_restart_does_not_bring_the_power_back(boot: str | None) -> None:
    """A restart far into an outage, also into another boot, does not say that the power is back before it is."""
    outage = Outage(0.05, 0.0625)
    outage.live(OUT + 15)
    outage.player.restart(10 * MINUTE, boot)
    outage.live(BACK)
    assert not any(event.what is What.OVER and event.kind == "mains-out" for event in outage.player.events)

    outage.live(END)
    assert outage.player.turns("mains-out").count("heron-lane over") == 1

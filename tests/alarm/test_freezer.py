"""One freezer's judge: how urgent High is, when High High waits for a decision, which probe counts."""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import HIGH, HIGHHIGH, LATCH_AFTER
from gatewayd.alarm.table import State
from gatewayd.model.event import What
from gatewayd.model.house import Freezer
from gatewayd.model.limits import Limits
from gatewayd.model.moment import MINUTE
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from tests.alarm.scene import START, Log, at

GAP = 5 * MINUTE
FREEZER = Freezer("shed-chest", "Shed chest", sensors=("top", "bottom"))


class Chest:
    """Hold a judge that is fed one value a minute."""

    def __init__(self, freezer: Freezer = FREEZER) -> None:
        """Begin with an hour of cold."""
        self.log, self.minute = Log(), 0
        self.judge = Judge(freezer, at(0).steady)
        self.feed([-18.0] * 60)

    def feed(self, values: Iterable[float], probe: str = "top", boot: str = START.boot, pause: int = 1) -> None:
        """Feed values of a probe, `pause` minutes apart."""
        for value in values:
            now = at(self.minute * MINUTE, boot)
            reading = Reading(
                probe, Quantity.TEMPERATURE, value, now, now.wall, now.wall, Arrival.LIVE, Quality.GOOD, 0.0
            )
            self.judge.take(reading, GAP, self.log.alarms)
            self.minute += pause


def climb(begins: float, speed: float, minutes: int) -> list[float]:
    """Return one value a minute that climbs by `speed` K an hour."""
    return [begins + speed * minute / 60 for minute in range(minutes)]


@pytest.mark.parametrize(
    ("values", "rising"),
    [
        (climb(-11.5, 1.0, 50), True),
        (climb(-11.5, 0.2, 50), False),  # slower than 0.3 K an hour
        ([-9.0] * 50, False),
        (climb(-8.0, -2.0, 50), False),
    ],
)
def test_high_is_urgent_while_it_rises(values: list[float], rising: bool) -> None:
    """High is high while it still rises, and medium where it stands or falls; the event says which."""
    chest = Chest()
    chest.feed(values)

    alarm = chest.log.alarms.get("shed-chest", HIGH)
    assert alarm.priority is (Priority.HIGH if rising else Priority.MEDIUM)
    assert chest.log.told(HIGH.name)["rising"] is rising
    assert chest.log.turns(HIGH.name) == ["raised"]


def test_slope_without_a_new_peak_is_no_rise() -> None:
    """What swings back up below its own peak of an hour ago is not rising."""
    chest = Chest()
    chest.feed([-6.0] * 5 + [-11.5] * 20 + climb(-11.5, 3.0, 30))
    assert chest.log.alarms.get("shed-chest", HIGH).priority is Priority.MEDIUM


def test_high_that_begins_to_rise_again_becomes_urgent_once() -> None:
    """One that stood as medium and was acknowledged is urgent and unacknowledged again when it goes on rising."""
    chest = Chest()
    chest.feed([-10.0] * 90)
    alarm = chest.log.alarms.get("shed-chest", HIGH)
    chest.log.alarms.acknowledge(alarm, at(chest.minute * MINUTE), "ann", "")
    chest.feed(climb(-10.0, 1.5, 90))

    assert chest.log.turns(HIGH.name) == ["raised", "acknowledged", "worse"]
    assert (alarm.priority, alarm.state) == (Priority.HIGH, State.UNACKNOWLEDGED)
    facts = chest.log.told(HIGH.name, What.WORSE)
    assert facts["rising"] is True
    assert isinstance(facts["speed"], float)
    assert facts["speed"] >= 0.3


def test_keepers_own_priority_is_kept() -> None:
    """A freezer whose High the keeper made low stays low, rising or not."""
    chest = Chest()
    chest.log.alarms.priorities = {("shed-chest", HIGH.name): Priority.LOW}
    chest.feed(climb(-11.5, 1.0, 90))
    assert chest.log.alarms.get("shed-chest", HIGH).priority is Priority.LOW
    assert chest.log.turns(HIGH.name) == ["raised"]


@pytest.mark.parametrize(
    ("minutes", "peak", "latched"),
    [
        (LATCH_AFTER // MINUTE - 1, -5.0, False),
        (LATCH_AFTER // MINUTE, -5.0, True),
        (40, 0.0, False),
        (40, 0.1, True),
    ],
)
def test_high_high_latches_by_time_or_by_thaw(minutes: int, peak: float, latched: bool) -> None:
    """Two hours beyond it, or one good reading above 0 °C, wait for a decision about the food; less ends by itself."""
    chest = Chest()
    chest.feed([-5.0] * (minutes - 1) + [peak] + [-18.0] * 15)

    alarm = chest.log.alarms.get("shed-chest", HIGHHIGH)
    assert alarm.latched is latched
    facts = chest.log.told(HIGHHIGH.name, What.OVER)
    assert facts["peak"] == max(peak, -5.0)
    assert facts["lasted"] == minutes * MINUTE


def test_high_high_over_two_boots_counts_on_the_wall() -> None:
    """A spell that began in another boot is as long as the wall clock says."""
    chest = Chest()
    chest.feed([-5.0] * 40)
    chest.judge.dark(at(chest.minute * MINUTE, "another"))
    chest.judge.high.last = chest.judge.highhigh.last = None
    chest.minute += 90
    chest.feed([-5.0] * 5 + [-18.0] * 15, boot="another")

    assert chest.log.told(HIGHHIGH.name, What.OVER)["lasted"] == 135 * MINUTE
    assert chest.log.alarms.get("shed-chest", HIGHHIGH).latched


def test_switched_off_high_high_is_not_told() -> None:
    """A kind that the keeper switched off is never raised."""
    chest = Chest()
    chest.log.alarms.priorities = {("shed-chest", HIGHHIGH.name): None}
    chest.feed([5.0] * 60 + [-18.0] * 30)
    assert chest.log.turns(HIGHHIGH.name) == []
    assert chest.log.turns(HIGH.name) == ["raised", "over"]


def test_warmest_fresh_probe_counts() -> None:
    """A warm probe counts beside a cold one, and no longer than its reading is fresh."""
    chest = Chest()
    chest.feed([-9.0], "bottom")
    chest.feed([-18.0] * 4, "top")
    assert chest.judge.value == -9.0
    chest.feed([-18.0] * 3, "top")
    assert chest.judge.value == -18.0


def test_changed_limits_count_from_the_next_reading() -> None:
    """Rules are made once, and anew when the keeper changes a limit."""
    chest = Chest()
    chest.judge.freezer = replace(FREEZER, limits=Limits(high_on_delay=MINUTE))
    chest.feed([-11.0] * 2)
    assert chest.log.turns(HIGH.name) == ["raised"]


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([1, 1, 1, 2, 7, 45, 400]), st.floats(-30, 10), st.integers(1, 40), st.integers(0, 30)
        ),
        max_size=12,
    )
)
def test_raised_and_over_alternate_for_every_kind(spells: list[tuple[int, float, int, int]]) -> None:
    """Whatever the air does, with gaps, dark spells and new boots: each kind is raised, over, raised, over."""
    chest, boot = Chest(), START.boot
    for number, (pause, value, count, dark) in enumerate(spells):
        if dark < 3:
            boot = f"boot-{number}" if dark else boot
            chest.judge.dark(at(chest.minute * MINUTE, boot))
            chest.judge.high.last = chest.judge.highhigh.last = None
        chest.feed([value + n % 3 / 10 for n in range(count)], boot=boot, pause=pause)

    for kind in {event.kind for event in chest.log.events}:
        turns = [turn for turn in chest.log.turns(kind) if turn in ("raised", "over")]
        assert turns == (["raised", "over"] * len(turns))[: len(turns)]

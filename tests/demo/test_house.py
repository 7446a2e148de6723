"""Heron Lane as a whole: its bytes, its order, and what a watcher with the usual limits would tell of it.

The watcher here is written anew in a few plain lines, so that it shares no mistake with the alarms of the package.
"""

import json
import random
import time
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from itertools import pairwise

import pytest

from gatewayd.decode.payload import decode
from gatewayd.demo.house import ZONE, Happening, HeronLane, Remark, Sent, SourceUp, house
from gatewayd.demo.story import (
    CELLAR_BROKER,
    CELLAR_PROBE,
    PORCH_PROBE,
    SHED_BROKER,
    SHED_PROBE,
    STORY,
    Battery,
    Lid,
    Link,
    Plug,
    evening,
)
from gatewayd.model.house import Kind
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.reading import Quantity

# a spring, a summer and a winter start, and one that ends behind the change to summer time
STARTS = {1: date(2025, 3, 3), 2: date(2025, 7, 20), 3: date(2024, 12, 28), 4: date(2025, 3, 28)}
Played = tuple[tuple[int, Happening], ...]


@lru_cache(maxsize=8)
def played(seed: int) -> tuple[HeronLane, Played]:
    lane = HeronLane(random.Random(seed), evening(STARTS[seed], ZONE))
    return lane, tuple(lane.play(lane.ends))


def celsius(sensor: str, payload: bytes) -> float:
    """Read a payload by nothing but float and json."""
    match sensor:
        case "shed-chest-air":
            return float(payload)
        case "cellar-upright-air":
            return float(json.loads(payload)["air"]["celsius"])
        case _:
            return (float(json.loads(payload)["fahrenheit"]) - 32) * 5 / 9


def heard(events: Played, sensor: str) -> list[tuple[int, float]]:
    return [(wall, celsius(sensor, h.payload)) for wall, h in events if isinstance(h, Sent) and h.sensor == sensor]


def when(lane: HeronLane, kind: type) -> tuple[int, int]:
    """Return wall stamps (ms) at which a mishap begins and is mended."""
    begins, ends = (lane.midnight + turn.at for turn in STORY if isinstance(turn.act, kind))
    return begins, ends


@dataclass
class Spell:
    """Hold one spell above a limit that was told: crossed, told, over (wall ms), and its peak (°C)."""

    crossed: int
    told: int
    peak: float
    over: int = 0


@dataclass
class Watcher:
    """Tell of spells above `limit` seen for `delay` ms; over below `limit` - 1 K for 10 min."""

    limit: float
    delay: int
    told: list[Spell] = field(default_factory=list)

    def watch(self, readings: list[tuple[int, float]]) -> list[Spell]:
        crossed = clear = None
        peak = -99.0
        standing: Spell | None = None
        for wall, value in readings:
            if standing is not None:
                standing.peak = max(standing.peak, value)
                clear = (clear or wall) if value < self.limit - 1 else None
                if clear is not None and wall - clear >= 10 * MINUTE:
                    standing.over = wall
                    standing = crossed = clear = None
            elif value > self.limit:
                peak = value if crossed is None else max(peak, value)
                crossed = crossed or wall
                if wall - crossed >= self.delay:
                    standing = Spell(crossed, wall, peak)
                    self.told.append(standing)
            else:
                crossed = None
        return self.told


def high(readings: list[tuple[int, float]]) -> list[Spell]:
    return Watcher(-12.0, 45 * MINUTE).watch(readings)


def silences(readings: list[tuple[int, float]], longest: int) -> list[tuple[int, int]]:
    pairs = pairwise(readings)
    return [(before[0], after[0]) for before, after in pairs if after[0] - before[0] > longest]


@pytest.mark.parametrize("seed", STARTS)
class TestStory:
    """What would be told of the story's days."""

    def test_the_lid_is_told_once_and_over_once(self, seed: int) -> None:
        """The porch chest is high once, told while the lid is ajar, over within the hour after it was shut."""
        lane, events = played(seed)
        ajar, shut = when(lane, Lid)
        (spell,) = high(heard(events, PORCH_PROBE))

        assert ajar < spell.crossed < spell.told < shut - 15 * MINUTE
        assert shut < spell.over < shut + HOUR

    def test_the_plug_is_told_once_and_over_once(self, seed: int) -> None:
        """The shed chest is high once, told while the plug is out, over within the hour after it was put back."""
        lane, events = played(seed)
        pulled, back = when(lane, Plug)
        (spell,) = high(heard(events, SHED_PROBE))

        assert pulled + HOUR < spell.crossed < spell.told < back - 15 * MINUTE
        assert back < spell.over < back + HOUR

    def test_the_upright_is_never_high(self, seed: int) -> None:
        """Defrosts and openings of the upright never last long enough to be told."""
        assert high(heard(played(seed)[1], CELLAR_PROBE)) == []

    def test_nothing_comes_near_highhigh(self, seed: int) -> None:
        """No probe ever reads above 20 °F (-6.7 °C), not even for a moment."""
        for sensor in (SHED_PROBE, CELLAR_PROBE, PORCH_PROBE):
            assert max(value for _, value in heard(played(seed)[1], sensor)) < -7.0

    def test_the_dead_probe_is_the_only_long_silence(self, seed: int) -> None:
        """The upright's probe is silent once, for more than one hour and less than four, and was not warming before."""
        lane, events = played(seed)
        flat, new = when(lane, Battery)
        readings = heard(events, CELLAR_PROBE)
        ((last, first),) = silences(readings, 5 * MINUTE)
        day_before = [value for wall, value in readings if flat - DAY < wall < flat - 2 * HOUR]

        assert flat - 3 * MINUTE < last <= flat
        assert new <= first < new + 3 * MINUTE
        assert HOUR < first - last < 4 * HOUR
        assert dict(readings)[last] < max(day_before)

    def test_the_lost_source_is_the_only_other_silence(self, seed: int) -> None:
        """The shed broker is away for 40 min; both its probes are silent just then and at no other time."""
        lane, events = played(seed)
        away, back = when(lane, Link)
        news = [(wall, h.source, h.up) for wall, h in events if isinstance(h, SourceUp)]

        assert news == [
            (lane.start, SHED_BROKER, True),
            (lane.start, CELLAR_BROKER, True),
            (away, SHED_BROKER, False),
            (back, SHED_BROKER, True),
        ]
        for sensor in (SHED_PROBE, PORCH_PROBE):
            ((last, first),) = silences(heard(events, sensor), 5 * MINUTE)
            assert away - 3 * MINUTE < last <= away
            assert back <= first < back + 3 * MINUTE
            assert first - last < HOUR

    def test_no_two_readings_jump(self, seed: int) -> None:
        """From one reading to the next no probe moves by the 5 K that would make it look garbled."""
        for sensor in (SHED_PROBE, CELLAR_PROBE, PORCH_PROBE):
            readings = heard(played(seed)[1], sensor)
            steps = pairwise(readings)
            assert all(abs(b - a) < 5 for (at, a), (to, b) in steps if to - at < 5 * MINUTE)


def test_happenings_come_in_order_and_remarks_carry_the_local_time() -> None:
    """Wall stamps never go back; each turn is remarked once, with the clock in front."""
    lane, events = played(1)
    walls = [wall for wall, _ in events]
    remarks = [h.text for _, h in events if isinstance(h, Remark)]

    assert walls == sorted(walls)
    assert walls[0] == lane.start
    assert len(remarks) == 1 + len(STORY)
    assert "01:00 the shed chest's plug is pulled" in remarks


def test_each_probe_reports_at_its_own_interval() -> None:
    """Probes report every 30, 60 and 45 s."""
    for sensor, every in ((SHED_PROBE, 30), (CELLAR_PROBE, 60), (PORCH_PROBE, 45)):
        walls = [wall for wall, _ in heard(played(1)[1], sensor)]
        gaps = sorted(after - before for before, after in pairwise(walls))
        assert pytest.approx(every * SECOND, rel=0.02) == gaps[len(gaps) // 2]


def test_the_house_reads_what_its_probes_say() -> None:
    """Every payload decodes by the house's own rules to what plain json and float read, with battery and time."""
    wiring = house()
    quantities: dict[str, set[Quantity]] = {}
    for wall, happening in played(1)[1]:
        if isinstance(happening, Sent):
            values = decode(wiring.sensors[happening.sensor].payload, happening.payload)
            assert isinstance(values, tuple)
            assert values[0].value == pytest.approx(celsius(happening.sensor, happening.payload), abs=1e-9)
            quantities.setdefault(happening.sensor, set()).update(value.quantity for value in values)
            if happening.sensor == PORCH_PROBE:
                assert values[0].measured == wall // 1000 * 1000

    assert quantities[CELLAR_PROBE] == {Quantity.TEMPERATURE, Quantity.BATTERY}
    assert quantities[SHED_PROBE] == quantities[PORCH_PROBE] == {Quantity.TEMPERATURE}


def test_the_house_is_wired_without_loose_ends() -> None:
    """Each freezer's probes exist, each probe's source exists, and automatic defrost waits longer at HighHigh."""
    wiring = house()

    assert len(wiring.freezers) == 3
    assert {probe for freezer in wiring.freezers.values() for probe in freezer.sensors} == set(wiring.sensors)
    assert {sensor.source for sensor in wiring.sensors.values()} == set(wiring.sources)
    for freezer in wiring.freezers.values():
        patient = freezer.kind is Kind.UPRIGHT_AUTO_DEFROST
        assert freezer.limits.highhigh_on_delay == (60 if patient else 30) * MINUTE
    assert {person.name for person in wiring.people.values()} == {"Ann", "Ben"}


def test_the_same_seed_gives_the_same_bytes_and_another_does_not() -> None:
    """A play is exact: same generator and start, same happenings; in pieces or whole; another seed differs."""
    start = evening(date(2025, 3, 3), ZONE)
    whole = list(HeronLane(random.Random(7), start).play(start + 6 * HOUR))
    lane = HeronLane(random.Random(7), start)
    pieces = [pair for hour in range(1, 7) for pair in lane.play(start + hour * HOUR)]

    assert whole == pieces
    assert whole != list(HeronLane(random.Random(8), start).play(start + 6 * HOUR))


def test_after_the_story_the_house_goes_on_quietly() -> None:
    """For days after the end nothing would be told: no spell, no silence, no news of a source."""
    lane = HeronLane(random.Random(1), evening(STARTS[1], ZONE))
    for _ in lane.play(lane.ends):
        pass
    after = tuple(lane.play(lane.ends + 5 * DAY))

    assert not any(isinstance(happening, SourceUp | Remark) for _, happening in after)
    for sensor in (SHED_PROBE, CELLAR_PROBE, PORCH_PROBE):
        readings = heard(after, sensor)
        assert readings[-1][0] > lane.ends + 5 * DAY - 5 * MINUTE
        assert high(readings) == []
        assert silences(readings, 5 * MINUTE) == []


def test_four_days_play_in_under_three_seconds() -> None:
    """The story's four days of three freezers cost less than 3 s of processor time."""
    begun = time.process_time()
    lane = HeronLane(random.Random(1), evening(STARTS[1], ZONE))
    count = sum(1 for _ in lane.play(lane.ends))

    assert count > 20_000
    assert time.process_time() - begun < 3.0

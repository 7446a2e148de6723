"""The simulated probes: lag, noise, and the bytes they say."""

import json
import random
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from gatewayd.demo.probe import Make, Probe, bare, nested, stamped
from gatewayd.model.moment import to_wall

WALL = 1_741_046_400_000  # 2025-03-04 00:00 UTC


def test_a_bare_number_is_a_number() -> None:
    """The plainest probe says one number in °C, to a tenth."""
    assert float(bare(-18.34, WALL, 50)) == -18.3


def test_json_carries_celsius_and_battery() -> None:
    """The second probe says JSON with temperature and battery."""
    assert json.loads(nested(-18.34, WALL, 73.6)) == {"air": {"celsius": -18.3}, "battery": 74}


def test_stamped_json_carries_fahrenheit_and_its_own_time() -> None:
    """The third probe says JSON in °F with the time of measurement, zone included."""
    said = json.loads(stamped(ZoneInfo("Europe/London"))(-18.0, WALL + 123_000, 50))

    assert said["fahrenheit"] == -0.4
    assert to_wall(datetime.fromisoformat(said["measured"])) == WALL + 123_000


def test_a_probe_lags_behind_the_air() -> None:
    """After one lag a probe has gone 63 % of a step of the air."""
    probe = Probe(Make(60_000, 240, bare), random.Random(1), -18.0, WALL)
    for _ in range(16):
        probe.follow(-8.0, 15)

    assert pytest.approx(-18 + 10 * 0.632, abs=0.01) == probe._felt


def test_reports_come_at_the_interval_with_a_tenth_of_noise() -> None:
    """Reports are an interval apart but for some jitter, scatter by 0.1 K, and about one in a hundred is lost."""
    probe = Probe(Make(30_000, 180, bare), random.Random(1), -18.0, WALL)
    heard, due = [], [probe.due]
    for _ in range(5000):
        payload = probe.report()
        due.append(probe.due)
        if payload is not None:
            heard.append(float(payload))
    mean = sum(heard) / len(heard)
    sigma = (sum((value - mean) ** 2 for value in heard) / len(heard)) ** 0.5

    assert 4900 < len(heard) < 4985
    assert pytest.approx(0.1, abs=0.02) == sigma
    assert all(29_000 <= after - before <= 31_000 for before, after in pairwise(due))


def test_a_flat_battery_says_nothing_until_it_is_replaced() -> None:
    """A probe without battery is silent and speaks again with a new one."""
    probe = Probe(Make(30_000, 180, bare), random.Random(1), -18.0, WALL)
    probe.alive = False
    assert [probe.report() for _ in range(50)] == [None] * 50

    probe.alive = True
    assert any(probe.report() for _ in range(5))

"""The command `status`, where somebody has switched a freezer off."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from gatewayd.cli import status
from tests.cli.household import call, settle

FREEZER: dict[str, Any] = {
    "id": "shed-chest", "name": "Shed chest", "place": "", "celsius": -15.0, "heard_ago": 5_000, "speed": 2.0,
    "state": "cold enough", "quiet_until": None, "defrost": None, "test": None, "retained_celsius": None,
}  # fmt: skip
TEST = {
    "who": "Ann", "began": "2026-11-25T19:50:00.000+00:00", "until": "2026-11-25T22:50:00.000+00:00", "ended": None,
    "quiet_until": "2026-11-25T22:50:00.000+00:00",
}  # fmt: skip
OVER = TEST | {"ended": "2026-11-25T22:00:00.000+00:00", "quiet_until": "2026-11-25T22:20:00.000+00:00"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"test": TEST}, "Shed chest: switched off for a test until 22:50, its alarms are held."),
        (
            {"test": OVER},
            "Shed chest: its test is over, and it is watched until it cools; its alarms are held until 22:20.",
        ),
        ({"test": OVER | {"quiet_until": None}}, "Shed chest: its test is over, and it is watched until it cools."),
        (
            {"defrost": {"quiet_until": "2026-11-25T23:10:00.000+00:00"}},
            "Shed chest: being defrosted, its alarms are held until 23:10.",
        ),
        (
            {"quiet_until": "2026-11-25T21:05:00.000+00:00"},
            "Shed chest: somebody is at it; its alarms are quiet until 21:05.",
        ),
        ({}, "No alarms."),
    ],
)
def test_why_alarms_are_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, changes: dict[str, Any], said: str
) -> None:
    """Below the freezers stands why alarms of one are held, and until when; nothing where none are."""

    def ask(_socket: Path, _request: dict[str, object]) -> Iterator[dict[str, object]]:
        yield {
            "house": "Heron Lane", "at": "2026-11-25T21:00:00.000+00:00", "units": "°C",
            "freezers": [FREEZER | changes], "alarms": [], "neighbours": [], "sources": [],
        }  # fmt: skip

    monkeypatch.setattr(status, "ask", ask)
    code, output = call(settle(tmp_path), "status")

    assert code == 0
    assert output.rstrip().splitlines()[-1] == said


def test_an_alarm_older_than_the_defrost_stays_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An alarm that stood before a defrost began is shown while it runs; what the defrost itself brings is not."""
    old: dict[str, Any] = {
        "number": 7, "subject": "shed-chest", "name": "Shed chest", "kind": "high", "words": "too warm",
        "state": "unacknowledged", "since": "2026-11-25T20:34:00.000+00:00", "lasted": 1_560_000,
        "acknowledged_by": "", "hidden": True,
    }  # fmt: skip
    new = old | {"number": 9, "words": "much too warm", "since": "2026-11-25T20:55:00.000+00:00"}
    defrost = {"began": "2026-11-25T20:50:00.000+00:00", "quiet_until": "2026-11-25T23:10:00.000+00:00"}

    def ask(_socket: Path, _request: dict[str, object]) -> Iterator[dict[str, object]]:
        yield {
            "house": "Heron Lane", "at": "2026-11-25T21:00:00.000+00:00", "units": "°C",
            "freezers": [FREEZER | {"defrost": defrost}], "alarms": [old, new], "neighbours": [], "sources": [],
        }  # fmt: skip

    monkeypatch.setattr(status, "ask", ask)
    output = call(settle(tmp_path), "status")[1]

    assert "7  Shed chest: too warm, for 26 min, unacknowledged" in output
    assert "much too warm" not in output

"""The command `alarms`, as somebody calls it who was told, or wonders why not."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.cli import status
from gatewayd.clock import SystemClock
from gatewayd.model.event import Decision, What
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.store.batch import Batch
from gatewayd.watch.memory import save
from tests.cli.household import asked, call, settle
from tests.cli.lived import Lived, cycling, read_house
from tests.store.make import T0, at, batch, deliveries, event

ALARM = {
    "number": 12, "subject": "shed-chest", "name": "Shed chest", "kind": "high", "words": "too warm",
    "state": "unacknowledged", "priority": "medium", "since": "2026-11-25T10:00:00.000+00:00", "lasted": 50 * MINUTE,
    "acknowledged_by": "", "suppressed_by": "", "until": None, "by": "", "hidden": False,
}  # fmt: skip
UNTIL = "2026-11-25T15:10:00.000+00:00"
STATUS = {
    "house": "Heron Lane",
    "at": "2026-11-25T14:10:00.000+00:00",
    "alarms": [
        ALARM,
        ALARM | {"number": 13, "words": "unsteady", "state": "acknowledged", "acknowledged_by": "the house"},
        ALARM | {"number": 14, "words": "too cold", "state": "acknowledged", "acknowledged_by": "Ann"},
        ALARM | {"number": 9, "name": "Porch chest", "state": "returned to normal"},
        ALARM | {"number": 7, "name": "Barn chest", "state": "latched", "words": "much too warm"},
        ALARM | {"number": 5, "name": "Cellar upright", "hidden": True, "suppressed_by": "heron-lane"},
    ],
    "shelved": [ALARM | {"until": UNTIL, "by": "Ann", "words": w} for w in ("too warm", "lid or door open")],
    "suppressed": [ALARM | {"number": 5, "name": "Cellar upright", "by": "Shed chest", "hidden": True}],
}


@pytest.fixture
def daemon(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a daemon answer the question for the status."""

    def ask(_socket: Path, request: dict[str, object]) -> Iterator[dict[str, object]]:
        assert request == {"ask": "status"}
        yield STATUS

    monkeypatch.setattr(status, "ask", ask)


@pytest.mark.parametrize("args", [("alarms",), ("alarms", "list")])
def test_list(daemon: None, tmp_path: Path, args: tuple[str, ...]) -> None:
    """What stands and who has seen it, what is over and unseen, latched, shelved until when, suppressed by what."""
    code, output = call(settle(tmp_path), *args)

    assert code == 0
    assert output.splitlines() == [
        "Now:",
        "     12  Shed chest: too warm, for 50 min, medium",
        "     13  Shed chest: unsteady, for 50 min, medium",
        "     14  Shed chest: too cold, for 50 min, medium, seen by Ann",
        "Over, but nobody has said that they have seen it:",
        "      9  Porch chest: too warm, for 50 min, medium",
        "Over, and waits until the food was checked:",
        "      7  Barn chest: much too warm, for 50 min, medium",
        "Kept quiet by a person:",
        "  Shed chest, by Ann, until Wed 15:10: too warm, lid or door open",
        "Told by another alarm in their place:",
        "  Cellar upright, by Shed chest: too warm",
    ]


def test_list_in_json(daemon: None, tmp_path: Path) -> None:
    """The same for programs, whether the flag stands before or after the word."""
    file = settle(tmp_path)
    after = json.loads(call(file, "alarms", "list", "--json")[1])
    before = json.loads(call(file, "alarms", "--json", "list")[1])

    assert after == before
    assert after["running"] is True
    assert [len(after[key]) for key in ("alarms", "shelved", "suppressed")] == [6, 2, 1]


def test_list_with_the_daemon_stopped(tmp_path: Path) -> None:
    """Where gatewayd is not running the list is what it knew last, says so, and the exit code tells it too."""
    life = Lived(read_house(tmp_path))
    life.until(4 * HOUR, lambda sensor, now: -5.0 if sensor == "shed-chest-air" else cycling(sensor, now))
    life.order("at the freezer", subject="cellar-upright", span=2 * HOUR)
    kept = life.kept()
    kept[-1].snapshot = save(life.watch, life.now)
    code, output = call(settle(tmp_path, kept), "alarms")

    assert code == 3
    assert "gatewayd is not running" in output
    assert "Shed chest: too warm, for 3 h 55 min" in output
    assert "Cellar upright, by Ann, until Wed 16:00: too warm, much too warm, " in output


def decided() -> list[Batch]:
    """Return a raise at 10:00 that Ann was told of and Ben was not, and a remark for the page."""
    high = replace(event(12, T0, 12), kind="high")
    remark = replace(event(13, T0 + HOUR, 13), subject="heron-lane", kind="start", what=What.NOTED, facts={})
    return [
        batch(
            events=[high, remark],
            deliveries=[replace(d, route="ann-mail") for d in deliveries(12, "ann")[:1]],
            decisions=[
                Decision(12, "ann", "NEW", at(T0)),
                Decision(12, "ben", "NEVER_HEARD_OF", at(T0), T0 + 21 * HOUR),
                Decision(13, "", "LOW", at(T0 + HOUR)),
            ],
        )
    ]


def test_why(tmp_path: Path) -> None:
    """Each decision is said in words: who, when, why, until when; and what became of the message. No daemon needed."""
    code, output = call(settle(tmp_path, decided()), "alarms", "why")

    assert code == 0
    assert output.splitlines() == [
        "   12  Wed 25 Nov 10:00  Shed chest: too warm, raised",
        "         Ann: something new (10:00)",
        "         Ben: waits until 07:00, never heard of (10:00)",
        "         Ann: the message by ann-mail: waiting (10:00)",
        "   13  Wed 25 Nov 11:00  Heron Lane: start, noted",
        "         Everyone: only for the page and the weekly note (11:00)",
    ]


def test_why_one(tmp_path: Path) -> None:
    """The number in a message leads to every turn of that alarm; one that does not exist is named."""
    over = replace(event(14, T0 + 2 * HOUR, 12), what=What.OVER)
    file = settle(tmp_path, [*decided(), batch(events=[over], wall=T0 + 2 * HOUR)])
    found = asked(file, "alarms", "why", "12")
    code, output = call(file, "alarms", "why", "99")

    assert isinstance(found, list)
    assert [(e["number"], [d["person"] for d in e["decisions"]]) for e in found] == [(12, ["ann", "ben"]), (14, [])]
    assert found[0]["decisions"][1]["until"] == "2026-11-26T07:00:00.000+00:00"
    assert (code, output) == (1, "There is no event 99. See the last ones with: gatewayd alarms why\n")


def test_metrics(tmp_path: Path) -> None:
    """The figures stand beside their targets and sources; the lists name the bad actors and what was kept quiet."""
    now = SystemClock().now().wall
    numbers = iter(range(1, 100))
    events = []
    for hours in (50, 40, 30):
        first = next(numbers)
        events.append(event(first, now - hours * HOUR, first))
        events.append(replace(event(next(numbers), now - hours * HOUR + 20 * MINUTE, first), what=What.OVER))
    shelved = event(next(numbers), now - 5 * HOUR, 0, who="ann")
    events.append(replace(shelved, what=What.SHELVED))
    told = [d for n in (1, 3) for d in deliveries(n, "ann", events[n - 1].at.wall)]
    file = settle(tmp_path, [batch(events=events, deliveries=told, wall=now)])
    code, output = call(file, "alarms", "metrics", "--since", "10d")
    found = asked(file, "alarms", "metrics", "--since", "10 days")

    assert code == 0
    assert "HSE Chemicals Sheet 6" in output
    assert "from memory" in output
    assert "Shed chest: too warm, 3×, 100%" in output
    assert "shelved by Ann, 5 h, still" in output
    assert isinstance(found, dict)
    assert (found["alarms"], found["unseen"]["lasted"]) == (3, 20 * MINUTE)
    assert found["messages"]["ann"] == pytest.approx(found["unneeded"]["ann"])
    assert found["until"] - found["since"] < 3 * DAY  # not longer than there are events


@pytest.mark.parametrize(("since", "said"), [("soon", "'soon' is no time"), ("2990-01-01", "lies ahead")])
def test_wrong_time(tmp_path: Path, since: str, said: str) -> None:
    """A time that is none, or lies ahead, is refused with what to write."""
    code, output = call(settle(tmp_path, decided()), "alarms", "metrics", "--since", since)

    assert code == 2
    assert said in output


def test_no_store(tmp_path: Path) -> None:
    """Without a store there is nothing to explain, and that is said."""
    code, output = call(settle(tmp_path), "alarms", "why")

    assert code == 1
    assert "There is no store" in output

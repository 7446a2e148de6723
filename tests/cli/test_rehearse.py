"""The command `rehearse`, as a keeper calls it who thinks of another limit."""

import asyncio
from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.cli.rehearse import changed
from gatewayd.model.limits import CELSIUS_MINUS_12
from gatewayd.model.moment import DAY, HOUR, MINUTE, iso
from gatewayd.model.units import Celsius
from gatewayd.store.store import Store
from tests.cli.household import LONDON, asked, call, settle
from tests.cli.lived import Lived, cycling, read_house
from tests.store.make import T0, at, batch, reading


def warm(sensor: str, now: int) -> float:
    """Return the air while the shed chest is at -10 °C on day 8 from 12:00 for three hours."""
    opened = now - (8 * DAY + 12 * HOUR)
    return -10.0 if sensor == "shed-chest-air" and 0 <= opened < 3 * HOUR else cycling(sensor, now)


@pytest.fixture
def lived(tmp_path: Path) -> Path:
    """Return the settings of a house that has lived nine days, with one warm spell."""
    life = Lived(read_house(tmp_path))
    life.until(9 * DAY, warm)
    return settle(tmp_path, life.kept())


SPAN = ("--since", iso(T0 + 7 * DAY, LONDON), "--until", iso(T0 + 9 * DAY, LONDON))


def test_what_would_be_gone(lived: Path) -> None:
    """Beside what was, the alarms that would be gone, the messages a week, and what it cannot show."""
    code, output = call(lived, "rehearse", *SPAN, "--set", "shed-chest.high=-9 °C", "--set", "*.deadband=2C")
    lines = output.splitlines()

    assert code == 0
    assert lines[0] == (
        "Heron Lane from Wed 02 Dec 2026 10:00 to Fri 04 Dec 2026 10:00, with shed-chest.high=-9 °C, *.deadband=2C:"
    )
    assert lines[1].startswith("  gone   Thu 03 Dec 2026 22:50  Shed chest: too warm, 2 h ")
    assert lines[2] == "  1 as it was."  # the air jumped as it does under an open lid, whatever the limit
    assert "Messages a week to Ann: were 14, would be 7." in lines
    assert any(line.startswith("Longest unacknowledged: was ") for line in lines)
    assert "What this cannot show:" in lines
    assert any("kept in 1 min: a peak" in line for line in lines)


def test_what_would_be_moved_and_added(lived: Path) -> None:
    """An alarm that would have come at another time is shown with both, one that would be new as added."""
    found = asked(lived, "rehearse", *SPAN, "--set", "*.high_on_delay=2h", "--set", "cellar-upright.high=-18C")
    assert isinstance(found, dict)
    changes = {(change["subject"], change["kind"]): change for change in found["changes"]}

    assert changes["shed-chest", "lid-open"]["verdict"] == "same"
    assert changes["shed-chest", "high"]["verdict"] == "moved"
    assert changes["shed-chest", "high"]["was"] < changes["shed-chest", "high"]["would"]
    assert found["set"] == ["*.high_on_delay=2h", "cellar-upright.high=-18C"]
    assert found["readings"] > 2 * 8 * 288


def test_settings_as_they_are(lived: Path) -> None:
    """Without --set it is a check of itself: all is as it was."""
    found = asked(lived, "rehearse", *SPAN)
    assert isinstance(found, dict)

    assert [(change["verdict"], change["kind"]) for change in found["changes"]] == [
        ("same", "lid-open"),
        ("same", "high"),
    ]
    assert found["before"] == found["after"]
    assert "with the settings as they are" in call(lived, "rehearse", *SPAN)[1]


def test_raw_rows_have_gone(tmp_path: Path) -> None:
    """Where only sums of 15 minutes are left it says so, and that the beginning was not yet learnt."""
    file = settle(tmp_path, [batch(*(reading(T0 + n * HOUR) for n in range(20 * 24)), wall=T0 + 20 * DAY)])

    async def tidy() -> None:
        store = await Store.open(tmp_path / "house.db", LONDON)
        for _ in range(3):
            await store.tidy(at(T0 + 20 * DAY), 5 * DAY)
        await store.close()

    asyncio.run(tidy())
    found = asked(file, "rehearse", "--since", iso(T0, LONDON), "--until", iso(T0 + 20 * DAY, LONDON))
    assert isinstance(found, dict)

    assert found["since"] == "2026-12-10T00:00:00.000+00:00"
    assert (
        "Before 10 Dec 2026 00:00 only sums of 15 minutes are kept; that time cannot be played." in found["not_shown"]
    )
    assert any("begins with nothing known" in text for text in found["not_shown"])


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        ("shed-chest.hihg=-10C", "there is no limit 'hihg' (did you mean high?). Allowed: high, high_on_delay,"),
        ("shed-chets.high=-10C", "there is no freezer 'shed-chets' (did you mean shed-chest?). Allowed: shed-chest,"),
        ("shed-chest.high=-10", "'-10' has no unit; write it like -12 °C or 10 °F"),
        ("shed-chest.high=5C", "must be colder than highhigh"),
        ("shed-chest.high", "is written like shed-chest.high=-10C or *.high_on_delay=30min"),
        ("high=-10C", "is written like shed-chest.high=-10C"),
        ("shed-chest.high=", "is written like shed-chest.high=-10C"),
    ],
)
def test_wrong_wishes(tmp_path: Path, wish: str, said: str) -> None:
    """A wish that cannot be is refused with what is wrong and what is allowed, and nothing is played."""
    code, output = call(settle(tmp_path), "rehearse", "--set", wish, "--set", "nothing")

    assert code == 2
    assert said in output
    assert f"--set {wish}: " in output
    assert "--set nothing: is written like" in output
    assert output.endswith("Nothing was played.\n")


def test_wishes_add_up(tmp_path: Path) -> None:
    """Several wishes count in order, and * means every freezer."""
    wired = read_house(tmp_path)
    house, faults = changed(wired, ["*.high=-14C", "shed-chest.high=10 °F", "*.off_delay=20 min"])
    limits = {freezer.id: freezer.limits for freezer in house.freezers.values()}

    assert not faults
    assert limits["cellar-upright"] == replace(
        wired.freezers["cellar-upright"].limits, high=Celsius(-14.0), off_delay=20 * MINUTE
    )
    assert limits["shed-chest"].high == pytest.approx(-12.22, abs=0.01)
    assert wired.freezers["shed-chest"].limits.high == CELSIUS_MINUS_12


@pytest.mark.parametrize(
    ("args", "said", "code"),
    [
        (("--since", "tomorrow"), "'tomorrow' is no time", 2),
        (("--since", "2026-11-26", "--until", "2026-11-25"), "--since must lie before --until", 2),
        (("--since", "2020-01-01", "--until", "2020-02-01"), "No single readings are stored from that time", 1),
    ],
)
def test_wrong_times(tmp_path: Path, args: tuple[str, ...], said: str, code: int) -> None:
    """A time that is none, or without readings, is refused with a sentence."""
    found, output = call(settle(tmp_path, [batch(reading(T0))]), "rehearse", *args)

    assert (found, said in output) == (code, True)

"""The guided check of a probe in ice, by its page."""

from pathlib import Path

import pytest

from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.reading import Heard
from gatewayd.store.calibration import offsets
from tests.days.player import BROKER
from tests.web.open_house import Opened, open_house

pytestmark = pytest.mark.rig

PROBE = "shed-chest-air"
WAY = f"/sensor/{PROBE}/ice"


async def report(house: Opened, *values: float) -> None:
    """Let the probe say one value a minute."""
    for value in values:
        house.gateway.hear(Heard(BROKER, PROBE, f"{value}".encode(), house.clock.now()), None)
        await house.clock.advance(MINUTE)


async def test_whole_check(tmp_path: Path) -> None:
    """Begun by a tap the freezer is kept quiet; the page follows the probe, shows the offset, and keeps it by a tap."""
    async with open_house(tmp_path) as house:
        await report(house, -20.0, -20.1)
        page = await house.phone.get(WAY)
        begun = await house.phone.press(f"{WAY}/begin")
        hidden = {alarm.kind for alarm in house.gateway.watch.alarms.all.values() if alarm.hidden}
        await report(house, 9.0, 0.5, 0.4, 0.4)
        coming = await house.phone.get(WAY)
        await report(house, *[0.4] * 10)
        done = await house.phone.get(WAY)
        kept = await house.phone.press(f"{WAY}/keep")
        rows = await house.gateway.store.ask(offsets)
        later = await house.phone.get("/sensors")

    assert "Crush clean ice" in page.words
    assert "it watches nothing" in page.words
    assert "Begun. Put the probe into the ice now." in begun.words
    assert "high" in hidden
    assert "0.40 °C: within 0.2 °C for" in coming.words
    assert "of 5" in coming.words
    assert "reads 0.40 °C too warm" in done.words
    assert "−0.40 °C would be added" in done.words
    assert "Dry the probe and put it back now." in kept.words
    assert [(row.sensor, row.offset, row.who) for row in rows] == [(PROBE, -0.4, "ann")]
    assert "Checked in ice on" in later.words


async def test_stopped_check(tmp_path: Path) -> None:
    """A check that is stopped stores nothing and says to put the probe back."""
    async with open_house(tmp_path) as house:
        await house.phone.get(WAY)
        await house.phone.press(f"{WAY}/begin")
        await report(house, 0.4)
        await house.phone.get(WAY)
        page = await house.phone.press(f"{WAY}/end")
        rows = await house.gateway.store.ask(offsets)

    assert "nothing was stored. Put it back now." in page.words
    assert rows == []


async def test_no_ice(tmp_path: Path) -> None:
    """A probe that stands still far from the ice's temperature is told of, and there is nothing to keep."""
    async with open_house(tmp_path) as house:
        await house.phone.get(WAY)
        await house.phone.press(f"{WAY}/begin")
        await report(house, *[5.0] * 14)
        page = await house.phone.get(WAY)
        await house.clock.advance(2 * HOUR)
        over = await house.phone.get(WAY)

    assert "it stands still far from 0 °C" in page.words
    assert f"{WAY}/keep" not in [sheet.action for sheet in page.sheets]
    assert f"{WAY}/begin" in [sheet.action for sheet in over.sheets]


async def test_what_is_no_check(tmp_path: Path) -> None:
    """Another wish and another sensor are not found, and to keep without a check is refused."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get(WAY)
        csrf = dict(page.sheet(f"{WAY}/begin").fields)["csrf"]
        dance = await house.phone.post(f"{WAY}/dance", {"csrf": csrf})
        attic = await house.phone.get("/sensor/attic/ice")
        early = await house.phone.post(f"{WAY}/keep", {"csrf": csrf, "key": "k"})
        long = await house.phone.post(f"{WAY}/keep", {"csrf": csrf, "key": "k" * 600})

    assert (long.status, "80 at most are allowed" in long.words) == (200, True)
    assert (dance.status, attic.status) == (404, 404)
    assert "Not done." in early.words

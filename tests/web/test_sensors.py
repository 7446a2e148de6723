"""The pages of the sensors: how each does, one in full, and the walk-about."""

from pathlib import Path

import pytest

from gatewayd.model.chore import Kind
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.store.chore import chores
from gatewayd.upkeep.signal import LATELY, Signal, bars, placing, strength
from gatewayd.watch.condition import battery, silent, where
from tests.days.player import BROKER
from tests.web.open_house import Opened, open_house
from tests.web.wired import OWN

pytestmark = pytest.mark.rig

PROBE = "shed-chest-air"


async def report(house: Opened, *values: float, signal: int | None = None, every: int = 20 * SECOND) -> None:
    """Let the probe say one value after another."""
    for value in values:
        house.gateway.hear(Heard(BROKER, PROBE, f"{value}".encode(), house.clock.now(), signal=signal), None)
        await house.clock.advance(every)


async def test_list_says_how_each_does(tmp_path: Path) -> None:
    """A row says where a sensor is, its last value, that it is heard, and that it was never checked in ice."""
    async with open_house(tmp_path) as house:
        before = await house.phone.get("/sensors")
        await report(house, -18.1, -18.2, -18.3, signal=-67)
        after = await house.phone.get("/sensors")

    assert "Not heard yet." in before.words
    assert "not known" in before.words
    for words in ("shed-chest probe", "in Shed chest", "−18.3 °C", "heard 20 s ago", "Signal very good (−67 dBm"):
        assert words in after.words
    assert "it was never checked" in after.words
    assert f"/sensor/{PROBE}" in after.links
    assert after.size < 20_000


async def test_silence_is_loud(tmp_path: Path) -> None:
    """A sensor that is not heard any more says so before anything else, and that its figure is old."""
    async with open_house(tmp_path) as house:
        await report(house, -18.1, -18.2, -18.3)
        await house.clock.advance(4 * HOUR)
        page = await house.phone.get("/sensors")

    assert "Not heard for 4 h" in page.words
    assert "The figure is from then." in page.words
    assert 'class="bad"' in page.text


async def test_one_sensor_and_its_battery(tmp_path: Path) -> None:
    """The page of one sensor leads to its curve and its check; a changed battery is written down once, by whom."""
    async with open_house(tmp_path) as house:
        await report(house, -18.1)
        page = await house.phone.get(f"/sensor/{PROBE}")
        done = await house.phone.press(f"/sensor/{PROBE}/battery", note="<script>alert(1)</script>")
        kept = await house.gateway.store.ask(chores)
        missing = await house.phone.get("/sensor/attic")

    assert {f"/freezer/shed-chest?sensor={PROBE}", f"/sensor/{PROBE}/ice"} <= set(page.links)
    assert "Written down: shed-chest probe, battery changed" in done.words
    assert "<script>alert" not in done.text
    assert [(one.kind, one.who, one.note) for one in kept] == [(Kind.BATTERY, "ann", "<script>alert(1)</script>")]
    assert (missing.status, "There is no such sensor" in missing.words) == (404, True)


async def test_note_that_is_too_long(tmp_path: Path) -> None:
    """A note beyond the bound is refused in a sentence, and nothing is written down."""
    async with open_house(tmp_path) as house:
        await house.phone.get(f"/sensor/{PROBE}")
        page = await house.phone.press(f"/sensor/{PROBE}/battery", note="x" * 501)
        kept = await house.gateway.store.ask(chores)

    assert "500 at most are allowed" in page.words
    assert kept == []


async def test_walk_about(tmp_path: Path) -> None:
    """The signal is said in a big word with its figure and the strongest and weakest lately; an old one says so."""
    async with open_house(tmp_path) as house:
        none = await house.phone.get("/sensors/walk")
        for signal in (-60, -75, -92):
            await report(house, -18.0, signal=signal, every=5 * SECOND)
        near = await house.phone.get(f"/sensors/walk?sensor={PROBE}")
        await house.clock.advance(MINUTE)
        old = await house.phone.get("/sensors/walk")

    assert "No sensor is heard by radio yet" in none.words
    for words in ("weak", "−92 dBm, 5 s ago", "strongest −60, weakest −92 dBm, 3 reports", "Too weak for this place."):
        assert words in near.words
    assert f"/sensors/walk?sensor={PROBE}" in near.links
    assert "not heard here yet" in old.words
    assert "Stand still here until it is heard again." in old.words


async def test_hostile_names(tmp_path: Path) -> None:
    """A name of a sensor that holds markup, and a reason it gives, come out as text everywhere."""
    own = OWN.replace("name: shed-chest probe", 'name: "<img src=x onerror=alert(1)> =HYPERLINK(1) نورا"')
    async with open_house(tmp_path, settings=own) as house:
        house.gateway.hear(Heard(BROKER, PROBE, b"<script>alert(2)</script>", house.clock.now(), signal=-70), None)
        pages = [await house.phone.get(way) for way in ("/sensors", f"/sensor/{PROBE}", "/sensors/walk")]
        pages.append(await house.phone.get(f"/sensor/{PROBE}/ice"))

    for page in pages:
        assert page.status == 200
        assert "<img" not in page.text
        assert "<script>alert" not in page.text
        assert "<img src=x onerror=alert(1)>" in page.words


def test_signal_in_words() -> None:
    """From hardly to excellent there are six words, and a weak place is told to be left."""
    assert [strength(signal) for signal in (-110, -92, -84, -76, -68, -60, -20)] == [
        "hardly",
        "weak",
        "fair",
        "good",
        "very good",
        "excellent",
        "excellent",
    ]
    assert [bars(signal) for signal in (-93, -92)] == [0, 1]
    assert "Too weak" in placing(-90)
    assert placing(-70) == "A good place."


def test_signal_lately() -> None:
    """Only the last minutes count, and a flood of reports is bounded."""
    signal = Signal()
    assert signal.lately(0) is None
    signal.add(0, -50)
    signal.add(LATELY, -80)
    assert signal.lately(LATELY) == (-80, -50, 2)
    assert signal.lately(LATELY + 1) == (-80, -80, 1)
    for at in range(1000):
        signal.add(LATELY + at, -70)
    found = signal.lately(LATELY + 1000)
    assert found is not None
    assert found[2] < 100


def test_words_of_condition() -> None:
    """Where a sensor is, how its battery goes and how long it is silent are said in the household's words."""
    entry = {
        "freezer": None, "room_of": ["a", "b"], "battery": 88.0, "voltage": None, "battery_trend": None,
        "battery_unit": "%", "heard_ago": 5 * HOUR, "silent_after": HOUR,
    }  # fmt: skip
    assert where(entry, str.upper) == "in the room of A and B"
    assert battery(entry) == "88 %, too early to say whether it falls"
    assert battery(entry | {"battery_trend": -16.0}) == "88 %; its battery fell by 16 % within a week"
    assert battery(entry | {"battery_trend": 0.1}) == "88 %, steady"
    assert silent(entry) == "not heard for 5 h"
    assert silent(entry | {"heard_ago": MINUTE}) == ""

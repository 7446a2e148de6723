"""The pages of the sensors: how each does, one in full, and the walk-about."""

from pathlib import Path

import pytest

from gatewayd.model.chore import Kind
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard
from gatewayd.settings.document import Document, with_setting, written
from gatewayd.store.chore import chores
from gatewayd.upkeep.signal import LATELY, Signal, bars, placing, strength
from gatewayd.watch.condition import battery, silent, where
from tests.days.player import BROKER
from tests.web.open_house import Opened, open_house
from tests.web.wired import OWN

pytestmark = pytest.mark.rig

PROBE = "shed-chest-air"
ROOM = ("freezers", "porch-chest", "room")


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


async def add_probe(house: Opened) -> None:
    """Add a cellar probe in the shed chest and a freezer in the porch, as the pages do; then change something else."""
    entry = {"name": "Cellar probe", "broker": "home", "topic": "air/cellar", "freezer": "shed-chest"}
    porch = {"name": "Porch chest"}

    def edit(document: Document) -> Document:
        return {**document, "sensors": {"cellar-probe": entry}, "freezers": {"porch-chest": porch}}

    assert await house.wired.wiring.change(edit, "ann") == []
    assert await house.wired.wiring.change(lambda document: {**document, "store": {"keep_every": "5 min"}}, "ben") == []


async def test_sensor_is_renamed_moved_and_taken_out(tmp_path: Path) -> None:
    """A sensor that was added on the pages gets another name and freezer there, and goes, whatever changed since."""
    way = "/sensor/cellar-probe"
    async with open_house(tmp_path) as house:
        await add_probe(house)
        await house.phone.get(way)
        saved = await house.phone.press(f"{way}/about", name="Porch ${HOME} probe", freezer="porch-chest")
        moved = house.gateway.watch.house
        await house.phone.get(way)
        wrong = await house.phone.press(f"{way}/about", name="", freezer="porch-chest")
        await house.phone.get(way)
        gone = await house.phone.press(f"{way}/remove")
        left = house.gateway.watch.house

    assert "Saved." in saved.words
    assert moved.sensors["cellar-probe"].name == "Porch ${HOME} probe"
    assert [one.sensors for one in moved.freezers.values()] == [("shed-chest-air",), ("cellar-probe",)]
    assert (wrong.status, "name must be filled in" in wrong.words) == (422, True)
    assert "Porch ${HOME} probe is no sensor of the house any more." in gone.words
    assert "Porch chest has no sensors" in gone.words
    assert list(left.sensors) == ["shed-chest-air"]


async def test_two_change_a_sensor_at_once(tmp_path: Path) -> None:
    """Who only renames a sensor does not move it back from where somebody has put it meanwhile."""
    way = "/sensor/cellar-probe"
    async with open_house(tmp_path) as house:
        await add_probe(house)
        await house.phone.get(way)
        await house.wired.wiring.change(
            lambda document: with_setting(document, ("sensors", "cellar-probe", "freezer"), None), "ben"
        )
        await house.phone.press(f"{way}/about", name="Room probe")
        found = house.gateway.watch.house

    assert found.sensors["cellar-probe"].name == "Room probe"
    assert found.freezers["shed-chest"].sensors == ("shed-chest-air",)


async def test_sensor_that_names_a_room_goes_with_it(tmp_path: Path) -> None:
    """Taking out the thermometer of a freezer's room leaves the freezer without one; and the freezer may go too."""
    async with open_house(tmp_path) as house:
        await add_probe(house)

        def edit(document: Document) -> Document:
            document = with_setting(document, ("sensors", "cellar-probe", "freezer"), None)
            return with_setting(document, ROOM, "cellar-probe")

        await house.wired.wiring.change(edit, "ann")
        before = house.gateway.watch.house.freezers["porch-chest"].room
        await house.phone.get("/sensor/cellar-probe")
        await house.phone.press("/sensor/cellar-probe/remove")
        room = house.gateway.watch.house.freezers["porch-chest"].room
        await house.phone.get("/settings")
        await house.phone.press("/settings/porch-chest/remove")

    assert (before, room or None) == ("cellar-probe", None)
    assert list(house.gateway.watch.house.freezers) == ["shed-chest"]


async def test_sensor_of_the_keepers_own_file(tmp_path: Path) -> None:
    """A sensor that the keeper wrote by hand is left alone; its page says in which line it stands."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get(f"/sensor/{PROBE}")
        token = page.sheets[0].fields
        refused = await house.phone.post(f"/sensor/{PROBE}/remove", token)

    assert "It stands in your own settings file (gatewayd.yaml, line 5)." in page.words
    assert f"/sensor/{PROBE}/about" not in [sheet.action for sheet in page.sheets]
    assert "own settings file" in refused.words
    assert PROBE in house.gateway.watch.house.sensors


async def test_freezer_leaves_its_sensors(tmp_path: Path) -> None:
    """Taking a freezer away names its sensors, which stay in none; one that lies in it by hand keeps it there."""
    own = OWN.replace("topic: air/shed-chest}", "topic: air/shed-chest, freezer: shed-chest}")
    own = own.replace(", sensors: [shed-chest-air]}", "}").replace("  shed-chest: {name: Shed chest}\n", "  {}\n")
    own = own.replace("freezers:\n  {}\n", "")
    chest = {"freezers": {"shed-chest": {"name": "Shed chest"}}}
    (tmp_path / "house.yaml").write_text(written(chest))
    async with open_house(tmp_path, settings=own) as house:
        await house.phone.get("/settings")
        held = await house.phone.press("/settings/shed-chest/remove")
        house.wired.file.write_text(own.replace(", freezer: shed-chest", ""))
        sensor = ("sensors", "cellar-probe")
        entry = {"name": "Cellar probe", "broker": "home", "topic": "air/cellar", "freezer": "shed-chest"}
        await house.wired.wiring.change(lambda document: with_setting(document, sensor, entry), "ann")
        await house.phone.get("/settings")
        gone = await house.phone.press("/settings/shed-chest/remove")

    assert "shed-chest probe lies in Shed chest by your own settings file (gatewayd.yaml, line " in held.words
    assert "Shed chest is no longer watched." in gone.words
    assert "In no freezer now: Cellar probe; see Sensors." in gone.words
    assert "cellar-probe" in house.gateway.watch.house.sensors

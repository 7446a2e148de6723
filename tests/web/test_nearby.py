"""The page of what is heard nearby: listen, tap, name, choose the freezer, look, add, take back."""

from pathlib import Path
from urllib.parse import quote

import pytest

from gatewayd.model.moment import Moment
from gatewayd.settings.adding import addable, known_as, proposed_id
from gatewayd.watch.nearby import LARGEST, LONGEST, Nearby, Sighting
from gatewayd.web.hearing import LASTS
from tests.days.player import house as some_house
from tests.sources.air import CHEST, STEADY
from tests.web.open_house import open_house
from tests.web.phone import Phone

pytestmark = pytest.mark.rig

TOPIC = "house/cellar"
SAYS = b'{"temperature": -18.6, "room_temp": 21.5, "battery": 91}'
WAY = f"/sensors/nearby/add?way=broker&source=home&channel={quote(TOPIC, safe='')}"
SEALED = bytes.fromhex("41a47266c95f730011223378237214")  # BTHome v2, bthome.io/encryption
KEY = "231d39c1d7cc1ab1aee224cd096db932"


async def test_listening_begins_with_a_press(tmp_path: Path) -> None:
    """Nobody listens until the button is pressed; then it says how long; when the time is up what was heard stays."""
    async with open_house(tmp_path) as house:
        quiet = await house.phone.get("/sensors/nearby")
        begun = house.hearing.begun
        page = await house.phone.press("/sensors/nearby")
        house.hearing.hear("broker", TOPIC, SAYS)
        heard = await house.phone.get("/sensors/nearby")
        house.hearing.pass_by(LASTS)
        over = await house.phone.get("/sensors/nearby")

    assert "Nobody listens just now." in quiet.words
    assert (begun, house.hearing.begun) == (0, 1)
    assert "Listening. It ends by itself in 2 min." in page.words
    assert {TOPIC in heard.words, "−18.6 °C" in heard.words, "at a broker, Home broker" in heard.words} == {True}
    assert "The two minutes are over." in over.words
    assert TOPIC in over.words


async def test_sensor_is_added_and_taken_back(tmp_path: Path) -> None:
    """A heard topic is named, put into a freezer and looked at; then it is a sensor at once, and can be taken back."""
    async with open_house(tmp_path) as house:
        house.hearing.hear("broker", TOPIC, SAYS)
        await house.phone.get(WAY)
        look = await house.phone.press(WAY, name="Cellar probe", freezer="shed-chest", value="/room_temp")
        written = house.wired.house_file.exists()
        added = await house.phone.press(WAY)
        sensor = house.gateway.watch.house.sensors["cellar-probe"]
        known = await house.phone.get("/sensors/nearby")
        await house.phone.get(added.path)
        back = await house.phone.press("/sensors/nearby/undo")

    for words in ("topic: house/cellar", "value: /room_temp", "freezer: shed-chest", "It guards Shed chest"):
        assert words in look.words
    assert not written
    assert added.path == "/sensor/cellar-probe?new=1"
    assert "Cellar probe is a sensor of the house now." in added.words
    assert (sensor.source, sensor.channel, sensor.payload.value) == ("home", TOPIC, "/room_temp")  # type: ignore[union-attr]
    assert "/sensor/cellar-probe" in known.links
    assert "Taken back." in back.words
    assert "cellar-probe" not in house.gateway.watch.house.sensors


async def test_other_change_is_not_taken_back(tmp_path: Path) -> None:
    """Where something else was changed since, "Take it back" takes nothing back and says so."""
    async with open_house(tmp_path) as house:
        house.hearing.hear("broker", TOPIC, b"-18.5")
        await house.phone.get(WAY)
        await house.phone.press(WAY, name="Cellar probe", freezer="none")
        added = await house.phone.press(WAY)
        await house.wired.wiring.change(lambda document: {**document, "store": {"keep_every": "5 min"}}, "ben")
        page = await house.phone.press("/sensors/nearby/undo")
        later = await house.phone.get(added.path)

    assert "Something else was changed" in page.words
    assert "cellar-probe" in house.wired.settings.house.sensors
    assert "/sensors/nearby/undo" not in [sheet.action for sheet in later.sheets]


async def test_second_tap_adds_once(tmp_path: Path) -> None:
    """The form sent twice, after a lost answer, leads to the sensor that the first made, without a fault."""
    async with open_house(tmp_path) as house:
        house.hearing.hear("broker", TOPIC, b"-18.5")
        await house.phone.get(WAY)
        look = await house.phone.press(WAY, name="Cellar probe", freezer="none")
        fields = look.sheet(WAY).fields
        first = await house.phone.post(WAY, fields)
        second = await house.phone.post(WAY, fields)

    assert first.path == second.path == "/sensor/cellar-probe?new=1"
    assert "It is in no freezer, so it raises no alarm." in second.words
    assert "Not done" not in second.words


async def test_id_that_is_taken(tmp_path: Path) -> None:
    """An id that a sensor, a freezer or a broker has is refused before anything is shown to be written, in words."""
    async with open_house(tmp_path) as house:
        house.hearing.hear("broker", TOPIC, b"-18.5")
        said = []
        for id_ in ("shed-chest-air", "shed-chest", "home", "heron-lane"):
            await house.phone.get(WAY)
            page = await house.phone.press(WAY, name="Cellar probe", freezer="none", id=id_)
            fields = dict(page.sheet(WAY).fields)
            said.append((page.status, fields["step"], fields["id"] == id_))
            assert f"The id {id_} is that of " in page.words

    assert said == [(422, "look", True)] * 4
    assert not house.wired.house_file.exists()


async def test_sealed_sensor_needs_its_key(tmp_path: Path) -> None:
    """Who adds a sealed sensor is asked for its key; a wrong one is refused in words, a right one is not shown."""
    way = f"/sensors/nearby/add?way=air&source=garage&channel={quote(CHEST, safe='')}"
    async with open_house(tmp_path) as house:
        house.hearing.hear("air", CHEST, SEALED, source="garage", part="service fcd2", name="Probe", signal=-70)
        await house.phone.get(way)
        without = await house.phone.press(way, freezer="shed-chest", sealed_with="")
        wrong = await house.phone.press(way, freezer="shed-chest", sealed_with="no key")
        look = await house.phone.press(way, sealed_with=KEY)
        done = await house.phone.press(way)
        keys = house.wired.settings.keys

    assert (without.status, "its key must be filled in" in without.words) == (422, True)
    assert (wrong.status, "32 digits of 0-9 and a-f" in wrong.words) == (422, True)
    assert 'value="Probe"' in wrong.text
    assert KEY not in look.words
    assert "key: …" in look.words
    assert done.path == "/sensor/probe?new=1"
    assert keys["probe"].reveal() == KEY
    assert house.wired.settings.radios["garage-radio"].adapter == "first"


async def test_wrong_fields(tmp_path: Path) -> None:
    """A missing name, freezer or number, and an id that is taken, are refused with what was typed still there."""
    async with open_house(tmp_path) as house:
        house.hearing.hear("broker", TOPIC, SAYS)
        await house.phone.get(WAY)
        nameless = await house.phone.press(WAY, name=" ", freezer="shed-chest")
        homeless = await house.phone.press(WAY, name="Cellar probe", freezer="attic")
        other = await house.phone.press(WAY, name="Cellar probe", freezer="none", value="/count")
        await house.phone.press(WAY, name="Cellar probe", freezer="none", value="/temperature", id="shed-chest-air")
        taken = await house.phone.press(WAY)

    assert [page.status for page in (nameless, homeless, other, taken)] == [422] * 4
    assert "name must be filled in" in nameless.words
    assert "Choose the freezer" in homeless.words
    assert 'value="Cellar probe"' in homeless.text
    assert "Choose which of its numbers" in other.words
    assert "shed-chest-air" in taken.words
    assert not house.wired.house_file.exists()


async def test_what_cannot_be_added(tmp_path: Path) -> None:
    """A device that must be connected to says that it is added by hand, and one that is gone that it must be heard."""
    way = f"/sensors/nearby/add?way=air&source=garage&channel={quote(CHEST, safe='')}"
    async with open_house(tmp_path) as house:
        house.hearing.hear("air", CHEST, b"\x01", source="garage", part="maker ffff", signal=-70)
        row = await house.phone.get("/sensors/nearby")
        page = await house.phone.get(way)
        posted = await house.phone.post(way, {"csrf": dict(row.sheets[0].fields)["csrf"], "name": "x"})
        gone = await house.phone.get("/sensors/nearby/add?way=air&source=garage&channel=none")

    assert "One that must be connected to has to be added by hand." in row.words
    assert "by hand" in page.words
    assert posted.status == 422
    assert gone.path == "/sensors/nearby"
    assert "Listen once more" in gone.words


async def test_hostile_air(tmp_path: Path) -> None:
    """Floods of topics and random addresses are bounded, and names and topics that are markup come out as text."""
    async with open_house(tmp_path) as house:
        for number in range(700):
            house.hearing.hear("broker", f"flood/{number}", b"1")
        markup = '<script>alert(1)</script>/\u202e=HYPERLINK("x")/😀/${HOME}'
        house.hearing.hear("broker", markup, b'{"<b>t</b>": -18.0, "temp": -19.0}')
        house.hearing.hear(
            "air", CHEST, STEADY, source="garage", part="service fcd2", name="<i>" + "y" * 500, signal=-70
        )
        way = f"/sensors/nearby/add?way=broker&source=home&channel={quote(markup, safe='')}"
        page = await house.phone.get("/sensors/nearby")
        form = await house.phone.get(way)
        action = form.sheets[0].action
        await house.phone.press(action, name="<b>" + "z" * 70, freezer="none", value="/temp")
        done = await house.phone.press(action)
        sensor = house.gateway.watch.house.sensors
        narrow = await house.phone.get("/sensors/nearby?with=FLOOD%2F69")

    assert len(list(house.hearing.nearby)) <= 500
    assert page.size < 20_000
    assert "And 440 more." in page.words
    for each in (page, form, done):
        assert "<script>alert" not in each.text
        assert "<i>" not in each.text
        assert "<b>" not in each.text
    assert done.path.startswith("/sensor/b-zzz")
    assert markup in [one.channel for one in sensor.values()]
    assert {"flood/699" in narrow.words, "flood/1 " in narrow.words} == {True, False}


async def test_looker_sees_no_forms(tmp_path: Path) -> None:
    """Who came by a link to look sees what is heard, and nothing to press."""
    async with open_house(tmp_path) as house:
        word = house.lock.add_link("tablet", "ann", house.clock.now().wall)
        house.hearing.hear("broker", TOPIC, SAYS)
        async with Phone(house.begins) as looker:
            await looker.get(f"/look/{word}")
            pages = [await looker.get(way) for way in ("/sensors", "/sensors/nearby", WAY, "/sensor/shed-chest-air")]

    for page in pages:
        assert page.status == 200
        assert [sheet.action for sheet in page.sheets if sheet.action not in ("/sign-out", "/sensors/nearby")] == []
        assert "Press" not in page.words
    assert all("csrf" not in dict(sheet.fields) for sheet in pages[1].sheets if sheet.action == "/sensors/nearby")


def test_bounds_of_what_is_kept() -> None:
    """A channel that is too long is not kept, of a huge message only its begin, and of each the newest alone."""
    nearby = Nearby(most=3, history=1)
    for number in range(5):
        nearby.see(Sighting("broker", "home", f"t/{number}", {"": b"x" * 10_000_000}, Moment(0, number)))
    nearby.see(Sighting("broker", "home", "t/4", {"": b"-18"}, Moment(0, 9)))
    nearby.see(Sighting("broker", "home", "t" * (LONGEST + 1), {"": b"-18"}, Moment(0, 9)))

    assert [each.channel for each in nearby] == ["t/4", "t/3", "t/2"]
    assert [len(frames) for each in nearby for frames in each.history.values()] == [1, 1, 1]
    assert max(len(data) for each in nearby for data in each.newest().values()) == LARGEST


def test_entry_of_a_heard_topic() -> None:
    """A chosen number in Fahrenheit brings its unit along, a topic that looks like a secret means itself."""
    nearby = Nearby()
    nearby.see(Sighting("broker", "home", "${HOME}/x", {"": b'{"fahrenheit": -1.5, "temp": -18.6}'}, Moment(0, 0)))
    heard = addable(next(iter(nearby)), None)
    entry = heard.filled("Porch", freezer="porch-chest", pointer="/fahrenheit")

    assert entry == {
        "name": "Porch", "broker": "home", "topic": "$${HOME}/x", "payload": "json", "value": "/fahrenheit",
        "unit": "°F", "freezer": "porch-chest",
    }  # fmt: skip
    assert "unit" not in heard.filled("Porch", pointer="/temp")


def test_proposed_ids() -> None:
    """An id is made of the name, and is one that the house does not have yet."""
    house = some_house(1)
    assert proposed_id("Cellar, bottom!") == "cellar-bottom"
    assert proposed_id("☃") == "probe"
    assert proposed_id("Shed chest", house) == "shed-chest-2"
    assert len(proposed_id("long " * 30, house)) <= 40


def test_known_sensors() -> None:
    """A topic is known by its very letters at its broker, and only there."""
    nearby, house = Nearby(), some_house(1)
    for source, topic in (("home", "air/shed-chest"), ("home", "AIR/shed-chest"), ("other", "air/shed-chest")):
        nearby.see(Sighting("broker", source, topic, {"": b"-18"}, Moment(0, 0)))

    assert [[one.id for one in known_as(each, house)] for each in nearby] == [[], [], ["shed-chest-air"]]

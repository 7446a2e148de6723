"""The page of one freezer, through the real gateway: its words, its curve, and what somebody does at it."""

import json
from itertools import product
from pathlib import Path

import pytest

from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.reading import Arrival, Heard
from gatewayd.store.chart import POINTS
from gatewayd.web.curve import SPANS
from tests.days.player import BROKER
from tests.web.living import cold, live, warm
from tests.web.open_house import Opened, open_house
from tests.web.phone import Page
from tests.web.wired import OWN

pytestmark = pytest.mark.rig

SHED = "/freezer/shed-chest"
TWO = OWN.replace("sensors: [shed-chest-air]", "sensors: [shed-chest-air, shed-low, shed-lid]").replace(
    "brokers:",
    "  shed-low: {name: low probe, broker: home, topic: air/shed-low}\n"
    "  shed-lid: {name: shed lid, broker: home, topic: lid/shed, measures: lid}\nbrokers:",
)


async def test_page_of_a_freezer(tmp_path: Path) -> None:
    """The page has the headline, figures of the window, the same as a table, and a picture for who has no script."""
    async with open_house(tmp_path) as house:
        await cold(house, 40)
        page = await house.phone.get(SHED)
        picture = await house.phone.get(next(link for link in page.links if "curve.svg" in link))

    assert page.text.count("<h1") == 1
    assert "Shed chest is holding" in page.words
    assert "Lowest −18.9 °C, highest −18.4 °C, mean −18." in page.words
    assert "<caption>Shed chest, " in page.text
    assert 'scope="row"' in page.text
    assert "no readings" in page.words
    assert {"/stock?freezer=shed-chest", "/defrost/shed-chest", "/sensors"} <= set(page.links)
    assert page.size < 20_000
    assert (picture.status, picture.headers["Content-Type"]) == (200, "image/svg+xml; charset=utf-8")
    assert "<polyline" in picture.text


async def test_every_span_has_curve_table_and_picture(tmp_path: Path) -> None:
    """Each span, now and in the past, has its columns of at most 800 points, its table and its picture."""
    async with open_house(tmp_path) as house:
        await cold(house)
        for span, until in product(SPANS, ("", "&until=2026-11-20T06:00")):
            page = await house.phone.get(f"{SHED}?span={span}{until}")
            found = json.loads((await house.phone.get(f"{SHED}/curve.json?span={span}{until}")).text)
            picture = await house.phone.get(f"{SHED}/curve.svg?span={span}{until}")
            assert (page.status, picture.status) == (200, 200)
            assert ("No readings in this time." in page.words) == bool(until)
            assert len(found["t"]) == len(found["mean"]) <= POINTS
            assert (len(found["t"]) > 0) == (not until)
            assert ("Later" in page.words) == bool(until)


async def test_a_day_of_minutes_fits_the_screen(tmp_path: Path) -> None:
    """A day of a reading a minute, with gaps in it, is told in at most 800 points, and its warmest moment is there."""
    async with open_house(tmp_path) as house:
        for n in range(10):
            await live(house, [-18.0 - n / 100] * 110)
            await house.clock.advance(30 * MINUTE)
        await live(house, [-15.2])
        found = json.loads((await house.phone.get(f"{SHED}/curve.json?span=day")).text)

    assert len(found["t"]) <= POINTS
    assert max(high for high in found["high"] if high is not None) == -15.2
    assert found["mean"].count(None) == 10
    assert found["t"] == sorted(found["t"])


async def test_wrong_addresses(tmp_path: Path) -> None:
    """An address that asks for what there is not is answered with a plain page that runs nothing."""
    wrong = ["?span=hour", "?until=<script>", "?span=day&until=" + "9" * 500]
    missing = ["?sensor=attic", "/../../etc/passwd", "/curve.png"]
    async with open_house(tmp_path) as house:
        for query, status in [(each, 400) for each in wrong] + [(each, 404) for each in missing]:
            page = await house.phone.get(SHED + query)
            assert page.status == status
            assert "<script>" not in page.text
        assert (await house.phone.get("/freezer/attic")).status == 404


async def test_at_the_freezer_and_done(tmp_path: Path) -> None:
    """One tap keeps the freezer quiet for an hour, another ends that; each is offered only when it applies."""
    async with open_house(tmp_path) as house:
        await cold(house)
        before = await house.phone.get(SHED)
        at = await house.phone.press(f"{SHED}/at", why="putting the venison in")
        done = await house.phone.press(f"{SHED}/left")

    assert f"{SHED}/left" not in [sheet.action for sheet in before.sheets]
    assert "Shed chest is quiet until" in at.words
    assert "gatewayd at" not in at.words
    assert "Somebody is at it; its alarms are quiet until" in at.words
    assert f"{SHED}/at" not in [sheet.action for sheet in at.sheets]
    assert "is watched again as always" in done.words
    assert f"{SHED}/at" in [sheet.action for sheet in done.sheets]


async def test_at_the_freezer_for_too_long(tmp_path: Path) -> None:
    """A span that is not offered, or a word that is too long, is refused on the page, and nothing changes."""
    async with open_house(tmp_path) as house:
        await cold(house)
        await house.phone.get(SHED)
        wrong = await house.phone.press(f"{SHED}/at", **{"for": "999999999999"})
        long = await house.phone.press(f"{SHED}/at", why="x" * 501)

    for page in (wrong, long):
        assert page.status == 422
        assert "Not done." in page.words
        assert f"{SHED}/left" not in [sheet.action for sheet in page.sheets]


async def thawed(house: Opened) -> Page:
    """Let the food thaw and the freezer be cold again, and open its page."""
    await cold(house)
    await live(house, [-8.0] * 10 + [1.5] * 120)
    await live(house, [-18.5] * 40)
    return await house.phone.get(SHED)


async def test_food_is_checked(tmp_path: Path) -> None:
    """After a thaw the page asks for the food, with the cautions; the decision is written down and ends the alarm."""
    async with open_house(tmp_path) as house:
        page = await thawed(house)
        empty = await house.phone.press(f"{SHED}/checked", why="  ")
        hostile = await house.phone.press(f"{SHED}/checked", why="=HYPERLINK(1)<script>x</script> \u202etaken")
        calm = await house.phone.get("/")

    assert "check the food" in page.words
    assert "Never taste food" in page.words
    assert "/what-happened" in page.links
    assert empty.status == 422
    assert "Say what was decided" in empty.words
    assert (hostile.status, hostile.path) == (200, SHED)
    assert "&lt;script&gt;x&lt;/script&gt;" in hostile.text
    assert f"{SHED}/checked" not in [sheet.action for sheet in hostile.sheets]
    assert "Shed chest is holding" in calm.words


async def test_what_was_typed_stays(tmp_path: Path) -> None:
    """A decision that is too long is refused, and still stands in its field."""
    async with open_house(tmp_path) as house:
        await thawed(house)
        page = await house.phone.press(f"{SHED}/checked", why="kept all " * 100)

    assert page.status == 422
    assert dict(page.sheet(f"{SHED}/checked").fields)["why"].startswith("kept all kept all")


async def test_warming_shows_spell_and_alarm(tmp_path: Path) -> None:
    """While an alarm stands the curve has its spell, and the page its words and its button."""
    async with open_house(tmp_path) as house:
        await cold(house)
        await warm(house)
        page = await house.phone.get(SHED)
        found = json.loads((await house.phone.get(f"{SHED}/curve.json")).text)
        await house.phone.get(SHED)
        seen = await house.phone.press(f"{SHED}/acknowledge")

    assert "Alarms in this time:" in page.words
    assert "too warm" in [words for *_, words in found["spells"]]
    began, ended = next((a, b) for a, b, words in found["spells"] if words == "too warm")
    assert ended - began > 45 * 60
    assert seen.path == SHED
    assert "acknowledged." in seen.words


async def test_several_probes_lids_and_late_readings(tmp_path: Path) -> None:
    """Of several probes the warmest is shown unless one is chosen; lid openings and late readings are apart."""
    async with open_house(tmp_path, settings=TWO) as house:
        await cold(house, 10)

        def hear(who: str, payload: bytes, arrival: Arrival = Arrival.LIVE) -> None:
            at = house.clock.now()
            house.gateway.hear(Heard(BROKER, who, payload, at, arrival, at.wall - HOUR), None)

        hear("shed-low", b"-25.0")
        for word in (b"0", b"1", b"0"):
            hear("shed-lid", word)
            await house.clock.advance(3 * MINUTE)
        hear("shed-chest-air", b"-9.9", Arrival.LATE)
        await cold(house, 3)
        page = await house.phone.get(SHED)
        warmest = json.loads((await house.phone.get(f"{SHED}/curve.json")).text)
        low = json.loads((await house.phone.get(f"{SHED}/curve.json?sensor=shed-low")).text)
        chosen = await house.phone.get(f"{SHED}?sensor=shed-low&span=week")

    assert low["mean"] == [-25.0]
    assert -25.0 not in warmest["mean"]
    assert [value for *_, value in warmest["late"]] == [-9.9]
    assert [shut - opened for opened, shut in warmest["lids"]] == [180]
    assert "1 late reading is drawn apart" in page.words
    assert "The lid or door: open" in page.words
    assert "Which probe" in page.words
    assert "Lowest −25.0 °C, highest −25.0 °C" in chosen.words
    assert any("sensor=shed-low" in link for link in chosen.links)


async def test_freezer_without_a_sensor(tmp_path: Path) -> None:
    """A freezer that nothing watches has a page that says so and where to go."""
    settings = OWN.replace("brokers:", "brokers:", 1).replace("sensors:\n", "  barn: {name: Barn chest}\nsensors:\n", 1)
    async with open_house(tmp_path, settings=settings) as house:
        page = await house.phone.get("/freezer/barn")
        curve = await house.phone.get("/freezer/barn/curve.json")

    assert (page.status, curve.status) == (200, 200)
    assert "Barn chest has no sensor, so nothing is known of it" in page.words
    assert json.loads(curve.text)["t"] == []

"""The settings on the pages: checked, in force at once, taken back; what was written by hand is left alone."""

import fcntl
import os
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.settings.document import with_setting
from tests.web.open_house import Opened, open_house
from tests.web.phone import Phone
from tests.web.wired import OWN

pytestmark = pytest.mark.rig

LIMITS = "/settings/shed-chest/limits"
HIGH = "freezers.shed-chest.limits.high"
HAND = OWN.replace("sensors: [shed-chest-air]", "sensors: [shed-chest-air], limits: {high: -14 °C}")
WRONG_LIMITS: tuple[tuple[dict[str, str], str], ...] = (
    ({"high": "5 °C"}, "is warmer than 0 °C: the food would be lost"),
    ({"high": "warm"}, "is not a temperature"),
    (
        {"high": "-5 °C", "highhigh": "-8 °C"},
        "“Too warm above” (−5.0 °C) must be colder than “Far too warm above” (−8.0 °C).",
    ),
    ({"high_on_delay": "3 weeks"}, "a span from 0 s to 1 day, like 45 min or 2 h"),
    ({"high": "<script>alert(1)</script>"}, "is not a temperature"),
    ({"high": "x" * 500}, "is longer than 200 characters"),
    ({"high": "-15 °C", "warm": "-13 °C"}, "-13 °C is warmer than “Too warm above” (−15.0 °C)"),
    ({"unwatched": "5 h"}, "“No reading for so long” (5 h) must not be longer than “No reading for so long is urgent”"),
    ({"high": "-10,5 °C"}, "a decimal point is expected, as in 12.5"),
    ({"high_on_delay": "30"}, "like 45 min or 2 h"),
)
WRONG_FREEZERS = (
    ({"id": "shed-chest"}, "The id shed-chest is that of a freezer already"),
    ({"id": "shed-chest-air"}, "belongs to something else"),
    ({"id": "Not an id"}, "'Not an id' is not an id; use small letters, digits and hyphens"),
    ({"name": "طعام \u202edooF"}, "holds the sign U+202E, which turns the letters after it round"),
    ({"kind": "fridge"}, "is not allowed"),
    ({"name": ""}, "must be filled in"),
    ({"name": "x" * 500}, "80 at most"),
)
ADDED = {"name": "Porch chest", "kind": "upright"}


def high(house: Opened) -> float:
    """Return the limit by which the watch judges."""
    return house.home.house.freezers["shed-chest"].limits.high


async def save(house: Opened, **fields: str) -> None:
    """Open the form of the limits and save it with some fields changed."""
    await house.phone.get(LIMITS)
    await house.phone.press(LIMITS, **{f"freezers.shed-chest.limits.{key}": text for key, text in fields.items()})


async def test_limit_is_changed_and_taken_back(tmp_path: Path) -> None:
    """A limit that is saved is in force and stands in house.yaml; the undo says what it brings and brings it."""
    async with open_house(tmp_path) as house:
        await save(house, high="-15", deadband="2")
        said, shown = house.phone.page.words, dict(house.phone.page.sheet(LIMITS).fields)[HIGH]
        changed, stands = high(house), house.wired.house_file.read_text()
        page = await house.phone.get("/settings")
        page_words = page.words
        await house.phone.press("/settings/undo")

        assert "Saved." in said
        assert (changed, shown) == (-15.0, "-15 °C")
        assert "high: -15 °C" in stands
        assert "Too warm above (Shed chest) is no longer set; it was -15 °C" in page_words
        assert high(house) == -12.0
        assert not house.wired.house_file.exists()
        assert "There is" not in house.phone.page.words


async def test_wrong_limits(tmp_path: Path) -> None:
    """A value that cannot be is refused beside its field, with what was typed still there; nothing is written."""
    async with open_house(tmp_path) as house:
        for fields, words in WRONG_LIMITS:
            await save(house, **fields)
            page = house.phone.page
            assert (page.status, words in page.words) == (422, True), fields
            assert "<script>alert" not in page.text
            assert dict(page.sheet(LIMITS).fields)[HIGH] == fields.get("high", "")

        assert high(house) == -12.0
        assert not house.wired.house_file.exists()


async def test_dangerous_limits_are_warned_of(tmp_path: Path) -> None:
    """What is allowed and hardly meant is saved, and the next page and the front of the settings warn of it."""
    async with open_house(tmp_path) as house:
        await save(house, high="-8 °C")
        late = house.phone.page.words
        await save(house, high_on_delay="6 h")
        slow = house.phone.page.words
        page = await house.phone.get("/settings")

    assert "Careful: Shed chest, “Too warm above”: -8 °C is warmer than" in late
    assert "Careful: Shed chest, “Too warm for so long”: 6 h is longer than 4 h" in slow
    assert "Careful: Shed chest, “Too warm above”: -8" not in slow  # said once, and on the front of the settings
    assert "so its alarm comes late" in page.words
    assert "before anybody hears of it" in page.words


async def test_limits_in_the_other_scale(tmp_path: Path) -> None:
    """A limit that was saved under the other scale is shown in the house's, counts as before, and stays as written."""
    async with open_house(tmp_path) as house:
        await save(house, high="-16 °C")
        await house.phone.get("/settings/house")
        await house.phone.press("/settings/house", **{"site.units": "°F"})
        await save(house, deadband="2")
        page = await house.phone.get(LIMITS)

        assert dict(page.sheet(LIMITS).fields)[HIGH] == "3.2 °F"
        assert high(house) == -16.0
        assert "high: -16 °C" in house.wired.house_file.read_text()
        assert "-12 °C" not in page.words.replace("like -12 °C or 10 °F", "")


async def test_freezer_of_the_same_name(tmp_path: Path) -> None:
    """A second freezer of one name is warned of, in the words of the household."""
    async with open_house(tmp_path) as house:
        await house.phone.get("/settings")
        page = await house.phone.press("/settings/freezers", name="shed chest", kind="chest")

    assert "Careful: there is another freezer called shed chest; a message may mean either." in page.words


async def test_what_it_holds(tmp_path: Path) -> None:
    """The page says once that what stands on it goes before the stock list."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/settings/shed-chest/contents")

    assert page.words.count("goes before the stock list") == 1


async def test_hand_written_value_is_left_alone(tmp_path: Path) -> None:
    """What stands in the keeper's file is shown with its line, has no field, and a forged field changes nothing."""
    async with open_house(tmp_path, settings=HAND) as house:
        page = await house.phone.get(LIMITS)
        names = dict(page.sheet(LIMITS).fields)
        await house.phone.press(LIMITS, **{HIGH: "-20 °C", "freezers.shed-chest.limits.deadband": "2 °C"})

        assert "−14 °C" in page.words or "-14 °C" in page.words
        assert f"Stands in {house.wired.file}, line 3: change it there" in page.words
        assert HIGH not in names
        assert high(house) == -14.0
        assert house.wired.file.read_text() == HAND
        assert "-20" not in house.wired.house_file.read_text()


async def test_broken_file_changes_nothing(tmp_path: Path) -> None:
    """While the keeper's own file is half edited its faults are shown, and a change is refused with them."""
    async with open_house(tmp_path) as house:
        await house.phone.get(LIMITS)
        house.wired.file.write_text("site: [\n")
        page = await house.phone.press(LIMITS, **{HIGH: "-15 °C"})
        front = await house.phone.get("/settings")

        part = await house.phone.get(LIMITS)
        people = await house.phone.get("/people/of/ann")

        assert page.status == 422
        assert "gatewayd.yaml, line" in page.words
        assert all("A settings file cannot be read at this moment" in one.words for one in (page, part, people))
        assert "cannot be read at this moment" in front.words
        assert high(house) == -12.0
        assert not house.wired.house_file.exists()


async def test_disk_that_refuses(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that cannot be written to is said; the limit stays as it was."""

    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    async with open_house(tmp_path) as house:
        monkeypatch.setattr("gatewayd.settings.edit._write", refuse)
        await save(house, high="-15 °C")

        assert house.phone.page.status == 422
        assert "The disk does not take it (Read-only file system)" in house.phone.page.words
        assert high(house) == -12.0


async def test_command_at_the_same_time(tmp_path: Path) -> None:
    """Who saves while a command changes the settings is told to try again."""
    async with open_house(tmp_path) as house:
        folder = os.open(tmp_path, os.O_RDONLY)
        fcntl.flock(folder, fcntl.LOCK_EX)
        await save(house, high="-15 °C")
        os.close(folder)

        assert house.phone.page.status == 422
        assert "try again in a moment" in house.phone.page.words
        assert high(house) == -12.0


async def test_freezer_is_added_and_taken_away(tmp_path: Path) -> None:
    """A freezer is added by its name alone, whatever that looks like, and can be taken away again."""
    async with open_house(tmp_path) as house:
        for name in ("<script>alert(1)</script>", "=HYPERLINK(1)", "${SECRET}", "طعام", "❄️ chest"):
            await house.phone.get("/settings")
            page = await house.phone.press("/settings/freezers", **{**ADDED, "name": name})
            added = next(reversed(house.home.house.freezers.values()))
            front = await house.phone.get("/settings")
            text = front.text
            await house.phone.press(f"/settings/{added.id}/remove")

            assert page.path == f"/settings/{added.id}/about"
            assert (added.name, added.kind.value) == (name, "upright")
            assert "<script>alert" not in text
            assert list(house.home.house.freezers) == ["shed-chest"]


async def test_wrong_freezer(tmp_path: Path) -> None:
    """A freezer that cannot be is refused with the reason."""
    async with open_house(tmp_path) as house:
        for fields, words in WRONG_FREEZERS:
            await house.phone.get("/settings")
            page = await house.phone.press("/settings/freezers", **(ADDED | fields))
            assert (page.status, words in page.words) == (422, True), fields
            assert "house.yaml" not in page.words, fields

        assert list(house.home.house.freezers) == ["shed-chest"]
        assert not house.wired.house_file.exists()


async def test_every_form_of_a_freezer(tmp_path: Path) -> None:
    """Each form saves as it stands without a word in house.yaml, and what is filled in arrives."""
    about, alarms, holds = (f"/settings/shed-chest/{part}" for part in ("about", "alarms", "contents"))
    async with open_house(tmp_path) as house:
        for action, filled in (
            (about, {"freezers.shed-chest.kind": "upright", "freezers.shed-chest.volume": "300 L"}),
            (alarms, {"freezers.shed-chest.alarms.lid-open": "off"}),
            (holds, {"freezers.shed-chest.contents.meat": "30 kg"}),
            ("/settings/house", {"site.units": "°F"}),
        ):
            await house.phone.get(action)
            assert (await house.phone.press(action)).status == 200
            await house.phone.get(action)
            assert (await house.phone.press(action, **filled)).status == 200
        freezer = house.home.house.freezers["shed-chest"]
        page = await house.phone.get(LIMITS)

        assert (freezer.kind.value, freezer.volume, freezer.alarms) == ("upright", 300.0, {"lid-open": None})
        assert sum(freezer.contents.values()) == 30.0
        assert "Default: 10.4 °F" in page.words
        assert page.size < 20_000


async def test_secrets_are_never_shown(tmp_path: Path) -> None:
    """All that stands in the files is listed with its line; a password, its name and its value are not."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/settings/written")

    assert "brokers.home.host" in page.words
    assert "gatewayd.yaml, line 7" in page.words
    for secret in ("kestrel-77", "plover-31", "BROKER_WORD", "MAIL_WORD"):
        assert secret not in page.text


async def test_who_may_only_look(tmp_path: Path) -> None:
    """Who came by a link to look sees the values and no form, and nothing of what stands in the files."""
    async with open_house(tmp_path) as house, Phone(house.begins) as tablet:
        word = house.lock.add_link("tablet", "ann", SystemClock().now().wall)
        await tablet.get(f"/look/{word}")
        pages = [await tablet.get(path) for path in ("/settings", LIMITS, "/settings/house", "/settings/written")]

    assert all(page.status == 200 for page in pages)
    assert all(sheet.action == "/sign-out" for page in pages for sheet in page.sheets)
    assert "Too warm above" in pages[1].words
    assert "broker.test" not in pages[3].text


def test_setting_is_put_and_taken_away() -> None:
    """A setting is put where its groups are missing; taken away its empty groups go, an entry under an id stays."""
    path = ("freezers", "shed", "limits", "high")
    put = with_setting({}, path, "-15 °C")

    assert put == {"freezers": {"shed": {"limits": {"high": "-15 °C"}}}}
    assert with_setting(put, path, None) == {"freezers": {"shed": {}}}
    assert with_setting({"telling": {"note": "off"}}, ("telling", "note"), None) == {}

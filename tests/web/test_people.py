"""People on the pages: who is told, by which ways, in which order; each way can be tried; secrets stay hidden."""

import asyncio
import stat
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.priority import Priority
from gatewayd.model.route import MailRoute, UrlRoute
from gatewayd.notify.letter import Outcome
from gatewayd.settings.document import Document
from gatewayd.web import server as server_module
from gatewayd.web.ways import moved, without_unused
from tests.web.open_house import Opened, open_house
from tests.web.phone import Page, Phone
from tests.web.wired import OWN

rig = pytest.mark.rig

ALONE = OWN[: OWN.index("people:")]  # a house whose own file tells nobody
WRONG_MAILS = (
    ({"to": ""}, "It must be filled in."),
    ({"to": "cleo@a.test, ben@a.test"}, "is not one mail address"),
    ({"host": "smtp://mail.test"}, "holds a scheme"),
    ({"port": "99999"}, "a whole number from 1 to 65535"),
    ({"password": ""}, "stands without a password"),
    ({"security": "none"}, "tls or starttls"),
    ({"to": "<script>alert(1)</script>@a.test"}, "is not one mail address"),
    ({"user": "x" * 5000}, "1000 at most"),
)
MAIL = {"to": "cleo@heron.test", "host": "mail.test", "user": "cleo", "password": "pass ${word} #1"}


async def add(house: Opened, name: str = "Cleo") -> Page:
    """Add somebody by name, and stay on their page."""
    await house.phone.get("/people")
    return await house.phone.press("/people", name=name)


async def add_mail(house: Opened, **fields: str) -> Page:
    """Add a mail route to Cleo."""
    await house.phone.get("/people/of/cleo")
    return await house.phone.press("/people/of/cleo/mail", **(MAIL | fields))


@rig
async def test_nobody_is_told(tmp_path: Path) -> None:
    """A house that tells nobody says so loudly, until somebody with a way is there."""
    async with open_house(tmp_path, settings=ALONE, signed_in=False) as house:
        house.lock.set("plums and beans")
        await house.phone.get("/sign-in")
        await house.phone.press("/sign-in", who="guest", password="plums and beans")
        empty = await house.phone.get("/people")
        await add(house)
        without = await house.phone.get("/people")
        await add_mail(house)
        told = await house.phone.get("/people")

    assert "Nobody is told." in empty.words
    assert "Nobody is told." in without.words
    assert "No way to reach Cleo is set" in without.words
    assert "Nobody is told." not in told.words


@rig
async def test_somebody_is_added_with_a_mail_address(tmp_path: Path) -> None:
    """A name and a mail address are enough; the password is kept privately, means itself, and is never shown."""
    async with open_house(tmp_path) as house:
        await add(house)
        page = await add_mail(house)
        again = await house.phone.get("/people")
        written = await house.phone.get("/settings/written")
        route = house.wired.settings.routes["cleo-mail"].way
        person = house.home.house.people["cleo"]

        assert isinstance(route, MailRoute)
        assert (route.to, route.sender, route.port) == ("cleo@heron.test", "cleo@heron.test", 465)
        assert route.password.reveal() == "pass ${word} #1"
        assert person.routes == ("cleo-mail",)
        assert stat.S_IMODE(house.wired.house_file.stat().st_mode) == 0o600
        assert "mail to cleo@heron.test" in again.words
        for shown in (page, again, written):
            assert "#1" not in shown.text


@rig
async def test_wrong_mail(tmp_path: Path) -> None:
    """A mail route that cannot be is refused beside its field; what was typed stays, the password does not."""
    async with open_house(tmp_path) as house:
        await add(house)
        for fields, words in WRONG_MAILS:
            page = await add_mail(house, **fields)
            kept = dict(page.sheet("/people/of/cleo/mail").fields)
            assert (page.status, words in page.words) == (422, True), fields
            assert (kept["host"], kept["password"]) == (fields.get("host", "mail.test"), "")
            assert "<script>alert" not in page.text

        assert "cleo-mail" not in house.wired.settings.routes


@rig
async def test_what_the_daemon_has_against_a_route(tmp_path: Path) -> None:
    """An address that the messenger would not take is refused with its words, and nothing is written."""
    async with open_house(tmp_path) as house:
        await add(house)
        before = house.wired.house_file.read_text()
        house.wired.against.append("route cleo-chat: The messenger does not understand it.")
        await house.phone.get("/people/of/cleo")
        page = await house.phone.press("/people/of/cleo/chat", url="nothing://x/y-secret-z")

        assert page.status == 422
        assert "does not understand it" in page.words
        assert "y-secret-z" not in page.text
        assert house.wired.house_file.read_text() == before


@rig
async def test_ways_are_ordered_and_taken_away(tmp_path: Path) -> None:
    """Ways are tried in the order that the page sets; one that nobody has any more goes out of the file."""
    async with open_house(tmp_path) as house:
        await add(house)
        await add_mail(house)
        await house.phone.get("/people/of/cleo")
        page = await house.phone.press("/people/of/cleo/chat", url="jsons://key-77@chat.test/room")
        chat = house.wired.settings.routes["cleo-chat"].way
        await house.phone.press("/people/of/cleo/route", has={"route": "cleo-chat", "way": "up"})
        order = house.home.house.people["cleo"].routes
        await house.phone.press("/people/of/cleo/route", has={"route": "cleo-mail", "way": "remove"})

        assert isinstance(chat, UrlRoute)
        assert "key-77" not in page.text
        assert "message by jsons://…" in page.words
        assert order == ("cleo-chat", "cleo-mail")
        assert house.home.house.people["cleo"].routes == ("cleo-chat",)
        assert "cleo-mail" not in house.wired.house_file.read_text()


@rig
async def test_order_of_people(tmp_path: Path) -> None:
    """Who was added here is told sooner or later by a tap; those of the hand-written file keep their place."""
    async with open_house(tmp_path) as house:
        await add(house, "Cleo")
        await add(house, "Dan")
        page = await house.phone.get("/people")
        await house.phone.press("/people/of/dan/move", has={"way": "up"})
        order = list(house.home.house.people)
        await house.phone.get("/people/of/dan")
        await house.phone.press("/people/of/dan/remove")

        assert [sheet.action for sheet in page.sheets if sheet.action.endswith("/ann/move")] == []
        assert order == ["ann", "ben", "dan", "cleo"]
        assert list(house.home.house.people) == ["ann", "ben", "cleo"]


@rig
async def test_when_somebody_is_told(tmp_path: Path) -> None:
    """From which priority on and the quiet hours are set, also of somebody whom the keeper wrote by hand."""
    told_from, quiet = "people.ann.told_from", "people.ann.quiet_hours"
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/people/of/ann")
        wrong = await house.phone.press("/people/of/ann", **{quiet: "at night"})
        await house.phone.press("/people/of/ann", **{told_from: "high", quiet: "22:00-07:00"})
        ann = house.home.house.people["ann"]
        shown = await house.phone.get("/people")

        assert f"The ways stand in {house.wired.file}, line 9: change them there." in page.words
        assert (wrong.status, "22:00-07:00" in wrong.words) == (422, True)
        assert (ann.told_from, ann.quiet, ann.routes) == (Priority.HIGH, (22 * 60, 7 * 60), ("ann-mail",))
        assert "from 22:00 to 07:00 only of what is urgent" in shown.words
        assert house.wired.file.read_text() == OWN


@rig
async def test_way_of_a_person_by_hand_is_left_alone(tmp_path: Path) -> None:
    """A way cannot be added to somebody whose ways stand in the keeper's file, nor can that person be taken out."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/people/of/ann")
        fields = dict(page.sheet("/people/of/ann").fields)
        word = {"csrf": fields["csrf"]}
        refused = await house.phone.post("/people/of/ann/mail", {**word, **MAIL})
        stays = await house.phone.post("/people/of/ann/remove", word)

        assert refused.status == 422
        assert "stand in your own settings file" in refused.words
        assert "was not added here" in stays.words
        assert "ann" in house.home.house.people


@rig
async def test_test_button(tmp_path: Path) -> None:
    """The button sends a real message by its route alone, says what went wrong, and is slow enough for any server."""
    async with open_house(tmp_path) as house:
        house.wired.sender.answers["ben-mail"] = Outcome(ok=False, error="The mail server refused the password.")
        await house.phone.get("/people")
        sent = await house.phone.press("/people/try/ann-mail")
        hasty = await house.phone.press("/people/try/ben-mail")
        house.wired.wiring._tried = None
        await house.phone.get("/people")
        failed = await house.phone.press("/people/try/ben-mail")
        now = await house.phone.get("/")
        letters = house.wired.sender.tried
        house.wired.sender.answers.clear()
        house.wired.wiring._tried = None
        await house.phone.get("/people")
        await house.phone.press("/people/try/ben-mail")
        again = await house.phone.get("/")

    assert "The test message by ann-mail was sent. Did it reach you?" in sent.words
    assert "try again in" in hasty.words
    assert "Not done. ben-mail: The mail server refused the password." in failed.words
    assert "The last try by ben-mail failed at " in now.words
    assert "messages get out" not in now.words
    assert "The last try" not in again.words
    assert [route for route, _ in letters] == ["ann-mail", "ben-mail", "ben-mail"]
    assert letters[0][1].title == "Heron Lane: a test message"


@rig
async def test_slow_test_message(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A message that is long on its way holds nobody else up, and how it ended is said on the page that waits."""
    monkeypatch.setattr(server_module, "LOOK", 100)
    async with open_house(tmp_path) as house:
        go = house.wired.sender.hold("ann-mail")
        page = await house.phone.get("/people")
        test = dict(page.sheet("/people/try/ann-mail").fields)
        cleo = {**dict(page.sheet("/people").fields), "name": "Cleo"}
        waits = asyncio.create_task(house.phone.post("/people/try/ann-mail", test))
        async with asyncio.timeout(5):
            await house.wired.sender.entered.wait()
            added = await house.phone.post("/people", cleo)
            await asyncio.sleep(0.5)  # longer than a connection that says nothing may last
            go.set()
            sent = await waits

    assert added.path == "/people/of/cleo"
    assert "The test message by ann-mail was sent. Did it reach you?" in sent.words


@rig
async def test_second_tap_adds_nobody_twice(tmp_path: Path) -> None:
    """The same form sent twice adds one person; a refused one may be sent again."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/people")
        fields = {**dict(page.sheet("/people").fields), "name": "Cleo"}
        refused = await house.phone.post("/people", {**fields, "name": ""})
        first = await house.phone.post("/people", fields)
        second = await house.phone.post("/people", fields)

        assert refused.status == 422
        assert first.path == second.path == "/people/of/cleo"
        assert list(house.home.house.people) == ["ann", "ben", "cleo"]


@rig
async def test_any_name(tmp_path: Path) -> None:
    """Any name is taken as it is, and gets an id that nobody else has and that is no guest's."""
    names = ["<script>alert(1)</script>", "=HYPERLINK(1)", "${SECRET}", "Guest", "نورا", "🐟", "Ann"]
    async with open_house(tmp_path) as house:
        for name in names:
            page = await add(house, name)
            assert page.status == 200
            assert "<script>alert" not in page.text
        people = house.home.house.people

        assert [person.name for person in people.values()][2:] == names
        assert "guest" not in people


@rig
async def test_name_that_somebody_has(tmp_path: Path) -> None:
    """A second Ben is warned of; a name that turns the writing round is refused, without a line of a file."""
    async with open_house(tmp_path) as house:
        second = await add(house, "Ben")
        refused = await add(house, "\u202eBen")

    assert "Careful: there is another person called Ben; a message may mean either." in second.words
    assert "Careful: there is no way to reach Ben" in second.words
    assert refused.status == 422
    assert "holds the sign U+202E" in refused.words
    assert "house.yaml" not in refused.words


@rig
async def test_telling(tmp_path: Path) -> None:
    """The spans of the telling are set on a page of their own; what stands by hand is left alone."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/people/telling")
        await house.phone.press("/people/telling", **{"telling.next_after": "5 min"})
        shown = await house.phone.get("/people")

        assert "telling.note" not in dict(page.sheet("/people/telling").fields)
        assert house.home.house.telling.next_after == 5 * 60_000
        assert "does not answer within 5 min" in shown.words
        assert "There is no note of the week." in shown.words


@rig
async def test_who_may_only_look(tmp_path: Path) -> None:
    """Who came by a link to look sees who is told, and no address, form or button."""
    async with open_house(tmp_path) as house, Phone(house.begins) as tablet:
        await tablet.get(f"/look/{house.lock.add_link('tablet', 'ann', SystemClock().now().wall)}")
        pages = [await tablet.get(path) for path in ("/people", "/people/of/ann", "/people/telling")]

    assert all(page.status == 200 for page in pages)
    assert all(sheet.action == "/sign-out" for page in pages for sheet in page.sheets)
    assert "ann@heron.test" not in pages[0].text + pages[1].text
    assert "Ann" in pages[0].words


def test_moving_ends_at_the_ends() -> None:
    """One is moved by a place; beyond the end, or what is not there, is refused."""
    assert moved(["a", "b", "c"], "b", "down") == ["a", "c", "b"]
    for id_, way in (("a", "up"), ("c", "down"), ("x", "up"), ("a", "sideways")):
        with pytest.raises(ValueError, match=r"end of the list|cannot be moved"):
            moved(["a", "b", "c"], id_, way)


def test_route_that_somebody_else_has_stays() -> None:
    """A route goes with the last person who has it, and stays where the keeper's own file names it."""
    routes: Document = {"one": {"url": "x://1"}, "two": {"url": "x://2"}, "three": {"url": "x://3"}}
    document: Document = {"people": {"ann": {"told_by": ["one"]}}, "routes": routes}

    assert without_unused(document, ["one", "two", "three"], {"two"})["routes"] == {
        "one": routes["one"],
        "two": routes["two"],
    }

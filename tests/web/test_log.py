"""The log: newest first, in words, whom it was told and why; paged by numbers that stay."""

import re
from pathlib import Path

import pytest

from gatewayd.alarm.kinds import KINDS
from gatewayd.message import account
from gatewayd.message.plan import Reason
from gatewayd.model.delivery import Progress
from gatewayd.model.event import Decision, Event, What
from gatewayd.model.given import Remark
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.web.log import MOST
from tests.days.player import BEGIN, house
from tests.web.living import warm
from tests.web.open_house import Opened, open_house

rig = pytest.mark.rig
HOSTILE = ["<script>alert(1)</script>", '=HYPERLINK("http://x")', "x" * 500, "\u202eabc\u202c", "🍓🧊"]


def event(what: What, kind: str = "high", **more: object) -> Event:
    """Return an event of the shed chest."""
    return Event(7, BEGIN, "shed-chest", kind, what, Priority.HIGH, **more)  # type: ignore[arg-type]


def test_every_kind_can_be_looked_for() -> None:
    """Each kind of alarm is in exactly one choice of the log."""
    listed = [kind for _, _, kinds in account.ABOUT for kind in kinds]

    assert sorted(listed) == sorted(KINDS)


def test_turns_are_said_in_words() -> None:
    """Every turn of an alarm has words, with the names of people and the temperature where it was known."""
    assert account.line(event(What.RAISED, facts={"value": -9.5}), house()) == "Shed chest, too warm: began, −9.5 °C"
    assert account.line(event(What.ACKNOWLEDGED, who="ann"), house()) == "Shed chest, too warm: seen by Ann"
    assert account.line(event(What.NOTED, "note", facts={"text": "lid left"}), house()) == "Shed chest, note: lid left"
    assert all(account.turn(event(what), house()) for what in What)


def test_every_reason_has_words() -> None:
    """Each reason for telling or not is said in words, and one of an older gatewayd too."""
    for reason in (*Reason.__members__, "SOME_OLD_ONE"):
        told = account.decided(Decision(7, "ann", reason, BEGIN), house())
        assert told.startswith("Ann: ")
        assert "_" not in told


def test_messages_are_said_in_words() -> None:
    """What became of a message is said for each way it can go."""
    now = Moment(BEGIN.wall, BEGIN.steady)
    said = [account.sent("ann", "ann-mail", each, now.wall, 3, "no such host", house(), now.wall) for each in Progress]

    assert any("could not be sent after 3 tries" in each and "no such host" in each for each in said)
    assert any(each.startswith("Ann, by ann-mail: sent after 3 tries, at ") for each in said)


def numbers(text: str) -> list[int]:
    """Return the numbers of the events that a page lists."""
    return [int(found) for found in re.findall(r'href="/log/(\d+)"', text)]


async def many(opened: Opened, count: int) -> None:
    """Let some things happen."""
    for number in range(count):
        opened.gateway.give(Remark("heron-lane", "note", f"thing {number}"))
    await opened.gateway.commit()


@rig
async def test_log_of_a_warm_freezer(tmp_path: Path) -> None:
    """An alarm stands in the log with whom it was told, why, and by whom it was seen; its page has everything."""
    async with open_house(tmp_path) as opened:
        empty = await opened.phone.get("/log?about=warmth")
        await warm(opened)
        await opened.home.ask({"ask": "order", "verb": "acknowledge", "alarm": 0, "why": "on my way"}, "ann")
        page = await opened.phone.get("/log?about=warmth&freezer=shed-chest")
        raised = min(numbers(page.text))
        one = await opened.phone.get(f"/log/{raised}")
        other = await opened.phone.get("/log?about=power")

    assert "Nothing of that kind has happened." in empty.words
    assert "Shed chest" in page.words
    assert "seen by Ann" in page.words
    assert "on my way" in page.words
    assert "Ann, by ann-mail: waits to be sent" in page.words
    assert "Ann: first in the order" in page.words
    assert "Who was told, and why or why not" in one.words
    assert "The whole story" in one.words
    assert not numbers(other.text)


@rig
async def test_pages_stay_while_new_things_happen(tmp_path: Path) -> None:
    """Older and newer pages fit together without gap or double, while new events arrive."""
    async with open_house(tmp_path) as opened:
        await many(opened, 3 * MOST)
        first = await opened.phone.get("/log")
        (older,) = [link for link in first.links if "before=" in link]
        await many(opened, 5)
        second = await opened.phone.get(older)
        (newer,) = [link for link in second.links if "after=" in link]
        back = await opened.phone.get(newer)
        newest = await opened.phone.get("/log")
        far = await opened.phone.get("/log?before=1")
        odd = await opened.phone.get("/log?before=abc&after=&freezer=none&about=none")

    assert len(numbers(first.text)) == MOST
    assert numbers(first.text) == sorted(numbers(first.text), reverse=True)
    assert max(numbers(second.text)) == min(numbers(first.text)) - 1
    assert numbers(back.text) == numbers(first.text)
    assert max(numbers(newest.text)) == max(numbers(first.text)) + 5
    assert "data-live" in newest.text.split('id="log"')[1][:20]
    assert "data-live" not in second.text.split('id="log"')[1][:20]
    assert (far.status, numbers(far.text), odd.status) == (200, [], 200)
    assert max(page.size for page in (first, second)) < 20_000


@rig
async def test_hostile_words_stay_words(tmp_path: Path) -> None:
    """Whatever somebody wrote stands in the log as text."""
    async with open_house(tmp_path) as opened:
        for text in HOSTILE:
            opened.gateway.give(Remark("heron-lane", "note", text))
        await opened.gateway.commit()
        page = await opened.phone.get("/log")
        one = await opened.phone.get(f"/log/{max(numbers(page.text))}")
        gone = [await opened.phone.get(f"/log/{each}") for each in ("999999", "0", "abc", "9" * 30, "..%2f..%2fetc")]

    assert all(text in page.words for text in HOSTILE)
    assert "<script>alert" not in page.text
    assert HOSTILE[-1] in one.words
    assert [each.status for each in gone] == [404] * 5


@rig
async def test_list_for_programs(tmp_path: Path) -> None:
    """The page for programs lists every operation in words, from no outside place."""
    async with open_house(tmp_path) as opened:
        page = await opened.phone.get("/api/v1")

    assert "POST /api/v1/stock/take" in page.words
    assert page.size < 20_000
    assert all(link.startswith(("/", "#")) for link in page.links)

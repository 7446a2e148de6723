"""The walk from box to box: one question a page, what is said is written down at once, and the alarm ends by it."""

import asyncio
from pathlib import Path

import pytest

from gatewayd.alarm.kinds import HIGHHIGH
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.store import excursion, stock
from tests.web.living import COLD, live
from tests.web.open_house import Opened
from tests.web.phone import Page, Phone
from tests.web.thawed import TOP, thawed

pytestmark = pytest.mark.rig

FOREIGN = '2 bags of <script>alert(1)</script>=HYPERLINK("x") שלום 🐟, 1 kg, top basket'


async def say(house: Opened, answer: str, phone: Phone | None = None, **more: str) -> Page:
    """Tap one of the big buttons of the open page, some seconds after the last."""
    await house.clock.advance(5 * SECOND)
    phone = phone or house.phone
    action = next(sheet.action for sheet in phone.page.sheets if sheet.action.endswith("/walk"))
    return await phone.press(action, say=answer, **more)


async def taps(house: Opened, *answers: str, phone: Phone | None = None) -> Page:
    """Tap one button after another."""
    page = house.phone.page
    for answer in answers:
        page = await say(house, answer, phone)
    return page


async def undo(house: Opened, phone: Phone | None = None) -> Page:
    """Tap the button that takes the last answer back."""
    await house.clock.advance(5 * SECOND)
    phone = phone or house.phone
    action = next(sheet.action for sheet in phone.page.sheets if sheet.action.endswith("/undo"))
    return await phone.press(action)


async def decisions(house: Opened, way: str) -> dict[str, str]:
    """Return what was decided on each food, as the file has it."""

    def read(conn: object) -> dict[str, str]:
        spell = excursion.numbered(excursion.spells(conn, house.home.house), int(way.rpartition("/")[2]))[0]  # type: ignore[arg-type]
        foods = {one.id: one.food for one in stock.packages(conn, gone=True)}  # type: ignore[arg-type]
        found = excursion.findings(conn, spell)  # type: ignore[arg-type]
        return {foods[f.package]: f.decision.value for f in found if f.package and f.decision and f.stands}

    return await house.home.read(read)


def latched(house: Opened) -> bool:
    """Return whether the alarm waits for the food to be checked."""
    return house.gateway.watch.alarms.get("shed-chest", HIGHHIGH).latched


async def test_whole_walk(tmp_path: Path) -> None:
    """Two baskets are gone through with taps alone; at the end all is decided, the loss is told, the alarm is over."""
    async with thawed(tmp_path) as (house, way):
        assert latched(house)
        first = await house.phone.get(f"{way}/walk")
        warm = await taps(house, "each", "yes", "no")  # low basket: venison cold; plums not
        juice = await taps(house, "no", "yes")  # plums warm for long; apple juice cold
        chart = await say(house, "yes")
        sound = await say(house, "chart")
        second = await say(house, "refreeze")
        await taps(house, "no", "no")  # top basket: all of it warm
        bread = await say(house, "yes")
        end = await say(house, "chart")
        await house.phone.get(f"{way}/walk")
        found = await decisions(house, way)
        still = latched(house)

    assert "box 1 of 2" in first.words
    assert "Ice crystals in it" in first.words
    assert "2 HOURS OR LESS" in warm.words
    assert "raw meat" in juice.words
    assert "Do so with these 2" in chart.words
    assert "Is it sound: no mould, no slime, no smell of yeast?" in sound.words
    assert "box 2 of 2" in second.words
    assert "Throw out" in bread.words
    assert "All is decided" in end.words
    assert "trout , 2 kg" in end.words
    assert "the food was checked" in end.words
    assert found == {
        "venison": "refrozen, use first", "apple juice": "refrozen, use first", "plums": "refrozen, use first",
        "trout": "thrown out", "bread": "refrozen, use first",
    }  # fmt: skip
    assert not still


async def test_goes_on_where_it_was_left(tmp_path: Path) -> None:
    """Who stops and comes back, with another phone too, is asked what was not answered yet, and nothing twice."""
    async with thawed(tmp_path) as (house, way), Phone(house.begins) as other:
        await house.phone.get(f"{way}/walk")
        await taps(house, "yes", "yes")
        await other.sign_in("ben")
        page = await other.get(f"{way}/walk")
        again = await house.phone.get(f"{way}/walk")

    assert "This is what the chart says" in page.words
    assert "This is what the chart says" in again.words
    assert "Undo:" not in page.words  # what Ann said is not Ben's to undo
    assert "Undo: not touched by raw juice (3 rows)" in again.words


async def test_two_walk_at_once(tmp_path: Path) -> None:
    """What one has answered or decided is not said over by a page that another has open; both are told so."""
    async with thawed(tmp_path) as (house, way), Phone(house.begins) as ben:
        await ben.sign_in("ben")
        await house.phone.get(f"{way}/walk")
        await ben.get(f"{way}/walk")
        await say(house, "yes")
        late = await say(house, "no", ben)  # of the page that asks what Ann has answered
        await say(house, "yes")
        await house.phone.get(f"{way}/walk?at=shed-chest/low-basket&one=1")
        await ben.get(f"{way}/walk?at=shed-chest/low-basket&one=1")
        both = await asyncio.gather(say(house, "throw"), say(house, "refreeze", ben))
        found = await decisions(house, way)

    assert "That was answered already." in late.words
    assert "raw meat" in late.words  # and goes on with what is next
    assert sum("That was answered already." in page.words for page in both) == 1
    assert len(found) == 1


async def test_undo(tmp_path: Path) -> None:
    """An answer, a word on juice and a decision can be taken back, each asked anew; never what somebody else said."""
    async with thawed(tmp_path) as (house, way), Phone(house.begins) as ben:
        await house.phone.get(f"{way}/walk")
        await say(house, "yes")
        found = await undo(house)
        await taps(house, "yes", "yes")
        juice = await undo(house)
        await taps(house, "yes", "one", "throw")
        kept = await decisions(house, way)
        back = await undo(house)
        empty = await decisions(house, way)
        await taps(house, "one", "throw")
        await ben.sign_in("ben")
        await ben.get(f"{way}/walk?at=shed-chest/low-basket&one=1")
        await say(house, "throw", ben)
        stale = await undo(house)
        after = await decisions(house, way)

    assert "Ice crystals in it" in found.words
    assert "until then the old one counts" in juice.words
    assert "no juice of raw meat or poultry on it?" in juice.words
    assert list(kept.values()) == ["thrown out"]
    assert "Undone: the last decision" in back.words
    assert empty == {}
    assert "Something else was said" in stale.words
    assert len(after) == 2


async def test_against_the_chart(tmp_path: Path) -> None:
    """What the chart throws out is kept only by a second tap; what nobody could tell stays not judged."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.phone.get(f"{way}/walk")
        doubt = await say(house, "unknown")
        page = await say(house, "one")
        sure = await say(house, "keep")
        nothing = await decisions(house, way)
        await say(house, "keep")
        kept = await decisions(house, way)
        await say(house, "later")
        end = house.phone.page

    assert "Nobody could tell. When in doubt, throw it out" in doubt.words
    assert "Throw out these 2" in doubt.words
    assert "Not judged: when in doubt, throw it out" in page.words
    assert "does not let you keep it" in sure.words
    assert nothing == {}
    assert kept == {"trout": "kept"}
    assert "1 not decided on: when in doubt, throw it out" in end.words
    assert "gatewayd " not in end.words


async def test_all_in_doubt(tmp_path: Path) -> None:
    """What nobody could tell of is thrown out by one tap, all of the box, and the answer names it."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.phone.get(f"{way}/walk")
        end = await taps(house, "unknown", "throw")
        found = await decisions(house, way)

    assert found == {"trout": "thrown out", "bread": "thrown out"}
    assert "Thrown out: 2 bags of trout and 3 loaves of bread (3.5 kg)." in end.words


async def test_second_tap_of_two(tmp_path: Path) -> None:
    """A tap at once after the last answers nothing, on whatever page, and it is said so; a moment later it counts."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.phone.get(f"{way}/walk")
        asked = await say(house, "no")
        await house.clock.advance(300)
        sheet = asked.sheet(f"{way}/walk")
        early = await house.phone.press(sheet.action, say="no")
        warm = await say(house, "no")
        await taps(house, "yes", "one")
        await house.clock.advance(300)
        nothing = await house.phone.press(sheet.action, say="throw")
        none = await decisions(house, way)
        undone = await house.phone.press(f"{way}/walk/undo")
        thrown = await taps(house, "one", "throw")
        one = await decisions(house, way)

    for page in (early, nothing, undone):
        assert "came at once after the one before and was not counted" in page.words
    assert "2 HOURS OR LESS" in early.words
    assert "The published chart says: throw out trout; keep bread" in warm.words
    assert none == {}
    assert list(one.values()) == ["thrown out"]
    assert "Thrown out: 2 bags of trout (2 kg)." in thrown.words


async def test_no_is_always_the_bad_answer(tmp_path: Path) -> None:
    """On every page that asks, yes is the first button and no the second, and no never makes food any better."""
    async with thawed(tmp_path, foods=("tomato juice, 1 kg, top basket", *TOP)) as (house, way):
        pages = [await house.phone.get(f"{way}/walk")]
        pages += [await say(house, "no") for _ in range(2)]  # not cold; and not for 2 hours or less
        await say(house, "yes")  # the vegetable juice: for less than 6 hours
        pages.append(await house.phone.get(f"{way}/walk"))
        end = await taps(house, "no", "chart")
        found = await decisions(house, way)

    for page in pages:
        first, second = page.sheet(f"{way}/walk").buttons[:2]
        assert first.startswith("Yes")
        assert second.startswith("No")
    assert "LESS THAN 6 HOURS" in pages[2].words
    assert "no juice of raw meat" in pages[3].words
    assert set(found.values()) == {"thrown out"}
    assert "All is decided" in end.words


async def test_only_some(tmp_path: Path) -> None:
    """Of several packages some can be thrown out, the rest is asked for; a wrong number is said and stays."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.phone.get(f"{way}/walk")
        await taps(house, "unknown", "one")
        wrong = await say(house, "some", count="many")
        empty = await say(house, "some", count="")
        too_many = await say(house, "some", count="9")
        rest = await say(house, "some", count="1")
        lost = await house.phone.get(f"{way}/losses.csv")

    assert (wrong.status, empty.status) == (422, 422)
    assert "is not a number" in wrong.words
    assert 'value="many"' in wrong.text
    assert "Say how many" in empty.words
    assert "No more than 2" in too_many.words
    assert "Thrown out: 1 of 2 bags of trout (1 kg)." in rest.words
    assert "1 bag of trout" in rest.words
    assert ",trout,1,1.0," in lost.text


async def test_juice_on_some(tmp_path: Path) -> None:
    """What raw juice touched is thrown out, the rest is not; with nothing ticked it is asked again."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.phone.get(f"{way}/walk")
        asked = await say(house, "yes")
        again = await say(house, "some")
        chart = await say(house, "some", touched="2")
        await say(house, "chart")
        found = await decisions(house, way)

    assert "bread" in asked.words
    assert again.status == 422
    assert "Throw out 3 loaves of bread" in chart.words
    assert found == {"trout": "refrozen, use first", "bread": "thrown out"}


async def test_still_warm(tmp_path: Path) -> None:
    """While it is warm the alarm does not end by decisions, and the page says what to do, without a command."""
    async with thawed(tmp_path, foods=TOP, ended=False) as (house, way):
        await house.phone.get(f"{way}/walk")
        end = await taps(house, "no", "no", "yes", "chart")

    assert "is still too warm" in end.words
    assert "gatewayd " not in end.words


async def test_nothing_listed(tmp_path: Path) -> None:
    """A freezer whose food nobody listed is closed by one tap, and its alarm with it."""
    async with thawed(tmp_path, foods=()) as (house, way):
        page = await house.phone.get(f"{way}/walk")
        done = await house.phone.press(f"{way}/done")
        still = latched(house)

    assert "The stock's list has nothing in it." in page.words
    assert "Shed chest: done." in done.words
    assert not still


async def test_cold_enough_is_not_asked(tmp_path: Path) -> None:
    """Where the sensor stayed below 4.4 °C without a gap nothing is asked of what it answers for."""
    async with thawed(tmp_path, celsius=-3.0, foods=TOP) as (house, way):
        page = await house.phone.get(f"{way}/walk")
        await say(house, "chart")
        found = await decisions(house, way)

    assert "Keep as it is" in page.words
    assert found == {"trout": "kept", "bread": "kept"}


async def test_foreign_words(tmp_path: Path) -> None:
    """Food with the name of a script or a formula, written from right to left, is text on every page of the walk."""
    async with thawed(tmp_path, foods=(FOREIGN, *TOP)) as (house, way):
        pages = [await house.phone.get(f"{way}/walk")]
        for answer in ("each", "unknown", "unknown", "unknown", "one", "keep", "throw", "later", "later"):
            pages.append(await say(house, answer))  # noqa: PERF401 - each follows from the one before
        pages += [await house.phone.get(way), await house.phone.get(f"/print{way}")]
        odd = await house.phone.get(f"{way}/walk?at=<script>&those=%00x.9&q=sure&want=<b>&found={'9' * 900}")

    for page in (*pages, odd):
        assert page.status == 200
        assert "<script>alert" not in page.text
    assert "&lt;script&gt;" in pages[0].text
    assert max(page.size for page in pages) < 20_000


async def test_wrong_forms(tmp_path: Path) -> None:
    """A form that nobody's page has sent changes nothing and is said; a spell that never was is a plain page."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.phone.get(f"{way}/walk")
        odd = await say(house, "<script>")
        await house.phone.get(f"{way}/walk")
        other = await say(house, "yes", ask="nothing")
        await house.phone.get(f"{way}/walk")
        gone = await say(house, "yes", at="nowhere/x")
        none = await house.phone.get("/what-happened/999999/walk")
        found = await decisions(house, way)

    assert "is not allowed" in odd.words
    assert "<script>" not in odd.text
    assert "is not allowed" in other.words
    assert "Something else was said" in gone.words
    assert none.status == 404
    assert found == {}


async def test_again_after_two_warm_hours(tmp_path: Path) -> None:
    """What was found cold while it was warm is asked again when it was warm for more than two hours since."""
    async with thawed(tmp_path, foods=TOP, ended=False) as (house, way):
        await house.phone.get(f"{way}/walk")
        await taps(house, "yes", "yes")
        await live(house, (6.0 for _ in range(30)), every=5 * MINUTE)
        await live(house, (COLD[n % 4] for n in range(5)), every=5 * MINUTE)
        page = await house.phone.get(f"{way}/walk")

    assert "Ice crystals in it" in page.words

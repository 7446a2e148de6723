"""The page of the warm spells: what there was, how warm and for how long, and what is still to decide."""

from pathlib import Path

import pytest

from tests.web.open_house import open_house
from tests.web.phone import Phone
from tests.web.thawed import TOP, thawed

pytestmark = pytest.mark.rig


async def test_nothing_happened(tmp_path: Path) -> None:
    """A house in which nothing was warm says so, and still offers its month of temperatures."""
    async with open_house(tmp_path) as house:
        page = await house.phone.get("/what-happened")
        none = await house.phone.get("/what-happened/1")
        huge = await house.phone.get(f"/what-happened/{'9' * 15}")
        word = await house.phone.get("/what-happened/one")

    assert "No freezer has been warm" in page.words
    assert "/print#month" in page.links
    assert [one.status for one in (none, huge, word)] == [404, 404, 404]
    assert "There is no warm spell 1" in none.words


async def test_list_and_one(tmp_path: Path) -> None:
    """The list names freezer, time, peak and what is to decide; behind it are curve, messages, food and cautions."""
    async with thawed(tmp_path) as (house, way):
        page = await house.phone.get("/what-happened")
        link = next(link for link in page.links if link.startswith(f"{way}?"))
        one = await house.phone.get(link)
        foreign = await house.phone.get(f"{way}?freezer=%3Cb%3E")

    assert "Shed chest" in page.words
    assert "Much too warm, too warm, up to 6.0 °C." in page.words
    assert "5 of 5 to decide." in page.words
    for words in (
        "Warmest air at its warmest sensor: 6.0 °C", "an estimate from the air", "−12 °C", "−6.7 °C", "0 °C", "4.4 °C",
        "told Ann", "Not judged: when in doubt, throw it out", "Never taste food", "Source: USDA FSIS",
        "Your local food-safety authority", "Go through the food, box by box", "2 bags of trout",
    ):  # fmt: skip
        assert words in one.words, words
    assert any(link.startswith("/freezer/shed-chest?span=week&until=") for link in one.links)
    assert one.size < 20_000
    assert foreign.status == 404
    assert "<b>" not in foreign.text


async def test_that_goes_on(tmp_path: Path) -> None:
    """A spell that goes on says so; its pages begin with keeping it shut, and nothing asks to look at the food yet."""
    async with thawed(tmp_path, ended=False) as (house, way):
        page = await house.phone.get("/what-happened")
        one = await house.phone.get(way)
        walk = await house.phone.get(f"{way}/walk")
        due = await house.phone.get("/due")
        now = await house.phone.get("/")

    assert "It goes on." in page.words
    assert "It goes on." in one.words
    for words in (one.words, walk.words):
        assert "It goes on: keep it shut and mend the cooling first." in words
    assert one.words.index("keep it shut") < one.words.index("Go through the food")
    assert 'class="button second" href="' + way + "/walk" in one.text
    assert [sheet.action for sheet in one.sheets] == ["/sign-out"]
    assert "look at the food of" not in due.words.lower()
    assert "look at the food of" not in now.words.lower()


async def test_all_as_the_chart_says(tmp_path: Path) -> None:
    """Where the chart says what becomes of all of it one tap does so; it never asks to leave it undecided."""
    async with thawed(tmp_path, celsius=-3.0, foods=TOP) as (house, way):
        page = await house.phone.get(way)
        stale = await house.phone.press(f"{way}/chart", shown="1-REFREEZE")
        await house.phone.get(way)
        done = await house.phone.press(f"{way}/chart")
        again = await house.phone.post(f"{way}/chart", dict(page.sheet(f"{way}/chart").fields))

    assert "All as the chart says (keep as it is: 2)" in page.words
    assert "it is done" not in page.words
    assert "Something else was said of it meanwhile" in stale.words
    assert "Kept: 2 bags of trout and 3 loaves of bread." in done.words
    assert "2 kept." in done.words
    assert "Something else was said of it meanwhile" in again.words


async def test_some_as_the_chart_says(tmp_path: Path) -> None:
    """Where a part of it is still to be looked at, that stays to decide, and both ways are there."""
    async with thawed(tmp_path, celsius=-3.0, foods=("something, 1 kg, top basket", *TOP)) as (house, way):
        page = await house.phone.get(way)
        done = await house.phone.press(f"{way}/chart")

    assert "Those as the chart says (keep as it is: 2)" in page.words
    assert "I have checked the food, it is done" in page.words
    assert "2 kept" in done.words
    assert "1 to decide" in done.words


async def test_who_may_only_look(tmp_path: Path) -> None:
    """Who came by a link to look sees all of it, no form, no sentence that asks to tap, and no walk."""
    async with thawed(tmp_path) as (house, way), Phone(house.begins) as tablet:
        await house.phone.get("/links")
        made = await house.phone.press("/links", name="tablet")
        address = made.text.partition("<code>http://gate.test:8470")[2].partition("</code>")[0]
        await tablet.get(address)
        one = await tablet.get(way)
        walk = await tablet.get(f"{way}/walk")
        report = await tablet.get(f"/print{way}")

    assert "2 bags of trout" in one.words
    assert [sheet.action for sheet in one.sheets] == ["/sign-out"]
    assert "Go through the food" not in one.words
    assert walk.path == way
    assert report.status == 200


async def test_done(tmp_path: Path) -> None:
    """Who has checked the food says so by one tap; what was not decided on stays not judged."""
    async with thawed(tmp_path) as (house, way):
        await house.phone.get(way)
        done = await house.phone.press(f"{way}/done")
        again = await house.phone.get("/what-happened")

    assert "What was not decided on stays not judged" in done.words
    assert "Somebody has said that this freezer is done with." in done.words
    assert "5 of 5 to decide, said to be done." in again.words


ICE = ("chicken, 1 kg, top basket", "ice cream, 1 kg, top basket", "3 loaves of bread, 500 g, top basket")


async def test_done_but_not_decided(tmp_path: Path) -> None:
    """Food that nobody decided on stays marked after somebody is done, and the log says how much of it is left."""
    ways = ("/use-first", "/stock?q=trout", "/box/top-basket", "/stock/1", "/stock")
    async with thawed(tmp_path) as (house, way):
        await house.phone.get(way)
        await house.phone.press(f"{way}/done")
        marked = {each: await house.phone.get(each) for each in ways}
        log = await house.phone.get("/log")
        due = await house.phone.get("/due")

    for each, page in marked.items():
        assert "Was too warm, not judged: when in doubt, throw it out. What happened" in page.words, each
    assert "looked at, 5 not decided" in log.words
    assert "nothing on the list" not in log.words
    assert "look at the food of" not in due.words.lower()


async def test_not_done_before_it_is_thrown_out(tmp_path: Path) -> None:
    """While the chart throws something out that nobody decided on, nobody is offered to be done; afterwards one is."""
    async with thawed(tmp_path, foods=ICE) as (house, way):
        number = int(way.rpartition("/")[2])
        order = {"ask": "excursion", "number": number}
        said = await house.home.ask({**order, "do": "answer", "all": True, "answer": "cold", "key": "a"}, "ann")
        before = [await house.phone.get(each) for each in (way, f"{way}/walk?end=1")]
        thrown = {**order, "do": "decide", "packages": [2], "decision": "throw", "key": "b"}
        done = await house.home.ask(thrown, "ann")
        after = [await house.phone.get(each) for each in (way, f"{way}/walk?end=1")]

    assert said["done"], said
    assert "Thrown out: ice cream (1 kg)." in done["text"]
    for page in before:
        assert "I have checked the food, it is done" not in page.words
        assert "The chart throws out ice cream : decide on that first." in page.words
    for page in after:
        assert "I have checked the food, it is done" in page.words


async def test_thrown_out_by_the_list(tmp_path: Path) -> None:
    """What was thrown out from the stock's list is to be decided nowhere: the list and the page agree."""
    async with thawed(tmp_path) as (house, way):
        await house.home.ask({"ask": "stock", "do": "throw", "what": "1", "key": "t"}, "ann")
        page = await house.phone.get("/what-happened")
        one = await house.phone.get(way)

    assert "4 of 4 to decide." in page.words
    assert "4 to decide." in one.words


async def test_kept_as_it_is(tmp_path: Path) -> None:
    """What the sensor answers for is kept as it is: nothing is said of freezing it again until somebody does."""
    async with thawed(tmp_path, celsius=-3.0, foods=(*TOP, "4 bags of plums, 750 g, top basket")) as (house, way):
        before = await house.phone.get(way)
        order = {"ask": "excursion", "number": int(way.rpartition("/")[2]), "do": "decide", "all": True, "key": "f"}
        await house.home.ask({**order, "decision": "refreeze"}, "ann")
        after = await house.phone.get(way)

    for words in ("freeze it again at once", "Mark what you freeze again", "texture"):
        assert words not in before.words
        assert after.words.count(words) == 1
    assert "Never taste food" in before.words

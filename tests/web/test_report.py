"""The report of a warm spell: complete on paper, and its losses as a file that no spreadsheet computes."""

import csv
import io
from pathlib import Path

import pytest

from gatewayd.model.moment import DAY, MINUTE, SECOND
from tests.web.living import COLD, live
from tests.web.thawed import TOP, thawed

pytestmark = pytest.mark.rig

FORMULA = '=HYPERLINK("http://x") <b>, 1 kg, top basket'


async def decide(house, way: str, decision: str) -> None:
    """Decide on all of it at once, as the command does."""
    order = {
        "ask": "excursion",
        "number": int(way.rpartition("/")[2]),
        "do": "decide",
        "decision": decision,
        "all": True,
    }
    done = await house.home.ask({**order, "anyway": True}, "ben")
    assert done["done"], done


async def test_report(tmp_path: Path) -> None:
    """The report says what, when, how warm, who was told, each verdict and its source, who decided, what was lost."""
    async with thawed(tmp_path, foods=TOP) as (house, way):
        await house.clock.advance(SECOND)
        await decide(house, way, "throw")
        page = await house.phone.get(f"/print{way}")

    for words in (
        "What happened: Shed chest", "Warmest air at its warmest sensor: 6.0 °C", "told Ann",
        "Decided by Ben: thrown out", "Source: USDA FSIS", "3.5 kg in all",
        "Meat, poultry and fish: 2 kg", "Bread, cake and dough: 1.5 kg", "Signed",
    ):  # fmt: skip
        assert words in page.words, words
    assert "without the questions" not in page.words
    assert page.size < 20_000


async def test_who_answered_what(tmp_path: Path) -> None:
    """What was told and who answered come by time, and an answer says which alarm it was to."""
    async with thawed(tmp_path, foods=TOP, ended=False) as (house, way):
        alarms = {alarm.kind: alarm.first for alarm in house.gateway.watch.alarms.all.values() if alarm.standing}
        for number in (alarms["high"], alarms["highhigh"]):
            done = await house.home.ask({"ask": "order", "verb": "acknowledge", "alarm": number}, "ben")
            assert done["done"], done
        await live(house, (COLD[n % 4] for n in range(5)), every=5 * MINUTE)
        page = await house.phone.get(f"/print{way}")

    told = page.words.partition("who answered")[2].partition("What the published chart")[0]
    assert "answered by Ben (too warm)" in told
    assert "answered by Ben (much too warm)" in told
    assert told.index("told Ann: Heron Lane: Shed chest is much too warm") < told.index("answered by Ben")
    assert told.index("answered by Ben") < told.index("is cold again")


async def test_thrown_out_though_it_could_be_kept(tmp_path: Path) -> None:
    """What the chart would keep or could not judge is not said to be thrown out by its rule for keeping it."""
    async with thawed(tmp_path, foods=(*TOP, "plums, 1 kg, top basket")) as (house, way):
        number = int(way.rpartition("/")[2])
        base = {"ask": "excursion", "number": number, "do": "answer"}
        for found in (
            {"packages": [1, 2], "answer": "cold"},
            {"packages": [1], "touched": False},
            {"packages": [3], "touched": True},
        ):
            done = await house.home.ask({**base, **found}, "ann")
            assert done["done"], done
        await decide(house, way, "throw")
        page = await house.phone.get(f"/print{way}")
        file = await house.phone.get(f"{way}/losses.csv")

    why = {row["food"]: row["why"] for row in csv.DictReader(io.StringIO(file.text, newline=""))}
    assert why["trout"] == "Thrown out by the household; by the chart it could have been kept."
    assert why["bread"].startswith("Thrown out without a verdict of the chart")
    assert why["plums"].startswith("Anything that the juice of raw meat or poultry has touched is thrown out")
    table = page.words.partition("Thrown out What Weight")[2]
    assert "by the chart it could have been kept" in table
    assert "may be cooked or frozen again" not in table


async def test_thrown_out_by_the_list(tmp_path: Path) -> None:
    """What was thrown out in that time by the stock's list alone stands apart, what was long after does not."""
    async with thawed(tmp_path, foods=(*TOP, "venison, 2 kg, top basket")) as (house, way):
        await house.home.ask({"ask": "stock", "do": "throw", "what": "1", "why": "smelt"}, "ann")
        soon = await house.phone.get(f"/print{way}")
        await house.clock.advance(3 * DAY)
        await house.home.ask({"ask": "stock", "do": "throw", "what": "3"}, "ann")
        late = await house.phone.get(f"/print{way}")

    assert "Nothing was thrown out." in soon.words
    apart = soon.words.partition("without the questions")[2]
    assert "trout" in apart
    assert "smelt" in apart
    assert "2 kg" in apart
    assert "venison" not in late.words.partition("without the questions")[2]


async def test_losses(tmp_path: Path) -> None:
    """The file of losses is RFC 4180; a food with the name of a formula is text in it, and on paper."""
    async with thawed(tmp_path, foods=(FORMULA, *TOP)) as (house, way):
        empty = await house.phone.get(f"{way}/losses.csv")
        await decide(house, way, "throw")
        page = await house.phone.get(f"/print{way}")
        file = await house.phone.get(f"{way}/losses.csv")
        none = await house.phone.get("/what-happened/999/losses.csv")

    rows = list(csv.DictReader(io.StringIO(file.text, newline="")))
    assert empty.text.count("\r\n") == 1
    assert file.headers["Content-Type"].startswith("text/csv")
    assert "attachment" in file.headers["Content-Disposition"]
    assert sorted(row["food"][:11] for row in rows) == ["'=HYPERLINK", "bread", "trout"]
    assert {row["by"] for row in rows} == {"ben"}
    assert "<b>" not in page.text.partition("<main")[2]
    assert none.status == 404

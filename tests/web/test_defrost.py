"""The pages of a defrost: the plan, the steps one at a time, the timers, two phones, the end, and the list to print."""

import asyncio
import re
from pathlib import Path

import pytest

from gatewayd.model.chore import Kind
from gatewayd.model.given import Order
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.store.chore import chores
from gatewayd.upkeep.defrost import KEYS, upcoming
from gatewayd.watch.defrosting import FOOD_NOW
from gatewayd.web.timers import timers
from tests.web.phone import Phone
from tests.web.thawing import HERE, HOSTILE, WHO, Shed, shed

rig = pytest.mark.rig


async def steps(home: Shed, *keys: str) -> None:
    """Tap done for each of these steps, which must be the ones at hand."""
    for key in keys:
        await home.phone.get(HERE)
        assert (await home.phone.press(f"{HERE}/step", step=key, has={"step": key})).status == 200


@rig
async def test_whole_defrost(tmp_path: Path) -> None:
    """A defrost is planned, begun, led through nine steps, seen to cool, finished, and ends by itself in the book."""
    async with shed(tmp_path) as home:
        plan = await home.phone.get(HERE)
        begun = await home.phone.press(f"{HERE}/begin", span="90")
        assert "Shed chest is being defrosted, planned until" in begun.words
        await steps(home, "manual", "ready")
        out = await home.phone.get(HERE)
        await steps(home, "food-out", "unplug", "lid")
        await home.report(*[-20 + n for n in range(8)])
        ice = await home.phone.get(HERE)
        await home.report(*[-12 + n for n in range(22)])
        await steps(home, "ice", "wash")
        switch = await home.phone.get(HERE)
        await steps(home, "on")
        await home.report(*[9 - n for n in range(20)])
        cooling = await home.phone.get(HERE)
        await steps(home, "food-back")
        last = await home.phone.get(HERE)
        done = await home.phone.press(f"{HERE}/finish", has={"ice": ""}, ice="3 kg", note="left wall was worst")
        await home.report(*[-20.5] * 25)
        after = await home.phone.get(HERE)
        async with asyncio.timeout(5):
            written = await home.house.gateway.store.ask(lambda conn: chores(conn, WHO))

    assert "Read what its maker's manual says" in plan.words
    assert "Take the food out" in out.words.partition("Then")[0]
    assert "Step 6 of 9" in ice.words
    assert "Ice loosens" in ice.words
    assert "No knife, no ice pick, no metal" in ice.words
    assert "SWITCH IT BACK ON" in switch.words
    assert 'class="thaw-step on"' in switch.text
    assert "It cools." in cooling.words
    assert "All steps are done" in last.words
    assert "SWITCHED BACK ON" not in last.words  # it was said already
    assert "Well done." in done.words
    assert "Shed chest was defrosted, done" in after.words
    assert "Ice removed: 3 kg" in after.words
    assert {(one.kind, one.who, one.note) for one in written} == {
        (Kind.NOTE, "ann", "left wall was worst"), (Kind.DEFROSTED, "ann", ""),
    }  # fmt: skip
    assert not [page.path for page in (begun, ice, cooling, last, done, after) if "gatewayd defrost" in page.words]


@rig
async def test_two_phones(tmp_path: Path) -> None:
    """Who says a step is done that somebody else has done hears by whom; neither the food's timer nor a step moves."""
    async with shed(tmp_path) as home, Phone(home.house.begins) as ben:
        await ben.sign_in("guest")
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="90")
        await steps(home, "manual", "ready")
        stale = await ben.get(HERE)
        await steps(home, "food-out")
        before = home.house.home.status()["freezers"][0]["defrost"]
        await home.wait(20 * MINUTE)
        told = await ben.press(f"{HERE}/step", has={"step": "food-out"})
        running = home.house.home.status()["freezers"][0]["defrost"]
        await home.phone.get(HERE)
        both = await asyncio.gather(
            home.phone.press(f"{HERE}/step", has={"step": "unplug"}), ben.press(f"{HERE}/step", has={"step": "unplug"})
        )
        last = home.house.home.status()["freezers"][0]["defrost"]

    assert "Step 3 of 9" in stale.words
    assert "Ann has done that already, at" in told.words
    assert "Step 4 of 9" in told.words
    assert running["steps"] == before["steps"]
    assert running["food_out"] == 20 * MINUTE
    assert last["next"] == "lid"
    assert sum("has done that already" in page.words for page in both) == 1


@rig
async def test_one_thumb_twice(tmp_path: Path) -> None:
    """The same tap sent twice by one person does one step and says nothing strange."""
    async with shed(tmp_path) as home:
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="90")
        sheet = home.phone.page.sheet(f"{HERE}/step", step="manual")
        first = await home.phone.post(sheet.action, sheet.fields)
        again = await home.phone.post(sheet.action, sheet.fields)

    assert "Step 2 of 9" in first.words
    assert "Step 2 of 9" in again.words
    assert "already" not in again.words


@rig
async def test_food_outside_too_long(tmp_path: Path) -> None:
    """After two hours the page says at once what to do, on top; before that the time by which the food must be back."""
    async with shed(tmp_path) as home:
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="180")
        await steps(home, "manual", "ready", "food-out")
        page = await home.phone.get(HERE)
        await home.wait(110 * MINUTE)
        soon = await home.phone.get(HERE)
        await home.wait(15 * MINUTE)
        late = await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/step", has={"step": "food-back"})
        back = home.phone.page
        plan = await home.phone.get("/defrost")

    assert re.search(r"Back in the cold by \d\d:\d\d", page.words)
    assert "2 h left" in page.words
    assert re.search(r"data-over hidden><strong>Put it into a freezer at once", page.text)
    assert re.search(r"data-soon><strong>Begin to put it back", soon.text)
    assert "over for 5 min" in late.words
    assert re.search(r"data-over><strong>Put it into a freezer at once", late.text)
    assert "When in doubt, throw it out" in late.words
    assert "Food outside" not in back.words
    assert "Step 4 of 9" in back.words  # the steps go on: it still is to be switched on
    assert "Go on with Shed chest" in plan.words


@rig
async def test_finish_asks_whether_it_is_on(tmp_path: Path) -> None:
    """Finishing early is refused until the box says that it is switched on again; what was typed stays."""
    async with shed(tmp_path) as home:
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="30")
        await steps(home, "manual")
        await home.phone.get(HERE)
        refused = await home.phone.press(f"{HERE}/finish", ice=HOSTILE)
        await home.report(*[-20 + n for n in range(30)])
        done = await home.phone.press(f"{HERE}/finish", on="yes", has={"ice": HOSTILE})
        again = await home.phone.post(f"{HERE}/more", {"csrf": csrf(home.phone), "span": "30"})

    assert refused.status == 422
    assert "SWITCH IT BACK ON" in refused.words
    assert ("ice", HOSTILE) in refused.sheet(f"{HERE}/finish").fields
    assert "<script>alert" not in refused.text
    assert "Finished at" in done.words
    assert [sheet.action for sheet in done.sheets] == ["/sign-out"]
    assert "not cold again" in again.words


def csrf(phone: Phone) -> str:
    """Return the word that the forms of the open page carry."""
    return dict(phone.page.sheets[-1].fields)["csrf"]


@rig
async def test_cancel_needs_a_reason(tmp_path: Path) -> None:
    """A cancelled defrost is not counted, its reason is, and without one it goes on."""
    async with shed(tmp_path) as home:
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="90")
        refused = await home.phone.press(f"{HERE}/cancel", why=" ")
        done = await home.phone.press(f"{HERE}/cancel", why=HOSTILE)
        async with asyncio.timeout(5):
            written = await home.house.gateway.store.ask(lambda conn: chores(conn, WHO))

    assert refused.status == 422
    assert "The reason must be filled in" in refused.words
    assert "is cancelled: none is written down" in done.words
    assert [(one.kind, one.note) for one in written] == [(Kind.NOTE, f"the defrost was cancelled: {HOSTILE.strip()}")]


@rig
async def test_not_over_a_warm_spell(tmp_path: Path) -> None:
    """While too warm, seen or not, the page says so and begins only if a box says all the same; Now stays red."""
    async with shed(tmp_path) as home:
        await home.report(*[-8.0] * 90)
        home.house.gateway.give(Order("acknowledge", who="ben"))
        page = await home.phone.get(HERE)
        refused = await home.phone.press(f"{HERE}/begin", span="60")
        begun = await home.phone.press(f"{HERE}/begin", span="60", anyway="yes")
        now, freezer = await home.phone.get("/"), await home.phone.get(f"/freezer/{WHO}")

    assert "Not now. Keep Shed chest shut: it has been too warm since" in page.words
    assert "; mend the cooling first." in page.words
    for told in (now, freezer):
        assert "Shed chest is too warm, −8.0 °C" in told.words
        assert "What to do now:" in told.words
        assert "I am at the freezer" not in told.words
        assert "speaks for it" not in told.words
    assert "gatewayd e" not in page.words
    assert "--anyway" not in page.words
    assert refused.status == 422
    assert "Tick the box" in refused.words
    assert dict(refused.sheet(f"{HERE}/begin").fields)["span"] == "60"
    assert "is being defrosted" in begun.words


@rig
async def test_it_does_not_cool(tmp_path: Path) -> None:
    """A freezer that is said to be on and stays warm is called out on the page, with what to do."""
    async with shed(tmp_path) as home:
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="90")
        await steps(home, "manual", "ready", "food-out", "unplug", "lid")
        await home.report(*[-20 + n for n in range(28)])
        await steps(home, "ice", "wash", "on")
        waits = await home.phone.get(HERE)
        await home.report(*[9.0] * 25)
        page = await home.phone.get(HERE)

    assert "It was not seen to cool yet; you are told at" in waits.words
    assert "It does not cool. Is it switched on?" in page.words


@rig
@pytest.mark.parametrize(
    ("action", "fields", "said"),
    [
        ("begin", {"span": "7"}, "is not allowed"),
        ("begin", {"span": "<script>"}, "is not allowed"),
        ("step", {"step": "dance"}, "is not allowed"),
        ("step", {"step": "lid"}, "not being defrosted"),
        ("more", {"span": "30"}, "over already"),
        ("finish", {"ice": "x" * 301}, "300 at most"),
        ("finish", {"ice": ""}, "not being defrosted"),
        ("cancel", {"why": "no time"}, "not being defrosted"),
    ],
)
async def test_what_cannot_be_done(action: str, fields: dict[str, str], said: str, tmp_path: Path) -> None:
    """What is wrong, or comes when none runs, is said, and nothing begins."""
    async with shed(tmp_path) as home:
        await home.phone.get(HERE)
        page = await home.phone.post(f"{HERE}/{action}", {"csrf": csrf(home.phone), "key": "k", **fields})
        running = home.house.home.status()["freezers"][0]["defrost"]

    assert said in page.words
    assert "Not done." in page.words
    assert "<script>" not in page.text.replace("<script src", "")
    assert running is None


@rig
async def test_looking_and_printing(tmp_path: Path) -> None:
    """The list to print has all nine steps with what to mind and a box each; pages are small, others are not there."""
    async with shed(tmp_path) as home:
        await home.phone.get(f"{HERE}/frost")
        await home.phone.press(f"{HERE}/frost", thickness="7 mm")
        overview = await home.phone.get("/defrost")
        plan = await home.phone.get(HERE)
        paper = await home.phone.get(f"/print/defrost?freezer={WHO}")
        alone = await home.phone.get("/print/defrost")
        missing = [
            (await home.phone.get(path)).status
            for path in ("/defrost/attic", "/print/defrost?freezer=attic", "/defrost/attic/frost")
        ]
        script = next(link for link in plan.links if "timer" in link)
        loaded = await home.phone.get(script)

    assert "or more by now, last measured 7 mm (1/4 in)." in overview.words
    assert "A good day: Saturday" in overview.words
    assert paper.text.count('class="box"') == len(KEYS)
    assert "No knife, no ice pick, no metal" in paper.words
    assert "35 to 45 minutes (common practice)" in paper.words
    assert alone.words == paper.words
    assert missing == [404, 404, 404]
    assert loaded.status == 200
    assert max(page.size for page in (overview, plan, paper)) < 20_000


@rig
async def test_who_may_only_look(tmp_path: Path) -> None:
    """With a link to look there is no button and no call to tap, before and during a defrost."""
    async with shed(tmp_path) as home, Phone(home.house.begins) as tablet:
        await home.phone.get("/links")
        page = await home.phone.press("/links", name="tablet")
        await tablet.get(page.text.partition("<code>http://gate.test:8470")[2].partition("</code>")[0])
        plan = await tablet.get(HERE)
        await home.phone.get(HERE)
        await home.phone.press(f"{HERE}/begin", span="90")
        during = await tablet.get(HERE)

    assert [sheet.action for sheet in (*plan.sheets, *during.sheets)] == ["/sign-out"] * 2
    assert "Begin" not in plan.words
    assert "Step 1 of 9" in during.words


def running(**changes: object) -> dict[str, object]:
    """Return a defrost as the watch says it, begun at ten."""
    plain: dict[str, object] = {
        "steps": {}, "food_out": 30 * MINUTE, "ended": None, "until": "2026-11-25T11:30:00.000+00:00",
        "quiet_until": "2026-11-25T12:30:00.000+00:00",
    }  # fmt: skip
    return plain | changes


TEN = 1_795_600_800_000


def test_timers() -> None:
    """Each timer is there as long as it says something: the food's until it is back, the ice's while it thaws."""
    lid, on = "2026-11-25T10:20:00.000+00:00", "2026-11-25T11:20:00.000+00:00"
    now = TEN + 30 * MINUTE
    plain = timers(running(), now)
    thaws = timers(running(steps={"food-out": lid, "lid": lid}), now)
    lifted = timers(running(steps={"lid": lid, "ice": lid}), now)
    cools = timers(running(steps={"lid": lid, "on": on, "food-back": on}, food_out=None), now + HOUR)
    ended = timers(running(steps={"on": on}, food_out=None, ended=on, quiet_until=None), now + HOUR)

    assert [one.name for one in plain] == [
        "Food outside, counted from the begin", "Planned end", "Its alarms are held",
    ]  # fmt: skip
    assert plain[0].end - now == FOOD_NOW - 30 * MINUTE
    assert [one.name for one in thaws] == ["Food outside", "Ice loosens", "Planned end", "Its alarms are held"]
    assert "Ice loosens" not in [one.name for one in lifted]
    assert [one.name for one in cools] == ["It has to cool", "Its alarms are held"]
    assert [one.name for one in ended] == ["It has to cool"]
    assert [one.urgent for one in thaws] == [True, False, False, False]


def test_food_that_is_back_early_ends_nothing_else() -> None:
    """The next step is the first after the last one done; food back early does not skip the switch."""
    keys = [step.key if (step := upcoming(done)) else None for done in (
        (), ("manual",), ("lid",), ("lid", "food-back"), ("wash", "food-back"), ("on", "food-back"), KEYS,
    )]  # fmt: skip
    assert keys == ["manual", "ready", "ice", "ice", "on", None, None]

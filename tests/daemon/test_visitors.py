"""The pages at a real gateway: what they show of an alarm, and what a press does to it."""

import asyncio

import pytest

from gatewayd.alarm.kinds import HIGH, HIGHHIGH
from gatewayd.daemon.visitors import Visitors, sight
from gatewayd.message.token import make
from gatewayd.model.given import Beat
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.reading import Heard
from gatewayd.web.button import Button
from tests.daemon.test_gateway import Bench, door
from tests.days.player import BROKER
from tests.sources.intake import eventually
from tests.web.home import ask, serving

KEY = bytes(range(32))


async def lived(*, latched: bool = False) -> Bench:
    """Stand an alarm of the shed chest for 20 min."""
    bench = Bench()
    alarms = bench.gateway.watch.alarms
    now = bench.clock.now()
    alarms.raise_(alarms.get("shed-chest", HIGHHIGH if latched else HIGH), now, now, {"value": -9.0})
    await bench.clock.advance(20 * MINUTE)
    return bench


@pytest.mark.rig
async def test_pressed() -> None:
    """A press acknowledges the alarm in the person's name, is answered after the commit, and takes the button away."""
    bench = await lived()
    home = Visitors(bench.gateway, bench.clock, door(bench))
    alarms = bench.gateway.watch.alarms
    number = alarms.number
    async with serving([Button(KEY, home, bench.clock)], bench.clock) as (url, _):
        link = f"{url}/seen/{make(KEY, number, 'ann', bench.clock.now().wall + HOUR)}"
        before = await ask("GET", link)
        assert alarms.find(number).acknowledged_by == ""
        press = asyncio.create_task(ask("POST", link))
        await eventually(lambda: bench.gateway._answers, "the order")
        assert not press.done()
        await bench.gateway.commit()
        status, _, text = await press
        after = await ask("GET", link)

    assert (before[0], "<button" in before[2], "It has not ended" in before[2]) == (200, True, True)
    assert (status, "acknowledged" in text) == (200, True)
    assert alarms.find(number).acknowledged_by == "ann"
    assert "<button" not in after[2]
    assert "saw it at" in after[2]


async def test_what_is_shown() -> None:
    """The page says what, since when and how it stands, through the life of an alarm, and what is told again waits."""
    bench = await lived(latched=True)
    home, alarms = Visitors(bench.gateway, bench.clock, door(bench)), bench.gateway.watch.alarms
    alarm, number = alarms.get("shed-chest", HIGHHIGH), alarms.number
    first = home.sight(number)
    assert first is not None
    assert "much too warm" in first.title
    assert first.waits
    assert first.lines[-1] == "Nobody has said yet that they have seen it."

    alarms.acknowledge(alarm, bench.clock.now(), "ann", "")
    seen = home.sight(number)
    assert not seen.waits
    assert "saw it at" in seen.lines[-1]

    alarms.re_alarm(alarm, bench.clock.now(), {})
    again = home.sight(number)
    assert again.waits
    assert again.turn > seen.turn > first.turn
    assert again.lines[-1].endswith("it was told of again since.")

    alarms.clear(alarm, bench.clock.now(), {}, latching=True)
    over = home.sight(number)
    assert "and lasted 20 min" in over.lines[-3]
    assert over.lines[-2].startswith("It ended at ")
    assert "checked the food" in over.lines[-2]


async def test_the_link_says_what_to_do() -> None:
    """Behind a message's link stands how warm it is now and what to do; once it is over, nothing is."""
    bench = await lived()
    home, alarms = Visitors(bench.gateway, bench.clock, door(bench)), bench.gateway.watch.alarms
    alarm, number = alarms.get("shed-chest", HIGH), alarms.number
    unheard = home.sight(number)
    bench.gateway.hear(Heard(BROKER, "shed-chest-air", b"-8.2", bench.clock.now()), None)
    found = home.sight(number)
    await bench.clock.advance(HOUR)
    later = home.sight(number)
    alarms.clear(alarm, bench.clock.now(), {})
    over = home.sight(number)

    assert unheard.lines[0].startswith("What to do now: Look at lid, plug and breaker")
    assert found.lines[0] == "It is at −8.2 °C now."
    assert found.lines[1].startswith("What to do now: Look at lid, plug and breaker")
    assert later.lines[0] == "It was at −8.2 °C when it was heard last, 1 h ago."
    assert not [line for line in over.lines if "What to do" in line]


async def test_over_and_done() -> None:
    """An alarm that is over and was seen is nothing to show, nor is a number that never was."""
    bench = await lived()
    home, alarms = Visitors(bench.gateway, bench.clock, door(bench)), bench.gateway.watch.alarms
    alarm, number = alarms.get("shed-chest", HIGH), alarms.number
    alarms.acknowledge(alarm, bench.clock.now(), "ann", "")
    alarms.clear(alarm, bench.clock.now(), {})

    assert home.sight(number) is None
    assert home.sight(999) is None


async def test_beats_reach_the_watch() -> None:
    """A beat of a neighbour nobody set up changes nothing and raises nothing; the name of the house is the keeper's."""
    bench = await lived()
    home = Visitors(bench.gateway, bench.clock, door(bench))
    home.give(Beat("elm-road"))

    assert home.name == bench.gateway.watch.house.name
    assert sight(bench.gateway.watch.alarms.get("shed-chest", HIGH), bench.gateway.watch.house, bench.clock.now()).waits

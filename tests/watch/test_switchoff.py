"""A planned test switch-off: what is held, what is told, and how it ends."""

from dataclasses import replace

import pytest

from gatewayd.message.words import clock
from gatewayd.model.event import What
from gatewayd.model.given import Condition, Order, Rewired
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE, iso
from gatewayd.model.priority import Priority
from gatewayd.model.units import Celsius
from gatewayd.watch.view import status
from tests.days.player import Player, house

OFF, END = "test switch-off", "end the test"


def begin(freezers: int = 1) -> Player:
    """Return a house whose first freezer has just been switched off for a test."""
    day = Player(house(freezers))
    day.report(MINUTE, [-20.0] * 30)
    order(day, OFF)
    return day


def order(day: Player, verb: str, freezer: str = "shed-chest") -> bool:
    """Give an order about a freezer; return whether it was carried out."""
    day.answer = None
    day.give(Order(verb, who="ann", subject=freezer))
    assert day.answer is not None
    return day.answer.done


def warm(day: Player, minutes: int, least: float = -20.0, most: float = -11.0) -> None:
    """Let the air warm evenly for some minutes."""
    day.report(MINUTE, [least + (most - least) * n / minutes for n in range(minutes)])


def stages(day: Player) -> list[object]:
    """Return the stages of the test that were written down."""
    return [event.facts["stage"] for event in day.events if event.kind == "test-off"]


def test_done_well() -> None:
    """Three hours off: nothing but the word to switch it on is told, and when it cools nothing more."""
    day = begin()
    warm(day, 181)
    day.report(MINUTE, [-11.5 - n * 0.1 for n in range(60)])

    assert stages(day) == ["begun", "switch-on"]
    assert day.told() == ["switch Shed chest back on now"]
    assert day.notices[0].priority is Priority.HIGH
    assert day.watch.tests == {}
    assert not any(alarm.suppressed for alarm in day.watch.alarms.all.values())


def test_forgotten_switch() -> None:
    """A freezer that does not cool 20 minutes after its test is an urgent alarm, which ends when it cools."""
    day = begin()
    warm(day, 181, most=-12.5)
    day.report(MINUTE, [-12.4] * 25)
    raised = [event for event in day.events if event.kind == "not-cooling"]
    day.report(MINUTE, [-12.4 - n * 0.1 for n in range(20)])

    assert [(event.what, event.priority) for event in raised] == [(What.RAISED, Priority.HIGH)]
    assert day.turns("not-cooling") == ["shed-chest raised", "shed-chest over"]


def test_too_warm_ends_it_early() -> None:
    """A test ends, and that is told, as soon as the air is warmer than -9 °C."""
    day = begin()
    warm(day, 100, most=-8.8)

    assert stages(day) == ["begun", "too-warm"]
    assert day.told() == ["switch Shed chest back on now, it got too warm"]


def test_limit_keeps_clear_of_highhigh() -> None:
    """Where the keeper's HighHigh is low, a test ends 2 K below it."""
    day = Player(house(1))
    freezer = replace(day.house.freezers["shed-chest"], limits=Limits(highhigh=Celsius(-10.0)))
    day.give(Rewired(replace(day.house, freezers={freezer.id: freezer})))
    day.report(MINUTE, [-20.0] * 30)
    order(day, OFF)
    warm(day, 100, most=-11.5)

    assert stages(day) == ["begun", "too-warm"]


def test_highhigh_is_never_held() -> None:
    """A freezer that warms on after its test was ended too warm is told of at HighHigh at once."""
    day = begin()
    warm(day, 60, most=-8.0)
    warm(day, 40, -8.0, 2.0)

    assert "shed-chest raised" in day.turns("highhigh")
    assert "Shed chest is much too warm" in " ".join(day.told())


def test_ended_by_hand() -> None:
    """A test can be ended by order, is then over without a word, and cannot be ended twice."""
    day = begin()
    warm(day, 60, most=-14.0)
    done, again = order(day, END), order(day, END)
    day.report(MINUTE, [-14.5 - n * 0.1 for n in range(40)])

    assert (done, again) == (True, False)
    assert stages(day) == ["begun", "ended"]
    assert day.told() == []


def test_begun_again_too_soon() -> None:
    """While a freezer that was tested is watched until it cools, a new test is refused with the time to try again."""
    day = begin()
    assert not order(day, OFF)
    assert day.answer is not None
    assert "it is being tested already, until 1" in day.answer.text
    warm(day, 60, most=-14.0)
    order(day, END)
    again = clock(day.now.wall + 20 * MINUTE, day.now.wall, day.house.zone)
    order(day, OFF)
    assert f"its last test is still being watched until it cools; try again after {again}" in day.answer.text
    order(day, END)
    assert "is over already, and watched until it cools" in day.answer.text
    day.report(MINUTE, [-14.0] * 30)
    order(day, OFF)
    assert "still being watched until it cools. Nothing" in day.answer.text


def test_status_tells_of_it() -> None:
    """The status says that a freezer is switched off for a test until when, and after it until when it is watched."""
    day = begin()
    (shown,) = status(day.watch, day.now)["freezers"]
    assert shown["state"] == "switched off for a test"
    assert shown["test"]["quiet_until"] == shown["test"]["until"] == iso(day.now.wall + 3 * HOUR, day.house.zone)
    warm(day, 60, most=-14.0)
    order(day, END)
    (shown,) = status(day.watch, day.now)["freezers"]
    assert shown["state"] == "cold enough"
    assert shown["test"]["ended"] == iso(day.now.wall, day.house.zone)
    assert shown["test"]["quiet_until"] == iso(day.now.wall + 20 * MINUTE, day.house.zone)
    day.report(MINUTE, [-14.5 - n * 0.1 for n in range(40)])

    assert status(day.watch, day.now)["freezers"][0]["test"] is None


def test_ended_at_once_is_no_alarm() -> None:
    """Who changes their mind at once is not called up while the freezer only rests as always."""
    day = Player(house(1))
    day.report(MINUTE, [round(-20 + 4 * abs((n / 30) % 2 - 1), 1) for n in range(20 * 60)])
    order(day, OFF)
    order(day, END)
    day.report(MINUTE, [round(-20 + 4 * abs((n / 30) % 2 - 1), 1) for n in range(30, 70)])

    assert day.turns("not-cooling") == []
    assert day.told() == []


def test_not_heard_ends_it() -> None:
    """A freezer that is switched off and not heard for half an hour is to be switched on, and becomes unwatched."""
    day = begin()
    day.go(2 * HOUR)

    assert stages(day) == ["begun", "switch-on"]
    assert "Shed chest is not being watched" in day.told()


@pytest.mark.parametrize(
    ("air", "verb", "said"),
    [
        (-20.0, OFF, "Switch Shed chest off now"),
        (-12.5, OFF, "a test begins at −13.0 °C or colder"),
        (-20.0, END, "is not being tested"),
    ],
)
def test_answers(air: float, verb: str, said: str) -> None:
    """Each order has its answer; a test does not begin in a freezer that is too warm for one."""
    day = Player(house(1))
    day.report(MINUTE, [air] * 10)
    order(day, verb)

    assert day.answer is not None
    assert said in day.answer.text


def test_refused_for_reasons() -> None:
    """A test does not begin twice, in two freezers at once, unheard, or while the power is out."""
    day = begin(2)
    twice, other = order(day, OFF), order(day, OFF, "cellar-upright")
    deaf = Player(house(1))
    dark = Player(house(1))
    dark.report(MINUTE, [-20.0] * 10)
    dark.give(Condition("mains", on=True, text="the battery carries us"))
    dark.report(MINUTE, [-20.0] * 5)

    assert [twice, other, order(deaf, OFF), order(dark, OFF)] == [False] * 4
    assert not order(day, OFF, "barn")


def test_goes_on_over_a_restart() -> None:
    """A test ends at its time also after a restart, in this boot or another, and its alarms stay held till then."""
    for boot in (None, "boot-b"):
        day = begin()
        warm(day, 60, most=-14.0)
        day.restart(5 * MINUTE, boot)
        warm(day, 110, -14.0, -11.0)
        before = stages(day)
        warm(day, 10, -11.0, -10.8)

        assert (before, stages(day)) == (["begun"], ["begun", "switch-on"])
        assert day.told() == ["switch Shed chest back on now"]


def test_unknown_clock_ends_it() -> None:
    """After a restart with a clock that cannot be trusted nobody knows how long it was off: it ends at once."""
    day = begin()
    warm(day, 60, most=-14.0)
    day.restart(5 * MINUTE, "boot-b", trusted=False)

    assert stages(day) == ["begun", "switch-on"]

"""A defrost in the watch: what is held, what is told, and how it ends."""

from dataclasses import replace

import pytest

from gatewayd.alarm.kinds import HIGH, RISING
from gatewayd.message.house import headline
from gatewayd.model.chore import Due, Kind
from gatewayd.model.event import What
from gatewayd.model.given import Chored, Condition, Order
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.priority import Priority
from gatewayd.upkeep.due import OF_FOOD
from gatewayd.watch.hindrance import uneasy
from gatewayd.watch.view import status
from tests.days.player import Player, house

WHO = "shed-chest"


def begin(span: int = 0, freezers: int = 1) -> Player:
    """Return a house whose first freezer's defrost has just begun."""
    day = Player(house(freezers))
    day.report(MINUTE, [-20.0] * 30)
    assert order(day, "begin defrost", span=span)
    return day


def order(day: Player, verb: str, why: str = "", span: int = 0, freezer: str = WHO) -> bool:
    """Give an order about a defrost; return whether it was carried out."""
    day.answer = None
    day.give(Order(verb, who="ann", subject=freezer, why=why, span=span))
    assert day.answer is not None
    return day.answer.done


def air(day: Player, minutes: int, first: float, last: float) -> None:
    """Let the air move evenly for some minutes."""
    day.report(MINUTE, [round(first + (last - first) * n / minutes, 1) for n in range(1, minutes + 1)])


def stages(day: Player) -> list[object]:
    """Return the stages of the defrost that were written down."""
    return [event.facts["stage"] for event in day.events if event.kind == "defrost"]


def test_done_well() -> None:
    """An hour open, on again, cold again: nothing is told, all is written down, and no alarm is left behind."""
    day = begin()
    order(day, "defrost step", "food-out")
    air(day, 60, -20.0, 14.0)
    order(day, "defrost step", "on")
    air(day, 40, 14.0, -14.0)
    order(day, "end defrost", "3 kg")
    air(day, 60, -14.0, -20.0)

    assert stages(day) == ["begun", "step", "step", "ended", "cold"]
    assert day.told() == []
    assert day.watch.defrosts == {}
    assert not any(alarm.suppressed or alarm.listed for alarm in day.watch.alarms.all.values())
    (chore,) = day.chores
    assert (chore.subject, chore.kind, chore.who) == (WHO, Kind.DEFROSTED, "ann")
    assert (chore.facts["ice"], chore.facts["warmest"], chore.facts["before"]) == ("3 kg", 14.0, -20.0)
    assert chore.facts["food_out"] == 100 * MINUTE


def test_forgotten_plug_is_urgent_and_repeated() -> None:
    """Finished but not plugged in: 20 minutes later somebody is asked whether it is on, again each hour."""
    day = begin()
    air(day, 60, -20.0, 14.0)
    order(day, "end defrost")
    day.report(MINUTE, [14.0] * 85)
    raised = [event for event in day.events if event.kind == "not-cooling" and event.what is not What.NOTED]

    assert [(event.what, event.priority) for event in raised] == [
        (What.RAISED, Priority.HIGH),
        (What.REPEATED, Priority.HIGH),
    ]
    assert raised[0].at.steady - raised[1].at.steady == -HOUR
    assert day.told()[0] == "Shed chest is not cooling again, 14.0 °C"
    assert "defrost" in day.notices[0].body
    air(day, 60, 14.0, -19.0)
    assert day.turns("not-cooling")[-1] == "shed-chest over"
    assert day.watch.defrosts == {}


def test_forgotten_session_asks_and_arms_itself_again() -> None:
    """A defrost nobody comes back to: the planned end and the food are told, then that it does not cool, and an hour
    after the planned end its alarms count again, HighHigh among them."""
    day = begin()
    air(day, 60, -20.0, 14.0)
    day.report(MINUTE, [14.0] * 100)

    assert stages(day) == ["begun", "over", "food-soon", "food-now"]
    told = day.told()
    assert "Shed chest is not cooling again, 14.0 °C" in told
    assert "Shed chest is much too warm, 14.0 °C" in told
    suppressed = [alarm for alarm in day.watch.alarms.all.values() if alarm.suppressed]
    assert suppressed == []
    released = next(e for e in day.events if e.what is What.UNSUPPRESSED)
    begun = next(e for e in day.events if e.kind == "defrost")
    assert released.at.steady - begun.at.steady == 150 * MINUTE


def test_quiet_is_never_longer_than_four_hours() -> None:
    """However long it is planned, with more time asked for too, the quiet ends four hours after its begin."""
    day = begin(3 * HOUR)
    air(day, 60, -20.0, 14.0)
    day.report(MINUTE, [14.0] * 110)
    assert order(day, "begin defrost", span=3 * HOUR)
    day.report(MINUTE, [14.0] * 75)

    released = next(e for e in day.events if e.what is What.UNSUPPRESSED)
    begun = next(e for e in day.events if e.kind == "defrost")
    assert released.at.steady - begun.at.steady == 4 * HOUR


def test_food_is_timed_from_when_it_was_taken_out_until_it_is_back() -> None:
    """The words about the food come 1 h 45 min and 2 h after it was taken out, and not once it is back."""
    day = begin(3 * HOUR)
    air(day, 20, -20.0, -10.0)
    order(day, "defrost step", "food-out")
    out = day.now.steady
    air(day, 130, -10.0, 14.0)
    notes = [e for e in day.events if e.kind == "defrost" and str(e.facts["stage"]).startswith("food")]
    assert [(e.at.steady - out, e.priority) for e in notes] == [
        (105 * MINUTE, Priority.MEDIUM),
        (2 * HOUR, Priority.HIGH),
    ]

    other = begin(3 * HOUR)
    order(other, "defrost step", "food-out")
    air(other, 60, -20.0, 14.0)
    order(other, "defrost step", "food-back")
    air(other, 80, 14.0, 14.0)
    assert "food-soon" not in stages(other)


def test_ends_by_itself_when_cold_again_and_says_so() -> None:
    """Nobody says that it is done, but it was warm and is cold: it is over, and who waits with the food is told."""
    day = begin()
    air(day, 25, -20.0, 12.0)
    air(day, 40, 12.0, -19.0)
    day.report(MINUTE, [-19.0] * 15)

    assert stages(day) == ["begun", "cold"]
    assert day.told() == ["Shed chest is cold again after its defrost, −19.0 °C"]
    assert len(day.chores) == 1


def test_lid_open_while_the_food_is_taken_out_does_not_end_it() -> None:
    """The air jumps and falls back while boxes are carried; the defrost goes on, for no ice has melted."""
    day = begin()
    air(day, 10, -20.0, -11.0)
    air(day, 10, -11.0, -20.0)

    assert stages(day) == ["begun"]


def test_never_begun_is_not_a_defrost() -> None:
    """Announced and not done: it is over at its planned end, and nothing is written into the calendar."""
    day = begin()
    day.report(MINUTE, [-20.0] * 95)

    assert stages(day) == ["begun", "over", "nothing"]
    assert day.chores == []


def test_restart_in_the_middle_forgets_nothing() -> None:
    """Restarted in the same boot or after a power cut of ten minutes, the same is told at the same time."""
    for boot in (None, "boot-b"):
        day = begin()
        order(day, "defrost step", "food-out")
        wall = day.now.wall
        air(day, 40, -20.0, 10.0)
        day.restart(10 * MINUTE, boot)
        air(day, 75, 12.0, 12.0)

        food = next(e for e in day.events if e.kind == "defrost" and e.facts["stage"] == "food-soon")
        assert food.at.wall - wall == 105 * MINUTE
        assert [n for n in day.notices if n.kind == "highhigh"] == []
        day.report(MINUTE, [12.0] * 30)
        assert [n.kind for n in day.notices if n.priority is Priority.HIGH][-1] in (
            "not-cooling",
            "defrost",
            "highhigh",
        )
        assert "not-cooling" in {n.kind for n in day.notices}


def test_restart_with_a_clock_that_cannot_be_trusted_errs_to_safety() -> None:
    """Nobody knows how long it has run: the food must go back now, and the quiet ends within 20 minutes."""
    day = begin()
    air(day, 40, -20.0, 10.0)
    day.restart(10 * MINUTE, "boot-b", wall=1_000_000, trusted=False)
    air(day, 60, 12.0, 12.0)

    assert "food-now" in stages(day)
    assert not any(alarm.suppressed for alarm in day.watch.alarms.all.values())
    assert "highhigh" in {n.kind for n in day.notices}


@pytest.mark.parametrize(
    ("verb", "why", "span", "said"),
    [
        ("begin defrost", "", 0, "Step 1 of 9"),
        ("begin defrost", "", 5 * HOUR, "15 min to 3 h"),
        ("defrost step", "ice", 0, "is not being defrosted"),
        ("end defrost", "", 0, "is not being defrosted"),
    ],
)
def test_answers(verb: str, why: str, span: int, said: str) -> None:
    """Each order has its answer, and one that cannot be done changes nothing."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 10)
    order(day, verb, why, span)
    assert day.answer is not None
    assert said in day.answer.text


def test_steps_lead_on_and_a_wrong_one_is_refused() -> None:
    """Each step that is done is answered with the next and its cautions; an unknown one with those there are."""
    day = begin()
    assert order(day, "defrost step", "unplug")
    assert day.answer is not None
    assert "prop" in day.answer.text
    assert "Keep children away" in day.answer.text
    assert order(day, "defrost step", "wash")
    assert "SWITCH IT BACK ON" in day.answer.text
    assert not order(day, "defrost step", "dance")
    assert "food-out" in day.answer.text
    assert order(day, "defrost step", "food-back")
    assert "gatewayd defrost finish shed-chest" in day.answer.text


def test_other_freezers_are_watched_as_always() -> None:
    """While one is defrosted another one's alarms are told."""
    day = begin(freezers=2)
    for n in range(60):
        day.hear(-20.0 + n / 2, WHO)
        day.hear(-8.0, "cellar-upright")
        day.go(MINUTE)

    assert day.told() == ["Cellar upright is too warm, −8.0 °C"]


def test_freezer_in_a_test_is_not_defrosted() -> None:
    """A test switch-off and a defrost of one freezer exclude each other."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 30)
    assert order(day, "test switch-off")
    assert not order(day, "begin defrost")
    day = begin()
    assert not order(day, "test switch-off")


def test_ice_is_written_down_also_when_it_had_ended_by_itself() -> None:
    """Who says how much ice came out after it was cold again has it in the book all the same."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 10)
    assert order(day, "end defrost", "3 kg")
    assert [(chore.kind, chore.note) for chore in day.chores] == [(Kind.NOTE, "ice removed: 3 kg")]


def test_a_freezer_without_a_thermometer_has_its_timers_and_ends_with_them() -> None:
    """Nobody sees it cool, which is said at its begin; nothing rings falsely, and it is over with the quiet at last."""
    wired = house(1)
    bare = replace(wired.freezers[WHO], sensors=())
    day = Player(replace(wired, freezers={WHO: bare}))
    assert order(day, "begin defrost")
    assert day.answer is not None
    assert "Set a timer of your own" in day.answer.text
    day.go(3 * HOUR)

    assert stages(day) == ["begun", "over", "food-soon", "food-now", "nothing"]
    assert "not-cooling" not in {n.kind for n in day.notices}
    assert day.watch.defrosts == {}
    assert order(day, "begin defrost")
    assert order(day, "defrost step", "on")
    assert order(day, "end defrost")
    assert len(day.chores) == 1


def test_nothing_is_learnt_of_the_air_of_an_open_freezer() -> None:
    """Neither while it is defrosted nor from the stored past after a restart does its picture take the warm air."""
    day = begin()
    air(day, 60, -20.0, 14.0)
    order(day, "end defrost")
    air(day, 60, 14.0, -20.0)
    day.report(MINUTE, [-20.0] * 20)
    assert day.watch.defrosts == {}
    assert max(value for value in day.watch.pictures[WHO].course.air if value == value) < -10  # noqa: PLR0124 - NaN
    day.restart(MINUTE)
    day.report(MINUTE, [-20.0] * 3)
    day.recall()
    course = day.watch.pictures[WHO].course
    assert len(course) > 100
    assert max(value for value in course.air if value == value) < -10  # noqa: PLR0124 - NaN


def warmed(value: float = -5.0) -> Player:
    """Return a house whose freezer has been too warm for two hours, and tells so."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 30)
    day.report(MINUTE, [value] * 120)
    assert day.watch.alarms.standing(WHO, HIGH)
    return day


def test_a_standing_alarm_is_not_swallowed() -> None:
    """A freezer that is too warm, or whose food waits for a look, is not defrosted unless one says so."""
    day = warmed()
    assert not order(day, "begin defrost")
    assert day.answer is not None
    assert "too warm since" in day.answer.text
    assert "gatewayd excursion show" in day.answer.text
    assert "--anyway" in day.answer.text
    assert day.watch.defrosts == {}
    assert not any(alarm.suppressed for alarm in day.watch.alarms.all.values())
    assert order(day, "begin defrost", "anyway")
    shown = [one for one in status(day.watch, day.now)["alarms"] if one["kind"] == "high"]
    assert len(shown) == 1


def test_an_acknowledged_alarm_holds_it_back_too() -> None:
    """That somebody has seen it does not make it cold: no defrost and no test; begun anyway, what stands is shown."""
    day = warmed()
    day.give(Order("acknowledge", who="ann"))
    for verb in ("begin defrost", "test switch-off"):
        assert not order(day, verb)
        assert said(day).startswith("Keep Shed chest shut: it has been too warm since ")
        assert "; mend the cooling first." in said(day)
    assert order(day, "begin defrost", "anyway")
    seen = status(day.watch, day.now)
    assert [one["kind"] for one in seen["alarms"]] == ["highhigh", "high"]
    assert {one["by"] for one in seen["suppressed"]} == {"the defrost"}
    found = headline(day.watch.house, seen["freezers"], seen["alarms"], {})
    assert found.text.startswith("Shed chest is much too warm")
    assert found.todo


def test_one_that_becomes_warmer_is_kept_shut() -> None:
    """A rise that stands holds a defrost back before the freezer is too warm."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 30)
    alarms = day.watch.alarms
    alarms.raise_(alarms.get(WHO, RISING), day.now, day.now, {})
    assert not order(day, "begin defrost")
    assert said(day).startswith("Keep Shed chest shut: it has been getting warmer since ")


def test_food_that_was_not_decided_on_is_looked_at_first() -> None:
    """What the store knows of undecided food holds a defrost back as an alarm does."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 30)
    food = Due(
        WHO, f"{OF_FOOD}Shed chest", None, "it was too warm from 20:34 on. See: gatewayd excursion show 7", overdue=True
    )
    day.give(Chored(more=[food]))
    assert not order(day, "begin defrost")
    assert day.answer is not None
    assert "excursion show 7" in day.answer.text
    day.give(Chored())
    assert order(day, "begin defrost")


def test_power_that_is_out_holds_it_back() -> None:
    """While the power is out the freezer is kept shut: no defrost, and no test is offered; then both are."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 30)
    day.give(Condition("mains", on=True))  # it has failed
    day.report(MINUTE, [-20.0] * 10)
    shut, cut = order(day, "begin defrost"), uneasy(day.watch)
    assert day.answer is not None
    said_so = day.answer.text
    day.give(Condition("mains", on=False))
    day.report(MINUTE, [-20.0] * 10)

    assert not shut
    assert cut == {WHO}
    assert said_so.startswith("Keep Shed chest shut: its power has been out since")
    assert uneasy(day.watch) == set()
    assert order(day, "begin defrost")


def test_warm_and_not_told_yet_holds_it_back() -> None:
    """Air above its limit whose alarm is still delayed is a reason to look first, too."""
    day = Player(house(1))
    day.report(MINUTE, [-20.0] * 30)
    day.report(MINUTE, [-5.0] * 3)
    assert not order(day, "begin defrost")


def said(day: Player) -> str:
    """Return the last answer."""
    assert day.answer is not None
    return day.answer.text


def test_cancelled_counts_nothing_and_arms_at_once() -> None:
    """A defrost that is cancelled is not in the book, and an alarm that was held is told again."""
    day = begin()
    order(day, "defrost step", "food-out")
    air(day, 60, -20.0, 4.0)
    assert order(day, "defrost step", "cancel", freezer="")
    assert "is cancelled" in said(day)
    assert day.watch.defrosts == {}
    assert day.chores == []
    assert stages(day)[-1] == "nothing"
    assert not any(alarm.suppressed for alarm in day.watch.alarms.all.values())
    day.report(MINUTE, [4.0] * 60)
    assert day.watch.alarms.standing(WHO, HIGH)


def test_finished_untouched_is_no_defrost() -> None:
    """Finished within ten minutes and with no step done counts as cancelled, and says so; a step done counts."""
    day = begin()
    air(day, 5, -20.0, -19.0)
    assert order(day, "end defrost")
    assert "counts as cancelled" in said(day)
    assert (day.chores, day.watch.defrosts) == ([], {})

    other = begin()
    order(other, "defrost step", "manual")
    air(other, 5, -20.0, -19.0)
    assert order(other, "end defrost")
    assert len(other.chores) == 1


def test_after_the_end_there_are_no_steps() -> None:
    """Once it is finished every step, a second finish and a cancel hear that only the cold is waited for."""
    day = begin()
    air(day, 60, -20.0, 14.0)
    assert order(day, "end defrost")
    for verb, why in (("defrost step", ""), ("defrost step", "ice"), ("defrost step", "cancel"), ("end defrost", "")):
        assert not order(day, verb, why)
        assert "is finished; only waiting until it is cold" in said(day)


def test_which_freezer_is_meant() -> None:
    """With none or two being defrosted a freezer must be named; a step in its place is explained."""
    day = Player(house(2))
    day.report(MINUTE, [-20.0] * 30)
    assert not order(day, "end defrost", freezer="")
    assert "None is being defrosted" in said(day)
    order(day, "begin defrost")
    assert not order(day, "defrost step", freezer="ice")
    assert (
        "'ice' is a step and no freezer; say the freezer first. For instance: gatewayd defrost step shed-chest ice"
        in said(day)
    )
    order(day, "begin defrost", freezer="cellar-upright")
    assert not order(day, "defrost step", freezer="")
    assert "Two are being defrosted: say which, shed-chest and cellar-upright." in said(day)
    assert not order(day, "defrost step", freezer="attic")
    assert "There is no freezer 'attic'; there are: shed-chest, cellar-upright." in said(day)

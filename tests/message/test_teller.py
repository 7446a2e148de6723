"""Whom the house tells, when, how often, and why not."""

import json
from dataclasses import replace

import pytest

from gatewayd.message.plan import Reason
from gatewayd.message.teller import KEEPS, Calls, Teller
from gatewayd.model.event import What
from gatewayd.model.house import Person
from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.pack import pack, unpack
from gatewayd.model.priority import Priority
from gatewayd.model.telling import Telling
from tests.message.scene import NOW
from tests.message.teller_rig import NIGHT, PEOPLE, Rig, household

ANN, BEN, CAT = PEOPLE
SLEEPER = replace(ANN, quiet=NIGHT)
MORNING = 228  # minutes from 03:12 to 07:00
HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW


# -- the order ---------------------------------------------------------------------------------------------


def test_one_after_the_other_until_all() -> None:
    """The first is told at once, the second after a quarter of an hour without an answer, the rest after another."""
    rig = Rig(household(*PEOPLE, Person("dan", "Dan", ("dan-mail",))))
    raised = rig.happen(What.RAISED)
    rig.go(DAY)

    assert rig.told() == [("ann", "new", 0), ("ben", "new", 15), ("cat", "new", 30), ("dan", "new", 30)]
    assert rig.why(raised) == [("ann", "FIRST"), ("ben", "NEXT_PERSON"), ("cat", "ALL"), ("dan", "ALL")]
    assert [n.body.splitlines()[-1] for n in rig.notices[1:3]] == [
        "Ann was told at 03:12 and has not answered.",
        "Ann was told at 03:12 and has not answered. Ben was told at 03:27 and has not answered.",
    ]
    assert rig.notices[1].body.startswith(rig.notices[0].body)
    assert rig.teller.next_wake(rig.now) is None


def test_who_wants_only_the_worst_is_passed_over() -> None:
    """Who wants only high alarms, or cannot be reached, is no part of the order, and the reason is kept."""
    rig = Rig(household(replace(ANN, told_from=HIGH), replace(BEN, routes=()), CAT))
    raised = rig.happen(What.RAISED)
    rig.go(HOUR)

    assert rig.told() == [("cat", "new", 0)]
    assert rig.why(raised) == [("ann", "NOT_WANTED"), ("ben", "NO_ROUTE"), ("cat", "FIRST")]


def test_house_without_people_says_so() -> None:
    """With nobody in the settings the decision is that there is no way to reach anybody."""
    rig = Rig(replace(household(), people={}))
    raised = rig.happen(What.RAISED)

    assert (rig.notices, rig.why(raised)) == ([], [("", "NO_ROUTE")])


@pytest.mark.parametrize("who", ["ben", "Ben", "BEN"])
def test_an_answer_stops_the_calling(who: str) -> None:
    """After an answer nobody further is called; the others who were told hear who is on it, in a few words."""
    rig = Rig()
    rig.happen(What.RAISED)
    rig.go(20 * MINUTE)
    seen = rig.happen(What.ACKNOWLEDGED, who=who, why="on my way")
    rig.go(DAY)

    assert rig.told() == [("ann", "new", 0), ("ben", "new", 15), ("ann", "answered", 20)]
    assert "ben has seen it" in rig.notices[-1].title.casefold()
    assert "On my way." in rig.notices[-1].body
    assert rig.why(seen) == [("ann", "ANSWERED")]


def test_who_answered_is_known_by_name() -> None:
    """Who answers by the name in the settings is not told of the own answer; an unknown name leaves out nobody."""
    rig, unknown = (Rig(household(ANN, Person("b", "Benjamin", ("ben-chat",)))) for _ in range(2))
    for one, who in ((rig, "benjamin"), (unknown, "root")):
        one.happen(What.RAISED)
        one.go(20 * MINUTE)
        one.happen(What.ACKNOWLEDGED, who=who)

    assert rig.told()[2:] == [("ann", "answered", 20)]
    assert unknown.told()[2:] == [("ann", "answered", 20), ("b", "answered", 20)]


def test_the_only_one_told_needs_no_echo() -> None:
    """Where one person was told and answers, nobody hears of it."""
    rig = Rig()
    rig.happen(What.RAISED)
    seen = rig.happen(What.ACKNOWLEDGED, who="ann")

    assert rig.told() == [("ann", "new", 0)]
    assert rig.why(seen) == [("", "BY_A_PERSON")]


def test_worse_begins_the_order_anew() -> None:
    """What becomes worse is told from the first person on again, as high, and ends for all who were ever told."""
    rig = Rig()
    rig.happen(What.RAISED)
    rig.go(20 * MINUTE)
    rig.happen(What.WORSE, priority=HIGH)
    rig.go(5 * MINUTE)
    rig.happen(What.OVER, priority=HIGH)

    assert rig.told() == [
        ("ann", "new", 0), ("ben", "new", 15), ("ann", "worse", 20), ("ann", "over", 25), ("ben", "over", 25),
    ]  # fmt: skip
    assert rig.notices[2].priority is HIGH


def test_re_alarm_goes_to_all_so_far_and_one_more() -> None:
    """A re-alarm goes to those who were told, and takes the next step at once, also after an answer."""
    rig = Rig()
    rig.happen(What.RAISED)
    rig.happen(What.ACKNOWLEDGED, who="ann")
    rig.go(4 * HOUR)
    rig.happen(What.REPEATED, acknowledged_by="ann")
    rig.go(HOUR)

    assert rig.told() == [("ann", "new", 0), ("ann", "repeat", 240), ("ben", "repeat", 240), ("cat", "repeat", 255)]
    assert "has not answered" not in rig.notices[2].body  # Ann was told this very moment


def test_re_alarm_takes_the_next_step() -> None:
    """Where the second had been told a re-alarm calls all the rest."""
    rig = Rig(household(*PEOPLE, Person("dan", "Dan", ("dan-mail",))))
    rig.happen(What.RAISED)
    rig.go(20 * MINUTE)
    rig.happen(What.ACKNOWLEDGED, who="ben")
    again = rig.happen(What.REPEATED)

    assert rig.why(again) == [("ann", "REPEAT"), ("ben", "REPEAT"), ("cat", "ALL"), ("dan", "ALL")]


def test_new_wait_counts_at_once() -> None:
    """A shorter wait for an answer in new settings holds for the alarm that stands."""
    rig = Rig()
    rig.happen(What.RAISED)
    assert rig.teller.next_wake(rig.now) == rig.now.steady + 15 * MINUTE
    rig.teller.house = household(telling=Telling(next_after=5 * MINUTE))
    rig.go(10 * MINUTE)

    assert rig.told() == [("ann", "new", 0), ("ben", "new", 5), ("cat", "new", 10)]


def test_end_goes_to_those_who_were_told() -> None:
    """The end is told to those who heard of the beginning, and the calling stops."""
    rig = Rig()
    rig.happen(What.RAISED)
    rig.go(MINUTE)
    over = rig.happen(What.OVER)
    rig.go(DAY)

    assert rig.told() == [("ann", "new", 0), ("ann", "over", 1)]
    assert rig.why(over) == [("ann", "OVER"), ("ben", "NOT_TOLD_BEFORE"), ("cat", "NOT_TOLD_BEFORE")]


def test_what_asks_for_nobody_goes_to_all_at_once() -> None:
    """What needs no answer, like a full disk or a dark spell, goes to all who want it, once."""
    rig = Rig(household(ANN, replace(BEN, told_from=HIGH), CAT))
    rig.happen(What.RAISED, "disk-filling", subject="heron-lane", asks=False)
    dark = rig.happen(What.NOTED, "dark", subject="heron-lane", asks=False)
    rig.go(DAY)

    assert rig.told() == [("ann", "new", 0), ("cat", "new", 0)] * 2
    assert rig.why(dark) == [("ben", "NOT_WANTED"), ("ann", "NOTE"), ("cat", "NOTE")]


def test_low_is_for_the_page() -> None:
    """A low alarm is told to those who asked for low ones, at once and without calling on; else it is one decision."""
    rig, curious = Rig(), Rig(household(ANN, replace(BEN, told_from=LOW)))
    raised = rig.happen(What.RAISED, "silent", LOW, "shed-air", asks=False)
    over = rig.happen(What.OVER, "silent", LOW, "shed-air", asks=False)
    curious.happen(What.RAISED, "high", LOW)
    curious.go(DAY)

    assert (rig.notices, rig.why(raised), rig.why(over)) == ([], [("", "LOW")], [("", "LOW")])
    assert curious.told() == [("ben", "new", 0)]


# -- what speaks for another -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "reason"),
    [({"suppressed_by": "shed-mains"}, "SUPPRESSED"), ({"hidden": "shelved for a time"}, "SHELVED")],
)
def test_hidden_is_not_told(facts: dict[str, str], reason: str) -> None:
    """What is hidden is told to nobody, for a named reason; raised again without that, it is told as new."""
    rig = Rig()
    hidden = rig.happen(What.RAISED, **facts)
    rig.go(HOUR)
    rig.happen(What.UNSHELVED, who="the house")
    rig.happen(What.RAISED, anew=True)

    assert rig.why(hidden) == [("", reason)]
    assert rig.told() == [("ann", "new", 60)]


@pytest.mark.parametrize("what", [What.SHELVED, What.SUPPRESSED, What.OUT_OF_SERVICE, What.CLOSED])
def test_hiding_ends_the_calling(what: What) -> None:
    """Once an alarm is hidden or gone nobody further is called, and what waited for the morning is dropped."""
    rig = Rig(household(SLEEPER, BEN))
    rig.happen(What.RAISED)
    rig.happen(what, who="ann")
    rig.go(DAY)

    assert rig.notices == []


def test_graver_speaks_for_milder() -> None:
    """While the freezer is much too warm nobody is called for too warm, and one end is told to all who knew of any."""
    rig = Rig()
    rig.happen(What.RAISED, "rising")
    rig.go(10 * MINUTE)
    rig.happen(What.RAISED, "high")
    rig.happen(What.OVER, "rising")
    rig.go(10 * MINUTE)
    rig.happen(What.RAISED, "highhigh", HIGH)
    rig.go(20 * MINUTE)
    cooler = rig.happen(What.OVER, "highhigh", HIGH)
    rig.go(HOUR)
    rig.happen(What.OVER, "high")
    rig.go(DAY)

    assert rig.told() == [
        ("ann", "new", 0), ("ann", "new", 10), ("ann", "new", 20), ("ben", "new", 35),
        ("ann", "over", 100), ("ben", "over", 100),
    ]  # fmt: skip
    assert [n.kind for n in rig.notices] == ["rising", "high", "highhigh", "highhigh", "high", "high"]
    assert rig.why(cooler) == [("", "STILL_WARM")]


def test_end_of_a_hidden_milder_one_ends_the_graver() -> None:
    """Who was told of much too warm hears the end also where the mains message spoke for too warm."""
    rig = Rig()
    rig.happen(What.RAISED, "high", suppressed_by="shed-mains")
    rig.happen(What.RAISED, "highhigh", HIGH)
    rig.happen(What.OVER, "highhigh", HIGH)
    rig.happen(What.OVER, "high", suppressed_by="shed-mains")

    assert rig.told() == [("ann", "new", 0), ("ann", "over", 0)]


# -- quiet hours -------------------------------------------------------------------------------------------


def test_medium_waits_for_the_morning() -> None:
    """A medium message waits for the end of the quiet hours and says when it was written; others are called on."""
    rig = Rig(household(SLEEPER, BEN))
    raised = rig.happen(What.RAISED)
    rig.go(DAY)

    assert rig.told() == [("ben", "new", 15), ("ann", "new", MORNING)]
    assert rig.notices[0].body.endswith("\n\nAnn is told at 07:00, after the quiet hours.")
    assert rig.notices[1].body.startswith("(Written at 03:12; it waited for the end of your quiet hours.)\n\n")
    assert rig.why(raised) == [("ann", "WAITS_FOR_MORNING"), ("ben", "NEXT_PERSON"), ("ann", "MORNING")]
    assert rig.decisions[0].until == NOW.wall + MORNING * MINUTE


def test_high_wakes_everybody() -> None:
    """A high message never waits."""
    rig = Rig(household(SLEEPER, replace(BEN, quiet=NIGHT)))
    rig.happen(What.RAISED, "highhigh", HIGH)
    rig.go(HOUR)

    assert rig.told() == [("ann", "new", 0), ("ben", "new", 15)]


def test_over_before_the_morning() -> None:
    """What began and ended in the quiet hours is one message in the morning: the end."""
    rig = Rig(household(SLEEPER))
    raised = rig.happen(What.RAISED)
    rig.go(HOUR)
    over = rig.happen(What.OVER)
    rig.go(DAY)

    assert rig.told() == [("ann", "over", MORNING)]
    assert rig.why(raised) == [("ann", "WAITS_FOR_MORNING"), ("ann", "OVER_BEFORE_MORNING")]
    assert rig.why(over) == [("ann", "WAITS_FOR_MORNING"), ("ann", "MORNING")]


def test_worse_before_the_morning() -> None:
    """What becomes high in the quiet hours is told at once, and the message that waited is dropped."""
    rig = Rig(household(SLEEPER))
    raised = rig.happen(What.RAISED)
    rig.go(HOUR)
    rig.happen(What.WORSE, priority=HIGH)
    rig.go(DAY)

    assert rig.told() == [("ann", "worse", 60)]
    assert ("ann", "WORSE_BEFORE_MORNING") in rig.why(raised)


def test_answered_before_the_morning() -> None:
    """Who slept through it hears in the morning who is on it, in place of the alarm."""
    rig = Rig(household(SLEEPER, BEN))
    raised = rig.happen(What.RAISED)
    rig.go(20 * MINUTE)
    rig.happen(What.ACKNOWLEDGED, who="ben")
    rig.go(DAY)

    assert rig.told() == [("ben", "new", 15), ("ann", "answered", MORNING)]
    assert ("ann", "ANSWERED_BEFORE_MORNING") in rig.why(raised)


def test_answer_of_a_stranger_is_told_in_the_morning() -> None:
    """Where somebody else answers while the only one called sleeps, the morning brings who it was."""
    rig = Rig(household(SLEEPER))
    rig.happen(What.RAISED)
    rig.happen(What.ACKNOWLEDGED, who="root")
    rig.go(DAY)

    assert rig.told() == [("ann", "answered", MORNING)]


def test_who_slept_through_all_hears_no_end_at_night() -> None:
    """Whose message was dropped since it became worse, and who was not called for that, hears of no end either."""
    rig = Rig(household(ANN, replace(BEN, quiet=NIGHT)))
    rig.happen(What.RAISED)
    rig.go(20 * MINUTE)
    rig.happen(What.WORSE, priority=HIGH)
    rig.happen(What.OVER, priority=HIGH)
    rig.go(DAY)

    assert rig.told() == [("ann", "new", 0), ("ann", "worse", 20), ("ann", "over", 20)]


def test_repeats_do_not_pile_up_by_morning() -> None:
    """Of several messages of one alarm only the newest waits; two notes of different things both do."""
    rig = Rig(household(SLEEPER))
    raised = rig.happen(What.RAISED)
    rig.go(HOUR)
    rig.happen(What.REPEATED)
    rig.happen(What.NOTED, "dark", subject="heron-lane")
    rig.go(HOUR)
    rig.happen(What.NOTED, "dark", subject="heron-lane")
    rig.go(DAY)

    assert sorted(rig.told()) == [("ann", "new", MORNING), ("ann", "new", MORNING), ("ann", "repeat", MORNING)]
    assert ("ann", "REPLACED") in rig.why(raised)


def test_settings_may_change_while_a_message_waits() -> None:
    """A message that waits goes by the routes of the morning, and to nobody who is gone by then."""
    moved, gone = Rig(household(SLEEPER)), Rig(household(SLEEPER))
    raised = [rig.happen(What.RAISED) for rig in (moved, gone)]
    moved.teller.house = household(replace(SLEEPER, routes=("ann-chat",)))
    gone.teller.house = household(replace(BEN, told_from=HIGH))
    moved.go(DAY)
    gone.go(DAY)

    assert [n.routes for n in moved.notices] == [("ann-chat",)]
    assert gone.notices == []
    assert gone.why(raised[1])[-1] == ("ann", "NO_ROUTE")


def test_clock_set_back_holds_nothing_for_days() -> None:
    """A message that waits is told in a day at most, also where the wall clock was set back by a year."""
    rig = Rig(household(SLEEPER))
    rig.happen(What.RAISED)
    rig.now = Moment(rig.now.wall - 365 * DAY, rig.now.steady, rig.now.boot)
    rig.go(MINUTE)

    assert len(rig.notices) == 1


# -- coming and going --------------------------------------------------------------------------------------


def come_and_go(rig: Rig, times: int, every: int = HOUR, priority: Priority = MEDIUM) -> None:
    """Raise and end an alarm so often."""
    for _ in range(times):
        rig.happen(What.RAISED, priority=priority)
        rig.go(every // 2)
        rig.happen(What.OVER, priority=priority)
        rig.go(every // 2)


def test_chattering_never_floods() -> None:
    """From the third time in six hours on it is said that messages stop, and they do, until six hours are quiet."""
    rig = Rig(household(ANN))
    come_and_go(rig, 30)
    during = rig.told()
    last = [n.body.endswith(KEEPS) for n in rig.notices]
    rig.go(5 * HOUR)
    come_and_go(rig, 1)
    still = len(rig.notices)
    rig.go(6 * HOUR)
    come_and_go(rig, 1)

    assert [stage for _, stage, _ in during] == ["new", "over"] * 3
    assert last == [False] * 4 + [True] * 2
    assert still == len(during)
    assert len(rig.notices) == len(during) + 2
    assert {d.reason for d in rig.decisions if d.person == ""} == {"KEEPS_COMING"}


def test_slow_chatter_is_told() -> None:
    """What comes every four hours is no coming and going."""
    rig = Rig(household(ANN))
    come_and_go(rig, 6, 4 * HOUR)

    assert len(rig.notices) == 12


def test_muted_alarm_that_stays_is_told() -> None:
    """An alarm whose messages stopped is told when it has stood until its re-alarm, and from then on as any other."""
    rig = Rig(household(ANN))
    come_and_go(rig, 4)
    before = len(rig.notices)
    rig.happen(What.RAISED)
    rig.go(4 * HOUR)
    rig.happen(What.REPEATED)
    rig.happen(What.OVER)

    assert [n.stage.value for n in rig.notices[before:]] == ["repeat", "over"]


def test_high_is_told_however_often() -> None:
    """A high alarm is told each time, and what was muted is told when it becomes high."""
    often, worse = Rig(household(ANN)), Rig(household(ANN))
    come_and_go(often, 10, priority=HIGH)
    come_and_go(worse, 5)
    before = len(worse.notices)
    worse.happen(What.RAISED)
    worse.happen(What.WORSE, priority=HIGH)

    assert len(often.notices) == 20
    assert [n.stage.value for n in worse.notices[before:]] == ["worse"]


def test_end_of_a_shelving_is_no_coming_and_going() -> None:
    """What is raised again because its shelving ended does not count, and is told though messages had stopped."""
    rig = Rig(household(ANN))
    come_and_go(rig, 4)
    before = len(rig.notices)
    rig.happen(What.RAISED)
    rig.happen(What.SHELVED, who="ann")
    rig.happen(What.RAISED, anew=True)

    assert [n.stage.value for n in rig.notices[before:]] == ["new"]


# -- restart -----------------------------------------------------------------------------------------------


def restart(rig: Rig, boot: str = "") -> None:
    """Replace the teller by one made of what was kept; `boot` names another boot, ten minutes later."""
    kept = json.loads(json.dumps(pack(rig.teller.calls)))
    if boot:
        rig.now = Moment(rig.now.wall + 10 * MINUTE, 20_000, boot)
    rig.teller = Teller(rig.house, unpack(Calls, kept))


def test_restart_goes_on_where_it_was() -> None:
    """A restart in the same boot delays and doubles nothing."""
    rig, other = Rig(household(SLEEPER, BEN, CAT)), Rig(household(SLEEPER, BEN, CAT))
    rig.happen(What.RAISED)
    other.happen(What.RAISED)
    for _ in range(20):
        rig.go(5 * MINUTE)
        restart(rig)
    rig.go(DAY)
    other.go(DAY)

    assert rig.notices == other.notices


def test_another_boot_counts_anew() -> None:
    """After another boot the wait for an answer begins anew; the end of quiet hours stays at its wall time."""
    rig = Rig(household(SLEEPER, BEN))
    rig.happen(What.RAISED)
    rig.go(10 * MINUTE)
    restart(rig, "boot-b")
    rig.go(DAY)

    assert rig.told() == [("ben", "new", 35), ("ann", "new", MORNING)]


def test_morning_that_was_slept_through() -> None:
    """A message whose morning passed while the gateway was off goes out when it is back."""
    rig = Rig(household(SLEEPER))
    rig.happen(What.RAISED)
    rig.go(MORNING * MINUTE - MINUTE)
    restart(rig, "boot-b")
    rig.go(MINUTE)

    assert rig.told() == [("ann", "new", MORNING + 9)]
    assert all(n.made.steady >= 0 for n in rig.notices)


def test_forgotten_alarm_calls_nobody() -> None:
    """What left the settings calls nobody and keeps nothing."""
    rig = Rig(household(SLEEPER, BEN))
    rig.happen(What.RAISED)
    rig.teller.forget("shed-chest", "high")
    rig.go(DAY)

    assert rig.notices == []
    assert rig.teller.calls == Calls()


def test_reasons_are_named() -> None:
    """Every decision carries the name of a reason."""
    rig = Rig(household(SLEEPER, replace(BEN, told_from=HIGH)))
    come_and_go(rig, 6)

    assert {d.reason for d in rig.decisions} <= set(Reason.__members__)

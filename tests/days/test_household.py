"""Days of a household: who is told when, who is at the freezer, what is asked afterwards, what the neighbours see."""

import datetime as dt
import random
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from gatewayd.demo.cabinet import chest, upright
from gatewayd.demo.food import BEANS, BREAD, MILK, TROUT, VENISON
from gatewayd.demo.physics import Plant
from gatewayd.demo.room import Climate, Room
from gatewayd.model.event import Notice, Stage, What
from gatewayd.model.given import Beat, Condition, Order, SourceNews, Tick
from gatewayd.model.house import Freezer, House, Kind, Neighbour, PayloadForm, PayloadRule, Person, Sensor
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE, SECOND, Moment, to_wall
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Heard, Quantity
from gatewayd.model.telling import Telling
from tests.days.player import BROKER, Player, house

BERLIN = ZoneInfo("Europe/Berlin")
NIGHT = (22 * 60, 7 * 60)
QUIET = Telling(note=None, test=None)


def at(hour: int, minute: int = 0, day: int = 18) -> Moment:
    """Return a moment of November 2026 in Berlin."""
    return Moment(to_wall(dt.datetime(2026, 11, day, hour, minute, tzinfo=BERLIN)), 3_600_000, "boot-a")


def family(freezers: int = 1, **changes: object) -> House:
    """Return a house told to Ann, then Ben, then Cleo; Ann and Cleo sleep at night."""
    people = {
        "ann": Person("ann", "Ann", ("ann-mail",), Priority.MEDIUM, NIGHT),
        "ben": Person("ben", "Ben", ("ben-chat",), Priority.MEDIUM),
        "cleo": Person("cleo", "Cleo", ("cleo-mail",), Priority.MEDIUM, NIGHT),
    }
    return house(freezers, **({"people": people, "zone": BERLIN, "telling": QUIET} | changes))


def lived(plant: Plant, hours: float, day: Player, room: float = 16.0, freezer: str = "shed-chest") -> None:
    """Let a simulated freezer live for some hours, heard once a minute."""
    for _ in range(round(hours * 60)):
        for _ in range(4):
            plant.step(room, 15.0)
        day.hear(round(plant.air, 1), freezer)
        day.go(MINUTE)


def who(day: Player, stage: Stage = Stage.NEW) -> list[str]:
    """Return the persons told at a stage, in order."""
    return [notice.person for notice in day.notices if notice.stage is stage]


def test_plug_pulled_at_night_escalates_to_the_second_person() -> None:
    """A plug pulled at 02:00 while Ann is away: she is told first, Ben 15 minutes later, Cleo after as long again."""
    day = Player(family(), now=at(22, day=17))
    plant = chest(300, 60, (TROUT, VENISON))
    lived(plant, 4, day)
    plant.plugged = False
    lived(plant, 12, day)

    high = [n for n in day.notices if n.kind == "high" and n.stage is Stage.NEW]
    assert [n.person for n in high[:3]] == ["ann", "ben", "cleo"]
    assert high[1].made.steady - high[0].made.steady == 15 * MINUTE
    assert high[2].made.steady - high[1].made.steady == 15 * MINUTE
    assert {n.priority for n in high} == {Priority.HIGH}  # it rises: nobody's quiet hours hold it up


def test_answer_stops_the_escalation() -> None:
    """When Ann answers within the quarter of an hour, Ben is left in peace."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-10.0 + n / 100 for n in range(50)])
    number = day.events[-1].first
    day.give(Order("acknowledge", number, who="ann"))
    day.report(MINUTE, [-9.0 + n / 100 for n in range(40)])

    assert who(day) == ["ann"]


def test_high_that_does_not_rise_waits_for_the_morning() -> None:
    """A freezer that hovers just above its limit at night is medium: it waits for 07:00, and Ben, who does not sleep
    then, is told after a quarter of an hour."""
    day = Player(family(), now=at(0, 30))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-11.5] * 120)

    assert [n.person for n in day.notices] == ["ben"]
    day.report(MINUTE, [-11.5] * (5 * 60))
    ann = next(n for n in day.notices if n.person == "ann")
    assert dt.datetime.fromtimestamp(ann.made.wall / 1000, BERLIN).strftime("%H:%M") == "07:00"


def test_night_that_was_over_by_morning_is_one_message() -> None:
    """What began and ended in the quiet hours reaches Ann as one message in the morning."""
    only_ann = {"ann": Person("ann", "Ann", ("ann-mail",), Priority.MEDIUM, NIGHT)}
    day = Player(family(people=only_ann), now=at(0, 30))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-11.5] * 120)
    day.report(MINUTE, [-18.0] * (6 * 60))

    assert [(n.person, n.stage) for n in day.notices] == [("ann", Stage.OVER)]
    assert "cold again" in day.notices[0].title


def test_alarm_that_stands_is_told_again_acknowledged_or_not() -> None:
    """A high alarm is told again every hour, a medium one every four; an acknowledgement begins the hour anew."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-5.0] * 100)  # HighHigh after 30 min
    number = next(e.first for e in day.events if e.kind == "highhigh")
    day.give(Order("acknowledge", number, who="ann"))
    before = day.now
    day.report(MINUTE, [-5.0] * 65)

    again = [e for e in day.events if e.what is What.REPEATED and e.kind == "highhigh" and e.at.steady > before.steady]
    assert [e.at.steady - before.steady for e in again] == [HOUR]


def test_tap_before_loading_keeps_the_house_quiet() -> None:
    """Ten kilograms of warm venison and an open lid after 'I am at the freezer for 8 h' are told to nobody."""
    assert load_venison(8 * HOUR) == []


def test_loading_with_a_short_tap_says_that_it_is_falling() -> None:
    """When the hour is over and the air is still too warm, one message says so, medium, and that it is falling."""
    told = [notice for notice in load_venison(HOUR) if notice.person == "ann"]
    assert [notice.stage for notice in told] == [Stage.NEW, Stage.OVER]
    assert told[0].priority is Priority.MEDIUM
    assert "falling" in told[0].body


def test_loading_without_a_tap_tells_only_what_lasts() -> None:
    """The same without a tap tells each person at most of a beginning and an end."""
    told = [notice for notice in load_venison(0) if notice.person == "ann"]
    assert len(told) <= 4
    assert {notice.subject for notice in told} == {"shed-chest"}


def load_venison(quiet: int) -> list[Notice]:
    """Put 10 kg of venison at 30 °C into a chest with its lid open for a quarter of an hour; return what was told."""
    day = Player(family(), now=at(8))
    plant = chest(300, 60, (TROUT, VENISON))
    lived(plant, 4, day)
    if quiet:
        day.give(Order("at the freezer", subject="shed-chest", who="ann", span=quiet))
        assert day.answer is not None
        assert day.answer.done
    plant.open(0.8)
    plant.load(VENISON, 10.0, 30.0, 3.0)
    lived(plant, 0.25, day)
    plant.open(0.0)
    lived(plant, 10, day)
    return day.notices


def test_shelving_that_expires_tells_what_is_still_wrong() -> None:
    """A lid forgotten after 'I am at the freezer' is told as new when the hour is over, once."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.give(Order("at the freezer", subject="shed-chest", who="ann", span=HOUR))
    day.report(MINUTE, [-9.0] * 59)
    assert day.told() == []
    day.report(MINUTE, [-9.0] * 5)

    assert [t for t in day.told() if "too warm" in t] == ["Shed chest is too warm, −9.0 °C"]
    assert not any(alarm.hidden for alarm in day.watch.alarms.all.values())


def test_shelving_survives_a_restart_and_a_power_cut() -> None:
    """A shelving goes on over a restart and ends at its time; with a clock that cannot be trusted it ends at once."""
    for boot, trusted, still in ((None, True, True), ("boot-b", True, True), ("boot-b", False, False)):
        day = Player(family(), now=at(9))
        day.report(MINUTE, [-18.0] * 30)
        day.give(Order("at the freezer", subject="shed-chest", who="ann", span=HOUR))
        day.restart(5 * MINUTE, boot, trusted=trusted)
        assert any(a.hidden for a in day.watch.alarms.all.values()) is still
        day.report(MINUTE, [-18.0] * 60)
        assert not any(a.hidden for a in day.watch.alarms.all.values())


def test_unknown_freezer_or_span_is_refused_and_changes_nothing() -> None:
    """An order about a freezer that is not there, or for longer than 12 h, is refused with what is allowed."""
    day = Player(family(), now=at(9))
    for order, words in (
        (Order("at the freezer", subject="attic"), "shed-chest"),
        (Order("at the freezer", subject="shed-chest", span=13 * HOUR), "12 h"),
        (Order("food checked", subject="shed-chest"), "decided"),
        (Order("food checked", subject="shed-chest", why="kept all"), "nothing that waits"),
        (Order("dance"), "at the freezer"),
    ):
        before = len(day.events)
        day.give(order)
        assert day.answer is not None
        assert not day.answer.done
        assert words in day.answer.text
        assert len(day.events) == before


def test_thaw_ends_with_food_checked() -> None:
    """A freezer that was above 0 °C stays in the list when it is cold again, until somebody says what was decided."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-6.0 + n / 10 for n in range(70)])
    day.report(MINUTE, [-18.0] * 60)
    alarm = day.watch.alarms.all["shed-chest", "highhigh"]
    assert alarm.latched
    day.give(Order("food checked", subject="shed-chest", who="ann", why="threw out the fish"))

    assert not alarm.listed
    reset = [e for e in day.events if e.what is What.RESET]
    assert [(e.who, e.why) for e in reset] == [("ann", "threw out the fish")]


def test_short_highhigh_ends_by_itself() -> None:
    """Under two hours and never above 0 °C, HighHigh ends by itself, with its peak and how long it lasted."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-5.0] * 60)
    day.report(MINUTE, [-18.0] * 60)

    assert not day.watch.alarms.all["shed-chest", "highhigh"].latched
    over = next(e for e in day.events if e.kind == "highhigh" and e.what is What.OVER)
    assert over.facts["peak"] == -5.0


def test_value_swinging_at_the_limit_never_floods() -> None:
    """A probe that swings around the limit for a day tells at most a handful of messages, and says why they stop."""
    day = Player(family(), now=at(8))
    day.report(MINUTE, [-18.0] * 60)
    for _ in range(16):
        day.report(MINUTE, [-11.0] * 50)
        day.report(MINUTE, [-14.0] * 15)

    told = [n for n in day.notices if n.person == "ann"]
    assert 1 <= len(told) <= 12


def test_nine_hours_dark_over_a_power_cut_is_one_message() -> None:
    """After a power cut of nine hours one message says how long, why, and what each freezer did."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.2] * 120)
    day.restart(9 * HOUR, "boot-b")
    day.report(MINUTE, [-13.5] * 12)

    dark = [n for n in day.notices if n.kind == "dark"]
    assert sorted(n.person for n in dark) == ["ann", "ben", "cleo"]
    body = dark[0].body
    assert "9 h" in body
    assert "power" in body
    assert "−18.2 °C" in body
    assert "−13.5 °C" in body
    assert len({n.event for n in day.notices}) == 1


def test_stopping_by_hand_is_not_called_a_power_cut() -> None:
    """A gateway that was stopped by order for two hours says so."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.2] * 60)
    day.watch.leaving = True
    day.restart(2 * HOUR)
    day.report(MINUTE, [-17.5] * 12)

    assert {n.kind for n in day.notices} == {"dark"}  # nobody looked, so nothing is called unwatched
    body = day.notices[0].body
    assert "power failed" not in body
    assert "stopped" in body


def test_two_neighbours_one_dies() -> None:
    """Two gateways that beat for each other: when one dies the other tells its people, and when it is back."""
    neighbour = Neighbour("mill-house", "Mill House", 30 * MINUTE)
    day = Player(family(neighbours={"mill-house": neighbour}), now=at(9))
    for _ in range(12):
        day.give(Beat("mill-house"))
        day.report(MINUTE, [-18.0] * 5)
    day.report(MINUTE, [-18.0] * 40)
    assert [t for t in day.told() if "Mill House" in t]
    day.give(Beat("mill-house"))

    turns = [e.what for e in day.events if e.kind == "neighbour-silent"]
    assert turns == [What.RAISED, What.OVER]


def test_broker_says_that_the_neighbour_is_gone() -> None:
    """The last will of a neighbour's gateway counts after ten minutes, a restart does not."""
    neighbour = Neighbour("mill-house", "Mill House", 3 * HOUR)
    day = Player(family(neighbours={"mill-house": neighbour}), now=at(9))
    day.give(Beat("mill-house"))
    day.give(Beat("mill-house", up=False))
    day.report(MINUTE, [-18.0] * 5)
    day.give(Beat("mill-house"))
    day.report(MINUTE, [-18.0] * 30)
    assert day.turns("neighbour-silent") == []
    day.give(Beat("mill-house", up=False))
    day.report(MINUTE, [-18.0] * 12)
    assert day.turns("neighbour-silent") == ["mill-house raised"]


def test_lid_contact_is_told_after_five_minutes() -> None:
    """A contact at the lid that stays open for five minutes is told; shut again, that is told to the same person."""
    lid = Sensor("shed-lid", "Shed lid", BROKER, "lid", PayloadRule(PayloadForm.NUMBER, measures=Quantity.LID))
    home = family()
    freezer = replace(home.freezers["shed-chest"], others=("shed-lid",))
    home = replace(home, freezers={"shed-chest": freezer}, sensors=home.sensors | {"shed-lid": lid})
    day = Player(home, now=at(9))
    day.report(MINUTE, [-18.0] * 10)
    day.give(Heard(BROKER, "shed-lid", b"open", day.now))
    day.report(MINUTE, [-17.0] * 8)
    day.give(Heard(BROKER, "shed-lid", b"closed", day.now))
    day.report(MINUTE, [-18.0] * 8)

    assert day.turns("lid-open") == ["shed-chest raised", "shed-chest over"]
    assert {n.person for n in day.notices} == {"ann"}
    assert day.turns("silent") == []  # a contact that says nothing while nothing happens is not silent


def test_mains_out_speaks_for_all_freezers() -> None:
    """When the gateway's own supply fails there is one message, and the freezers' own wait until HighHigh."""
    day = Player(family(3), now=at(9))
    day.report(MINUTE, [-18.0] * 120)
    day.give(Condition("mains", on=True, text="the gateway runs on its battery"))
    day.report(MINUTE, [-18.0 + n / 20 for n in range(180)])
    assert {n.kind for n in day.notices} == {"mains-out"}
    day.report(MINUTE, [-9.0 + n / 20 for n in range(120)])
    assert {n.kind for n in day.notices} == {"mains-out", "highhigh"}


def test_week_of_quiet_sends_one_note() -> None:
    """A quiet week sends the note of the week and nothing else; the monthly test asks, and one tap ends it."""
    telling = Telling()
    day = Player(family(telling=telling), now=at(12, day=30))  # a Monday, the first of the month on Tuesday
    for _ in range(7 * 24):
        day.report(10 * MINUTE, [-18.0, -19.0, -19.5, -18.5, -17.5, -17.8])
        for alarm in list(day.watch.alarms.listed()):
            day.give(Order("acknowledge", alarm.first, who="ann"))

    kinds = [n.kind for n in day.notices if n.person == "ann"]
    assert sorted(kinds) == ["test", "week"]
    note = next(n for n in day.notices if n.kind == "week")
    assert "−19.5 °C" in note.body
    assert "−17.5 °C" in note.body


def test_test_alarm_nags_no_house_that_is_away() -> None:
    """A monthly test that nobody answers is told of once; the next month's unanswered one is not told of again."""
    telling = Telling(note=None)
    only_ann = {"ann": Person("ann", "Ann", ("ann-mail",))}
    day = Player(family(telling=telling, people=only_ann), now=at(12, day=30))
    for _ in range(70 * 24):
        day.report(30 * MINUTE, [-18.0, -19.0])

    about = [n for n in day.notices if n.kind == "test"]
    assert len([n for n in about if n.stage is Stage.NEW]) == 4  # three tests, and once that nobody answered
    assert not [n for n in about if n.stage in (Stage.REPEAT, Stage.OVER)]


@pytest.mark.parametrize("kind", ["chest", "upright"])
def test_month_of_a_busy_household_sends_nothing(kind: str) -> None:
    """Thirty days of cooling cycles, openings, loading and sorting, with an automatic defrost in the upright, are told
    to nobody."""
    rng = random.Random(7)
    built = {"chest": Kind.CHEST, "upright": Kind.UPRIGHT_AUTO_DEFROST}[kind]
    plant = chest(400, 60, (TROUT, VENISON)) if kind == "chest" else upright(250, 40, (BREAD, MILK))
    limits = Limits(highhigh_on_delay=(60 if kind == "upright" else 30) * MINUTE)
    freezer = Freezer("shed-chest", "Shed chest", built, sensors=("shed-chest-air",), limits=limits)
    day = Player(replace(family(), freezers={"shed-chest": freezer}), now=at(0))
    room = Room(Climate(15, 3, 1.0), rng, day.now.wall)
    openings: list[tuple[int, int]] = []
    for minute in range(30 * 24 * 60):
        if minute % (24 * 60) == 0:
            openings = [(rng.randrange(7 * 60, 22 * 60), rng.randint(1, 2)) for _ in range(rng.randint(2, 6))]
            if rng.random() < 0.2:
                openings.append((rng.randrange(9 * 60, 20 * 60), rng.randint(8, 15)))  # sorting
            if rng.random() < 0.15:
                plant.load(BEANS, 2.0, 15.0, 0.6)
        hour = minute % (24 * 60)
        plant.open(1.0 if any(begin <= hour < begin + lasts for begin, lasts in openings) else 0.0)
        for _ in range(4):
            plant.step(room.air(day.now.wall), 15.0)
        day.hear(round(plant.air + rng.gauss(0, 0.1), 1))
        day.go(MINUTE)

    assert day.told() == []


def test_orders_keep_who_when_and_why() -> None:
    """Every change of an alarm is an event with who did it, when and why."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 10)
    day.give(Order("at the freezer", subject="shed-chest", who="ben", why="sorting the trout"))
    day.go(10 * MINUTE)
    day.give(Order("left the freezer", subject="shed-chest", who="ben", why="done"))

    shelved = [e for e in day.events if e.what is What.SHELVED]
    unshelved = [e for e in day.events if e.what is What.UNSHELVED]
    assert len(shelved) == len(unshelved) > 0
    assert {(e.who, e.why) for e in shelved} == {("ben", "sorting the trout")}
    assert {(e.who, e.why) for e in unshelved} == {("ben", "done")}
    assert {e.at.steady - shelved[0].at.steady for e in unshelved} == {10 * MINUTE}


def test_source_that_dies_hides_its_sensors() -> None:
    """When broker or radio die, one message tells of it, and steady unchanging values are never called silent."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 180)  # the same value all the time is life
    assert day.turns("silent") == []
    day.give(SourceNews(BROKER, up=False, reason="it does not answer"))
    day.go(50 * MINUTE)
    day.give(Tick())

    assert [n.kind for n in day.notices if n.person == "ann"] == ["source-down"]


def test_sensors_of_one_freezer_die() -> None:
    """When the sensors of one freezer die, that one is told of as unwatched, the others are not."""
    day = Player(family(2), now=at(9))
    day.report(30 * SECOND, [-18.0] * 60)
    day.report(30 * SECOND, [-18.0] * 300, "cellar-upright")

    assert {(n.subject, n.kind) for n in day.notices if n.stage is Stage.NEW} == {("shed-chest", "unwatched")}


def test_last_word_of_a_contact_is_how_it_is_now() -> None:
    """What a contact said while nobody listened comes late, and still ends what stood: it will not say it again."""
    lid = Sensor("shed-lid", "Shed lid", BROKER, "lid", PayloadRule(PayloadForm.NUMBER, measures=Quantity.LID))
    mains = Sensor("house-mains", "House mains", BROKER, "mains", PayloadRule(measures=Quantity.MAINS))
    home = family()
    freezer = replace(home.freezers["shed-chest"], others=("shed-lid",))
    home = replace(
        home, freezers={"shed-chest": freezer}, sensors=home.sensors | {"shed-lid": lid, "house-mains": mains}
    )
    day = Player(home, now=at(9))
    day.give(Heard(BROKER, "shed-lid", b"open", day.now))
    day.give(Heard(BROKER, "house-mains", b"off", day.now))
    day.report(MINUTE, [-18.0] * 8)
    day.restart(MINUTE)
    day.give(Heard(BROKER, "shed-lid", b"closed", day.now, Arrival.LATE))
    day.give(Heard(BROKER, "house-mains", b"on", day.now, Arrival.RETAINED))
    day.report(MINUTE, [-18.0] * 5)

    assert day.turns("lid-open") == ["shed-chest raised", "shed-chest over"]
    assert day.turns("mains-out") == ["house-mains raised", "house-mains over"]


def test_next_person_is_told_how_it_is_then() -> None:
    """A quarter of an hour later Ben reads the temperature of that moment, and that Ann has not answered."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-11.0 + n / 10 for n in range(66)])
    ann, ben = (next(n for n in day.notices if n.person == who and n.kind == "high") for who in ("ann", "ben"))

    assert ann.title != ben.title
    assert "1 h" in ben.body
    assert "Ann was told" in ben.body


def test_thaw_message_asks_for_the_food() -> None:
    """When a freezer that thawed is cold again, its message says so in the title and names what ends the alarm."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-6.0 + n / 10 for n in range(70)])
    day.report(MINUTE, [-18.0] * 60)
    over = [n for n in day.notices if n.stage is Stage.OVER and n.person == "ann"]

    assert len(over) == 1
    assert "check the food" in over[0].title
    assert "gatewayd checked shed-chest" in over[0].body


def test_no_reminder_of_what_is_nearly_over() -> None:
    """A freezer that is below its limit again, if not yet below the deadband, is not called still too warm."""
    day = Player(family(), now=at(9))
    day.report(MINUTE, [-18.0] * 60)
    day.report(MINUTE, [-11.0 + n / 100 for n in range(100)])
    day.report(MINUTE, [-12.5] * 300)

    reminders = [n for n in day.notices if n.stage is Stage.REPEAT]
    assert all("−12.5" not in n.title for n in reminders)


def test_own_plug_belongs_to_its_freezer() -> None:
    """A sensor in a freezer's plug takes that freezer's own priority, and is quiet while somebody is at it."""
    plug = Sensor("shed-plug", "Shed plug", BROKER, "plug", PayloadRule(measures=Quantity.MAINS))
    home = family()
    freezer = replace(home.freezers["shed-chest"], others=("shed-plug",), alarms={"mains-out": Priority.HIGH})
    home = replace(home, freezers={"shed-chest": freezer}, sensors=home.sensors | {"shed-plug": plug})
    day = Player(home, now=at(9))
    day.report(MINUTE, [-18.0] * 10)
    day.give(Order("at the freezer", subject="shed-chest", who="ann", span=HOUR))
    day.give(Heard(BROKER, "shed-plug", b"off", day.now))
    day.report(MINUTE, [-18.0] * 10)
    assert day.told() == []
    day.give(Order("left the freezer", subject="shed-chest", who="ann"))

    assert [(n.kind, n.priority) for n in day.notices] == [("mains-out", Priority.HIGH)]

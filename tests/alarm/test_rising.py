"""A freezer that no longer cools, seen from its air alone, on simulated cabinets that people live with."""

import random
from dataclasses import replace

import pytest

from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import HIGH, LID_OPEN, RISING
from gatewayd.alarm.rising import HOURS, LEARNT, Rising
from gatewayd.demo.cabinet import chest, upright
from gatewayd.demo.food import BEANS, BREAD, MILK, PLUMS, TROUT, VENISON
from gatewayd.demo.physics import Plant
from gatewayd.demo.probe import Make, Probe, bare
from gatewayd.demo.room import Climate, Room
from gatewayd.model.event import What
from gatewayd.model.house import Freezer, Kind
from gatewayd.model.limits import Limits
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.model.pack import pack, unpack
from gatewayd.model.priority import Priority
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from tests.alarm.scene import Log, at

STEP = 30  # s
DAY_MINUTES = DAY // MINUTE


def plain(litres: float, kilograms: float) -> Plant:
    """Build an upright without automatic defrost: its evaporator is its shelves."""
    plant = upright(litres, kilograms, (BREAD, MILK))
    plant.build = replace(plant.build, defrost=None, cut_in=-16.5, cut_out=-21.5, air_liner=12.0)
    return plant


CABINETS = {
    "half full chest": (lambda: chest(400, 60, (TROUT, VENISON)), Kind.CHEST),
    "small chest": (lambda: chest(200, 20, (BEANS, BEANS)), Kind.CHEST),
    "smallest chest": (lambda: chest(100, 8, (PLUMS, BEANS)), Kind.CHEST),
    "automatic upright": (lambda: upright(250, 30, (BREAD, MILK)), Kind.UPRIGHT_AUTO_DEFROST),
    "plain upright": (lambda: plain(250, 30), Kind.UPRIGHT),
}


class Home:
    """Hold a simulated freezer in a room, its probe heard once a minute, and the judge of it."""

    def __init__(self, name: str, seed: int = 1, lag: float = 180.0, limits: Limits | None = None) -> None:
        """Begin at midnight UTC with the freezer near its rhythm."""
        build, kind = CABINETS[name]
        self.plant, self.rng, self.log = build(), random.Random(seed), Log()
        freezer = Freezer("shed-chest", "Shed chest", kind, sensors=("shed-chest-air",), limits=limits or Limits())
        self.judge = Judge(freezer, at(0).steady)
        self.room = Room(Climate(16.0, 4.0, 1.0), self.rng, at(0).wall)
        self.probe = Probe(Make(MINUTE, lag, bare), self.rng, self.plant.air, at(0).wall)
        self.minute = 0

    def live(self, minutes: int) -> None:
        """Let some minutes pass."""
        for _ in range(minutes):
            now = at(self.minute * MINUTE)
            for _ in range(60 // STEP):
                self.plant.step(self.room.air(now.wall), STEP)
                self.probe.follow(self.plant.air, STEP)
            said = self.probe.report()
            if said is not None:
                self.judge.take(good(float(said), self.minute), 5 * MINUTE, self.log.alarms)
            self.minute += 1

    def live_with_people(self, days: int, loads: float) -> None:
        """Let some days pass with looks under the lid, sorting, and now and then `loads` kg of food at 15 °C."""
        for _ in range(days):
            opened = [(self.rng.randrange(420, 1320), self.rng.randint(1, 2)) for _ in range(self.rng.randint(2, 6))]
            if self.rng.random() < 0.2:
                opened.append((self.rng.randrange(540, 1200), self.rng.randint(8, 15)))
            loading = self.rng.randrange(540, 1200) if self.rng.random() < 0.15 else -1
            opened.append((loading, 4))
            for minute in range(DAY_MINUTES):
                if minute == loading:
                    self.plant.load(BEANS, loads, 15.0, 0.3 * loads)
                self.plant.open(1.0 if any(begin <= minute < begin + lasts for begin, lasts in opened) else 0.0)
                self.live(1)

    def first(self, kind: str, since: int) -> int:
        """Return how long after the minute `since` a kind was first raised, in minutes."""
        raised = [e for e in self.log.events if e.kind == kind and e.what is What.RAISED]
        return round((raised[0].at.steady - at(0).steady) / MINUTE) - since


def good(value: float, minute: int) -> Reading:
    """Return a good live reading."""
    now = at(minute * MINUTE)
    return Reading(
        "shed-chest-air", Quantity.TEMPERATURE, value, now, now.wall, now.wall, Arrival.LIVE, Quality.GOOD, 0.0
    )


@pytest.mark.parametrize("name", CABINETS)
@pytest.mark.parametrize("lag", [120.0, 15 * 60.0])
def test_pulled_plug_is_told_long_before_the_limit(name: str, lag: float) -> None:
    """In each kind of cabinet a pulled plug is told once, within 150 min, and at least half an hour before High; with a
    quick probe and with one in a thick case."""
    home = Home(name, seed=3, lag=lag)
    home.live(36 * 60)
    assert home.log.events == []
    pulled = home.minute
    home.plant.plugged = False
    home.live(10 * 60)

    assert home.log.turns(RISING.name) == ["raised"]
    told, high = home.first(RISING.name, pulled), home.first(HIGH.name, pulled)
    assert 20 <= told <= 150
    assert high - told >= 30
    facts = home.log.told(RISING.name)
    assert isinstance(facts["speed"], float)
    assert facts["speed"] > 0
    assert facts["limit"] == home.judge.freezer.limits.high
    assert isinstance(facts["since"], int)
    assert abs(facts["since"] - at(pulled * MINUTE).wall) <= 60 * MINUTE  # a rest had begun, or began with the plug


@pytest.mark.parametrize(("name", "loads"), [("half full chest", 2.0), ("smallest chest", 1.0), ("plain upright", 2.0)])
def test_month_of_a_busy_household_is_told_to_nobody(name: str, loads: float) -> None:
    """Thirty days of looks, sorting and loading raise nothing above low priority."""
    home = Home(name, seed=11)
    home.live_with_people(30, loads)

    assert [e.kind for e in home.log.events if e.priority > Priority.LOW] == []


@pytest.mark.parametrize("lag", [120.0, 15 * 60.0])
def test_automatic_defrost_is_no_fault(lag: float) -> None:
    """Ten days of defrosts, from the first one on, are neither a rising freezer nor an open door."""
    home = Home("automatic upright", lag=lag)
    home.live(10 * DAY_MINUTES)

    assert home.log.events == []
    assert max(rest.top for rest in home.judge.signs.rising.rests) > -16.0  # there were defrosts to be seen


def test_rising_can_be_switched_off() -> None:
    """With `rising_within` 0 nothing is told, and nothing is sure, so that no mains is inferred from it."""
    home = Home("small chest", limits=Limits(rising_within=0))
    home.live(36 * 60)
    home.plant.plugged = False
    home.live(150)

    home.judge.signs.rising.surely = at(0)  # as if switched off just before it was told
    home.live(4)

    assert home.log.turns(RISING.name) == []
    assert not home.judge.signs.sure
    assert home.judge.signs.turned is not None


def test_sure_is_said_before_it_is_told() -> None:
    """It is sure 20 min before it is told, and `turned` says since when it has not cooled; while it cools, nothing."""
    home = Home("small chest")
    home.live(36 * 60)
    home.plant.plugged = False
    sure = None
    while not home.log.events:
        home.live(1)
        if sure is None and home.judge.signs.sure:
            sure = home.minute
    assert sure is not None
    assert 20 <= home.minute - sure <= 23
    home.plant.plugged = True
    back = home.minute
    while len(home.log.events) < 2:
        home.live(1)

    assert home.minute - back <= 60
    assert home.judge.signs.turned is None
    assert not home.judge.signs.sure
    assert home.log.turns(RISING.name) == ["raised", "over"]


def test_rising_ends_after_a_restart_that_saw_no_turn() -> None:
    """Told, then dark, then calm and cold without a cycle to be seen: it is over within an hour and a bit."""
    log = Log()
    judge = Judge(Freezer("shed-chest", "Shed chest", sensors=("shed-chest-air",)), at(0).steady)
    log.alarms.raise_(log.alarms.get("shed-chest", RISING), at(0), at(0), {})
    judge.dark(at(0))
    for minute in range(90):
        judge.take(good(-18.0 + minute % 2 / 10, minute), 5 * MINUTE, log.alarms)

    assert log.turns(RISING.name) == ["raised", "over"]


def test_thaw_that_stands_still_after_a_restart_is_not_over() -> None:
    """Told, then dark, then a day at the melting plateau: that is no cooling."""
    log = Log()
    judge = Judge(Freezer("shed-chest", "Shed chest", sensors=("shed-chest-air",)), at(0).steady)
    log.alarms.raise_(log.alarms.get("shed-chest", RISING), at(0), at(0), {})
    judge.dark(at(0))
    for minute in range(DAY_MINUTES):
        judge.take(good(-0.5 + minute % 2 / 10, minute), 5 * MINUTE, log.alarms)

    assert log.turns(RISING.name) == ["raised"]


def steady(rising: Rising, hours: int, seed: int = 1) -> int:
    """Follow a freezer without cycles, which a room swings by 0.3 K a day; return the ms that passed."""
    rng = random.Random(seed)
    for n in range(hours * 30):
        swing = 0.3 * ((n // 30) % 24) / 24
        rising.follow(round(-18.0 + swing + rng.gauss(0.0, 0.1), 1), at(n * 2 * MINUTE))
    return hours * HOUR


def test_freezer_without_cycles_is_judged_by_its_day() -> None:
    """With a regulated compressor there are no rests to learn; a slow warming of 1.2 K an hour is told all the same,
    hours before High, and none is in the first day."""
    for hours, told in ((HOURS + 1, True), (12, False)):
        rising, raised = Rising(), None
        begun = steady(rising, hours)
        assert rising.habit() is None
        for n in range(5 * 30):
            value = round(-17.7 + n * 2 / 60 * 1.2, 1)
            now = at(begun + n * 2 * MINUTE)
            rising.follow(value, now)
            if raised is None and rising.judge(value, now, 1.2, 6 * HOUR, -12.0):
                raised = n * 2
        assert (raised is not None) is told
        assert raised is None or raised <= 4 * 60


def test_slow_warming_that_takes_long_to_high_is_left_to_later() -> None:
    """What would reach High in more than `rising_within` is not told yet."""
    rising = Rising()
    begun = steady(rising, HOURS + 1)
    for n in range(4 * 30):
        value, now = round(-17.7 + n * 2 / 60 * 0.5, 1), at(begun + n * 2 * MINUTE)
        rising.follow(value, now)
        assert not rising.judge(value, now, 0.5, 6 * HOUR, -12.0)


def cycles(rising: Rising, count: int, begun: int = 0) -> int:
    """Follow cycles of 40 min up and 20 min down by 4 K; return the ms that have passed."""
    for n in range(count * 30):
        phase = n * 2 % 60
        rising.follow(-20.0 + (phase / 10 if phase < 40 else (60 - phase) / 5), at(begun + n * 2 * MINUTE))
    return begun + count * HOUR


@pytest.mark.parametrize(("defrosts", "habit"), [(True, 90 * MINUTE), (False, 40 * MINUTE)])
def test_fault_is_no_habit_but_a_defrost_is(defrosts: bool, habit: int) -> None:
    """A warming that was told teaches no rest and no top, except where it may have been an automatic defrost."""
    rising = Rising(defrosts=defrosts)
    begun = cycles(rising, HOURS + 2)
    rising.follow(-20.0, at(begun))
    rising.told = True
    for minute in range(2, 92, 2):
        rising.follow(-20.0 + minute / 10, at(begun + minute * MINUTE))
    for minute in range(92, 112, 2):
        rising.follow(-18.0, at(begun + minute * MINUTE))

    assert rising.habit() == habit
    assert max(rising.tops) <= -16.0


def judged(rising: Rising, begun: int, values: list[float], speed: float) -> int | None:
    """Follow values two minutes apart; return the minute in which it is told, if it is."""
    for n, value in enumerate(values):
        now = at(begun + n * 2 * MINUTE)
        rising.follow(value, now)
        if rising.judge(value, now, speed, 6 * HOUR, -12.0):
            return n * 2
    return None


def test_only_what_is_overdue_above_its_top_and_goes_on_is_told() -> None:
    """Told: a climb past the usual top. Not told: a long rest below the top, and a jump that then stands still."""
    for values, told in (
        ([-20.0 + n * 0.1 for n in range(75)], True),
        ([-20.0 + n * 0.04 for n in range(75)], False),
        ([-20.0] + [-14.0] * 74, False),
    ):
        rising = Rising()
        begun = cycles(rising, 20)
        assert (judged(rising, begun, values, 1.5) is not None) is told


def test_freezer_without_habit_is_given_longer() -> None:
    """Where no cycle was ever seen even a quick warming must last an hour and a half: a load turns down sooner. It has
    not cooled since it left the range of its day, however long ago noise made its last low."""
    rising = Rising()
    begun = steady(rising, HOURS + 1)
    told = judged(rising, begun, [-17.7 + n * 0.07 for n in range(90)], 2.0)
    assert told is not None
    assert 90 <= told <= 120
    assert rising.since is not None
    assert 0 <= rising.since.steady - at(begun).steady <= 20 * MINUTE


def test_fall_after_the_dark_ends_it_soon() -> None:
    """Told, then dark over a power cut, then falling without ever having turned in sight: over within 20 min."""
    log = Log()
    judge = Judge(Freezer("shed-chest", "Shed chest", sensors=("shed-chest-air",)), at(0).steady)
    log.alarms.raise_(log.alarms.get("shed-chest", RISING), at(0), at(0), {})
    judge.dark(at(0))
    for minute in range(20):
        judge.take(good(-12.0 - minute / 10, minute), 5 * MINUTE, log.alarms)
    assert log.turns(RISING.name) == ["raised", "over"]


def test_habit_needs_some_rests() -> None:
    """Before there are enough rests there is no habit, and no top."""
    rising = Rising()
    begun = cycles(rising, LEARNT - 1)
    assert (rising.habit(), rising.top()) == (None, None)
    cycles(rising, 2, begun)
    assert rising.habit() == 40 * MINUTE


def test_gap_teaches_no_rest() -> None:
    """Two hours without a reading between two low points are not a rest of two hours; a few minutes are nothing."""
    rising = Rising()
    begun = cycles(rising, 20)
    rising.follow(-20.0, at(begun))
    rising.follow(-19.0, at(begun + 4 * MINUTE))
    rising.follow(-18.0, at(begun + 2 * HOUR))
    rising.follow(-20.0, at(begun + 2 * HOUR + 2 * MINUTE))
    assert rising.habit() == 40 * MINUTE


def test_habit_outlives_the_boot() -> None:
    """Steady times of another boot are forgotten, the learnt rests and tops are not."""
    rising = Rising()
    cycles(rising, 20)
    habit, top, tops = rising.habit(), rising.top(), list(rising.tops)
    rising.dark()
    rising.follow(-18.0, at(0, "another"))

    assert (rising.habit(), rising.top(), list(rising.tops)) == (habit, top, tops)
    assert rising.turned is None


@pytest.mark.parametrize("name", ["half full chest", "plain upright"])
def test_lid_left_open_is_inferred(name: str) -> None:
    """A lid that stands half open is called probably open within 45 min, and ends some time after it is shut."""
    home = Home(name)
    home.live(36 * 60)
    home.plant.open(0.5)
    opened = home.minute
    home.live(90)
    assert 25 <= home.first(LID_OPEN.name, opened) <= 45
    assert home.log.told(LID_OPEN.name)["inferred"] is True
    home.plant.open(0.0)
    home.live(8 * 60)

    assert home.log.turns(LID_OPEN.name)[-1] == "over"


def test_lid_contact_knows_better() -> None:
    """With a contact at the lid, or with the alarm of open lids switched off, nothing is inferred."""
    for contact, lid_open in ((True, 5 * MINUTE), (False, 0)):
        home = Home("half full chest", limits=Limits(lid_open=lid_open))
        home.judge.contact = contact
        home.live(36 * 60)
        home.plant.open(0.5)
        home.live(90)
        assert home.log.turns(LID_OPEN.name) == []


def test_door_a_finger_ajar_is_not_called_open() -> None:
    """What lifts the air by less than 4 K above its usual top is not called an open lid."""
    home = Home("plain upright")
    home.live(36 * 60)
    home.plant.open(0.08)
    home.live(90)
    top = home.judge.signs.rising.top()
    assert top is not None
    assert home.judge.value is not None
    assert home.judge.value > top + 1.5
    assert home.log.turns(LID_OPEN.name) == []


def test_pulled_plug_is_no_open_lid() -> None:
    """A stopped compressor warms the air too slowly to be taken for a lid."""
    home = Home("smallest chest")
    home.live(36 * 60)
    home.plant.plugged = False
    home.live(6 * 60)
    assert home.log.turns(LID_OPEN.name) == []


def test_snapshot_keeps_its_bounds() -> None:
    """What comes back from a snapshot forgets the oldest rests and hours as before, or a habit would only grow."""
    rising = unpack(Rising, pack(Rising()))
    cycles(rising, 100)

    assert len(rising.rests) == 60
    assert len(rising.tops) == HOURS

"""The use-first list: the right order, the reason in words, and nothing hidden that was taken for granted."""

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatewayd.food.exposure import SLOT, Probe, course, step, table
from gatewayd.food.first import HONEST, QUALITY, Kept, Stay, chosen, first
from gatewayd.food.life import pace_of
from gatewayd.food.table import FOODS, find
from gatewayd.model.contents import Group
from gatewayd.model.moment import DAY, HOUR, to_wall
from gatewayd.model.stock import Package

LONDON = ZoneInfo("Europe/London")
NOW = to_wall(datetime(2026, 11, 25, 10, tzinfo=LONDON))
NOON = to_wall(datetime(2026, 7, 1, 12, tzinfo=LONDON))
MONTH = 365.25 / 12  # days
WARM = [(datetime(2026, 8, 3, tzinfo=LONDON), 3 * HOUR), (datetime(2026, 8, 20, tzinfo=LONDON), 2 * HOUR)]


def watched(since=NOW - 400 * DAY, celsius=-18.0, spells=(), gaps=(), now=NOW):
    """Return the course of a freezer that was heard at `celsius` from `since` on, at -9 °C in its warm spells."""
    heard = []
    for slot in range(since // SLOT, now // SLOT + 1):
        at = slot * SLOT
        if any(begin <= at < begin + length for begin, length in gaps):
            continue
        warm = any(to_wall(begin) <= at < to_wall(begin) + length for begin, length in spells)
        heard.append((slot, -9000 if warm else round(celsius * 1000)))
    return course([Probe(heard)], now)


FLAT = watched()


def kept(food="trout", frozen=None, number=1, freezer="shed-chest", since=None, **other):
    """Return a package in the shed chest."""
    refrozen, about, fresh = (other.pop(word, False) for word in ("refrozen", "about", "fresh"))
    stays = other.pop("stays", (Stay(freezer, since),))
    return Kept(
        Package(number, "fish", food, frozen=frozen, about=about, since=since), stays, "Fish box", refrozen, fresh
    )


def listed(*those, now=NOW, **courses):
    """Return the list, with the shed chest's course unless another is given."""
    return first(those, {"shed-chest": courses.pop("shed", FLAT), **courses}, now, LONDON)


def test_share():
    """A package at -18 °C throughout has used its age, of the shorter of the published months."""
    (use,) = listed(kept("trout", NOW - round(MONTH * DAY)))
    assert use.used == pytest.approx(0.5)  # 1 of 2 to 3 months
    assert use.months == pytest.approx(1)
    assert use.reason == "trout, 1 of 2 to 3 months' keeping used: frozen October 2026"
    assert use.doubts == ()


def test_reason():
    """The reason says what warmed it and when, and that the date is a guess."""
    (use,) = listed(kept("venison", NOON, about=True), shed=watched(spells=WARM))
    assert use.reason.startswith("venison, 4.8 of 4 to 12 months' keeping used: past its best")
    assert use.reason.endswith("frozen about July 2026, warmed twice in August")


def test_reason_years():
    """Many spells are told by the months with the most, other years by name."""
    days = [(2025, 12, 1), (2025, 12, 5), (2025, 12, 9), (2026, 3, 1), (2026, 3, 8), (2026, 5, 1)]
    spells = [(datetime(*day, tzinfo=LONDON), 2 * HOUR) for day in days]
    (use,) = listed(kept("plums", NOW - 380 * DAY), shed=watched(spells=spells))
    assert use.reason.endswith("warmed 3 times in December 2025 and twice in March, and once more")
    assert "well past its best" in use.reason


def test_warm_freezer():
    """A freezer that is too warm all the time is named as the reason."""
    (use,) = listed(kept("beans", NOW - 100 * DAY), shed=watched(celsius=-15.0))
    assert use.reason.endswith("kept as warm as −15 °C on the whole")
    (cold,) = listed(kept("beans", NOW - 100 * DAY), shed=watched(celsius=-21.0))
    assert "as warm as" not in cold.reason
    assert cold.used < 100 / (8 * MONTH)


def test_warm_first_week():
    """A warm first week of a sensor is not taken for all the time before it, and no temperature is made up of it."""
    begin = NOW - 40 * DAY
    heard = [(at // SLOT, -8000 if at < begin + 7 * DAY else -19_000) for at in range(begin, NOW, SLOT)]
    (use,) = listed(kept("venison", NOW - 300 * DAY), shed=course([Probe(heard)], NOW))
    rate = table(pace_of(find("venison")).rate)[step(-8000)]
    assert 300 / (4 * MONTH) < use.used < (293 + 7 * rate) / (4 * MONTH)
    assert use.reason.endswith("frozen January 2026, warmed once in October")
    assert use.doubts[0].startswith("260 days without a sensor: how warm it was is not known")


def test_came_later():
    """What came after a warm spell is not charged with it."""
    heard = [(at // SLOT, 4000 if at < NOW - 35 * DAY else -18_000) for at in range(NOW - 40 * DAY, NOW, SLOT)]
    (use,) = listed(kept("venison", NOW - 60 * DAY, since=NOW - 20 * DAY), shed=course([Probe(heard)], NOW))
    assert use.used == pytest.approx(60 / (4 * MONTH))
    assert "warmed" not in use.reason


def test_far_beyond():
    """What is far beyond its keeping is called so, without a figure that nobody can believe."""
    (use,) = listed(kept("beans", NOW - 380 * DAY), shed=watched(celsius=-6.0))
    assert use.reason.startswith("beans, far beyond its keeping of 8 months: frozen November 2025")
    assert use.used > 3
    (old,) = listed(kept("orange juice", NOW - 200 * DAY))
    assert old.reason == "orange juice, far beyond its keeping of 2 to 3 weeks: frozen May 2026"


def test_warm_while_heard():
    """How warm it was is said only of the time that was heard."""
    shed = watched(since=NOW - 50 * DAY, celsius=-14.0, gaps=[(NOW - 20 * DAY, 5 * DAY)])
    (use,) = listed(kept("beans", NOW - 100 * DAY), shed=shed)
    assert use.reason.endswith("kept as warm as −14 °C in the 45 days that are known")


def test_weeks():
    """What keeps for weeks is counted in weeks."""
    (use,) = listed(kept("orange juice", NOW - 7 * DAY))
    assert use.reason.startswith("orange juice, 1.0 of 2 to 3 weeks' keeping used")


def test_order():
    """What was frozen again leads, then the share used counts, and what nobody knows the age of is just over."""
    uses = listed(
        kept("plums", NOW - 30 * DAY, 1),
        kept("trout", NOW - 50 * DAY, 2),
        kept("trout", NOW - 90 * DAY, 3),
        kept("venison", None, 4),
        kept("bread", NOW - 2 * DAY, 5, refrozen=True),
    )
    assert [use.kept.package.id for use in uses] == [5, 3, 4, 2, 1]
    assert uses[0].reason.endswith("frozen again after a warm spell: use it first")
    assert uses[2].used is None
    assert "nobody wrote when it was frozen" in uses[2].reason


def test_unknown_food():
    """A food that nobody can name is listed by its own name, and what was assumed is said."""
    (use,) = listed(kept("aunt's surprise", NOW - 30 * DAY))
    assert use.reason.startswith("aunt's surprise, 1 of 2 months' keeping used")
    assert use.doubts == ("not in the food table: counted as if it kept 2 months",)
    (salad,) = listed(kept("lettuce", NOW - 30 * DAY))
    assert "would not freeze it" in salad.doubts[0]


def test_unknown_date():
    """Without a date nothing is reckoned on, until what is known of it is over its time already."""
    (use,) = listed(kept("trout", None, since=NOW - round(MONTH * DAY)))
    assert use.used is None
    assert use.months is None
    assert "nobody wrote when it was frozen" in use.reason
    assert use.reason.endswith("(on the list since October 2026)")
    (old,) = listed(kept("trout", None, since=NOW - 100 * DAY))
    assert old.used == pytest.approx(100 / (2 * MONTH))
    assert old.reason.endswith("keeping used: well past its best")
    assert "counted from when it came onto the list" in old.doubts[0]


def test_fresh():
    """What came in fresh was frozen then."""
    (use,) = listed(kept("trout", None, since=NOW - round(MONTH * DAY), fresh=True))
    assert use.used == pytest.approx(0.5)
    assert use.reason.endswith("frozen October 2026")


def test_future():
    """A date in the future uses nothing and is called in question."""
    (use,) = listed(kept("trout", NOW + 40 * DAY))
    assert use.used == 0
    assert "lies in the future" in use.doubts[0]


def test_gap():
    """A long silence is said, and counts as the warmer end."""
    silent = watched(celsius=-16.0, gaps=[(NOW - 20 * DAY, 3 * DAY)])
    (use,) = listed(kept("trout", NOW - 30 * DAY), shed=silent)
    assert "not heard for 3 days: counted as warm as the warmest reading at either end" in use.doubts
    (short,) = listed(kept("trout", NOW - 30 * DAY), shed=watched(gaps=[(NOW - 20 * DAY, 6 * HOUR)]))
    assert short.doubts == ()


def test_unwatched():
    """Time without a sensor counts as 0 °F at least, and is said."""
    (use,) = listed(kept("trout", NOW - 30 * DAY), shed=watched(since=NOW - 10 * DAY))
    assert use.doubts[0].startswith("20 days without a sensor: how warm it was is not known; counted as 0 °F (−18 °C)")
    (none,) = first([kept("trout", NOW - round(MONTH * DAY), freezer="porch-chest")], {}, NOW, LONDON)
    assert none.used == pytest.approx(0.5)
    assert none.doubts[0].startswith("30 days without a sensor")


def test_elsewhere():
    """Before it came into its freezer it counts as no colder than 0 °F, and that is said."""
    (use,) = listed(kept("trout", NOW - 60 * DAY, since=NOW - 10 * DAY), shed=watched(celsius=-24.0))
    assert use.used == pytest.approx(60 / (2 * MONTH))
    assert "50 days before it came here" in use.doubts[0]


def test_stays():
    """A package that was moved carries along what it went through in the freezer before."""
    stays = (Stay("porch-chest", NOW - 30 * DAY), Stay("shed-chest", NOW - 10 * DAY))
    moved = kept("trout", NOW - 30 * DAY, since=NOW - 10 * DAY, stays=stays)
    porch = watched(celsius=-12.0)
    (use,) = listed(moved, **{"porch-chest": porch})
    assert use.used == pytest.approx((20 * 5 / 3 + 10) / (2 * MONTH), rel=1e-3)  # fatty fish: 5 months at -18, 3 at -12
    assert use.kept.stays[-1].freezer == "shed-chest"
    assert "as warm as" in use.reason


def test_thawed():
    """Hours above -5 °C count as thawed: bread minds less than fish."""
    begin = NOW - 5 * DAY
    heard = [(slot, 2000 if slot * SLOT - begin < 12 * HOUR else -18_000) for slot in range(begin // SLOT, NOW // SLOT)]
    shed = course([Probe(heard)], NOW)
    (fish,) = listed(kept("trout", begin), shed=shed)
    (bread,) = listed(kept("bread", begin), shed=shed)
    (nuts,) = listed(kept("walnuts", begin), shed=shed)
    assert fish.used > 0.5 > bread.used > 0.5 / 3 > nuts.used


def test_chosen():
    """One freezer or one kind of food is picked by where it lies now and what it is."""
    trout, plums, what = kept("trout", number=1), kept("plums", number=2), kept("thing", number=3)
    porch = kept("plums", number=4, stays=(Stay("shed-chest", 1), Stay("porch-chest", 2)))
    every = [trout, plums, what, porch]
    assert chosen(every) == every
    assert chosen(every, "shed-chest") == [trout, plums, what]
    assert chosen(every, group=Group.PRODUCE) == [plums, porch]
    assert chosen(every, "porch-chest", Group.MEAT) == []


def test_honest():
    """It is said that this is quality and not safety, and how sure the figures are."""
    assert "quality, not safety" in QUALITY
    assert "stays safe" in QUALITY
    assert "from memory" in HONEST


SPELLED = watched(spells=WARM)


@given(st.sampled_from(FOODS), st.integers(-10, 500), st.lists(st.integers(0, 100 * DAY), min_size=2, max_size=2))
def test_never_shrinks(food, age, later):
    """What a package has used never shrinks as time passes."""
    one = kept(food.name, NOON - age * DAY)
    less, more = (first([one], {"shed-chest": SPELLED}, NOON + wait, LONDON)[0] for wait in sorted(later))
    assert less.used <= more.used + 1e-9


FALLING = [-10_000 - 12_000 * (slot - FLAT.begin) // len(FLAT.steps) for slot in range(FLAT.begin, NOW // SLOT + 1)]


@settings(max_examples=20)  # a year of quarters each
@given(st.sampled_from(FOODS), st.integers(1, 390), st.integers(0, 390), st.integers(1, 200))
def test_gap_never_better(food, age, ago, hours):
    """Silence while a freezer grew colder never makes a package look better than having heard it all."""
    one, gap = kept(food.name, NOW - age * DAY), (NOW - ago * DAY, hours * HOUR)
    whole = list(enumerate(FALLING, FLAT.begin))
    heard = [(slot, value) for slot, value in whole if not gap[0] <= slot * SLOT < sum(gap)]
    (less,), (more,) = (listed(one, shed=course([Probe(those)], NOW)) for those in (whole, heard))
    assert more.used >= less.used - 1e-9

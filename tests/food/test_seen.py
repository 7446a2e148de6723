"""What was seen of a warm spell: hours above the levels, gaps, late rows, the food's own peak, the lid."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.food.fate import Finding, Item, fates
from gatewayd.food.seen import limit, look
from gatewayd.food.table import FOODS
from gatewayd.food.verdict import answer_of
from gatewayd.model.contents import Group
from gatewayd.model.excursion import Answer, Ruling
from gatewayd.model.house import Kind
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from gatewayd.model.stock import Box, Package
from gatewayd.thermal.facts import Facts

T0 = 1_795_600_800_000
EVERY = {"air": 5 * MINUTE}
FACTS = Facts(Kind.CHEST, 300.0, {Group.MEAT: 30.0, Group.PRODUCE: 20.0})


def reading(minute, value, sensor="air", to=None, **more):
    """Return a reading so many minutes after T0; `to` makes it a late one of unknown time."""
    at, last = T0 + minute * MINUTE, T0 + (minute if to is None else to) * MINUTE
    arrival = Arrival.LIVE if to is None else Arrival.LATE
    fields = {"quantity": Quantity.TEMPERATURE, "arrival": arrival} | more
    return Reading(sensor, value=value, heard=Moment(last, 0), measured_from=at, measured_to=last, **fields)


def course(*values, every=5, sensor="air", start=0):
    """Return a reading every so many minutes."""
    return [reading(start + n * every, value, sensor) for n, value in enumerate(values)]


def seen(rows, hours, every=EVERY, **more):
    """Look at a spell that lasts so many hours from T0."""
    return look(rows, (T0, T0 + round(hours * HOUR)), every, **more)


def test_hours():
    """Time above a level is sure where both ends of a step are above it, and possible where one is."""
    curve = seen(course(-18, -5, -5, -5, -18), 1 / 3).curve
    assert curve.above["-12"] == pytest.approx(1 / 6)
    assert curve.at_most["-12"] == pytest.approx(1 / 3)
    assert curve.above["0"] == curve.at_most["0"] == curve.gaps == 0
    assert (curve.peak, curve.peak_at) == (-5, T0 + 5 * MINUTE)


def test_at_the_level():
    """40 °F is cold still: a probe at 4.4 °C all the time was never above it, and the cold column holds."""
    curve = seen(course(*[4.4] * 13), 1).curve
    assert curve.above["4.4"] == curve.at_most["4.4"] == 0
    assert answer_of(curve, dark=False) is Answer.COLD
    assert answer_of(seen(course(*[4.4] * 6, 4.5, *[4.4] * 6), 1).curve, dark=False) is Answer.UNKNOWN


def test_one_lost_report_is_no_gap():
    """A sensor that misses one report was heard; one that misses two was not, and the whole silence is a gap."""
    rows = course(*[-18.0] * 13)
    assert seen(rows[:5] + rows[6:], 1).curve.gaps == 0
    short = seen(rows[:5] + rows[7:], 1)
    assert short.curve.gaps == pytest.approx(0.25)
    assert all(short.curve.at_most[level] == pytest.approx(0.25) for level in short.curve.at_most)
    assert set(short.curve.above.values()) == {0}
    assert limit(MINUTE) == 5 * MINUTE
    assert limit(None) == limit(5 * MINUTE) == 12.5 * MINUTE


def test_every_probe_counts():
    """The warmest of two probes is what counts; one of them silent is a gap, for it may be the warmest."""
    both = {"air": 5 * MINUTE, "door": 5 * MINUTE}
    cold, warm = course(*[-18.0] * 13), course(*[-3.0] * 13, sensor="door")
    assert seen(cold + warm, 1, both).curve.above["-6.7"] == pytest.approx(1)
    assert seen(cold, 1, both).curve.gaps == pytest.approx(1)
    assert seen([], 1, {}).curve.gaps == pytest.approx(1)


def test_bad_values_are_not_seen():
    """A value that may not be judged neither warms a spell nor fills a gap."""
    bad = [replace(row, value=85.0, quality=Quality.POWER_ON) for row in course(*[0] * 13)]
    curve = seen(bad, 1).curve
    assert (curve.peak, curve.gaps) == (None, pytest.approx(1))


def test_late_rows():
    """A late row may have been measured anywhere in its span: all of it counts as possibly warm, none as surely."""
    found = seen([*course(*[-18.0] * 25), reading(30, 6.0, to=90)], 2)
    assert found.curve.above["4.4"] == 0
    assert found.curve.at_most["4.4"] == pytest.approx(1)
    assert found.curve.peak == 6.0
    assert answer_of(found.curve, dark=False) is Answer.UNKNOWN
    assert seen([reading(0, -18, to=60)], 1).curve.gaps == pytest.approx(1)  # and it fills no gap


def test_edges():
    """A spell that begins or ends in silence has a gap there; a reading just outside closes it."""
    rows = course(*[-18.0] * 13)
    assert seen(rows, 2).curve.gaps == pytest.approx(1)
    assert seen(rows, 1.1).curve.gaps == 0
    assert seen(course(*[-18.0] * 13, start=30), 1.5).curve.gaps == pytest.approx(0.5)
    assert seen(course(*[-18.0] * 14, start=-3), 1).curve.gaps == 0


def test_core():
    """The food lags far behind the air: four hours at +5 °C leave its warmest layer frozen. A gap hides it."""
    before = [(T0 - n * MINUTE, -18.0) for n in range(360, 0, -5)]
    rows = course(*[5.0] * 49)
    core = seen(rows, 4, before=before, facts=FACTS).curve.core
    assert -16 < core < 0
    assert seen(rows[:5] + rows[25:], 4, before=before, facts=FACTS).curve.core is None
    assert seen(rows, 4).curve.core is None


def test_lid():
    """What a contact at the lid says comes as openings, cut to the spell; one that is open still goes to its end."""
    lid = [
        reading(m, v, "lid", quantity=Quantity.LID) for m, v in ((-9, 1), (5, 0), (20, 1), (21, 1), (22, 0), (50, 1))
    ]
    openings = seen([*course(*[-18.0] * 13), *lid], 1).curve.openings
    assert [((a - T0) / MINUTE, (b - T0) / MINUTE) for a, b in openings] == [(0, 5), (20, 22), (50, 60)]


def test_points_keep_the_peak():
    """The curve for drawing is thinned, and the warmest moment stays."""
    values = [-18.0] * 2000
    values[777] = 3.0
    points = seen(course(*values, every=1), 33).curve.points
    assert len(points) <= 200
    assert max(value for _, value in points) == 3.0


# -- whole way: readings to verdict ------------------------------------------------------------------------------

HARSHER = (Ruling.REFREEZE, Ruling.IF_SOUND, Ruling.NOT_JUDGED, Ruling.DISCARD)
BOX = Box("top", "Top basket", "shed-chest")
airs = st.lists(st.sampled_from((-20.0, -12.0, -11.9, 0.0, 4.4, 4.5, 9.0)), min_size=13, max_size=37)
foods = st.sampled_from([food.name for food in FOODS] + ["something"])
hours = st.none() | st.sampled_from((0.0, 1.0, 2.0, 5.9, 6.0))


@st.composite
def findings(draw):
    """Draw what somebody may have said of the package, at some time of the spell or after it."""
    answer = draw(st.sampled_from((None, *Answer)))
    if answer is None:
        return []
    at = T0 + draw(st.integers(0, 240)) * MINUTE
    warm = draw(hours) if answer is Answer.WARM else None
    return [Finding(None, 1, at, "ann", answer=answer, hours=warm, touched=draw(st.none() | st.booleans()))]


def harsh(rows, food, said, length, *, dark=False):
    """Return how harsh the verdict on a package is after a spell, the whole way from the readings."""
    found = look(rows, (T0, T0 + length), EVERY)
    fate = fates([Item(BOX, Package(1, "top", food))], said, found, dark)[0]
    return HARSHER.index(fate.verdict.ruling)


@given(airs, foods, findings(), st.data())
def test_never_softer_for_warmth(values, food, said, data):
    """A verdict never softens when the same spell is warmer in any part of it."""
    warmer = [value + data.draw(st.sampled_from((0.0, 0.0, 5.0))) for value in values]
    length = (len(values) - 1) * 5 * MINUTE
    assert harsh(course(*warmer), food, said, length) >= harsh(course(*values), food, said, length)


@given(airs, st.sampled_from((4.5, 9.0, -20.0)), st.integers(1, 40), foods, findings())
def test_never_softer_for_length(values, last, more, food, said):
    """A verdict never softens when the same spell goes on."""
    length = (len(values) - 1) * 5 * MINUTE
    longer = [*values, *[last] * more]
    assert harsh(course(*longer), food, said, length + more * 5 * MINUTE) >= harsh(course(*values), food, said, length)


@given(airs, foods, findings(), st.data())
def test_gaps_never_make_food_safer(values, food, said, data):
    """Nothing heard for a part of a spell never makes a verdict softer, and a dark spell does not either."""
    length, count = (len(values) - 1) * 5 * MINUTE, len(values)
    rows = course(*values)
    begin = data.draw(st.integers(0, count - 2))
    end = data.draw(st.integers(begin + 2, count))  # two reports missing: what counts as a gap
    before = harsh(rows, food, said, length)
    assert harsh(rows[:begin] + rows[end:], food, said, length) >= before
    assert harsh(rows, food, said, length, dark=True) >= before


@given(airs, st.sampled_from((-20.0, 4.5, 9.0)), st.integers(0, 60), st.integers(1, 60), foods, findings())
def test_late_rows_never_make_food_safer(values, late, begin, span, food, said):
    """What came late never makes a verdict softer."""
    length = (len(values) - 1) * 5 * MINUTE
    rows = course(*values)
    assert harsh([*rows, reading(begin, late, to=begin + span)], food, said, length) >= harsh(rows, food, said, length)


@given(foods, airs)
def test_air_alone_throws_nothing_out(food, values):
    """Whatever the air was, nothing is thrown out before somebody has looked."""
    assert harsh(course(*values), food, [], (len(values) - 1) * 5 * MINUTE) < HARSHER.index(Ruling.DISCARD)

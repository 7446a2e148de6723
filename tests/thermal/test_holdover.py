"""Reserve and forecast: what must hold whatever the freezer."""

from math import exp, inf, nan

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.model.outlook import LEVELS, Span, Where
from gatewayd.thermal.course import Course
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.fit import Seen
from gatewayd.thermal.holdover import Frame, exponential, forecast, reserve
from gatewayd.thermal.prior import Belief

DAY = 1440
kinds = st.sampled_from(Kind)
volumes = st.floats(80, 600)
fills = st.floats(0.1, 1.0)
rooms = st.floats(2, 35)


def course(room: float | None = None, minutes: int = DAY, level: float = -19.0) -> Course:
    """Return a day of ordinary running."""
    found = Course()
    for minute in range(minutes):
        found.take(minute, level + (1.0 if minute % 60 < 30 else -1.0), room)
    return found


def warmed(hours: float, room: float | None = None) -> Course:
    """Return a day of ordinary running and some hours without cooling."""
    found = course(room)
    for minute in range(int(hours * 60)):
        found.take(DAY + minute, -20.0 + 8 * (1 - exp(-minute / 90)) + minute / 60 * 0.4, room)
    return found


def standing(facts: Facts, seed: int = 1) -> tuple[Span, ...]:
    """Return the reserve of a freezer after an ordinary day."""
    return reserve(Frame(facts, Belief(), course(), None, DAY, seed)).spans


def ends(span: Span) -> tuple[float, float, float]:
    """Return a span's three numbers, infinite where it is not reached."""
    return tuple(inf if value is None else value for value in (span.early, span.likely, span.late))  # type: ignore[return-value]


@settings(max_examples=15, deadline=None)
@given(kinds, volumes, fills, st.floats(1.05, 2.0), st.sampled_from(Group), rooms)
def test_more_food_never_shortens_the_reserve(
    kind: Kind, volume: float, fill: float, more: float, group: Group, room: float
) -> None:
    """The same freezer with more of the same food holds every level at least as long."""
    kg = 0.36 * volume * fill
    less = standing(Facts(kind, volume, {group: kg}, room))
    full = standing(Facts(kind, volume, {group: kg * more}, room))
    for a, b in zip(less, full, strict=True):
        assert all(y >= x - 0.011 for x, y in zip(ends(a), ends(b), strict=True)), (a, b)


@settings(max_examples=15, deadline=None)
@given(kinds, volumes, fills, rooms, st.floats(0.5, 15))
def test_warmer_room_never_lengthens_the_reserve(
    kind: Kind, volume: float, fill: float, room: float, warmer: float
) -> None:
    """The same freezer in a warmer room holds no level for longer."""
    kg = {Group.MEAT: 0.2 * volume * fill, Group.PRODUCE: 0.16 * volume * fill}
    cool = standing(Facts(kind, volume, kg, room))
    hot = standing(Facts(kind, volume, kg, room + warmer))
    for a, b in zip(cool, hot, strict=True):
        assert all(y <= x + 0.011 for x, y in zip(ends(a), ends(b), strict=True)), (a, b)


@settings(max_examples=10, deadline=None)
@given(kinds, volumes, fills, rooms, st.floats(0.2, 30))
def test_early_likely_late_stand_in_order(kind: Kind, volume: float, fill: float, room: float, hours: float) -> None:
    """Early is never after likely, nor likely after late, and a warmer level is never reached sooner."""
    facts = Facts(kind, volume, {Group.MEALS: 0.36 * volume * fill}, room)
    found = warmed(hours)
    spans = forecast(Frame(facts, Belief(), found, DAY, found.end, 3)).spans
    for span in spans:
        early, likely, late = ends(span)
        assert 0 <= early <= likely <= late
    for where in Where:
        likely = [ends(s)[1] for s in spans if s.where is where]
        assert len(likely) == len(LEVELS)
        assert likely == sorted(likely)


def test_same_readings_and_seed_give_the_same_answer() -> None:
    """Nothing but the readings, the facts and the seed goes into a forecast."""
    facts = Facts(Kind.CHEST, 300, {Group.MEAT: 60}, 18)
    found = warmed(6)
    once = forecast(Frame(facts, Belief(), found, DAY, found.end, 7))
    assert once == forecast(Frame(facts, Belief(), found.copy(), DAY, found.end, 7))


def test_full_chest_outlasts_full_upright() -> None:
    """A full chest holds longer than a full upright of the same volume (common practice: cold air stays in a chest)."""
    kg = {Group.MEAT: 60.0, Group.PRODUCE: 48.0}
    chest, upright = standing(Facts(Kind.CHEST, 300, kg, 20)), standing(Facts(Kind.UPRIGHT, 300, kg, 20))
    for a, b in zip(chest, upright, strict=True):
        if a.where is Where.FOOD:
            assert all(x > y or x == y == inf for x, y in zip(ends(a), ends(b), strict=True))


def test_untaught_reserve_names_an_earlier_early() -> None:
    """A freezer that no outage has taught is given 0.6 of the early time, and none once two hours are seen."""
    facts = Facts(Kind.CHEST, 300, {Group.MEAT: 60}, 18)
    plain, taught = Belief(), Belief(lessons=2)
    guess = reserve(Frame(facts, plain, course(), None, DAY, 1)).spans
    known = reserve(Frame(facts, taught, course(), None, DAY, 1)).spans
    for a, b in zip(guess, known, strict=True):
        if a.early is not None and b.early is not None:
            assert a.early == pytest.approx(0.6 * b.early, abs=0.011)
        assert (a.likely, a.late) == (b.likely, b.late)
    found = warmed(2)
    late = [forecast(Frame(facts, b, found, DAY, found.end, 1)).spans for b in (plain, taught)]
    assert late[0] == late[1]


def test_level_that_is_passed_is_none_left() -> None:
    """A level that the probe has passed is 0 h away."""
    facts = Facts(Kind.CHEST, 300, {Group.MEAT: 60}, 18)
    found = warmed(8)
    spans = forecast(Frame(facts, Belief(), found, DAY, found.end, 1)).spans
    probe = {s.level: s for s in spans if s.where is Where.PROBE}
    assert (probe[-12.0].early, probe[-12.0].late) == (0.0, 0.0)
    assert probe[0.0].early is not None
    assert probe[0.0].early > 0


def test_recording_that_begins_with_the_outage() -> None:
    """With no day before it and a reading each half hour there is still a forecast, in a wider range."""
    facts = Facts(Kind.CHEST, 300, {Group.MEAT: 60}, 18)
    sparse = Course()
    for minute in range(0, 300, 30):
        sparse.take(minute, -20.0 + minute / 60 * 1.2)
    spans = forecast(Frame(facts, Belief(), sparse, 0, sparse.end, 1)).spans
    food = next(s for s in spans if s.where is Where.FOOD and s.level == -9.4)
    assert ends(food)[0] < ends(food)[2] < inf


def test_exponential_of_a_single_lump() -> None:
    """A course that is one exponential towards the room is told to a minute (worked by hand: t = tau ln(A/a))."""
    air = [20.0 - 35.0 * exp(-minute / 60 / 10) for minute in range(0, 300, 5)]
    left = exponential(Seen(air, [20.0] * len(air), 5), -5.0, 20.0)
    # -15 °C at first with tau 10 h: -5 °C after 10 ln(35/25) = 3.365 h, which is before the end of the readings
    assert left == 0.0
    left = exponential(Seen(air, [20.0] * len(air), 5), 0.0, 20.0)
    assert left == pytest.approx(10 * 0.559616 - 295 / 60, abs=1 / 60)  # ln(35/20)
    assert exponential(Seen([nan] * 60, [20.0] * 60, 5), 0.0, 20.0) is None

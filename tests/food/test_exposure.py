"""What warmth has cost is added up right, and never less for what was not heard."""

import csv
import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from gatewayd.food.exposure import SLOT, Probe, course, effective, kinetic_mean, spent, step, table, upper
from gatewayd.food.life import Pace, pace_of, thaws
from gatewayd.food.table import FOODS, find
from gatewayd.model.moment import DAY, HOUR, MINUTE
from gatewayd.store.rollup import QUARTER

with (Path(__file__).parent.parent / "data" / "food_checks.csv").open(encoding="utf-8", newline="") as lines:
    CHECKS = {row["name"]: row for row in csv.DictReader(lines)}
FLAT = Pace(1.0, 1.0, 1.0)
values = st.lists(st.integers(-30_000, 10_000), min_size=1, max_size=40)
foods = st.sampled_from((None, *FOODS))


def of(milli, begin=0, now=None, late=()):
    """Return the course of one probe that was heard in every slot with a value that is not None."""
    heard = [(begin + slot, one) for slot, one in enumerate(milli) if one is not None]
    return course([Probe(heard, late)], (begin + len(milli)) * SLOT - 1 if now is None else now)


def temperatures(one):
    """Return the thousandths of a °C of a course."""
    return [10 * number - 24_000 for number in one.steps]


def cost(one, food, begin=0, end=None):
    """Return the days at -18 °C and the thawed days of a whole course."""
    until = (one.begin + len(one.steps)) * SLOT if end is None else end
    return one.sums(table(pace_of(food).rate)).between(begin, until), one.sums(table(thaws)).between(begin, until)


def test_slot():
    """A slot is the quarter of an hour that the store sums up."""
    assert SLOT == QUARTER


def test_worked_example():
    """The published worked example comes out to a hundredth of a percent: strawberries from producer to kitchen."""
    # Singh & Heldman, "Introduction to Food Engineering", after Jul 1984 (from memory)
    row = CHECKS["ttt_strawberries"]
    stages = [tuple(map(float, pair)) for pair in re.findall(r"([\d.]+)/([\d.]+)", row["input"])]
    used, days = re.match(r"([\d.]+) % used over ([\d.]+) days", row["expected"]).groups()
    assert 100 * spent(stages) == pytest.approx(float(used), abs=float(row["tolerance"]))
    assert sum(time for time, _ in stages) == pytest.approx(float(days))


def test_effective():
    """The steady temperature that ages as much as two in turn is the one reckoned by hand."""
    pace = Pace(3.0, 3.0, 3.0)
    mean = (pace.rate(-18) + pace.rate(-12)) / 2
    row = CHECKS["q10_effective_temp"]
    assert effective(mean, table(pace.rate)) == pytest.approx(
        float(row["expected"].split()[0]), abs=float(row["tolerance"])
    )


@pytest.mark.parametrize(("name", "celsius"), [("mkt_two_points", (-18.0, -12.0)), ("mkt_constant", (-18.0,) * 5)])
def test_kinetic_mean(name, celsius):
    """The mean kinetic temperature is the one reckoned by hand."""
    # USP <1079.2>, definition from memory
    row = CHECKS[name]
    expected = float(row["expected"].split()[0])
    assert kinetic_mean(celsius, 83.144) == pytest.approx(expected, abs=float(row["tolerance"]))


@pytest.mark.parametrize("text", ["strawberries", "trout", "venison", "plums", "beans", "ice cream"])
def test_scipy(text):
    """The sum over quarters of an hour is that of scipy's integral over the same course, to a thousandth."""
    pace = pace_of(find(text))

    def celsius(hours):
        return -19 + 4 * math.sin(hours / 24 * math.tau) + 9 * math.exp(-(((hours - 50) / 6) ** 2))

    slots = range(96 * 4)
    one = of([round(1000 * celsius((slot + 0.5) / 4)) for slot in slots])
    days, _ = cost(one, find(text))
    hours = [quad(lambda hours: pace.rate(celsius(hours)) / 24, hour, hour + 1, epsabs=1e-7)[0] for hour in range(96)]
    assert days == pytest.approx(sum(hours), rel=1e-3)


@given(st.lists(st.integers(-3000, 1000), min_size=1, max_size=40), foods)
def test_sum(hundredths, food):
    """Each slot adds its own, in whatever order."""
    milli = [10 * one for one in hundredths]
    days, thawed = cost(of(milli), food)
    assert days == pytest.approx(sum(pace_of(food).rate(one / 100) for one in hundredths) / 96)
    assert thawed == pytest.approx(sum(one > -500 for one in hundredths) / 96)
    assert cost(of(sorted(milli)), food) == (pytest.approx(days), pytest.approx(thawed))


@given(values)
def test_steps(milli):
    """The table's step is the temperature to half a hundredth, clipped where ageing changes no more."""
    for one, number in zip(milli, of(milli).steps, strict=True):
        assert number == step(one)
        assert abs(min(max(one, -24_000), -4_990) - (10 * number - 24_000)) <= 5


@given(values, foods, st.lists(st.integers(-5 * SLOT, 60 * SLOT), min_size=3, max_size=3))
def test_never_shrinks(milli, food, times):
    """Exposure never shrinks as time passes, and two spans add up to the whole."""
    begin, middle, end = sorted(times)
    sums = of(milli, now=60 * SLOT).sums(table(pace_of(food).rate))
    first, whole = sums.between(begin, middle), sums.between(begin, end)
    assert 0 <= first <= whole + 1e-9
    assert first + sums.between(middle, end) == pytest.approx(whole, abs=1e-9)
    assert sums.between(end, begin) == 0


@given(values, st.data())
def test_warmer_never_less(milli, data):
    """Where a slot was warmer, or another probe was, nothing is used up less."""
    slot = data.draw(st.integers(0, len(milli) - 1))
    warmer = [*milli[:slot], milli[slot] + data.draw(st.integers(0, 20_000)), *milli[slot + 1 :]]
    food = find("beans")
    other = data.draw(values)
    two = course([Probe(list(enumerate(milli))), Probe(list(enumerate(other)))], len(milli) * SLOT - 1)
    for one in (of(warmer), two):
        assert all(a >= b - 1e-9 for a, b in zip(cost(one, food), cost(of(milli), food), strict=True))


@given(values, st.booleans(), st.data())
def test_gap(milli, rises, data):
    """Where it only warmed, or only cooled, what was not heard in between never makes food look better."""
    heard = sorted(milli, reverse=not rises)
    kept = [data.draw(st.booleans()) or index in {0, len(heard) - 1} for index in range(len(heard))]
    food = find("trout")
    with_gaps = of([one if keep else None for one, keep in zip(heard, kept, strict=True)])
    for gaps, whole in zip(cost(with_gaps, food), cost(of(heard), food), strict=True):
        assert gaps >= whole - 1e-9


def test_gap_counted():
    """All of a gap counts as the warmer end, long ones are marked, and the last known goes on to now."""
    one = of([-18_000, None, -16_000, None, None, None, None, -20_000], now=13 * SLOT)
    assert temperatures(one) == [-18_000] + [-16_000] * 6 + [-20_000] * 7
    assert list(one.guessed) == [0, 0, 0, 1, 1, 1, 1, 0] + [1] * 6
    assert one.guesses().between(0, 20 * SLOT) == pytest.approx(10 / 96)


def test_late():
    """Late readings count for all of the span in which they may have been measured, where they are the warmer."""
    one = of([-18_000, None, None, -18_000, -6_000, -18_000], late=[(1, 4, -9_000)])
    assert temperatures(one) == [-18_000, -9_000, -9_000, -9_000, -6_000, -18_000]
    assert list(one.guessed) == [0, 1, 1, 1, 1, 0]
    assert temperatures(of([-18_000], late=[(0, 0, -20_000)])) == [-18_000]


def test_late_alone():
    """A freezer of which only late readings are known has its course from them, the span between included."""
    one = course([Probe((), [(2, 3, -15_000), (8, 9, -18_000)])], 10 * SLOT)
    assert temperatures(one) == [-15_000] * 6 + [-18_000] * 3
    assert one.begin == 2


@given(values, st.integers(0, 39), st.integers(0, 10), st.integers(-30_000, 10_000))
def test_late_never_less(milli, first, length, warm):
    """A late reading never makes food look better."""
    food = find("venison")
    with_late = of(milli, late=[(first, first + length, warm)])
    for late, plain in zip(cost(with_late, food), cost(of(milli), food), strict=True):
        assert late >= plain - 1e-9


def test_silent_probe():
    """A probe that was silent for a while counts as at its ends though another was heard; one that is gone does not."""
    back = Probe([(0, -10_000), (3, -12_000)])
    heard = Probe([(slot, -18_000) for slot in range(8)])
    one = course([back, heard], 8 * SLOT - 1)
    assert temperatures(one) == [-10_000, -10_000, -10_000, -12_000, -18_000, -18_000, -18_000, -18_000]


def test_before():
    """Before it was watched a freezer counts as it runs ordinarily, warm spells left out, but no colder than -18 °C."""
    warm = of([4_000] * 96 * 7 + [-15_000] * 96 * 2 + [-5_000] * 96, begin=1000)
    assert warm.before == step(-15_000)
    assert of([4_000] * 96 * 7 + [-15_000] * 96).before == step(-18_000)  # less than two days are known
    assert of([-15_000] * 96 + [None] * 96 * 9 + [-15_000] * 95).before == step(-18_000)
    assert of([-16_000] * 96 + [-15_000] * 97).before == step(-15_000)
    assert of([-22_000] * 96).before == step(-18_000)
    pace = pace_of(find("peas"))
    assert warm.sums(table(pace.rate)).between(0, 1000 * SLOT) == pytest.approx(1000 / 96 * pace.rate(-15))
    assert warm.guesses().between(0, 1000 * SLOT) == 0


def test_never_heard():
    """A freezer without a sensor, or one never heard, has no course; a stamp from the future is left out."""
    assert course([], 0) is None
    assert course([Probe(())], 0) is None
    assert of([-18_000], begin=10, now=5 * SLOT) is None


def test_spells():
    """Warm spells are an hour or more above -12 °C; soon again is the same one."""
    cold, warm = [-18_000], [-11_000]
    milli = cold * 10 + warm * 4 + cold * 10 + warm * 8 + cold * 40 + warm * 3 + cold * 40 + warm * 4
    one = of(milli, begin=7)
    assert one.spells() == [(7 + 10) * SLOT, (7 + 10 + 4 + 10 + 8 + 40 + 3 + 40) * SLOT]
    assert of([-12_000] * 96).spells() == []


@given(st.lists(st.floats(-30, -6), min_size=1, max_size=30), foods)
def test_upper(celsius, food):
    """The temperature taken for a quarter of an hour ages food at least as much as its single readings do."""
    milli = [round(one * 1000) for one in celsius]
    pace = pace_of(food)
    slope = math.log(max(pace.warm, pace.hot)) / 10
    taken = upper(min(milli), max(milli), math.ceil(sum(milli) / len(milli)))
    worths = [math.exp(slope * one / 1000) for one in milli]
    assert math.exp(slope * taken / 1000) >= sum(worths) / len(worths) * (1 - 1e-9)
    assert taken <= max(milli)


def test_years():
    """A day at -18 °C is a day, however it is asked for."""
    one = of([-18_000] * 96 * 30)
    assert one.sums(table(FLAT.rate)).between(0, 30 * DAY) == pytest.approx(30)
    assert one.sums(table(FLAT.rate)).between(10 * MINUTE, HOUR) == pytest.approx(50 / 1440)

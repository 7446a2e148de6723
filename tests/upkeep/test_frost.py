"""The frost log: thickness read and shown, seasons, growth, and the day it is due, against made-up years."""

import math
from random import Random

import pytest

from gatewayd.model.moment import DAY
from gatewayd.upkeep.frost import (
    DUE_MM,
    OVERDUE_MM,
    Thickness,
    growth,
    parse_thickness,
    reach,
    seasons,
    show_thickness,
)

BEGIN = 1_600_000_000_000
YEAR = 365.25


def line(rate: float, days: list[float], begin: int = BEGIN) -> list[Thickness]:
    """Return readings of frost that grows evenly from nothing, by `rate` mm a day."""
    return [Thickness("shed-chest", begin + round(day * DAY), rate * day, "ann") for day in days]


@pytest.mark.parametrize(
    ("text", "mm"),
    [("5 mm", 5.0), ("0.5 cm", 5.0), ("1/4 in", 6.35), ('1 1/2"', 38.1), ("1/2 inch", 12.7), ("0 mm", 0.0)],
)
def test_a_thickness_is_read_in_both_measures(text: str, mm: float) -> None:
    """Millimetres, centimetres and inches, also in fractions, are read (1 in = 25.4 mm exactly, 1959)."""
    assert parse_thickness(text) == pytest.approx(mm)


@pytest.mark.parametrize(
    ("text", "why"),
    [("5", "no unit"), ("5 kg", "unknown unit"), ("1/0 in", "not a thickness"), ("much", "not a thickness"),
     ("-3 mm", "not a thickness"), ("4 m", "unknown unit"), ("40 cm", "at most 300"), ("1.2.3 mm", "not a thickness")],
)  # fmt: skip
def test_what_is_no_thickness_is_refused_with_what_is(text: str, why: str) -> None:
    """A slip of the pen is refused, and says how to write it."""
    with pytest.raises(ValueError, match=why):
        parse_thickness(text)


@pytest.mark.parametrize(
    ("mm", "text"),
    [
        (6.35, "6.3 mm (1/4 in)"),
        (12.7, "12.7 mm (1/2 in)"),
        (0.5, "0.5 mm (under 1/16 in)"),
        (30.0, "30 mm (1 3/16 in)"),
        (5.0, "5 mm (3/16 in)"),
    ],
)
def test_a_thickness_is_shown_in_both_measures(mm: float, text: str) -> None:
    """A household sees millimetres and sixteenths of an inch, so that 5 mm and a quarter of an inch differ."""
    assert show_thickness(mm) == text


def test_a_defrost_begins_a_season_written_down_or_not() -> None:
    """The log falls into seasons at a known defrost, and where the frost became much thinner without one."""
    first, second = line(0.05, [0, 150, 200]), line(0.03, [10, 90], BEGIN + 250 * DAY)
    third = line(0.03, [20], BEGIN + 400 * DAY)
    found = seasons([*third, *first, *second], [BEGIN + 400 * DAY])

    assert [[round(row.mm, 1) for row in season] for season in found] == [[0, 7.5, 10.0], [0.3, 2.7], [0, 0.6]]


def test_an_even_growth_is_found_and_its_day_is_exact() -> None:
    """Frost of 0.02 mm a day is 1/4 in thick after 317.5 days, and the log says so after four months."""
    grown = growth(line(0.02, [30, 60, 90, 120]), [BEGIN], BEGIN + 120 * DAY)
    assert grown is not None
    assert grown.rate == pytest.approx(0.02, rel=1e-6)
    due, over = reach(grown, DUE_MM), reach(grown, OVERDUE_MM)
    assert due.likely is not None
    assert (due.likely - BEGIN) / DAY == pytest.approx(317.5, abs=1)
    assert over.likely is not None
    assert (over.likely - BEGIN) / DAY == pytest.approx(635, abs=1)
    assert due.early is not None
    assert due.early < due.likely
    assert due.late is None or due.late > due.likely


def test_a_wild_reading_moves_the_line_little() -> None:
    """One reading beside the ice edge of five does not move the growth by a tenth (Theil-Sen)."""
    rows = line(0.03, [30, 60, 90, 120, 150])
    rows[2] = Thickness("shed-chest", rows[2].at, 15.0, "ben")
    grown = growth(rows, [BEGIN], BEGIN + 150 * DAY)
    assert grown is not None
    assert grown.rate == pytest.approx(0.03, rel=0.1)


def test_nothing_is_said_of_a_log_that_shows_no_growth_yet() -> None:
    """No reading, one reading, or two within a few days give no line."""
    assert growth([], [], BEGIN) is None
    assert growth(line(0.02, [30]), [], BEGIN + 30 * DAY) is None
    assert growth(line(0.02, [30, 33]), [], BEGIN + 33 * DAY) is None


def test_frost_that_does_not_grow_is_never_due() -> None:
    """A no-frost freezer with three readings of nothing has no day at all."""
    grown = growth(line(0.0, [30, 60, 90]), [BEGIN], BEGIN + 90 * DAY)
    assert grown is not None
    assert reach(grown, DUE_MM).likely is None


def test_what_was_measured_thick_enough_is_due_now() -> None:
    """The newest reading counts as it is: 7 mm is due today, whatever a line says."""
    rows = [*line(0.01, [30, 60]), Thickness("shed-chest", BEGIN + 90 * DAY, 7.0, "ann")]
    grown = growth(rows, [BEGIN], BEGIN + 90 * DAY)
    assert grown is not None
    assert reach(grown, DUE_MM).likely == BEGIN + 90 * DAY


class Ice:
    """Make up the frost of a chest: faster in humid summers, each year another, and a person with a ruler."""

    def __init__(self, seed: int) -> None:
        """Begin with a freezer of its own."""
        self.dice = Random(seed)
        self.base = 0.019 * math.exp(self.dice.gauss(0, 0.3))  # mm a day: 1/4 in within about a year
        self.years = [math.exp(self.dice.gauss(0, 0.15)) for _ in range(5)]

    def thick(self, since: float, day: float) -> float:
        """Return the thickness (mm) on a day, grown from nothing since another; both count from a January."""
        mm = 0.0
        for step in range(int(since), int(day)):
            summer = 1 - 0.4 * math.cos(2 * math.pi * step / YEAR)  # 0.6 in January, 1.4 in July
            mm += self.base * summer * self.years[int(step // YEAR) % 5]
        return mm

    def reaches(self, since: float, mm: float) -> float:
        """Return the day on which a thickness is reached, 1 000 days on at the latest."""
        low, high = since, since + 1000
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self.thick(since, middle) >= mm else (middle, high)
        return high

    def read(self, since: float, until: float) -> list[Thickness]:
        """Measure about every seven weeks, a millimetre or so beside it."""
        rows, day = [], since + 30
        while day < until:
            mm = max(0.0, self.thick(since, day) + self.dice.gauss(0, 0.8))
            rows.append(Thickness("shed-chest", BEGIN + round(day * DAY), round(mm), "ann"))
            day += self.dice.uniform(35, 65)
        return rows


def predicted(after: int) -> tuple[list[float], int]:
    """Return by how many days the third year was missed, sorted, and how often it fell between the days named.

    Asked `after` days into the third season of 60 made-up freezers, with the log of two years before it.
    """
    misses, within = [], 0
    for seed in range(60):
        ice = Ice(seed)
        first, second = 400.0, 770.0  # the days of two defrosts, each in a winter
        today = second + after
        log = ice.read(10, first) + ice.read(first, second) + ice.read(second, today)
        defrosted = [BEGIN + round(day * DAY) for day in (10, first, second)]
        truth = BEGIN + ice.reaches(second, DUE_MM) * DAY
        if truth > BEGIN + (second + 700) * DAY or truth < BEGIN + today * DAY:
            continue  # so slow that the calendar comes long before, or thick already
        grown = growth(log, defrosted, BEGIN + round(today * DAY))
        assert grown is not None
        found = reach(grown, DUE_MM)
        assert found.likely is not None
        assert found.early is not None
        misses.append(abs(found.likely - truth) / DAY)
        within += found.early <= truth and (found.late is None or truth <= found.late)
    return sorted(misses), within


@pytest.mark.parametrize(("after", "half", "most"), [(1, 63, 150), (200, 42, 100)])
def test_two_years_predict_the_third(after: int, half: int, most: int) -> None:
    """Two years of log say when the third year's frost is 1/4 in thick: on the day after the defrost half of made-up
    freezers are missed by at most nine weeks, after 200 days by six, and three of four fall between the days named.

    The year itself differs from others by 15 % and more here, so no log could do much better on its first day.
    """
    misses, within = predicted(after)
    assert len(misses) >= 30
    assert misses[len(misses) // 2] <= half
    assert misses[int(len(misses) * 0.9)] <= most
    assert within >= 0.75 * len(misses)


@pytest.mark.parametrize(
    ("text", "due", "overdue"),
    [
        ("5 cm", True, True),
        ("1/4 in", True, False),
        ("20 mm", True, True),
        ("1/2 in", True, True),
        ("6 mm", False, False),
    ],
)
def test_thick_ice_is_due_from_the_first_measurement_on(text: str, due: bool, overdue: bool) -> None:
    """One reading of a quarter of an inch is due now, of half an inch overdue, whether its growth is known or not."""
    now = BEGIN + 100 * DAY
    for log in ([], [Thickness("shed-chest", now - 20 * DAY, 1.0, "ann")]):
        grown = growth([*log, Thickness("shed-chest", now - 3, parse_thickness(text), "ann")], [], now)
        if due:
            assert grown is not None
            assert reach(grown, DUE_MM).likely == now
            assert (reach(grown, OVERDUE_MM).likely == now) is overdue
    assert (growth([Thickness("shed-chest", now, parse_thickness(text), "ann")], [], now) is not None) is due

"""A month of temperatures: the household's own days, gaps told, room to sign; and the page of all that is printed."""

from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gatewayd.model.moment import DAY, HOUR, MINUTE, Moment
from gatewayd.model.reading import Quality, Quantity, Reading
from gatewayd.store.batch import Batch, Calibration
from gatewayd.store.calibration import put
from gatewayd.store.file import open_reader
from gatewayd.store.month import Day, days, later, length, midnight
from gatewayd.store.store import Store
from tests.web.living import cold
from tests.web.open_house import open_house
from tests.web.thawed import thawed

LONDON = ZoneInfo("Europe/London")
OCTOBER, MARCH = date(2026, 10, 1), date(2027, 3, 1)
EVERY = 10 * MINUTE


async def lived(
    path: Path, first: int, last: int, value: Callable[[int], float | None], *, keep: int = 0
) -> Callable[[date], list[Day]]:
    """Fill a store with a reading every ten minutes, and return what tells a month of it; `keep` how long rows stay."""
    store = await Store.open(path, LONDON)
    rows = []
    for wall in range(first, last, EVERY):
        celsius = value(wall)
        if celsius is not None:
            at = Moment(wall, wall - first + HOUR, "boot")
            quality = Quality.POWER_ON if celsius == 85.0 else Quality.GOOD
            rows.append(Reading("air", Quantity.TEMPERATURE, celsius, at, wall, wall, quality=quality))
    await store.commit(Batch(rows[-1].heard, readings=rows))
    for _ in range(6 if keep else 1):
        await store.tidy(rows[-1].heard, keep)
    await store.close()

    def month(first_day: date) -> list[Day]:
        with closing(open_reader(path)) as conn:
            return days(conn, "air", first_day, LONDON, last, None)

    return month


async def test_days_of_23_and_25_hours(tmp_path: Path) -> None:
    """A day is the household's own: each reading counts in its local day, also where the clock is put on or back."""
    for first_day, odd, hours in ((OCTOBER, 25, 25), (MARCH, 28, 23)):
        begin = midnight(date(first_day.year, first_day.month, odd), LONDON)
        end = midnight(date(first_day.year, first_day.month, odd + 1), LONDON)
        month = await lived(
            tmp_path / f"{odd}.db", begin, end, lambda wall, begin=begin: -20.0 + (wall - begin) / HOUR / 10
        )
        found = {day.day.day: day for day in month(first_day)}

        assert end - begin == hours * HOUR
        assert found[odd].low == -20.0
        assert found[odd].high == pytest.approx(-20.0 + (hours - 1 / 6) / 10, abs=0.001)
        assert found[odd].mean == pytest.approx(-20.0 + (hours - 1 / 6) / 20, abs=0.001)
        assert found[odd].unseen == 0
        assert found[odd - 1] == Day(date(first_day.year, first_day.month, odd - 1), unseen=24 * 60)
        assert not found[odd + 1].begun


@pytest.mark.parametrize("keep", [0, 3 * DAY])
async def test_what_was_not_heard(keep: int, tmp_path: Path) -> None:
    """A gap is told to the minute, over midnight in both days; of rows that are not kept any more by quarters."""
    begin = midnight(OCTOBER, LONDON)
    silence = (begin + DAY + 22 * HOUR, begin + 2 * DAY + 3 * HOUR)
    month = await lived(
        tmp_path / "house.db", begin, begin + 9 * DAY, lambda wall: None if silence[0] < wall < silence[1] else -18.0,
        keep=keep,
    )  # fmt: skip
    found = month(OCTOBER)

    assert [day.unseen for day in found[:5]] == [0, 105 if keep else 120, 180, 0, 0]
    assert [day.begun for day in found] == [True] * 9 + [False] * 22


async def test_readings_that_count(tmp_path: Path) -> None:
    """What a sensor sends as it starts up is no reading: it is in no figure, and does not end a silence."""
    begin = midnight(OCTOBER, LONDON)
    month = await lived(
        tmp_path / "house.db",
        begin,
        begin + DAY,
        lambda wall: 85.0 if begin + 2 * HOUR < wall < begin + 4 * HOUR else -18.0,
    )
    day = month(OCTOBER)[0]

    assert (day.low, day.high, day.unseen) == (-18.0, -18.0, 120)


async def test_a_sensor_that_never_was(tmp_path: Path) -> None:
    """Of a sensor of which nothing was ever heard, nothing is known."""
    begin = midnight(OCTOBER, LONDON)
    await lived(tmp_path / "house.db", begin, begin + HOUR, lambda _: -18.0)
    with closing(open_reader(tmp_path / "house.db")) as conn:
        found = days(conn, "nobody", OCTOBER, LONDON, begin + DAY, None)

    assert found[0] == Day(OCTOBER, unseen=24 * 60)
    assert [day.begun for day in found] == [True] + [False] * 30


def test_months_of_the_calendar() -> None:
    """Months follow each other over the turn of the year, each as long as it is."""
    assert later(date(2026, 12, 1)) == date(2027, 1, 1)
    assert later(date(2026, 1, 1), -1) == date(2025, 12, 1)
    assert [length(date(year, 2, 1)) for year in (2026, 2028)] == [28, 29]


@pytest.mark.rig
async def test_page_of_a_month(tmp_path: Path) -> None:
    """The page has the day that was heard, the limits, the probe's last check, room to sign, and the month before."""
    async with thawed(tmp_path) as (house, _):
        since = house.clock.now().wall - DAY
        found = Calibration("shed-chest-air", Quantity.TEMPERATURE, 0.3, since, "ann")
        boot = house.clock.now().boot
        await house.gateway.store.carry_out(lambda conn: put(conn, found, boot) or "", house.clock.now())
        page = await house.phone.get("/print/month?freezer=shed-chest&month=2026-11")
        before = await house.phone.get(next(link for link in page.links if link.endswith("month=2026-10")))

    assert "Shed chest: temperatures of November 2026" in page.words
    for words in (
        "−18.9 °C", "6.0 °C, too warm", "too warm above −12.0 °C, much too warm above −6.7 °C", "Initials",
        "Checked in ice on 24 Nov 2026 by Ann; corrected by", "0.3 °C", "Looked through by", "no readings",
    ):  # fmt: skip
        assert words in page.words, words
    assert not any(link.endswith("month=2026-12") for link in page.links)
    assert "temperatures of October 2026" in before.words
    assert any(link.endswith("month=2026-11") for link in before.links)
    assert page.size < 20_000


@pytest.mark.rig
async def test_choosing_a_month(tmp_path: Path) -> None:
    """Without a freezer it is asked for; what is no month or no freezer is said, as text, and can be put right."""
    async with open_house(tmp_path) as house:
        await cold(house, 3)
        which = await house.phone.get("/print/month")
        wrong = [
            await house.phone.get(f"/print/month?{query}")
            for query in (
                "freezer=shed-chest&month=2026-13", "freezer=shed-chest&month=%3Cscript%3E",
                "freezer=shed-chest&month=2999-01",
                "freezer=%3Cscript%3E", "month=1066-10&freezer=shed-chest",
            )
        ]  # fmt: skip
        index = await house.phone.get("/print")

    assert which.status == 200
    assert "Shed chest" in which.words
    assert [page.status for page in wrong] == [422] * 5
    assert all("<script>" not in page.text.partition("<main")[2] for page in wrong)
    assert "is no month up to now; write it like 2026-11" in wrong[0].words
    assert {"/print/stock", "/print/labels", "/print/defrost?freezer=shed-chest"} <= set(index.links)

"""The curve: windows of the calendar, gaps, columns for the script, and the picture without one."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from datetime import datetime, tzinfo
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, to_wall
from gatewayd.model.outlook import Span, Where
from gatewayd.model.units import TemperatureUnit
from gatewayd.store.chart import Bucket, Spell
from gatewayd.web.curve import SPANS, Curve, Window, back, columns, edges, window
from gatewayd.web.drawing import draw

LONDON = ZoneInfo("Europe/London")
CHATHAM = ZoneInfo("Pacific/Chatham")


def wall(text: str, zone: tzinfo = LONDON) -> int:
    """Return the wall stamp of a local time."""
    return to_wall(datetime.fromisoformat(text).replace(tzinfo=zone))


NOW = wall("2026-11-25T18:20")


def curve(minutes: Sequence[int], **more: object) -> Curve:
    """Return a day's curve with a bucket at each of these minutes of it."""
    begin = NOW - DAY
    buckets = [Bucket(begin + n * MINUTE, 1, -19.0, -18.0, -18.5) for n in minutes]
    fields = {"gap": 15 * MINUTE, "limits": (-12.0, -6.7)} | more
    return Curve(Window("day", begin, NOW, live=True), buckets, **fields)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("span", "since"),
    [
        ("day", "2026-11-24T18:20"),
        ("week", "2026-11-18T18:20"),
        ("month", "2026-10-25T18:20"),
        ("year", "2025-11-25T18:20"),
        ("five-years", "2021-11-25T18:20"),
    ],
)
def test_windows_end_now(span: str, since: str) -> None:
    """Without an end a window ends now, and reaches back by the household's calendar."""
    found = window(span, "", LONDON, NOW)

    assert found == Window(span, wall(since), NOW, live=True)


def test_window_of_the_past() -> None:
    """A window with an end of its own is not live; one in the future ends now."""
    assert window("day", "2026-11-20T06:00", LONDON, NOW).until == wall("2026-11-20T06:00")
    assert not window("day", "2026-11-20T06:00", LONDON, NOW).live
    assert window("day", "2099-01-01", LONDON, NOW) == window("day", "", LONDON, NOW)


@pytest.mark.parametrize(
    ("span", "until"), [("hour", ""), ("day", "soon"), ("day", "0001-01-01"), ("day", "9" * 400), ("day", "<script>")]
)
def test_wrong_windows_are_refused(span: str, until: str) -> None:
    """A span or an end that cannot be used is refused with a sentence."""
    with pytest.raises(ValueError, match=r"There is no span|is not a time|too long ago"):
        window(span, until, LONDON, NOW)


@pytest.mark.parametrize(
    ("until", "hours"), [("2026-03-29T18:00", 23), ("2026-10-25T18:00", 25), ("2026-06-01T18:00", 24)]
)
def test_a_day_is_a_day_of_the_calendar(until: str, hours: int) -> None:
    """On the days on which the clocks change a day has 23 or 25 hours, and as many lines in its table."""
    found = window("day", until, LONDON, NOW)

    assert found.until - found.since == hours * HOUR
    assert len(edges(found, LONDON)) == hours + 1


@pytest.mark.parametrize("span", SPANS)
def test_back_and_forth(span: str) -> None:
    """One window back and one forward leads to where it began, save at the end of a longer month."""
    assert back(back(NOW, span, LONDON), span, LONDON, -1) == NOW
    assert back(wall("2027-03-31T12:00"), "month", LONDON) == wall("2027-02-28T12:00")
    assert back(wall("2028-02-29T12:00"), "year", LONDON) == wall("2027-02-28T12:00")


@pytest.mark.parametrize("zone", [LONDON, CHATHAM])
@pytest.mark.parametrize(("span", "least", "most"), [("week", 8, 8), ("month", 31, 32), ("year", 13, 13)])
def test_lines_of_longer_windows(span: str, least: int, most: int, zone: tzinfo) -> None:
    """Weeks and months have a line a day, years one a month, each from a local midnight to the next."""
    now = wall("2026-11-25T18:20", zone)
    found = edges(window(span, "", zone, now), zone)

    assert least <= len(found) - 1 <= most
    assert all(datetime.fromtimestamp(each / 1000, zone).strftime("%H%M") == "0000" for each in found)
    assert all(after - before >= 23 * HOUR for before, after in pairwise(found))
    assert found[0] <= back(now, span, zone) < found[1]
    assert found[-2] <= now <= found[-1]


def test_gaps_are_gaps() -> None:
    """Readings too far apart are not joined: the columns have a hole there, and the picture two lines."""
    found = curve([0, 5, 10, 60, 65])
    shown = columns(found, TemperatureUnit.C)

    assert shown["mean"] == [-18.5, -18.5, -18.5, None, -18.5, -18.5]
    assert [len(part) for part in found.parts] == [3, 2]
    times = shown["t"]
    assert isinstance(times, list)
    assert times == sorted(times)
    assert draw(found, TemperatureUnit.C, LONDON, NOW, "x").count("<polyline") == 2


def test_columns_are_in_the_scale_of_the_household() -> None:
    """In a household of Fahrenheit every figure of the columns is in °F."""
    forecast = [Span(Where.FOOD, 0.0, 1.0, 2.0, 4.0)]
    found = curve([0], forecast=forecast, made=NOW, late=[(NOW - HOUR, NOW, -10.0)])
    shown = columns(found, TemperatureUnit.F)

    assert (shown["low"], shown["high"]) == ([-2.2], [-0.4])
    assert shown["limits"] == [[10.4, "too warm: above 10.4 °F"], [19.94, "much too warm: above 19.9 °F"]]
    assert shown["late"] == [[(NOW - HOUR) // SECOND, NOW // SECOND, 14.0]]
    assert shown["forecast"] == [[32.0, (NOW + HOUR) // SECOND, (NOW + 2 * HOUR) // SECOND, (NOW + 4 * HOUR) // SECOND]]
    assert shown["unit"] == "°F"


def test_a_forecast_makes_room_for_itself() -> None:
    """The axis of time reaches as far as the range, but the past keeps most of the width."""
    near = Span(Where.FOOD, -9.4, 1.0, 2.0, 4.0)
    far = Span(Where.FOOD, 4.4, 60.0, 70.0, None)

    assert curve([0]).ends == NOW
    assert curve([0], forecast=[near], made=NOW).ends == NOW + 4 * HOUR
    both = curve([0], forecast=[near, far], made=NOW)
    assert both.ends - NOW <= 0.4 * DAY
    assert both.ahead == [near]
    assert not both.beyond
    assert curve([0], forecast=[Span(Where.FOOD, -9.4, 1.0, 20.0, 60.0)], made=NOW).beyond


def test_when_the_readings_begin_is_known() -> None:
    """A window whose readings begin late says when; one that is filled from its begin has nothing to say."""
    assert curve([300]).begins == NOW - DAY + 300 * MINUTE
    assert curve([2, 300]).begins is None
    assert curve([]).begins is None


def test_the_picture_says_what_it_shows() -> None:
    """The picture is whole XML, has its words, limits and marks, and no script in it."""
    hostile = '<script>alert("x")</script>'
    found = curve(
        [0, 5, 300],
        late=[(NOW - HOUR, NOW, -10.0)],
        lids=[(NOW - 2 * HOUR, NOW - HOUR)],
        spells=[Spell(NOW - 3 * HOUR, NOW, "high")],
        forecast=[Span(Where.FOOD, -9.4, 0.5, 1.0, None)],
        made=NOW,
    )
    text = draw(found, TemperatureUnit.F, LONDON, NOW, hostile)
    tree = ET.fromstring(text)  # noqa: S314 - our own

    assert tree[0].text == hostile
    assert "script" not in {element.tag.rpartition("}")[2] for element in tree.iter()}
    assert "too warm: above 10.4 °F" in text
    assert len([one for one in tree.iter() if one.get("d", "").endswith("z")]) == 1  # the arrow of a bar that goes on
    assert "yesterday 18:20" in text
    assert "style=" not in text


def test_an_empty_window_has_a_picture() -> None:
    """A window without a reading says so, and has empty columns."""
    found = curve([])

    assert "No readings in this time" in draw(found, TemperatureUnit.C, LONDON, NOW, "x")
    assert columns(found, TemperatureUnit.C)["t"] == []
    assert found.whole is None

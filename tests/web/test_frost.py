"""The frost log on a page: what is written, what is refused, how the growth is said, in the household's units."""

from dataclasses import replace
from pathlib import Path

import pytest

from gatewayd.model.moment import DAY
from gatewayd.model.units import TemperatureUnit
from gatewayd.store.frost import rows
from gatewayd.upkeep.frost import parse_thickness, show_growth
from tests.web.thawing import HERE, HOSTILE, shed

LOG = f"{HERE}/frost"
rig = pytest.mark.rig


@rig
async def test_frost_is_measured(tmp_path: Path) -> None:
    """A measurement is written down with its place, answered with what it means, and the growth is said in words."""
    async with shed(tmp_path) as home:
        empty = await home.phone.get(LOG)
        first = await home.phone.press(LOG, thickness="2", where="left wall")
        sheet = first.sheet(LOG)
        await home.wait(30 * DAY)
        fields = [pair for pair in sheet.fields if pair[0] != "thickness"]
        for _ in range(2):  # sent twice
            second = await home.phone.post(LOG, [*fields, ("thickness", "5 mm")])
        plan = await home.phone.get(HERE)
        log = await home.house.home.read(rows)

    assert "Nothing is measured yet." in empty.words
    assert "How thick, in mm" in empty.words
    assert "Written down: Shed chest, 2 mm (1/16 in) of frost." in first.words
    assert "two lines show how it grows" in first.words
    assert [(row.mm, row.who, row.note) for row in log] == [(2.0, "ann", "left wall"), (5.0, "ann", "")]
    assert "growing by 3.0 mm a month" in second.words
    assert "growing by 3.0 mm a month" in plan.words
    assert "The whole frost log" in plan.words


@rig
async def test_inches_and_hostile_words(tmp_path: Path) -> None:
    """A household of °F writes inches; what looks like markup or a formula stays text, and too much is refused."""
    async with shed(tmp_path) as home:
        watch = home.house.gateway.watch
        watch.house = replace(watch.house, units=TemperatureUnit.F)
        page = await home.phone.get(LOG)
        kept = await home.phone.press(LOG, thickness="1/4", note=HOSTILE, where='"><b>x')
        refused = await home.phone.press(LOG, thickness="1/4", note="y" * 500)

    assert "How thick, in inches" in page.words
    assert "6.3 mm (1/4 in)" in kept.words
    assert HOSTILE.strip() in kept.words.replace("\u202e ", "\u202e ")
    assert "<script>alert" not in kept.text
    assert "<b>x" not in kept.text
    assert refused.status == 422
    assert "at most are allowed" in refused.words
    assert ("note", "y" * 500) in refused.sheet(LOG).fields


@rig
@pytest.mark.parametrize(
    ("thickness", "said"),
    [("", "must be filled in"), ("thick", "is not a thickness"), ("5 miles", "allowed are mm, cm and in"),
     ("999 mm", "at most 300 mm"), ("1/0 in", "is not a thickness")],
)  # fmt: skip
async def test_no_thickness(thickness: str, said: str, tmp_path: Path) -> None:
    """What is no thickness is refused with what is allowed, stays in the field, and is not kept."""
    async with shed(tmp_path) as home:
        await home.phone.get(LOG)
        page = await home.phone.press(LOG, thickness=thickness, where="lid")
        log = await home.house.home.read(rows)

    assert page.status == 422
    assert said in page.words
    assert {("thickness", thickness), ("where", "lid")} <= set(page.sheet(LOG).fields)
    assert log == []


def test_growth_in_words() -> None:
    """Growth is said in mm or inches with how unsure it is, and what is not known is not made up."""
    assert show_growth(5.0, 1.5, 0.4, inches=False) == (
        "About 5 mm (3/16 in) by now, growing by 1.5 mm a month, give or take 0.4."
    )
    assert "0.06 in a month, give or take 0.02" in show_growth(5.0, 1.5, 0.4, inches=True)
    assert "not known yet" in show_growth(7.0, None, None, inches=False)
    assert parse_thickness("1/4", "in") == pytest.approx(6.35)
    assert parse_thickness("5 mm", "in") == 5.0
    with pytest.raises(ValueError, match="has no unit"):
        parse_thickness("5")

"""The stored past of a freezer's temperatures, as the watch wants it after a start."""

from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gatewayd.daemon.recalling import look_up, wanted
from gatewayd.model.moment import DAY, MINUTE, Moment
from gatewayd.model.reading import Arrival, Quality, Quantity, Reading
from gatewayd.store.batch import Batch
from gatewayd.store.store import Store
from gatewayd.store.trouble import StoreTrouble
from tests.days.player import house

BEGIN = 1_795_600_020_000  # wall ms, a whole minute


def reading(wall: int, value: float, sensor: str = "air", **changes: object) -> Reading:
    """Return a good live temperature heard at a wall stamp."""
    at = Moment(wall, wall - BEGIN + DAY, "boot-a")
    plain = Reading(sensor, Quantity.TEMPERATURE, value, at, wall, wall, Arrival.LIVE, Quality.GOOD, 0.0)
    return replace(plain, **changes)  # type: ignore[arg-type]


async def test_only_what_was_heard_live_comes_back(tmp_path: Path) -> None:
    """The mean of each minute of good live readings comes back, from the tables old and new, and nothing else."""
    store = await Store.open(tmp_path / "house.db", ZoneInfo("Europe/London"))
    rows = [
        reading(BEGIN - 12 * DAY, -30.0),
        reading(BEGIN, -20.0),
        reading(BEGIN + 20_000, -19.0),
        reading(BEGIN + MINUTE, 85.0, quality=Quality.POWER_ON),
        reading(BEGIN + 2 * MINUTE, -1.0, arrival=Arrival.LATE),
        reading(BEGIN + 3 * MINUTE, -18.0),
        reading(BEGIN + 3 * MINUTE, 40.0, quantity=Quantity.HUMIDITY),
        reading(BEGIN, 6.0, "room"),
    ]
    await store.commit(Batch(rows[-1].heard, readings=rows))
    await store.tidy(Moment(BEGIN + DAY, 2 * DAY, "boot-a"), 400 * DAY)
    late = reading(BEGIN + 5 * MINUTE, -17.0)
    await store.commit(Batch(late.heard, readings=[late]))
    found = look_up(store.path, BEGIN + DAY, ["air", "room", "gone"])
    await store.close()

    assert found == {
        "air": [(BEGIN, -19.5), (BEGIN + 3 * MINUTE, -18.0), (BEGIN + 5 * MINUTE, -17.0)],
        "room": [(BEGIN, 6.0)],
        "gone": [],
    }


def test_each_watched_freezer_with_its_room() -> None:
    """A freezer's past is that of its thermometers and of its room's; one without a thermometer has none."""
    plain = house(2)
    freezers = {**plain.freezers, "porch": replace(plain.freezers["shed-chest"], id="porch", sensors=())}
    freezers["shed-chest"] = replace(freezers["shed-chest"], room="cellar-upright-air")

    assert wanted(replace(plain, freezers=freezers)) == [
        ["shed-chest-air", "cellar-upright-air"],
        ["cellar-upright-air"],
    ]


def test_no_store_is_a_trouble(tmp_path: Path) -> None:
    """Where there is no store the trouble is named."""
    with pytest.raises(StoreTrouble, match="There is no store"):
        look_up(tmp_path / "house.db", BEGIN, ["air"])

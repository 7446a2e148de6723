"""Check what a freezer's warming hangs on: what it holds, and the room in which it stands."""

from collections.abc import Container

from gatewayd.model.contents import Group
from gatewayd.model.reading import Quantity
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import Fault, fault
from gatewayd.settings.refer import entries, measured, refer
from gatewayd.thermal.prior import FULL

# Our choice: packed by somebody who packs well, a freezer may hold half as much again; more is a slip of unit or digit
PACKED = 1.5


def contents(freezer: Checked) -> dict[Group, float]:
    """Return what a freezer holds (kg by group) as far as the keeper wrote it."""
    found = freezer.group(schema.CONTENTS)
    weights = {group: found.maybe(key) for group, key in schema.CONTENTS_KEYS.items()}
    return {group: weight for group, weight in weights.items() if weight is not None}


def warming(root: Checked, homes: Container[str], faults: list[Fault], warnings: list[str]) -> set[str]:
    """Add what is wrong with contents and rooms; return the thermometers that stand in a room.

    `homes` has the sensors that are in a freezer.
    """
    rooms = set()
    for id_, freezer in entries(root, schema.FREEZERS).items():
        _contents(id_, freezer, warnings)
        room = freezer.maybe(schema.ROOM)
        if room is not None:
            rooms.add(room)
            _room(room, freezer, root, homes, faults)
    return rooms


def _room(room: str, freezer: Checked, root: Checked, homes: Container[str], faults: list[Fault]) -> None:
    spot, sensor = freezer.at(schema.ROOM), entries(root, schema.SENSORS).get(room)
    refer(room, spot, root, schema.SENSORS, faults)
    if sensor is None:
        return
    problem, allowed = "", "a thermometer that hangs in the room and in no freezer"
    if room in homes:
        problem = f"sensor {room!r} is in a freezer, so it cannot say how warm the room is"
    elif schema.MEASURES.name not in sensor.broken and measured(sensor) is not Quantity.TEMPERATURE:
        problem = f"sensor {room!r} is no thermometer: it measures {measured(sensor).value}"
    if problem:
        faults.append(fault(spot, problem, allowed, room))


def _contents(id_: str, freezer: Checked, warnings: list[str]) -> None:
    volume, weight = freezer.maybe(schema.VOLUME), sum(contents(freezer).values())
    if volume is None or weight <= FULL * PACKED * volume:
        return
    warnings.append(
        f"freezer {id_}: contents of {weight:.0f} kg are more than {volume:.0f} L can hold (a full one has about "
        f"{FULL * volume:.0f} kg); is a unit or a digit wrong?"
    )

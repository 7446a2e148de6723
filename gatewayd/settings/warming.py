"""Check what a freezer's warming hangs on: what it holds, and the room in which it stands."""

import difflib
from collections.abc import Container

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.model.reading import Quantity
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import Fault, Warned, fault
from gatewayd.settings.refer import called, entries, measured
from gatewayd.thermal.prior import FULL
from gatewayd.watch.facts import VOLUMES

# Our choice: packed by somebody who packs well, a freezer may hold half as much again; more is a slip of unit or digit
PACKED = 1.5
# kg; beyond it a freezer of unwritten volume is surely larger than the one that is taken then. Our choice: a large
# household chest of 700 L, full
UNSAID = 250.0
_HOW_TO_ADD = "Add one under sensors and name no freezer at it, or write room_about: 18 °C instead"


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
    spot, sensors = freezer.at(schema.ROOM), entries(root, schema.SENSORS)
    free = [id_ for id_, sensor in sensors.items() if id_ not in homes and measured(sensor) is Quantity.TEMPERATURE]
    allowed = ", ".join(free) if free else f"a thermometer in no freezer; there is none yet. {_HOW_TO_ADD}"
    sensor = sensors.get(room)
    problem = ""
    if sensor is None:
        if schema.SENSORS.name not in root.broken:
            near = difflib.get_close_matches(room, free, n=1)
            problem = f"there is no sensor {room!r}" + (f" (did you mean {near[0]}?)" if near else "")
    elif room in homes:
        problem = f"sensor {room!r} is in a freezer, so it cannot say how warm the room is"
    elif schema.MEASURES.name not in sensor.broken and measured(sensor) is not Quantity.TEMPERATURE:
        problem = f"sensor {room!r} is no thermometer: it measures {measured(sensor).value}"
    if problem:
        faults.append(fault(spot, problem, allowed, room))


def _contents(id_: str, freezer: Checked, warnings: list[str]) -> None:
    name = called(freezer, id_, schema.FREEZER_NAME)
    volume, weight = freezer.maybe(schema.VOLUME), sum(contents(freezer).values())
    if volume is None and schema.VOLUME.name not in freezer.broken and weight > UNSAID:
        taken = VOLUMES[freezer.maybe(schema.KIND) or Kind.CHEST]
        rest = (
            f"contents of {weight:.0f} kg without a volume: {taken:.0f} L are taken then, and full "
            f"that has about {FULL * taken:.0f} kg; write its volume, or is a unit or a digit wrong?"
        )
        warnings.append(Warned.of(f"freezer {id_}: {rest}", f"{name}: {rest}"))
    if volume is None or weight <= FULL * PACKED * volume:
        return
    rest = (
        f"contents of {weight:.0f} kg are more than {volume:.0f} L can hold (a full one has about "
        f"{FULL * volume:.0f} kg); is a unit or a digit wrong?"
    )
    warnings.append(Warned.of(f"freezer {id_}: {rest}", f"{name}: {rest}"))

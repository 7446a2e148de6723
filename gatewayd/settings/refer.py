"""References: what one entry says of another, read the same way by the checks and by the builder."""

import difflib
from collections.abc import Iterator

from gatewayd.model.reading import Quantity
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import Fault, Spot, fault
from gatewayd.settings.keys import Group, Key, ListKey


def entries(root: Checked, group: Group) -> dict[str, Checked]:
    """Return the entries of a section by id."""
    return root.group(group).groups


def ids(entry: Checked, key: ListKey) -> Iterator[tuple[str, Spot]]:
    """Go through the ids of a list with the line of each."""
    found = entry.found.get(key.name)
    lines = found.lines if found else ()
    for wanted, line in zip(entry.ids(key), lines, strict=True):
        yield wanted, Spot(entry.spot.file, line, f"{entry.spot.key}.{key.name}")


def called(entry: Checked, id_: str, key: Key[str]) -> str:
    """Return the name of an entry, or one made of the id: `shed-chest` becomes `Shed chest`."""
    plain = id_.replace("-", " ")
    return entry.maybe(key) or plain[:1].upper() + plain[1:]


def refer(wanted: str, spot: Spot, root: Checked, group: Group, faults: list[Fault]) -> None:
    """Add a fault if `group` has no entry `wanted`; where the whole section is at fault, that one fault is enough."""
    known, what = entries(root, group), group.name.removesuffix("s")
    if wanted in known or group.name in root.broken:
        return
    near = difflib.get_close_matches(wanted, known, n=1)
    hint = f" (did you mean {near[0]}?)" if near else f"; add it under {group.name}"
    allowed = ", ".join(known) if known else ""
    faults.append(fault(spot, f"there is no {what} {wanted!r}{hint}", allowed, wanted))


def written(entry: Checked, name: str) -> bool:
    """Say whether a setting or group was written, right or wrong."""
    return name in entry.found or name in entry.groups or name in entry.broken


def members(root: Checked) -> dict[str, tuple[str, ...]]:
    """Return the sensors of each freezer: those it lists, then those that name it themselves."""
    found = {id_: freezer.ids(schema.FREEZER_SENSORS) for id_, freezer in entries(root, schema.FREEZERS).items()}
    for id_, sensor in entries(root, schema.SENSORS).items():
        home = sensor.maybe(schema.SENSOR_FREEZER)
        if home is not None and home in found:
            found[home] = (*found[home], id_)
    return found


def measured(sensor: Checked) -> Quantity:
    """Return what a sensor is there for; a temperature if that is at fault."""
    return sensor.maybe(schema.MEASURES) or Quantity.TEMPERATURE


def split(root: Checked, sensors: tuple[str, ...]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return which of a freezer's sensors are its thermometers, and the others."""
    declared = entries(root, schema.SENSORS)
    warm = [id_ not in declared or measured(declared[id_]) is Quantity.TEMPERATURE for id_ in sensors]
    pairs = list(zip(sensors, warm, strict=True))
    return tuple(id_ for id_, is_warm in pairs if is_warm), tuple(id_ for id_, is_warm in pairs if not is_warm)

"""Make of something that was heard what the settings must say of it, so that it becomes a sensor of the house."""

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gatewayd.model.format import Saying
from gatewayd.model.house import WIRED, House, Sensor
from gatewayd.settings.differ import Difference
from gatewayd.settings.document import Document, plain, with_radio, with_sensor, written
from gatewayd.settings.secrets import unescape
from gatewayd.settings.typed import Settings
from gatewayd.watch.nearby import Neighbour, pointers, understand, unit_at

RADIO = "garage-radio"  # what the computer's own radio is called where the settings name none
PROPOSED = "Freezer probe"  # the name of something that says none
ID = 40  # characters; see model.house.SLUG


@dataclass(frozen=True, slots=True)
class Addable:
    """Hold what could be heard of a sensor: `entry` as the settings say it, as far as it is known.

    `sealed` says that its key is needed. `choices` are the (JSON Pointer, present number) of which one must be chosen,
    the likeliest first; empty where there is nothing to choose.
    """

    name: str
    entry: Mapping[str, str]
    sealed: bool = False
    choices: tuple[tuple[str, float], ...] = ()

    def filled(self, name: str, *, freezer: str = "", key: str = "", pointer: str = "") -> Document:
        """Return the whole entry with what a person says: a freezer's id or none, the key, which number it is."""
        entry = {"name": name, **self.entry}
        if self.choices:
            entry |= {"payload": "json", "value": pointer or self.choices[0][0]}
            if (unit := unit_at(entry["value"])) != "°C":
                entry["unit"] = unit
        if freezer:
            entry["freezer"] = freezer
        if self.sealed:
            entry["key"] = key
        return entry


def addable(found: Neighbour, settings: Settings | None) -> Addable:
    """Return what the settings must say of a neighbour. Raise ValueError where it speaks no open format."""
    seems, name = understand(found), plain(found.name) or PROPOSED
    if seems.payload is None:
        raise ValueError(f"{found.channel} speaks no open format")
    if found.way == "broker":
        entry = {"broker": found.source, "topic": plain(found.channel)}
        choose = not isinstance(seems.payload, Saying) and seems.payload.value is not None
        return Addable(name, entry, choices=tuple(pointers(found.newest().get("", b""))) if choose else ())
    if found.way == "wire":
        return Addable(name, {"file": lasting(found.channel)})
    radio = found.source if settings and found.source in settings.radios else RADIO
    form = seems.payload.format.value if isinstance(seems.payload, Saying) else "bthome"
    return Addable(name, {"radio": radio, "address": found.channel, "format": form}, seems.encrypted)


def with_heard(document: Document, id_: str, entry: Document, settings: Settings | None) -> Document:
    """Return a document that has the sensor too, and its radio where the settings have none yet."""
    radio = entry.get("radio")
    if isinstance(radio, str) and (settings is None or radio not in settings.radios):
        document = with_radio(document, radio, {"name": "The gateway's radio", "adapter": "first"})
    return with_sensor(document, id_, entry)


def takes_back(id_: str, sentences: Sequence[str]) -> bool:
    """Return whether what an undo would bring about (see `settings.differ`) takes this sensor back and nothing else."""
    paths = [one.path if isinstance(one, Difference) else "" for one in sentences]
    mine = [path for path in paths if _within(path, f"sensors.{id_}")]
    beside = [path for path in paths if _within(path, f"radios.{RADIO}")]
    return bool(mine) and len(mine) + len(beside) == len(paths)


def _within(path: str, entry: str) -> bool:
    return path == entry or path.startswith(f"{entry}.")


def shown(id_: str, entry: Document) -> str:
    """Return what would be written, for a person to look at: without its key."""
    text = unescape(written({"sensors": {id_: {**entry, "key": "…"} if "key" in entry else entry}}))
    return "\n".join(line for line in text.splitlines() if not line.startswith("#"))


def proposed_id(name: str, house: House | None = None) -> str:
    """Return an id made of a name, one that the house does not have yet."""
    slug = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:ID].rstrip("-") or "probe"
    taken = taken_ids(house) if house else set()
    more = 2
    found = slug
    while found in taken:
        found = f"{slug[: ID - 4]}-{more}"
        more += 1
    return found


def taken_ids(house: House) -> set[str]:
    """Return the ids that a new sensor cannot have: what is kept of the house is kept by id alone."""
    return {house.id, WIRED, *house.sensors, *house.freezers, *house.sources, *house.neighbours}


def known_as(found: Neighbour, house: House) -> list[Sensor]:
    """Return the sensors of the house that are heard there: several may share a topic or an address."""
    channel = lasting(found.channel) if found.way == "wire" else found.channel
    if found.way == "air":
        channel = channel.upper()
    return [
        sensor
        for sensor in house.sensors.values()
        if sensor.channel == channel and (sensor.source == found.source or found.way == "air")
    ]


def lasting(path: str) -> str:
    """Return a probe's path by its device: hwmon3 may be another chip after the next start."""
    if "/hwmon" not in path:
        return path
    return re.sub(r"/hwmon/hwmon\d+/", "/hwmon/hwmon*/", os.path.realpath(path))

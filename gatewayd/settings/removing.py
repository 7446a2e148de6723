"""Take a sensor or a freezer out of house.yaml, with what else there names it."""

from collections.abc import Iterator, Mapping

from gatewayd.settings import schema
from gatewayd.settings.document import Document, at, with_setting

_SENSORS, _FREEZERS = schema.SENSORS.name, schema.FREEZERS.name


def without_sensor(document: Document, id_: str) -> Document:
    """Return a document without a sensor; freezers no longer have it in their room. Raise ValueError for none."""
    for freezer in _naming(document, _FREEZERS, schema.ROOM.name, id_):
        document = with_setting(document, (_FREEZERS, freezer, schema.ROOM.name), None)
    return _without(document, _SENSORS, id_)


def without_freezer(document: Document, id_: str) -> Document:
    """Return a document without a freezer; its sensors stay, in none. Raise ValueError for none."""
    for sensor in _naming(document, _SENSORS, schema.SENSOR_FREEZER.name, id_):
        document = with_setting(document, (_SENSORS, sensor, schema.SENSOR_FREEZER.name), None)
    return _without(document, _FREEZERS, id_)


def _without(document: Document, section: str, id_: str) -> Document:
    if at(document, section, id_) is None:
        raise ValueError("it does not stand in gatewayd's own settings; take it out of your own settings file")
    return with_setting(document, (section, id_), None)


def _naming(document: Document, section: str, key: str, wanted: str) -> Iterator[str]:
    """Yield the ids of a section whose entry says `wanted` at a key."""
    there = document.get(section)
    for id_ in there if isinstance(there, Mapping) else ():
        if at(document, section, id_, key) == wanted:
            yield id_

"""Write the settings of Heron Lane as its keeper would have written them by hand."""

from collections.abc import Mapping

from gatewayd.model.house import Freezer, House, PayloadForm, PayloadRule, Person, Sensor
from gatewayd.model.limits import Limits
from gatewayd.model.priority import Priority

NOWHERE = "terminal.invalid"  # RFC 2606: such a name leads nowhere; the messages of a demo are shown, not sent
HEAD = """\
# Heron Lane, a house that is only played. Change it on the pages: they write house.yaml beside this file.
"""


def written(house: House, listen: str, address: str) -> str:
    """Return the text of a settings file for a house that is wired as the demo's is.

    `listen` is where its pages answer, `address` how their addresses begin.
    """
    sections: dict[str, object] = {
        "site": {"id": house.id, "name": house.name, "time_zone": str(house.zone)},
        "freezers": {one.id: _freezer(one) for one in house.freezers.values()},
        "sensors": {one.id: _sensor(one) for one in house.sensors.values()},
        "brokers": {id_: {"name": name, "host": f"{id_}.invalid"} for id_, name in house.sources.items()},
        "people": {one.id: _person(one) for one in house.people.values()},
        "routes": {route: _route(route) for one in house.people.values() for route in one.routes},
        "pages": {"listen": listen, "address": address},
    }
    return HEAD + "\n".join(_lines(sections, 0)) + "\n"


def _freezer(one: Freezer) -> dict[str, object]:
    limits = {"highhigh_on_delay": f"{one.limits.highhigh_on_delay // 60_000} min"}
    return {
        "name": one.name,
        "kind": one.kind.value,
        "volume": f"{one.volume:g} L",
        "place": one.place,
        "sensors": f"[{', '.join(one.sensors)}]",
        **({"limits": limits} if one.limits != Limits() else {}),
    }


def _sensor(one: Sensor) -> dict[str, object]:
    entry: dict[str, object] = {"name": one.name, "broker": one.source, "topic": one.channel}
    rule = one.payload
    if isinstance(rule, PayloadRule) and rule.form is PayloadForm.JSON:
        named = {"value": rule.value, "battery": rule.battery, "time": rule.time, "unit": rule.unit}
        entry |= {"payload": "json", **{key: said for key, said in named.items() if said is not None}}
    return entry


def _person(one: Person) -> dict[str, object]:
    from_when = {} if one.told_from is Priority.MEDIUM else {"told_from": one.told_from.word}
    return {"name": one.name, "told_by": f"[{', '.join(one.routes)}]", **from_when}


def _route(route: str) -> dict[str, object]:
    return {"mail": {"host": NOWHERE, "from": f"gatewayd@{NOWHERE}", "to": f"{route}@{NOWHERE}"}}


def _lines(section: Mapping[str, object], depth: int) -> list[str]:
    found = []
    for key, inner in section.items():
        begin = "  " * depth + f"{key}:"
        if isinstance(inner, Mapping):
            found += ["", begin] if depth == 0 else [begin]
            found += _lines(inner, depth + 1)
        else:
            found.append(f"{begin} {inner}")
    return found

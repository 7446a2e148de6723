"""The sensors: how each does, one of them in full, and how strong they are heard while somebody walks about."""

import sqlite3
from typing import Any

from aiohttp import web

from gatewayd.model.house import Sensor
from gatewayd.model.moment import SECOND
from gatewayd.model.reading import Quality, Quantity
from gatewayd.model.units import show_span
from gatewayd.settings.adding import takes_back
from gatewayd.store.batch import Calibration
from gatewayd.store.calibration import offsets
from gatewayd.upkeep.signal import LATELY, placing, strength
from gatewayd.watch import condition
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home, Plain
from gatewayd.web.paint import Paint
from gatewayd.web.visitor import signed_in
from gatewayd.web.wiring import Wiring

# While somebody carries a gateway about, an older report says nothing of the place where they are now. Our choice.
HERE = 15 * SECOND
WALKED = 6  # sensors that are looked at at once: more do not fit a screen that is read at arm's length
UNHEARD = "In ice just now, or just back from it: it watches nothing."


class Sensors:
    """Answer at /sensors, /sensors/walk and /sensor/ID."""

    def __init__(self, home: Home, paint: Paint, wiring: Wiring) -> None:
        """Take the house, the painter, and who can take a new sensor back."""
        self._home = home
        self._paint = paint
        self._wiring = wiring

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/sensors", self.show)
        app.router.add_get("/sensors/walk", self.walk)
        app.router.add_get("/sensor/{id}", self.one)
        app.router.add_post("/sensor/{id}/battery", self.battery)

    async def show(self, request: web.Request) -> web.Response:
        """Show all of them, each with what is to be known of it."""
        checked, due = await self._home.read(_checked), await self._due()
        rows = [self._row(entry, checked, due) for entry in self._home.health()]
        return self._paint.page(request, "sensors.html", rows=rows)

    async def one(self, request: web.Request) -> web.Response:
        """Show one sensor in full."""
        sensor, entry = self._find(request)
        row = self._row(entry, await self._home.read(_checked), await self._due())
        new = "new" in request.query and takes_back(sensor.id, self._wiring.undoing())
        source = self._home.house.sources.get(sensor.source, sensor.source)
        return self._paint.page(
            request,
            "sensor.html",
            row=row,
            new=new,
            source=source,
            channel=sensor.channel,
            every=condition.every(entry),
        )

    async def battery(self, request: web.Request) -> web.Response:
        """Write down that its battery was changed."""
        sensor, _ = self._find(request)
        form, to = await read_form(request), f"/sensor/{sensor.id}"
        try:
            note, key = form.text("note"), form.key
        except Wrong as wrong:
            return self._paint.back(request, to, str(wrong), done=False)
        order = {"ask": "chore", "do": "add", "subject": sensor.id, "kind": "battery", "note": note, "key": key}
        return self._paint.answered(request, to, await self._home.ask(order, signed_in(request).who))

    async def walk(self, request: web.Request) -> web.Response:
        """Show how strong some sensors are heard just now, in words that are read at arm's length."""
        heard = [entry for entry in self._home.health() if entry["signal"] is not None]
        wanted = set(request.query.getall("sensor", [heard[0]["id"]] if len(heard) == 1 else []))
        chosen = [_step(entry) for entry in heard if entry["id"] in wanted][:WALKED]
        pairs = [(entry["id"], entry["name"], entry["id"] in wanted) for entry in heard]
        again = request.path_qs
        return self._paint.page(
            request, "sensors_walk.html", chosen=chosen, pairs=pairs, again=again, lately=show_span(LATELY)
        )

    def _find(self, request: web.Request) -> tuple[Sensor, Plain]:
        id_ = request.match_info["id"]
        entry = next((entry for entry in self._home.health() if entry["id"] == id_), None)
        sensor = self._home.house.sensors.get(id_)
        if entry is None or sensor is None:
            raise web.HTTPNotFound(text="There is no such sensor.")
        return sensor, entry

    async def _due(self) -> dict[str, list[str]]:
        """Return what is to be done for each sensor, in words."""
        found: dict[str, list[str]] = {}
        for one in (await self._home.ask({"ask": "due"}, "")).get("due", []):
            found.setdefault(one["subject"], []).append(one["text"])
        return found

    def _row(self, entry: Plain, checked: dict[str, Calibration], due: dict[str, list[str]]) -> dict[str, Any]:
        """Return what a row shows of a sensor."""
        house, silent = self._home.house, condition.silent(entry)
        fallen = condition.fell(entry)
        return {
            "id": entry["id"],
            "name": entry["name"],
            "where": condition.where(entry, lambda freezer: house.freezers[freezer].name),
            "freezer": entry["freezer"],
            "freezer_name": house.freezers[entry["freezer"]].name if entry["freezer"] else "",
            "thermometer": entry["measures"] == Quantity.TEMPERATURE.value,
            "celsius": entry["celsius"],
            "state": entry["state"],
            "aside": UNHEARD if entry["quality"] == Quality.ASIDE.value else "",
            "silent": silent,
            "heard_ago": entry["heard_ago"],
            "battery": condition.battery(entry),
            "signal": condition.signal(entry),
            "missed": entry["missed"],
            "unsaid": condition.unsaid(entry),
            "faults": condition.faults(entry),
            "advice": entry["advice"],
            "offset": entry["offset"],
            "checked": checked.get(entry["id"]),
            "due": due.get(entry["id"], []),
            "class": "bad" if silent else "warn" if fallen or entry["advice"] else "",
        }


def _checked(conn: sqlite3.Connection) -> dict[str, Calibration]:
    """Return the newest check of each thermometer."""
    return {found.sensor: found for found in offsets(conn) if found.quantity is Quantity.TEMPERATURE}


def _minus(number: int) -> str:
    """Return a number with the sign that temperatures have."""
    return f"{number}".replace("-", "−")


def _step(entry: Plain) -> dict[str, Any]:
    """Return what somebody who walks about must know of a sensor."""
    ago, lately = entry["heard_ago"], entry["signal_lately"]
    here = ago is not None and ago <= HERE
    return {
        "id": entry["id"],
        "name": entry["name"],
        "here": here,
        "strength": strength(entry["signal"]),
        "signal": _minus(entry["signal"]),
        "ago": ago,
        "lately": lately and {"weakest": _minus(lately[0]), "strongest": _minus(lately[1]), "count": lately[2]},
        "every": condition.every(entry),
        "todo": placing(entry["signal"]) if here else "Stand still here until it is heard again.",
    }

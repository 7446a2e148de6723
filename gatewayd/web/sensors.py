"""The sensors: how each does, one of them in full, and how strong they are heard while somebody walks about."""

import asyncio
import sqlite3
from collections.abc import Callable
from typing import Any

from aiohttp import web

from gatewayd.model.house import Sensor
from gatewayd.model.moment import SECOND
from gatewayd.model.reading import Quality, Quantity
from gatewayd.model.units import show_span
from gatewayd.settings import schema
from gatewayd.settings.adding import takes_back
from gatewayd.settings.document import Document, at, plain, with_setting
from gatewayd.settings.faults import Said
from gatewayd.settings.removing import without_sensor
from gatewayd.settings.standing import Stands
from gatewayd.store.batch import Calibration
from gatewayd.store.calibration import offsets
from gatewayd.upkeep.signal import LATELY, placing, strength
from gatewayd.watch import condition
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.home import Home, Plain
from gatewayd.web.limits import where
from gatewayd.web.once import Once
from gatewayd.web.paint import Paint
from gatewayd.web.saving import careful, kept
from gatewayd.web.visitor import signed_in
from gatewayd.web.wiring import Wiring

# While somebody carries a gateway about, an older report says nothing of the place where they are now. Our choice.
HERE = 15 * SECOND
WALKED = 6  # sensors that are looked at at once: more do not fit a screen that is read at arm's length
NAME = 80  # characters; what the settings allow
NO_FREEZER = "none"
UNHEARD = "In ice just now, or just back from it: it watches nothing."


class Sensors:
    """Answer at /sensors, /sensors/walk and /sensor/ID."""

    def __init__(self, home: Home, paint: Paint, wiring: Wiring) -> None:
        """Take the house, the painter, and who can take a new sensor back."""
        self._home = home
        self._paint = paint
        self._wiring = wiring
        self._once = Once()

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/sensors", self.show)
        app.router.add_get("/sensors/walk", self.walk)
        app.router.add_get("/sensor/{id}", self.one)
        app.router.add_post("/sensor/{id}/battery", self.battery)
        app.router.add_post("/sensor/{id}/about", self._once.of(self.save))
        app.router.add_post("/sensor/{id}/remove", self._once.of(self.remove))

    async def show(self, request: web.Request) -> web.Response:
        """Show all of them, each with what is to be known of it."""
        checked, due = await self._home.read(_checked), await self._due()
        rows = [self._row(entry, checked, due) for entry in self._home.health()]
        return self._paint.page(request, "sensors.html", rows=rows)

    async def one(self, request: web.Request) -> web.Response:
        """Show one sensor in full."""
        return await self._one(request)

    async def _one(self, request: web.Request, wrong: str = "", form: Form | None = None) -> web.Response:
        """Show one sensor; `form` is what was filled in, where that was `wrong`."""
        sensor, entry = self._find(request)
        row = self._row(entry, await self._home.read(_checked), await self._due())
        new = "new" in request.query and takes_back(sensor.id, self._wiring.undoing())
        source = self._home.house.sources.get(sensor.source, sensor.source)
        return self._paint.page(
            request,
            "sensor.html",
            status=422 if wrong else 200,
            wrong=wrong,
            about=await self._about(sensor, form),
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

    async def save(self, request: web.Request) -> web.Response:
        """Take another name, or another freezer; what the form did not change stays as others have left it."""
        sensor, _ = self._find(request)
        form, path = await read_form(request), (schema.SENSORS.name, sensor.id)
        try:
            name, freezer = form.needed("name", NAME), form.text("freezer")
            renamed, moved = name != form.text("name_was", NAME), freezer != form.text("freezer_was")
        except Wrong as wrong:
            return await self._one(request, str(wrong), form)
        if moved and freezer != NO_FREEZER and freezer not in self._home.house.freezers:
            return await self._one(request, "Choose the freezer it lies in, or that it lies in none.", form)

        def edit(document: Document) -> Document:
            if at(document, *path) is None:
                raise ValueError(f"{sensor.name} stands in your own settings file; change it there")
            if renamed:
                document = with_setting(document, (*path, schema.SENSOR_NAME.name), plain(name))
            if moved:
                into = None if freezer == NO_FREEZER else freezer
                document = with_setting(document, (*path, schema.SENSOR_FREEZER.name), into)
            return document

        faults = await self._change(request, edit)
        if faults:
            return await self._one(request, " ".join(faults), form)
        return self._paint.back(request, f"/sensor/{sensor.id}", "Saved. It counts from now on.")

    async def remove(self, request: web.Request) -> web.Response:
        """Take a sensor out that stands in gatewayd's own settings."""
        sensor, _ = self._find(request)
        faults = await self._change(request, lambda document: without_sensor(document, sensor.id))
        if faults:
            return self._paint.back(request, f"/sensor/{sensor.id}", " ".join(faults), done=False)
        text = f"{sensor.name} is no sensor of the house any more. What it has said stays stored."
        return self._paint.back(request, "/sensors", text)

    async def _change(self, request: web.Request, edit: Callable[[Document], Document]) -> list[str]:
        """Change house.yaml; return faults in words, without lines of a file that was only tried."""
        before = self._wiring.settings.warnings
        faults = await self._wiring.change(edit, signed_in(request).who)
        if not faults:
            for text in careful(before, self._wiring.settings.warnings):
                self._paint.say(request, text)
        return [fault.short if isinstance(fault, Said) else fault for fault in faults]

    async def _about(self, sensor: Sensor, form: Form | None) -> dict[str, Any]:
        """Return what may be changed of a sensor, and where it stands if nothing may."""
        house, standing = self._home.house, await asyncio.to_thread(self._wiring.standing)
        path = f"{schema.SENSORS.name}.{sensor.id}"
        inside = next((one.id for one in house.freezers.values() if sensor.id in (*one.sensors, *one.others)), "")
        by_own: Stands | None = None  # where the keeper has put it into its freezer
        if inside and f"{path}.{schema.SENSOR_FREEZER.name}" not in standing.at:
            by_own = standing.own(f"{schema.FREEZERS.name}.{inside}.{schema.FREEZER_SENSORS.name}")
        now = {"name": sensor.name, "freezer": inside or NO_FREEZER}
        own = standing.own(path)
        return {
            "ours": own is None and path in standing.at,
            "own": own and where(own.file.name, own.line),
            "by_own": by_own and where(by_own.file.name, by_own.line),
            "freezers": [*((id_, one.name) for id_, one in house.freezers.items()), (NO_FREEZER, "In none")],
            "was": {name: kept(form, f"{name}_was") for name in now} if form else now,
            "filled": {name: kept(form, name) for name in now} if form else now,
        }

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

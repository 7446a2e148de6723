"""What is heard nearby, known or not; one of it, once it is tapped and named, becomes a sensor of the house."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from aiohttp import web

from gatewayd.model.house import check_id
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Quantity
from gatewayd.model.units import show_span
from gatewayd.settings import device
from gatewayd.settings.adding import Addable, addable, known_as, proposed_id, shown, taken_ids, takes_back, with_heard
from gatewayd.settings.document import Document, plain
from gatewayd.upkeep.signal import strength
from gatewayd.watch.nearby import Neighbour, pointers, understand
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.hearing import Hearing
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.server import lasting
from gatewayd.web.visitor import signed_in
from gatewayd.web.wiring import Wiring

LISTED = 60  # rows of a page: it stays under 20 kB, and who looks for a sensor among more narrows them down
CHOICES = 60  # numbers of one message of which one is chosen
NAME = 80  # characters
SHOWN = 120  # characters of an address or topic in a row; the form shows all of it
NO_FREEZER = "none"
TAKE_OUT = "To take out this sensor alone, see Its name and place below."
WAYS = {"air": "in the air", "broker": "at a broker", "wire": "at the wire"}


@dataclass(frozen=True, slots=True)
class Filled:
    """Hold what a person said of a new sensor."""

    name: str
    id: str
    freezer: str
    key: str
    pointer: str


class NearbyPages:
    """Answer at /sensors/nearby."""

    def __init__(self, home: Home, paint: Paint, wiring: Wiring, hearing: Hearing) -> None:
        """Take the house, the painter, what changes the settings, and what listens."""
        self._home = home
        self._paint = paint
        self._wiring = wiring
        self._hearing = hearing

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/sensors/nearby", self.show)
        app.router.add_post("/sensors/nearby", self.listen)
        app.router.add_get("/sensors/nearby/add", self.ask)
        app.router.add_post("/sensors/nearby/add", lasting(self.take))
        app.router.add_post("/sensors/nearby/undo", lasting(self.undo))

    async def show(self, request: web.Request) -> web.Response:
        """Show what is heard, the newest first: rows stay where they are while somebody aims at one."""
        words, now = request.query.get("with", "").strip().lower()[:NAME], self._hearing.now()
        found = [each for each in self._hearing.nearby if words in f"{each.name} {each.channel}".lower()]
        found.sort(key=lambda each: each.first.steady, reverse=True)
        rows = [self._row(each, now) for each in found[:LISTED]]
        until = self._hearing.until
        return self._paint.page(
            request,
            "nearby.html",
            rows=[row for row in rows if not row["known"]],
            known=[row for row in rows if row["known"]],
            more=max(0, len(found) - LISTED),
            words=words,
            left=None if until is None else max(0, until - now.steady),
            troubles=list(self._hearing.troubles),
        )

    async def listen(self, request: web.Request) -> web.Response:
        """Begin to listen."""
        self._hearing.begin()
        return self._paint.back(request, "/sensors/nearby")

    async def ask(self, request: web.Request) -> web.Response:
        """Ask what only a person knows of something that was heard."""
        found = self._find(request)
        if found is None:
            return self._gone(request)
        try:
            heard = addable(found, self._wiring.settings)
        except ValueError:
            return self._form(request, found, None, status=200)
        return self._form(request, found, heard)

    async def take(self, request: web.Request) -> web.Response:
        """Show what would be written, and when that was looked at write it."""
        found, form = self._find(request), await read_form(request)
        if found is None:
            return self._gone(request)
        try:
            heard = addable(found, self._wiring.settings)
        except ValueError as wrong:
            return self._form(request, found, None, wrong=f"{wrong}.", status=422)
        try:
            filled, write = self._filled(form, heard), form.text("step") == "write"
        except Wrong as wrong:
            return self._form(request, found, heard, form, wrong=str(wrong), status=422)
        if filled.id in taken_ids(self._home.house):
            if write and any(one.id == filled.id for one in known_as(found, self._home.house)):  # tapped twice
                return self._paint.back(request, f"/sensor/{filled.id}?new=1")
            return self._form(request, found, heard, form, wrong=self._taken(filled.id), status=422)
        freezer = "" if filled.freezer == NO_FREEZER else filled.freezer
        entry = heard.filled(plain(filled.name), freezer=freezer, key=filled.key, pointer=filled.pointer)
        if not write:
            return self._preview(request, found, filled, entry)
        settings = self._wiring.settings

        def edit(document: Document) -> Document:
            return with_heard(document, filled.id, entry, settings)

        faults = await self._wiring.change(edit, signed_in(request).who)
        if faults:
            return self._form(request, found, heard, form, wrong="\n".join(faults), status=422)
        return self._paint.back(request, f"/sensor/{filled.id}?new=1", f"{filled.name} is a sensor of the house now.")

    async def undo(self, request: web.Request) -> web.Response:
        """Take a sensor back that was added by the last change of the settings."""
        sensor = str((await read_form(request)).fields.get("sensor", ""))
        if not takes_back(sensor, self._wiring.undoing()):
            there = sensor in self._home.house.sensors
            text = "Something else was changed in the settings since, and would go too."
            text += f" {TAKE_OUT}" if there else ""
            return self._paint.back(request, f"/sensor/{sensor}" if there else "/sensors", text, done=False)
        faults = await self._wiring.undo(signed_in(request).who)
        if faults:
            return self._paint.back(request, "/sensors", "\n".join(faults), done=False)
        return self._paint.back(request, "/sensors/nearby", "Taken back. The settings are as they were before.")

    def _find(self, request: web.Request) -> Neighbour | None:
        query = request.query
        return self._hearing.nearby.get(query.get("way", ""), query.get("source", ""), query.get("channel", ""))

    def _gone(self, request: web.Request) -> web.Response:
        text = "That was not heard lately. Listen once more; it shows up again when it sends."
        return self._paint.back(request, "/sensors/nearby", text, done=False)

    def _taken(self, id_: str) -> str:
        """Say whose id it is already."""
        house = self._home.house
        what = "a sensor" if id_ in house.sensors else "a freezer" if id_ in house.freezers else "something else"
        return f"The id {id_} is that of {what} already; choose another, or leave the field empty."

    def _filled(self, form: Form, heard: Addable) -> Filled:
        """Return what was filled in. Raise Wrong for the first field that cannot be used."""
        name = form.needed("name", NAME)
        freezer = form.text("freezer")
        if freezer != NO_FREEZER and freezer not in self._home.house.freezers:
            raise Wrong("Choose the freezer it lies in, or that it lies in none.")
        key = form.text("sealed_with")
        if heard.sealed:
            try:
                key = device.key.parse(key)
            except ValueError:
                raise Wrong(
                    "It seals what it says: its key must be filled in, 32 digits of 0-9 and a-f, nothing between."
                ) from None
        pointer = form.text("value")
        if heard.choices and pointer not in {pointer for pointer, _ in heard.choices}:
            raise Wrong("Choose which of its numbers is the temperature; what it sends may have changed meanwhile.")
        id_ = form.text("id") or proposed_id(name, self._home.house)
        try:
            check_id(id_)
        except ValueError as wrong:
            raise Wrong(f"{wrong}.") from None
        return Filled(name, id_, freezer, key, pointer)

    def _form(
        self,
        request: web.Request,
        found: Neighbour,
        heard: Addable | None,
        form: Form | None = None,
        *,
        wrong: str = "",
        status: int = 200,
    ) -> web.Response:
        """Show the form, with what was typed still in it; without `heard` only why there is none."""
        house, name = self._home.house, found.name or (heard.name if heard else "")
        freezers = [("", "Choose …"), *((id_, freezer.name) for id_, freezer in house.freezers.items())]
        fields = {"name": name, "id": "", "freezer": "", "sealed_with": "", "value": ""}
        if form is not None:
            fields |= {field: str(form.fields.get(field, ""))[: NAME * 2] for field in fields}
        choices = list(heard.choices[:CHOICES]) if heard else []
        return self._paint.page(
            request,
            "nearby_add.html",
            status=status,
            row=self._row(found, self._hearing.now()),
            channel=found.channel,
            action=_way(found),
            can=heard is not None,
            sealed=heard is not None and heard.sealed,
            choices=[(pointer, f"{pointer or 'the whole message'}: now {number:g}") for pointer, number in choices],
            freezers=[*freezers, (NO_FREEZER, "In none: a room, for instance")],
            proposed=proposed_id(fields["name"], house),
            wrong=wrong,
            fields=fields,
        )

    def _preview(self, request: web.Request, found: Neighbour, filled: Filled, entry: Document) -> web.Response:
        freezer = self._home.house.freezers.get(filled.freezer)
        fields = {
            "step": "write", "name": filled.name, "id": filled.id, "freezer": filled.freezer,
            "sealed_with": filled.key, "value": filled.pointer,
        }  # fmt: skip
        return self._paint.page(
            request,
            "nearby_look.html",
            row=self._row(found, self._hearing.now()),
            name=filled.name,
            freezer=freezer.name if freezer else "",
            text=shown(filled.id, entry),
            action=_way(found),
            fields=fields,
        )

    def _row(self, found: Neighbour, now: Moment) -> dict[str, Any]:
        """Return what a row shows of something that was heard."""
        seems, every = understand(found), found.every()
        units, known = self._home.house.units, known_as(found, self._home.house)
        says = [
            units.show(value.value) if value.quantity is Quantity.TEMPERATURE else _word(value.quantity, value.value)
            for value in seems.values
        ]
        return {
            "name": found.name or _short(found.channel),
            "channel": _short(found.channel) if found.name else "",
            "where": self._where(found),
            "says": ", ".join(says),
            "why_not": "" if says else _why_not(found, seems.why_not, sealed=seems.encrypted),
            "more": bool(known) and found.way == "broker" and len(pointers(found.newest().get("", b""))) > 1,
            "signal": "" if found.signal is None else f"{strength(found.signal)} (−{-found.signal} dBm)",
            "count": found.count,
            "every": "" if every is None else show_span(every),
            "ago": now.steady - found.last.steady,
            "way": _way(found),
            "known": [(sensor.id, sensor.name) for sensor in known],
        }

    def _where(self, found: Neighbour) -> str:
        source = self._home.house.sources.get(found.source, "")
        return f"{WAYS.get(found.way, '')}{f', {source}' if source and found.way == 'broker' else ''}"


def _way(found: Neighbour) -> str:
    """Return where the form of something that was heard is."""
    where: Sequence[tuple[str, str]] = (("way", found.way), ("source", found.source), ("channel", found.channel))
    return f"/sensors/nearby/add?{urlencode(where)}"


def _word(quantity: Quantity, value: float) -> str:
    """Return a value beside a temperature, with its unit or what it is."""
    return f"{value:g} {quantity.unit}" if quantity.unit else f"{quantity.value} {value:g}"


def _why_not(found: Neighbour, why: str, *, sealed: bool) -> str:
    """Say why nothing of it can be shown."""
    if sealed:
        return "It seals what it says; adding it needs its key."
    if found.way == "air" and understand(found).payload is None:
        return "It says nothing here in an open format. One that must be connected to has to be added by hand."
    return f"It cannot be read: {why}."


def _short(text: str) -> str:
    return text if len(text) <= SHOWN else f"{text[:SHOWN]}…"

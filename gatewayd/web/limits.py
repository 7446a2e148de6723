"""Settings: each with its default and the reason, what the keeper wrote by hand shown and left alone."""

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from aiohttp import web

from gatewayd.message.words import capital
from gatewayd.model.house import Kind, check_id
from gatewayd.settings import schema
from gatewayd.settings.document import Document, plain, with_freezer
from gatewayd.settings.faults import HIDDEN, Said, words_of
from gatewayd.settings.removing import without_freezer
from gatewayd.settings.standing import Standing
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.once import Once
from gatewayd.web.paint import Paint
from gatewayd.web.saving import careful, fill, free_id, kept
from gatewayd.web.sheet import Sheet, freezer_sheets, sheet_of
from gatewayd.web.visitor import signed_in
from gatewayd.web.wiring import Wiring

PARTS = {
    "about": "What it is",
    "limits": "Limits and delays",
    "alarms": "How much each alarm matters",
    "contents": "What it holds, roughly",
}
NOTES = {
    "contents": (
        "A guess is enough: it says how long the cold lasts without power. What stands here goes before the stock "
        "list. Without anything here the list counts, and without a list a half-full freezer is guessed."
    )
}
NAME = 80  # characters; what the settings allow


@dataclass(frozen=True, slots=True)
class Line:
    """Hold one setting that is shown only: its path, what is written (secrets hidden), and where."""

    path: str
    text: str
    where: str


class Limits:
    """Answer at /settings and below."""

    def __init__(self, home: Home, paint: Paint, wiring: Wiring) -> None:
        """Take the house, the painter, and what changes the settings."""
        self._home = home
        self._paint = paint
        self._wiring = wiring
        self._once = Once()

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/settings", self.show)
        app.router.add_get("/settings/house", self.show_house)
        app.router.add_get("/settings/written", self.written)
        of_freezer = f"/settings/{{freezer}}/{{part:{'|'.join(PARTS)}}}"
        app.router.add_get(of_freezer, self.show_part)
        for path, handler in (
            ("/settings/house", self.save_house),
            ("/settings/freezers", self.add_freezer),
            ("/settings/undo", self.undo),
            (of_freezer, self.save_part),
            ("/settings/{freezer}/remove", self.remove),
        ):
            app.router.add_post(path, self._once.of(handler))

    async def show(self, request: web.Request) -> web.Response:
        """Show what there is to set."""
        return await self._front(request)

    async def _front(
        self, request: web.Request, wrong: str = "", filled: Mapping[str, str] | None = None, status: int = 200
    ) -> web.Response:
        standing = await asyncio.to_thread(self._wiring.standing)
        freezers = [
            {"id": id_, "name": freezer.name, "kind": freezer.kind.value.replace("-", " "), "limits": freezer.limits,
             "ours": standing.own(f"{schema.FREEZERS.name}.{id_}") is None and f"freezers.{id_}" in standing.at}
            for id_, freezer in self._home.house.freezers.items()
        ]  # fmt: skip
        return self._paint.page(
            request, "settings.html", status=status, wrong=wrong, freezers=freezers, parts_=PARTS,
            faults=[str(fault) for fault in standing.faults],
            warnings=[capital(words_of(text)) for text in self._wiring.settings.warnings],
            undoing=self._wiring.undoing() if self._wiring.undoable() else [], undoable=self._wiring.undoable(),
            version=self._home.house.version,
            kinds=[(kind.value, kind.value.replace("-", " ")) for kind in Kind],
            filled={"name": "", "kind": "chest", "id": "", **(filled or {})},
        )  # fmt: skip

    async def show_house(self, request: web.Request) -> web.Response:
        """Show what is set of the house as a whole."""
        standing = await asyncio.to_thread(self._wiring.standing)
        return self._part(request, self._house_sheet(standing), "The house", "/settings/house")

    async def save_house(self, request: web.Request) -> web.Response:
        """Take what was typed."""
        return await self._save(request, self._house_sheet, "The house", "/settings/house")

    async def show_part(self, request: web.Request) -> web.Response:
        """Show one form of a freezer."""
        freezer, part, title = self._which(request)
        standing = await asyncio.to_thread(self._wiring.standing)
        sheet = freezer_sheets(freezer, standing, self._home.house)[part]
        return self._part(request, sheet, title, request.path)

    async def save_part(self, request: web.Request) -> web.Response:
        """Take what was typed in one form of a freezer."""
        freezer, part, title = self._which(request)
        return await self._save(
            request,
            lambda standing: freezer_sheets(freezer, standing, self._home.house)[part],
            title,
            request.path,
        )

    async def add_freezer(self, request: web.Request) -> web.Response:
        """Add a freezer of which only the name and how it is built are known."""
        form = await read_form(request)
        filled = {name: kept(form, name) for name in ("name", "kind", "id")}
        try:
            name = form.needed("name", NAME)
            kind = form.choice("kind", [kind.value for kind in Kind])
            id_ = _id(form.text("id")) or free_id(name, "freezer", self._taken())
        except Wrong as wrong:
            return await self._front(request, capital(str(wrong)), filled, 422)
        if id_ in self._taken():
            what = "is that of a freezer" if id_ in self._home.house.freezers else "belongs to something else"
            return await self._front(request, f"The id {id_} {what} already; choose another.", filled, 422)
        entry = {"name": plain(name), "kind": kind}
        faults = await self._change(request, lambda document: with_freezer(document, id_, entry))
        if faults:
            return await self._front(request, " ".join(faults), filled, 422)
        text = f"{name} is there. It is watched as soon as a sensor is in it: go on with Sensors."
        return self._paint.back(request, f"/settings/{id_}/about", text)

    async def remove(self, request: web.Request) -> web.Response:
        """Take a freezer away that was added here."""
        freezer = request.match_info["freezer"]
        name = self._freezer_name(freezer)
        house = self._home.house
        inside = (*house.freezers[freezer].sensors, *house.freezers[freezer].others)
        standing = await asyncio.to_thread(self._wiring.standing)
        for id_ in inside:
            own = standing.own(f"{schema.SENSORS.name}.{id_}.{schema.SENSOR_FREEZER.name}")
            if own is not None:
                by = f"{house.sensors[id_].name} lies in {name} by your own settings file"
                text = f"{by} ({where(own.file.name, own.line)}). Change that there first. Nothing was changed."
                return self._paint.back(request, "/settings", text, done=False)
        sensors = [house.sensors[id_].name for id_ in inside]
        faults = await self._change(request, lambda document: without_freezer(document, freezer))
        stay = f" In no freezer now: {', '.join(sensors)}; see Sensors." if sensors else ""
        said = [fault.short if isinstance(fault, Said) else fault for fault in faults]
        text = " ".join(said) or f"{name} is no longer watched. What was stored of it stays.{stay}"
        return self._paint.back(request, "/settings", text, done=not faults)

    async def undo(self, request: web.Request) -> web.Response:
        """Take the last change back, if it is the one that the page showed."""
        if (await read_form(request)).text("version") != self._home.house.version:
            text = "Something else was changed since. Look at what would be taken back now."
            return self._paint.back(request, "/settings", text, done=False)
        before = self._wiring.settings.warnings
        faults = await self._wiring.undo(signed_in(request).who)
        self._warn(request, before if not faults else self._wiring.settings.warnings)
        text = " ".join(faults) or "The last change is taken back, and what was before is in force again."
        return self._paint.back(request, "/settings", text, done=not faults)

    async def written(self, request: web.Request) -> web.Response:
        """Show all that stands in the files, secrets hidden; not to somebody who may only look."""
        standing = await asyncio.to_thread(self._wiring.standing)
        lines = [
            Line(path, found.text, where(found.file.name, found.line))
            for path, found in standing.at.items()
            if found.text
        ]
        shown = lines if signed_in(request).may_order else [Line(line.path, HIDDEN, line.where) for line in lines]
        files = [str(path) for path in self._wiring.settings.files]
        return self._paint.page(request, "settings_written.html", lines=shown, files=files)

    # -- forms ---------------------------------------------------------------------------------------------

    def _house_sheet(self, standing: Standing) -> Sheet:
        return sheet_of(schema.SITE, (schema.SITE.name,), standing, self._home.house)

    def _part(self, request: web.Request, sheet: Sheet, title: str, action: str, status: int = 200) -> web.Response:
        return self._paint.page(
            request, "settings_part.html", status=status, title=title, sheet=sheet, action=action, back="/settings",
            back_words="All settings", note=NOTES.get(action.rpartition("/")[2], ""),
        )  # fmt: skip

    async def _save(
        self, request: web.Request, make: Callable[[Standing], Sheet], title: str, action: str
    ) -> web.Response:
        sheet = make(await asyncio.to_thread(self._wiring.standing))
        filled = await fill(
            request, sheet, self._home.house, lambda edit: self._change(request, edit), self._wiring.set_by
        )
        if not filled.right:
            return self._part(request, filled, title, action, 422)
        self._paint.say(request, " ".join(filled.meanwhile))
        return self._paint.back(request, action, "Saved. It counts from the next reading on.")

    async def _change(self, request: web.Request, edit: Callable[[Document], Document]) -> list[str]:
        """Change house.yaml; what the settings then warn of, and did not before, is said on the next page."""
        before = self._wiring.settings.warnings
        faults = await self._wiring.change(edit, signed_in(request).who)
        if not faults:
            self._warn(request, before)
        return faults

    def _warn(self, request: web.Request, before: tuple[str, ...]) -> None:
        for text in careful(before, self._wiring.settings.warnings):
            self._paint.say(request, text)

    def _which(self, request: web.Request) -> tuple[str, str, str]:
        freezer, part = request.match_info["freezer"], request.match_info["part"]
        return freezer, part, f"{self._freezer_name(freezer)}: {PARTS[part][0].lower()}{PARTS[part][1:]}"

    def _freezer_name(self, freezer: str) -> str:
        found = self._home.house.freezers.get(freezer)
        if found is None:
            raise web.HTTPNotFound
        return found.name

    def _taken(self) -> set[str]:
        """Return the ids that a freezer cannot have: events are kept by id alone."""
        house = self._home.house
        return {*house.freezers, *house.sensors, *house.sources, *house.neighbours, house.id}


def _id(text: str) -> str:
    """Return an id that was typed, empty for none. Raise Wrong for one that cannot be."""
    try:
        return check_id(text) if text else ""
    except ValueError as wrong:
        raise Wrong(f"{wrong}.") from None


def where(file: str, line: int) -> str:
    """Say where something stands."""
    return f"{file}, line {line}" if line else file

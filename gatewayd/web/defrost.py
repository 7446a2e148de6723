"""Defrost: when each freezer is due, the plan for one, and somebody led through it step by step."""

import asyncio
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from aiohttp import web

from gatewayd.message.trial import NOT_COLD
from gatewayd.message.words import at, clock, lid, person
from gatewayd.model.chore import Chore, Kind
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.units import show_span
from gatewayd.store.chore import chores
from gatewayd.store.read import events
from gatewayd.upkeep.defrost import (
    CREW,
    FOOD_BACK,
    FOOD_OUT,
    KEYS,
    NEVER,
    NOT_DUE,
    STEPS,
    SWITCHED_ON,
    switch_unsaid,
    told_day,
    upcoming,
)
from gatewayd.watch.defrosting import (
    BEGIN_DEFROST,
    CANCEL,
    DEFROST_NOTE,
    END_DEFROST,
    PLANNED,
    STEP_DEFROST,
    UNHEARD,
)
from gatewayd.watch.hindrance import ANYWAY
from gatewayd.watch.switchoff import GRACE
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.frost import frosts
from gatewayd.web.home import Home, Plain
from gatewayd.web.paint import Paint
from gatewayd.web.spoken import sentences, spoken
from gatewayd.web.timers import timers, wall
from gatewayd.web.visitor import signed_in

# What may be chosen as planned, within what the watch allows. Our choice: few, and the usual one among them.
SPANS = {str(minutes): minutes * MINUTE for minutes in (30, 60, 90, 120, 180)}
LATELY = DAY  # so long the page of a freezer begins with the defrost that is over. Our choice
NOTE = 300  # characters of a note


class Defrost:
    """Answer at /defrost and /defrost/FREEZER, and print its checklist."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint
        self._turn = asyncio.Lock()  # two phones that say the same are heard one after the other

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/defrost", self.overview)
        app.router.add_get("/defrost/{freezer}", self.show)
        for name in ("begin", "step", "more", "finish", "cancel"):
            app.router.add_post(f"/defrost/{{freezer}}/{name}", getattr(self, name))
        app.router.add_get("/print/defrost", self.printed)

    # -- looking ---------------------------------------------------------------------------------------

    async def overview(self, request: web.Request) -> web.Response:
        """Show each freezer: the ones that are being defrosted first, then as they are due."""
        found, trouble = await self._plans(request)
        now = self._home.now().wall
        rows = [
            {
                **one,
                "go": self._going(one["running"], now),
                "began": wall(one["running"]["began"]) if one["running"] else None,
                "ice": (await frosts(self._home, one["id"]))["growth"] if one["frost"] else "",
            }
            for one in found
        ]
        rows.sort(key=lambda one: (one["running"] is None, not one["due"], one["due"][0]["by"] if one["due"] else ""))
        return self._paint.page(request, "defrost.html", rows=rows, trouble=trouble, never=NEVER, not_due=NOT_DUE)

    async def show(self, request: web.Request) -> web.Response:
        """Show the plan for one freezer, or the step at hand while it is being defrosted."""
        return await self._shown(request, freezer_of(request, self._home))

    async def _shown(self, request: web.Request, who: str, wrong: str = "", form: Form | None = None) -> web.Response:
        seen = self._seen(who)
        status = 422 if wrong else 200
        filled = form.fields if form is not None else {}
        if seen["defrost"] is not None:
            shown = await self._during(who, seen)
            return self._paint.page(request, "defrost_on.html", status=status, wrong=wrong, filled=filled, **shown)
        await self._home.ask({"ask": "due"}, signed_in(request).who)  # so that it knows what has been decided on
        found, trouble = await self._plans(request)
        left = sentences(self._seen(who)["left_alone"] or "").removesuffix(" Nothing changed.")
        return self._paint.page(
            request, "defrost_plan.html", status=status, wrong=wrong, filled=filled, trouble=trouble, left=left,
            plan=next((one for one in found if one["id"] == who), None), last=await self._lately(who),
            ice=await frosts(self._home, who), steps=STEPS, crew=CREW, spans=_spans(), planned=str(PLANNED // MINUTE),
            id=who, name=seen["name"], never=NEVER, not_due=NOT_DUE,
        )  # fmt: skip

    async def printed(self, request: web.Request) -> web.Response:
        """Show the checklist of one freezer as it is printed, or which freezers there are."""
        who = request.query.get("freezer", "")
        names = {one.id: one.name for one in self._home.house.freezers.values()}
        if len(names) == 1 and not who:
            who = next(iter(names))
        if who and who not in names:
            raise web.HTTPNotFound
        found, trouble = await self._plans(request)
        plan = next((one for one in found if one["id"] == who), None)
        return self._paint.page(
            request, "defrost_print.html", names=names, id=who, plan=plan, trouble=trouble, steps=STEPS, crew=CREW,
        )  # fmt: skip

    async def _plans(self, request: web.Request) -> tuple[list[Plain], str]:
        """Return the plans of all freezers with their days as moments, and what was wrong with reading them."""
        answer = await self._home.ask({"ask": "defrost", "do": "plan"}, signed_in(request).who)
        found = answer.get("freezers", [])
        for one in found:
            if one["good_day"]:
                day = datetime.fromisoformat(one["good_day"]["at"])
                one["good_day"]["words"] = told_day(day, one["good_day"]["why"])
            one["last_wall"] = wall(one["last"]) if one["last"] else None
        return found, str(answer.get("error", ""))

    def _seen(self, who: str) -> Plain:
        """Return what the watch sees of a freezer now."""
        return next(one for one in self._home.status()["freezers"] if one["id"] == who)

    def _going(self, running: Plain | None, now: int) -> Plain | None:
        """Return how far a defrost is, None where none runs."""
        if running is None:
            return None
        step = upcoming(running["steps"]) if running["ended"] is None else None
        return {"step": step, "number": KEYS.index(step.key) + 1 if step else 0, "timers": timers(running, now)}

    async def _during(self, who: str, seen: Plain) -> Plain:
        """Return what the page of a defrost that runs shows."""
        running, now, house = seen["defrost"], self._home.now().wall, self._home.house
        going = self._going(running, now) or {}
        by = await self._by(who, running)
        asked = running["steps"].get(SWITCHED_ON) or running["ended"]
        marks = [Mark(key, wall(at_), by.get(key, "")) for key, at_ in running["steps"].items()]
        step = going["step"]
        return {
            "id": who, "name": seen["name"], "running": running, "step": step, "number": going["number"],
            "of": len(KEYS), "timers": going["timers"], "marks": sorted(marks, key=lambda mark: mark.at),
            "later": STEPS[KEYS.index(step.key) + 1 :] if step else (), "keys": KEYS,
            "began": wall(running["began"]), "ended": wall(running["ended"]) if running["ended"] else None,
            "at_step": "waiting" if running["ended"] else step.key if step else "finish",
            "food_is_out": FOOD_OUT in running["steps"] and running["food_out"] is not None,
            "unsaid": switch_unsaid(running["steps"], now - wall(running["began"])),
            "unheard": UNHEARD if seen["heard_ago"] is None or seen["heard_ago"] > GRACE else "",
            "cooling": None if asked is None else self._cooling(who, seen, wall(asked)),
            "spans": _spans(), "food_back": FOOD_BACK, "switch": SWITCHED_ON, "lid": lid(who, house),
        }  # fmt: skip

    def _cooling(self, who: str, seen: Plain, asked: int) -> Plain:
        """Return whether a freezer that was switched on again cools, in words."""
        stands = [
            one for one in self._home.status()["alarms"] if one["subject"] == who and one["kind"] == "not-cooling"
        ]
        now, zone, running = self._home.now().wall, self._home.house.zone, seen["defrost"]
        looked = running["asked"] is not None and wall(running["asked"]) > asked + MINUTE  # once, and found well
        here = {"celsius": seen["celsius"], "heard_ago": seen["heard_ago"], "asked": asked}
        if stands:
            return {**here, "how": "bad", "words": f"It does not cool. {NOT_COLD}"}
        if seen["heard_ago"] is None or seen["heard_ago"] > GRACE:
            return {**here, "how": "warn", "words": UNHEARD}
        if running["falls"] or looked:
            return {**here, "how": "good", "words": "It cools. This ends by itself when it is cold."}
        told = at(clock(asked + GRACE, now, zone))
        waits = f"It was not seen to cool yet; you are told {told} if it does not." if now < asked + GRACE else ""
        return {**here, "how": "", "words": waits or "It is looked at until it is cold."}

    async def _by(self, who: str, running: Plain) -> dict[str, str]:
        """Return who said of each step that it is done, by name."""
        since = wall(running["began"])

        def work(conn: sqlite3.Connection) -> dict[str, str]:
            return {
                str(event.facts.get("step")): str(event.facts.get("who") or "")
                for event in events(conn, since)
                if (event.subject, event.kind, event.facts.get("stage")) == (who, DEFROST_NOTE, "step")
            }

        return {key: person(by, self._home.house) for key, by in (await self._home.read(work)).items()}

    async def _lately(self, who: str) -> Plain | None:
        """Return the defrost of a freezer that has just ended, None where there is none."""
        found = await self._home.read(lambda conn: chores(conn, who, Kind.DEFROSTED))
        now = self._home.now().wall
        if not found or not 0 <= now - found[-1].at < LATELY:
            return None
        return told(found[-1])

    # -- doing -----------------------------------------------------------------------------------------

    async def begin(self, request: web.Request) -> web.StreamResponse:
        """Begin to defrost a freezer."""
        who, form = freezer_of(request, self._home), await read_form(request)
        try:
            span = SPANS[form.choice("span", SPANS)]
        except Wrong as wrong:
            return await self._shown(request, who, str(wrong), form)
        await self._home.ask({"ask": "due"}, signed_in(request).who)
        why = ANYWAY if form.ticked("anyway") else ""
        if self._seen(who)["left_alone"] and not why and self._seen(who)["defrost"] is None:
            return await self._shown(request, who, "Tick the box if you want to begin all the same.", form)
        return await self._order(request, form, BEGIN_DEFROST, why, span)

    async def more(self, request: web.Request) -> web.StreamResponse:
        """Plan a longer time for a defrost that runs."""
        who, form = freezer_of(request, self._home), await read_form(request)
        if self._seen(who)["defrost"] is None:
            return self._paint.back(request, f"/defrost/{who}", "It is over already. Nothing changed.", done=False)
        try:
            span = SPANS[form.choice("span", SPANS)]
        except Wrong as wrong:
            return await self._shown(request, who, str(wrong), form)
        return await self._order(request, form, BEGIN_DEFROST, span=span)

    async def step(self, request: web.Request) -> web.StreamResponse:
        """Take a step as done; where another phone was faster, say who it was."""
        who, form = freezer_of(request, self._home), await read_form(request)
        try:
            key = form.choice("step", KEYS)
        except Wrong as wrong:
            return await self._shown(request, who, str(wrong), form)
        async with self._turn:
            running = self._seen(who)["defrost"]
            if running is not None and running["ended"] is None and key in running["steps"]:
                return await self._done_before(request, who, running, key)
            answer = await self._home.ask(_request(STEP_DEFROST, who, form, key), signed_in(request).who)
        if answer.get("done") is True:
            return self._paint.back(request, f"/defrost/{who}")  # the page itself shows what is next
        return self._paint.answered(request, f"/defrost/{who}", answer)

    async def _done_before(self, request: web.Request, who: str, running: Plain, key: str) -> web.Response:
        by = (await self._by(who, running)).get(key) or "Somebody"
        if by == signed_in(request).name:
            return self._paint.back(request, f"/defrost/{who}")  # one thumb, twice
        when = at(clock(wall(running["steps"][key]), self._home.now().wall, self._home.house.zone))
        do = Mark(key, 0, by).do
        said = f"{by} has done that already, {when}: {do}. Nothing changed; here is what is next."
        return self._paint.back(request, f"/defrost/{who}", said)

    async def finish(self, request: web.Request) -> web.StreamResponse:
        """Take a defrost as finished, once somebody said that the freezer is on again."""
        who, form = freezer_of(request, self._home), await read_form(request)
        try:
            ice, note = form.text("ice", NOTE), form.text("note", NOTE)
        except Wrong as wrong:
            return await self._shown(request, who, str(wrong), form)
        running = self._seen(who)["defrost"]
        goes = running is not None and running["ended"] is None and not form.ticked("on")
        if goes and switch_unsaid(running["steps"], self._home.now().wall - wall(running["began"])):
            said = "SWITCH IT BACK ON, shut it, hear that it runs; then tick the box, and finish."
            return await self._shown(request, who, said, form)
        return await self._order(request, form, END_DEFROST, ice, note=note)

    async def cancel(self, request: web.Request) -> web.StreamResponse:
        """Take a defrost as one that came to nothing."""
        who, form = freezer_of(request, self._home), await read_form(request)
        try:
            why = form.needed("why", NOTE)
        except Wrong as wrong:
            return await self._shown(request, who, str(wrong).replace("why", "The reason"), form)
        return await self._order(request, form, STEP_DEFROST, CANCEL, note=f"the defrost was cancelled: {why}")

    async def _order(
        self, request: web.Request, form: Form, verb: str, why: str = "", span: int = 0, note: str = ""
    ) -> web.Response:
        """Give an order and go back to the freezer's page; with a note, write that down too once it is done."""
        who, by = freezer_of(request, self._home), signed_in(request).who
        answer = spoken(await self._home.ask(_request(verb, who, form, why, span), by))
        if answer.get("done") is True and verb == BEGIN_DEFROST:
            answer["text"] = str(answer["text"]).partition("\n\n")[0]  # the page itself shows the first step
        if answer.get("done") is True and note:
            added = {"ask": "chore", "do": "add", "subject": who, "kind": Kind.NOTE.value, "note": note}
            kept = await self._home.ask({**added, "key": f"{form.key[:70]}-note"}, by)
            if kept.get("done") is not True:
                answer["hints"] = [str(kept.get("error") or "The note could not be written down.")]
        return self._paint.answered(request, f"/defrost/{who}", answer)


@dataclass(frozen=True, slots=True)
class Mark:
    """Hold one step that is done: which, when (wall ms), and by whom."""

    key: str
    at: int
    by: str

    @property
    def do(self) -> str:
        """Return what was to be done, in its first sentence."""
        return next((step.do for step in STEPS if step.key == self.key), self.key).partition(".")[0]


def freezer_of(request: web.Request, home: Home) -> str:
    """Return the id of the freezer a page is about. Raise HTTPNotFound where there is none of it."""
    who = request.match_info["freezer"]
    if who not in home.house.freezers:
        raise web.HTTPNotFound
    return who


def told(chore: Chore) -> Plain:
    """Return what is shown of a defrost that is over: when (wall ms), how long, since when cold, the ice."""
    lasted, cold, ice = (chore.facts.get(key) for key in ("lasted", "cold_at", "ice"))
    return {
        "at": chore.at,
        "lasted": show_span(lasted) if isinstance(lasted, int) else "",
        "cold": cold if isinstance(cold, int) else None,
        "ice": str(ice or ""),
        "note": chore.note,
    }


def _request(verb: str, who: str, form: Form, why: str = "", span: int = 0) -> dict[str, Any]:
    return {"ask": "order", "verb": verb, "subject": who, "why": why, "span": span, "key": form.key}


def _spans() -> list[tuple[str, str]]:
    return [(key, show_span(ms)) for key, ms in SPANS.items()]

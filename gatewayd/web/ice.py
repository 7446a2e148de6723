"""The guided check of a probe in ice."""

from typing import Any

from aiohttp import web

from gatewayd.model.reading import Quantity
from gatewayd.upkeep.iceguide import intro, quiet, result, stands, steps
from gatewayd.upkeep.icepoint import READINGS, Stage
from gatewayd.web.form import Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.visitor import signed_in

DO = ("begin", "keep", "end")
TAP = 'Press "Begin" at the freezer. Then'  # what comes before the probe goes into the ice


class IcePages:
    """Answer at /sensor/ID/ice."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint

    def add(self, app: web.Application) -> None:
        """Add where they answer."""
        app.router.add_get("/sensor/{id}/ice", self.show)
        app.router.add_post("/sensor/{id}/ice/{do}", self.order)

    async def show(self, request: web.Request) -> web.Response:
        """Show what to do, and how the check stands."""
        sensor = self._sensor(request)
        state = await self._ask(request, sensor, "state")
        done = state["running"] and state["stage"] == Stage.DONE.value
        return self._paint.page(
            request,
            "ice.html",
            id=sensor,
            name=state["name"],
            running=state["running"],
            intro=intro(state["name"], self._home.house.units),
            steps=steps(TAP),
            quiet=quiet(state["freezer"]),
            stands=stands(state),
            strange=state["running"] and state["stage"] == Stage.STRANGE.value,
            done=done,
            result=result(state) if done else (),
            readings=state.get("count") or 0,
            wanted=READINGS,
            until=state.get("until", "")[11:16],
        )

    async def order(self, request: web.Request) -> web.Response:
        """Begin, keep what was found, or end."""
        sensor, do = self._sensor(request), request.match_info["do"]
        if do not in DO:
            raise web.HTTPNotFound
        form, way = await read_form(request), f"/sensor/{sensor}/ice"
        try:
            key = form.key
        except Wrong as wrong:
            return self._paint.back(request, way, str(wrong), done=False)
        answer = await self._ask(request, sensor, do, key=key)
        if do == "begin" and answer.get("done"):
            return self._paint.back(request, way, "Begun. Put the probe into the ice now.")
        if do == "keep" and answer.get("done"):
            answer = answer | {"text": f"{answer['text']} Dry the probe and put it back now."}
        return self._paint.answered(request, way if do == "begin" else f"/sensor/{sensor}", answer)

    def _sensor(self, request: web.Request) -> str:
        sensor = self._home.house.sensors.get(request.match_info["id"])
        if sensor is None or sensor.measures is not Quantity.TEMPERATURE:
            raise web.HTTPNotFound(text="There is no such thermometer.")
        return sensor.id

    async def _ask(self, request: web.Request, sensor: str, do: str, **more: Any) -> dict[str, Any]:
        return await self._home.ask({"ask": "calibrate", "sensor": sensor, "do": do, **more}, signed_in(request).who)

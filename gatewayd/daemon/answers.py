"""Answer at the door: what the commands ask and order."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.daemon.duty import Duty
from gatewayd.daemon.frost import Frosts
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.icebath import IceBath
from gatewayd.daemon.inquest import Inquest
from gatewayd.daemon.pantry import Pantry
from gatewayd.door import Answerer, Plain
from gatewayd.model.given import Order
from gatewayd.model.moment import from_wall
from gatewayd.store.trouble import StoreTrouble
from gatewayd.watch.forecast import forecast
from gatewayd.watch.view import health, status

Restored = Callable[[], Awaitable[None]]


class Answers:
    """Answer requests; each method yields one or more plain answers."""

    def __init__(self, gateway: Gateway, clock: Clock, restored: Restored) -> None:
        """Take the gateway, the clock, and what to do after a copy was put in the store's place."""
        self._gateway = gateway
        self._clock = clock
        self._restored = restored
        self.duty = Duty(gateway, clock)
        self.pantry = Pantry(gateway, clock)
        frosts = Frosts(gateway, clock)
        self._others: dict[str, Answerer] = {
            "calibrate": IceBath(gateway, clock, self.duty),
            "chore": self.duty,
            "due": self.duty,
            "excursion": Inquest(gateway, clock, self.pantry.tell),
            "frost": frosts,
            "stock": self.pantry,
            "defrost": frosts,
        }

    def add(self, name: str, answerer: Answerer) -> None:
        """Let another part answer what is asked by this name."""
        self._others[name] = answerer

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Answer one request of `who`."""
        gateway, now = self._gateway, self._clock.now()
        match request.get("ask"):
            case "hello":
                yield {"hello": gateway.watch.house.name}
            case "status":
                bag = gateway.mailbag
                yield {**status(gateway.watch, now), "failing_routes": bag.failing(), "messages_waiting": bag.waiting()}
            case "health":
                yield {
                    "house": gateway.watch.house.name,
                    "units": gateway.watch.house.units.value,
                    "sensors": health(gateway.watch, now),
                }
            case "forecast":
                yield forecast(gateway.watch, now)
            case "order":
                yield await self._order(request, who)
            case "backup":
                async for told in self._backup(str(request.get("path", ""))):
                    yield told
            case "restore":
                yield await self._restore(str(request.get("path", "")))
            case str(other) if other in self._others:
                async for told in self._others[other](request, who):
                    yield told
            case other:
                yield {"error": f"nobody here knows how to answer {other!r}"}

    async def _order(self, request: Plain, who: str) -> Plain:
        number, span = request.get("alarm", 0), request.get("span", 0)
        if not isinstance(number, int):
            return {"error": f"{number!r} is not the number of an alarm"}
        if not isinstance(span, int):
            return {"error": f"{span!r} is not a span in ms"}
        order = Order(
            verb=str(request.get("verb", "")),
            alarm=number,
            who=who,
            why=str(request.get("why", ""))[:500],
            key=str(request.get("key", ""))[:80],
            subject=str(request.get("subject", ""))[:40],
            span=span,
        )
        answer = await self._gateway.order(order)
        return {"done": answer.done, "text": answer.text}

    async def _backup(self, path: str) -> AsyncIterator[Plain]:
        steps: asyncio.Queue[Plain | None] = asyncio.Queue()

        async def work() -> None:
            try:
                await self._gateway.commit()
                await self._gateway.store.backup(
                    Path(path), lambda done, total: steps.put_nowait({"pages": done, "of": total})
                )
                steps.put_nowait({"done": True, "path": path})
            except StoreTrouble as trouble:
                steps.put_nowait({"error": str(trouble)})
            finally:
                steps.put_nowait(None)

        task = asyncio.create_task(work(), name="backup")
        try:
            while (step := await steps.get()) is not None:
                yield step
        finally:
            task.cancel()

    async def _restore(self, path: str) -> Plain:
        gateway = self._gateway
        stamp = f"{from_wall(self._clock.now().wall):%Y%m%dT%H%M%SZ}"
        await gateway.commit()
        try:
            aside = await gateway.store.restore(Path(path), stamp, gateway.watch.alarms.number)
            await self._restored()
        except StoreTrouble as trouble:
            return {"error": str(trouble)}
        return {"done": True, "path": path, "aside": str(aside) if aside else ""}

"""Carry a form out once: a second tap on the same page is answered as the first was."""

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable

from aiohttp import web

from gatewayd.web.form import read_form

Handler = Callable[[web.Request], Awaitable[web.Response]]
KEPT = 200  # keys of forms that were carried out; second taps come within seconds


class Once:
    """Remember by their keys which forms were carried out, and where that led. For what does not go by the door."""

    def __init__(self) -> None:
        """Begin with none."""
        self._led: OrderedDict[str, str] = OrderedDict()
        self._one = asyncio.Lock()

    def of(self, handler: Handler) -> Handler:
        """Return a handler that carries each form out once, one after another; a refused one may come again."""

        async def once(request: web.Request) -> web.Response:
            key = (await read_form(request)).key
            async with self._one:
                if key and key in self._led:
                    return web.Response(status=303, headers={"Location": self._led[key]})
                answer = await handler(request)
                if key and answer.status == 303:
                    self._led[key] = answer.headers["Location"]
                    while len(self._led) > KEPT:
                        self._led.popitem(last=False)
                return answer

        return once

"""Carry a form out once: a second tap on the same page is answered as the first was."""

import asyncio
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from weakref import WeakValueDictionary

from aiohttp import web

from gatewayd.web.form import read_form
from gatewayd.web.server import Handler, lasting

KEPT = 200  # keys of forms that were carried out; second taps come within seconds


class Once:
    """Remember by their keys which forms were carried out, and where that led. For what does not go by the door."""

    def __init__(self) -> None:
        """Begin with none."""
        self._led: OrderedDict[str, str] = OrderedDict()
        self._one = asyncio.Lock()
        self._apart: WeakValueDictionary[str, asyncio.Lock] = WeakValueDictionary()  # those that somebody waits at

    def of(self, handler: Callable[[web.Request], Awaitable[web.Response]], *, apart: bool = False) -> Handler:
        """Return a handler that carries each form out once; a refused one may come again.

        They come one after another, so that each sees what the one before has left. What changes nothing of the house
        goes `apart`: it waits for its own second tap alone, and nobody waits for it.
        """

        async def once(request: web.Request) -> web.Response:
            key = (await read_form(request)).key
            one = self._apart.setdefault(key, asyncio.Lock()) if apart else self._one
            async with one:
                if key and key in self._led:
                    return web.Response(status=303, headers={"Location": self._led[key]})
                answer = await handler(request)
                if key and answer.status == 303:
                    self._led[key] = answer.headers["Location"]
                    while len(self._led) > KEPT:
                        self._led.popitem(last=False)
                return answer

        return lasting(once)

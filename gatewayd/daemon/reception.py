"""Run the pages as the settings want them: none, at one address, at another after the settings were read again."""

import asyncio
import logging
from collections.abc import Mapping
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.daemon.gateway import Gateway
from gatewayd.model.event import Notice
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Pages, Settings
from gatewayd.web.key import link_key
from gatewayd.web.links import Links

log = logging.getLogger(__name__)


class Reception:
    """Hold what the pages are made of, and write the links that lead to them."""

    def __init__(self, settings: Settings, gateway: Gateway, clock: Clock, state_dir: Path) -> None:
        """Take the settings, the gateway, the clock, and the folder in which the key of the links is kept."""
        self._gateway = gateway
        self._clock = clock
        self._state_dir = state_dir
        self._changed = asyncio.Event()
        self._key: bytes | None = None
        self._links: Links | None = None
        self._pages: Pages | None = None
        self._house = ""
        self._tokens: Mapping[str, Secret] = {}
        self.fit(settings)

    def fit(self, settings: Settings) -> None:
        """Take the settings; pages that have not changed go on undisturbed. Reads the key when it is first needed."""
        wanted = (settings.pages, settings.house.name, settings.tokens)
        if wanted == (self._pages, self._house, self._tokens):
            return
        self._pages, self._house, self._tokens = wanted
        self._links = None
        if self._pages is not None:
            self._key = self._key or link_key(self._state_dir)
            self._links = Links(self._key, self._pages, self._clock)
        self._changed.set()

    def line(self, notice: Notice) -> str:
        """Return the line for the end of a notice's text, nothing for a house without pages; see Links.line."""
        return self._links.line(notice) if self._links is not None else ""

    async def run(self) -> None:
        """Serve for ever; a house without pages only waits for other settings."""
        while True:
            self._changed.clear()
            work = asyncio.create_task(self._serve(), name="pages")
            work.add_done_callback(_mourn)
            try:
                await self._changed.wait()
            finally:
                work.cancel()
                await asyncio.wait({work})  # the address is free before another server wants it

    async def _serve(self) -> None:
        if self._pages is None or self._key is None:
            return
        # loaded only where there are pages: 13 MB
        from gatewayd.daemon.visitors import Visitors  # noqa: PLC0415
        from gatewayd.web.beats import Beats  # noqa: PLC0415
        from gatewayd.web.button import Button  # noqa: PLC0415
        from gatewayd.web.server import Part, Server  # noqa: PLC0415

        home = Visitors(self._gateway, self._clock)
        parts: list[Part] = [Button(self._key, home, self._clock), Beats(self._tokens, home, self._clock)]
        await Server(self._pages, self._house, parts, self._clock).run()


def _mourn(work: asyncio.Task[None]) -> None:
    """Say why the pages fell: a fault in them must not end the watch."""
    if not work.cancelled() and (fault := work.exception()) is not None:
        log.error("the pages fell and stay away until the settings are read again", exc_info=fault)

"""Run the pages as the settings want them: none, at one address, at another after the settings were read again."""

import asyncio
import contextlib
import logging
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from gatewayd.clock import Clock
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.household import Fixed
from gatewayd.daemon.listening import Listening
from gatewayd.door import Plain
from gatewayd.model.event import Notice
from gatewayd.model.route import Secret
from gatewayd.settings.typed import Pages, Settings
from gatewayd.web.code import Code
from gatewayd.web.key import link_key
from gatewayd.web.links import Links
from gatewayd.web.lock import Lock

if TYPE_CHECKING:
    from gatewayd.web.hearing import Hearing
    from gatewayd.web.paint import Paint
    from gatewayd.web.wiring import Wiring

log = logging.getLogger(__name__)


class Reception:
    """Hold what the pages are made of, and write the links that lead to them."""

    def __init__(
        self,
        settings: Settings,
        gateway: Gateway,
        clock: Clock,
        state_dir: Path,
        answers: Answers,
        own: Clock | None = None,
        wiring: "Wiring | None" = None,
        hearing: "Hearing | None" = None,
    ) -> None:
        """Take the settings, the gateway, its clock, the folder of the key and the lock, and what answers at the door.

        `own` is this computer's clock, by which sign-ins count, where the house's is another: a played house. Without
        `wiring` the pages show the settings and cannot change them. `hearing` is what hears nearby in a played house,
        in place of this computer's radios and the house's brokers.
        """
        self._settings = settings
        self._wiring = wiring or Fixed(lambda: self._settings)
        self._gateway = gateway
        self._clock = clock
        self._own = own or clock
        self._listening = Listening(gateway.sources, settings, self._own)
        self._hearing = hearing or self._listening
        self._state_dir = state_dir
        self._answers = answers
        self._code = Code(self._own)
        self._lock: Lock | None = None
        self._changed = asyncio.Event()
        self._key: bytes | None = None
        self._links: Links | None = None
        self._pages: Pages | None = None
        self._paint: Paint | None = None  # what it has still to say outlives a new address
        self._tokens: Mapping[str, Secret] = {}
        self._files: list[tuple[int, int]] = []
        self.fit(settings)

    def fit(self, settings: Settings) -> None:
        """Take the settings; pages that have not changed go on undisturbed. Reads the key when it is first needed."""
        self._settings = self._listening.settings = settings
        wanted = (settings.pages, settings.tokens, _written(settings.pages))
        if wanted == (self._pages, self._tokens, self._files):
            return
        self._pages, self._tokens, self._files = wanted
        self._links = None
        if self._pages is not None:
            self._key = self._key or link_key(self._state_dir)
            self._links = Links(self._key, self._pages, self._clock)
            if self._lock is None:
                self._lock = Lock(self._state_dir)
                if not self._lock.is_set:
                    log.warning("%s", self.new_code())
        self._changed.set()

    def new_code(self) -> str:
        """Make a one-time code for a new password, and return a sentence that says it and where to go with it."""
        if self._links is None:
            return "There are no pages; add  pages: {listen: 8470}  to the settings and read them again."
        where = f"{self._links.begins()}/set-up"
        code = self._code.make()
        begin = "The pages wait for a password"
        if self._lock is not None and self._lock.is_set:
            begin = "The password can be set anew, and the present one counts until then"
        return f"{begin}: open {where} on a phone at home. The code is {code}, for 30 minutes."

    async def door(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Answer what is asked of the pages at the door: `code` makes a new one-time code."""
        if request.get("do") != "code":
            yield {"done": False, "error": f"the pages do not know how to do {request.get('do')!r}"}
            return
        log.info("%s asked for a new code for the pages", who)
        yield {"done": self._links is not None, "text": self.new_code()}

    def line(self, notice: Notice) -> str:
        """Return the line for the end of a notice's text, nothing for a house without pages; see Links.line."""
        return self._links.line(notice) if self._links is not None else ""

    async def run(self) -> None:
        """Serve for ever; a house without pages only waits for other settings."""
        try:
            while True:
                self._changed.clear()
                work = asyncio.create_task(self._serve(), name="pages")
                work.add_done_callback(_mourn)
                try:
                    await self._changed.wait()
                finally:
                    work.cancel()
                    await asyncio.wait({work})  # the address is free before another server wants it
        finally:
            await self._listening.close()

    async def _serve(self) -> None:
        if self._pages is None or self._key is None or self._lock is None or self._links is None:
            return
        # loaded only where there are pages: 20 MB
        from gatewayd.daemon.visitors import Visitors  # noqa: PLC0415
        from gatewayd.web.asset import Assets  # noqa: PLC0415
        from gatewayd.web.beats import Beats  # noqa: PLC0415
        from gatewayd.web.button import Button  # noqa: PLC0415
        from gatewayd.web.entry import Entry  # noqa: PLC0415
        from gatewayd.web.gate import Gate  # noqa: PLC0415
        from gatewayd.web.looking import Looking  # noqa: PLC0415
        from gatewayd.web.pages import pages  # noqa: PLC0415
        from gatewayd.web.paint import Paint  # noqa: PLC0415
        from gatewayd.web.server import Part, Server  # noqa: PLC0415

        home = Visitors(self._gateway, self._clock, self._answers)
        self._paint = paint = self._paint or Paint(home)
        gate = Gate(self._lock, home, self._own)
        parts: list[Part] = [
            Assets(),
            Button(self._key, home, self._clock),
            Beats(self._tokens, home, self._own),
            Entry(self._lock, self._code, gate, home, paint, self._own),
            Looking(self._lock, self._links.begins, home, paint, self._own),
            *pages(home, paint, self._own, self._wiring, self._hearing, self._links.begins),
        ]
        await Server(self._pages, lambda: home.name, parts, self._own, gate.check).run()


def _written(pages: Pages | None) -> list[tuple[int, int]]:
    """Return when the files of the certificate were written and how long they are: a renewed one is taken too."""
    found = []
    named = (pages.certificate, pages.private_key) if pages is not None else ()
    for name in (one for one in named if one):
        with contextlib.suppress(OSError):  # one that is missing is said where it is read
            status = Path(name).stat()
            found.append((status.st_mtime_ns, status.st_size))
    return found


def _mourn(work: asyncio.Task[None]) -> None:
    """Say why the pages fell: a fault in them must not end the watch."""
    if not work.cancelled() and (fault := work.exception()) is not None:
        log.error("the pages fell and stay away until the settings are read again", exc_info=fault)

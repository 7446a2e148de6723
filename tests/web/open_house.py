"""A house with its real gateway, store and pages on a free port; only the house's clock is played."""

import contextlib
import hashlib
import json
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

from yarl import URL

from gatewayd.clock import SystemClock
from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.visitors import Visitors
from gatewayd.settings.typed import Pages
from gatewayd.web import session
from gatewayd.web.asset import Assets
from gatewayd.web.button import Button
from gatewayd.web.code import Code
from gatewayd.web.entry import Entry
from gatewayd.web.gate import Gate
from gatewayd.web.lock import BLOCK, COST, FILE, MEMORY, TURNS, Lock
from gatewayd.web.looking import Looking
from gatewayd.web.pages import pages
from gatewayd.web.paint import Paint
from gatewayd.web.server import Part, Server
from tests.daemon.atdoor import behind_its_door
from tests.fakes.clock import FakeClock
from tests.web.heard import FakeHearing
from tests.web.phone import Phone
from tests.web.wired import OWN, Wired

KEY = bytes(range(32))  # of the links in messages
# The lock of "plums and beans", made once: scrypt is slow on purpose, and a house is opened some hundred times.
SALT = bytes(range(16))
HASH = hashlib.scrypt(b"plums and beans", salt=SALT, n=COST, r=BLOCK, p=TURNS, maxmem=MEMORY, dklen=32)
LOCKED = {"key": bytes(range(1, 33)).hex(), "salt": SALT.hex(), "hash": HASH.hex()}


@dataclass
class Opened:
    """Hold an open house: its parts, and a phone of Ann's that has signed in."""

    gateway: Gateway
    clock: FakeClock
    answers: Answers
    home: Visitors
    lock: Lock
    code: Code
    begins: str
    phone: Phone
    wired: Wired
    hearing: FakeHearing
    parts: list[Part]


@contextlib.asynccontextmanager
async def open_house(folder: Path, *, signed_in: bool = True, settings: str = OWN) -> AsyncIterator[Opened]:
    """Open the house of `tests.days.player.house(1)`: a shed chest with one probe; Ann and Ben live there.

    `settings` is the keeper's own file; see tests/web/wired.py.
    """
    async with behind_its_door(folder) as (gateway, clock, answers):
        own, hearing = SystemClock(), FakeHearing()
        wired = Wired(folder, gateway, own, settings)
        home = Visitors(gateway, clock, answers)
        if signed_in:
            (folder / FILE).write_text(json.dumps(LOCKED))
        lock, code, paint = Lock(folder), Code(own), Paint(home)
        gate = Gate(lock, home, own)

        def outside() -> str:
            return "http://gate.test:8470"

        parts: list[Part] = [
            Assets(),
            Button(KEY, home, clock),
            Entry(lock, code, gate, home, paint, own),
            Looking(lock, outside, home, paint, own),
            *pages(home, paint, own, wired.wiring, hearing, outside),
        ]
        server = Server(Pages("127.0.0.1", 0), lambda: "Heron Lane", parts, own, gate.check)
        await server.open()
        begins = f"http://127.0.0.1:{server.port}"
        try:
            async with Phone(begins) as phone:
                if signed_in:
                    cookie = session.write(session.begin("ann", own.now().wall), lock.key)
                    phone.session.cookie_jar.update_cookies({session.COOKIE: cookie}, URL(begins))
                    await phone.get("/")
                yield Opened(gateway, clock, answers, home, lock, code, begins, phone, wired, hearing, parts)
        finally:
            await server.close()

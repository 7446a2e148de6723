"""A demo house in a process of its own, as `gatewayd demo` shows it, and how its pages are reached."""

import asyncio
import contextlib
import os
import re
import signal
import sys
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.rigs.broker import free_port
from tests.web.phone import Phone

PASSWORD = "plums and beans"
# 18:18 on the second evening: the porch chest's lid is ajar, it is too warm, and nobody has said yet that they saw it.
WARM = 24.3
PATIENCE = 60.0  # s for a start: a day and a half is played in 4 s on the build machine
CODE = re.compile(r"The code is (\d{4} \d{4})")


@dataclass
class DemoHouse:
    """Hold a running demo house: how its addresses begin, and the code for the first phone."""

    begins: str
    code: str
    folder: Path


@contextlib.asynccontextmanager
async def demo_house(folder: Path, ahead: float = WARM) -> AsyncIterator[DemoHouse]:
    """Play a demo house to `ahead` (h) and then as slow as life; wait until its pages answer."""
    port = free_port()
    command = ["-m", "gatewayd.cli.main", "demo", "--pages", str(port), "--pace", "real", "--seed", "0"]
    more = ["--ahead", str(ahead), "--keep", str(folder)]
    said = folder.with_suffix(".txt")
    with said.open("wb") as out:
        process = await asyncio.create_subprocess_exec(
            sys.executable, *command, *more, stdout=out, stderr=out, env=os.environ | {"COLUMNS": "200"}
        )
    try:
        code = await _code(process, said)
        house = DemoHouse(f"http://127.0.0.1:{port}", code, folder)
        try:
            await _answers(house)
        except TimeoutError:
            text = await asyncio.to_thread(said.read_text)
            pytest.fail(f"the pages do not answer: {text[-1500:]}", pytrace=False)
        yield house
    finally:
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGINT)
        await asyncio.wait_for(process.wait(), 20)


async def _code(process: asyncio.subprocess.Process, said: Path) -> str:
    async with asyncio.timeout(PATIENCE):
        while (found := CODE.search(text := await asyncio.to_thread(said.read_text))) is None:
            assert process.returncode is None, text[-3000:]
            await asyncio.sleep(0.05)
    return found[1]


async def _answers(house: DemoHouse) -> None:
    async with asyncio.timeout(10), Phone(house.begins) as phone:
        while True:
            with contextlib.suppress(OSError):
                await phone.get("/static/style.css")
                return
            await asyncio.sleep(0.05)

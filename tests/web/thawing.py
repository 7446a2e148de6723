"""A house whose freezer is cold and can be defrosted: its probe says what the test wants, its clock is played."""

import contextlib
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

from gatewayd.model.moment import MINUTE
from gatewayd.model.reading import Heard
from tests.days.player import BROKER
from tests.web.open_house import Opened, open_house
from tests.web.phone import Phone

WHO = "shed-chest"
HERE = f"/defrost/{WHO}"
HOSTILE = '<script>alert("1")</script> =HYPERLINK("x") \u202e \U0001f9ca ' + "x" * 60


@dataclass
class Shed:
    """Hold an open house and play its time."""

    house: Opened

    @property
    def phone(self) -> Phone:
        """Return Ann's phone."""
        return self.house.phone

    async def wait(self, ms: int) -> None:
        """Let time pass once all is stored: the played clock would else run ahead of the disk."""
        await self.house.gateway.commit()
        await self.house.clock.advance(ms)
        self.house.gateway.tick()

    async def report(self, *values: float) -> None:
        """Let the probe say one value after another, a minute apart."""
        for value in values:
            payload = f"{value}".encode()
            self.house.gateway.hear(Heard(BROKER, f"{WHO}-air", payload, self.house.clock.now()), None)
            await self.wait(MINUTE)


@contextlib.asynccontextmanager
async def shed(folder: Path) -> AsyncIterator[Shed]:
    """Open the house with a freezer that is cold."""
    async with open_house(folder) as house:
        found = Shed(house)
        await found.report(-20.0, -20.2, -20.0)
        yield found

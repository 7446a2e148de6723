"""Let an open house live: its probes are heard minute by minute, and its own clock goes on."""

from collections.abc import Iterable

from gatewayd.model.moment import MINUTE
from gatewayd.model.reading import Heard
from tests.days.player import BROKER
from tests.web.open_house import Opened

COLD = (-18.4, -18.6, -18.9, -18.7)


async def live(house: Opened, celsius: Iterable[float], freezer: str = "shed-chest", every: int = MINUTE) -> None:
    """Hear a freezer's probe, once `every` (ms of the house's time), and commit what came of it."""
    for value in celsius:
        await house.clock.advance(every)
        house.gateway.tick()
        at = house.clock.now()
        house.gateway.hear(Heard(BROKER, f"{freezer}-air", f"{value:.1f}".encode(), at), None)
    house.gateway.tick()
    await house.gateway.commit()


async def cold(house: Opened, minutes: int = 30) -> None:
    """Let the shed chest be as cold as always for some minutes."""
    await live(house, (COLD[minute % len(COLD)] for minute in range(minutes)))


async def warm(house: Opened, minutes: int = 60, celsius: float = -9.5) -> None:
    """Let the shed chest be too warm for so long that an alarm stands."""
    await live(house, (celsius for _ in range(minutes)))

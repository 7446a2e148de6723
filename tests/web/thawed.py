"""A house whose shed chest was warm: its stock, the warm hours, and cold again; by the real gateway and its door."""

import contextlib
from collections.abc import AsyncIterator, Sequence
from pathlib import Path

from gatewayd.model.moment import MINUTE
from tests.web.living import COLD, live
from tests.web.open_house import Opened, open_house

TOP = ("2 bags of trout, 1 kg, top basket", "3 loaves of bread, 500 g, top basket")
LOW = ("venison, 2 kg, low basket", "4 bags of plums, 750 g, low basket", "apple juice, 1 kg, low basket")


async def fill(house: Opened, foods: Sequence[str] = (*TOP, *LOW)) -> None:
    """Put the baskets into the shed chest, and food into them as a household says it."""
    for box in ("Top basket", "Low basket"):
        if not any(food.endswith(box.lower()) for food in foods):
            continue
        done = await house.home.ask({"ask": "stock", "do": "box", "what": box, "freezer": "shed-chest"}, "ann")
        assert done["done"], done
    if foods:
        done = await house.home.ask({"ask": "stock", "do": "add", "lines": list(foods)}, "ann")
        assert done["done"], done


async def thaw(house: Opened, celsius: float = 6.0, hours: float = 1.0, *, ended: bool = True) -> None:
    """Let the shed chest be cold, then warm for some hours, then cold again."""
    await live(house, (COLD[n % 4] for n in range(4)), every=5 * MINUTE)
    await live(house, (celsius for _ in range(round(hours * 12))), every=5 * MINUTE)
    if ended:
        await live(house, (COLD[n % 4] for n in range(5)), every=5 * MINUTE)


@contextlib.asynccontextmanager
async def thawed(
    folder: Path, celsius: float = 6.0, foods: Sequence[str] = (*TOP, *LOW), *, ended: bool = True
) -> AsyncIterator[tuple[Opened, str]]:
    """Open such a house, and say the number of its warm spell."""
    async with open_house(folder) as house:
        await fill(house, foods)
        await thaw(house, celsius, ended=ended)
        page = await house.phone.get("/what-happened")
        way = next(link for link in page.links if link.startswith("/what-happened/"))
        yield house, way.partition("?")[0]

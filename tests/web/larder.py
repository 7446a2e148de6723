"""A stock for the pages: two boxes in the shed chest, beans and trout in them, or as many as are wanted."""

import secrets
import sqlite3
from typing import Any

from gatewayd.model.stock import Box, Package
from gatewayd.store import stock
from tests.web.open_house import Opened

BEANS = 0.4536  # kg
FROZEN = 1_748_775_600_000  # 1 Jun 2025, noon in London
HOSTILE = (
    "<script>alert(1)</script><b>x",
    "=HYPERLINK(0)",
    "a" * 500,
    "\u202eplums\u202c \U0001fad0 plums",
    "'\"--; DROP TABLE package",
)
FREEZER = "shed-chest"


async def put(house: Opened, **order: Any) -> dict[str, Any]:
    """Order something of the stock as Ben does."""
    return await house.home.ask({"ask": "stock", "key": secrets.token_hex(8), **order}, "ben")


async def stocked(house: Opened, many: int = 2) -> None:
    """Fill the store: package 1 are the beans, 2 the trout, the others more beans in many boxes."""

    def fill(conn: sqlite3.Connection) -> str:
        pen = stock.pen(conn, house.clock.now().wall, "ann")
        pen.new_box(Box("top-basket", "Top basket", FREEZER, layer="top", full=0.5))
        pen.new_box(Box("red-crate", "Red crate", FREEZER))
        for number in range(max(0, many // 50)):
            pen.new_box(Box(f"crate-{number}", f"Crate {number}", FREEZER, place="left at the back"))
        pen.add(Package(0, "top-basket", "runner beans", 12, BEANS, FROZEN, packed="bag"))
        pen.add(Package(0, "red-crate", "trout", 3))
        more = (
            Package(0, f"crate-{n % (many // 50)}" if n % 5 else "top-basket", f"beans {n % 97}", n % 7 + 1, 0.5,
                    FROZEN + n * 3_600_000, packed="bag", note=f"row {n}")
            for n in range(many - 2)
        )  # fmt: skip
        pen.add_all(more)
        return ""

    await house.gateway.store.carry_out(fill, house.clock.now())


async def rows(house: Opened) -> dict[int, Package]:
    """Return what is on the list by number."""
    return {one.id: one for one in await house.home.read(stock.packages)}

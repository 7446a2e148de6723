"""Seeded draws of freezers: how they are built, what they hold, how their owner runs them.

Arrays hold one freezer per entry of the last axis. Sizes and conductances follow the US energy standards and the
geometry of a box; what has no published figure says "our choice". None of it comes from gatewayd's own model.
"""

from dataclasses import dataclass, fields

import numpy as np

from tests.evaluate import foods
from tests.evaluate.foods import Array

CHEST, UPRIGHT, AUTO = 0, 1, 2
LEVELS = 5  # of liner and of food, from the top; liner 0 is the headspace (lid and the walls above the food)
SHELLS = 4
FULL = 0.36  # kg/L of a packed freezer (common practice: 22 lb a cubic foot)


@dataclass(slots=True)
class Fleet:
    """Hold N freezers. W/K, J/K, kg, °C, s; axis sizes in brackets."""

    kind: Array  # CHEST, UPRIGHT, AUTO
    volume: Array  # L
    layer_kg: Array  # [5, N]
    food: np.ndarray  # [5, N], index into foods.FOODS
    ua: Array  # all walls and the gasket, new
    gasket: Array  # of it, straight into the air
    area: Array  # [6, N] of the liner, m2
    liner_c: Array  # [6, N], without frost
    frost: Array  # [6, N], kg
    along: Array  # from one wall level to the next, through the sheet
    frost_share: Array  # [6, N], where moisture settles
    cool_share: Array  # [6, N], where the evaporator lies; nothing for AUTO
    cool: Array  # W at an evaporator of -25 °C in a room of 25 °C
    bulb: np.ndarray  # index of the liner that the thermostat feels
    target: Array  # mean air the owner wants
    differential: Array  # of the thermostat
    air_liner: Array  # [6, N]
    air_food: Array  # [6, N]; 6th: what may be put in later
    liner_food: Array  # [5, N]
    contact: Array  # [5, N], between neighbours; the last one: top layer and what is put in
    block: Array  # [6, N], half the thickness of a block of packages, m
    packing: Array  # [6, N], share of solid conductivity left by the air between packages
    load_kg: Array
    load_t: Array
    load_food: np.ndarray
    vent: Array  # air exchange while the lid is open
    lid_area: Array  # m2
    humidity: Array  # of the room, 0 to 1
    room: Array
    room_swing: Array
    room_phase: Array  # h
    defrost_every: Array  # s of compressor running, AUTO
    heater: Array  # W
    spike: Array  # share of the evaporator's temperature that the probe feels while the heater is on
    lid_pull: Array  # share of the lid's temperature in the probe's
    touch: Array  # share of the top packages' surface in the probe's
    lag: Array  # s
    offset: Array  # K

    def __len__(self) -> int:
        """Return how many freezers there are."""
        return len(self.kind)

    @property
    def kg(self) -> Array:
        """Return the weight of the food (kg)."""
        return self.layer_kg.sum(axis=0)

    @property
    def fill(self) -> Array:
        """Return how full they are by weight, 1 = packed."""
        return self.kg / (FULL * self.volume)

    def some(self, chosen: slice) -> "Fleet":
        """Return a part of the freezers."""
        return Fleet(**{field.name: getattr(self, field.name)[..., chosen] for field in fields(self)})

    def by_group(self) -> Array:
        """Return the weight by group of food, [5, N]."""
        groups = foods.GROUP_OF[self.food]
        return np.array([np.where(groups == g, self.layer_kg, 0.0).sum(axis=0) for g in range(len(foods.GROUPS))])


def _ua(rng: np.random.Generator, kind: Array, volume: Array) -> Array:
    # 10 CFR 430.32(a): adjusted volume 1.76 V (cubic feet); chest of 2014, uprights between 2001 and 2014. Power with
    # the door shut is the label's by 0.7 (chest) or 0.85; automatic defrost takes 17.7 % of it (Bansal et al. 2010);
    # COP 1.3 and 50 K in the test. Scatter of 0.28 is our choice: houses hold units of 1 to 25 years.
    adjusted = 1.76 * volume / 28.32
    year = np.choose(
        kind.astype(int),
        (7.29 * adjusted + 107.8, 6.56 * adjusted + 226.0, (10.5 * adjusted + 277.0) / 1.177),
    )
    watts = year * 1000.0 / 8760.0 / np.where(kind == CHEST, 0.7, 0.85)
    return watts * 1.3 / 50.0 * np.exp(0.28 * np.clip(rng.standard_normal(len(kind)), -2.2, 2.2))


def draw(rng: np.random.Generator, count: int, kind: int | None = None) -> Fleet:
    """Draw freezers: 60 % chest, 20 % upright, 20 % with automatic defrost, or all of one kind."""
    shuffled = rng.permutation((np.arange(count) + 0.5) / count)
    kinds = np.full(count, float(kind)) if kind is not None else np.digitize(shuffled, (0.6, 0.8)).astype(float)
    chest, auto = kinds == CHEST, kinds == AUTO
    volume = np.where(chest, rng.uniform(100, 600, count), rng.uniform(100, 400, count) + 100 * auto)
    box = _box(rng, kinds, volume)
    ua = _ua(rng, kinds, volume)
    duty = np.clip(np.exp(rng.normal(np.log(0.46 - 0.05 * kinds), 0.2, count)), 0.2, 0.65)
    room = np.clip(rng.normal(20.0, 4.0, count), 9.0, 31.0)
    touches = rng.random(count) < 0.35
    pull = np.choose(kinds.astype(int), (0.18, 0.08, 0.05)) * rng.random(count)
    differential = np.choose(
        kinds.astype(int), (rng.uniform(2.5, 7, count), rng.uniform(4, 9, count), np.full(count, 0))
    )
    differential = np.where(auto, rng.uniform(1.2, 3.5, count), differential)
    return Fleet(
        kind=kinds, ua=ua, gasket=ua * rng.uniform(0.08, 0.25, count), **box,
        cool=ua * 45.0 / duty, target=np.clip(rng.normal(-19.0, 1.8, count), -24.0, -15.5),
        bulb=np.choose(kinds.astype(int), (rng.integers(2, 5, count), rng.integers(1, 4, count), np.full(count, 1))),
        differential=differential,
        load_kg=np.exp(rng.uniform(np.log(1.0), np.log(8.0), count)), load_t=rng.uniform(5.0, 60.0, count),
        load_food=rng.choice([0, 2, 8, 8, 9, 6], count), humidity=rng.uniform(0.35, 0.65, count),
        room=room, room_swing=rng.uniform(0.3, 2.5, count), room_phase=rng.uniform(0, 24, count),
        defrost_every=rng.uniform(6, 12, count) * 3600.0, heater=rng.uniform(180, 320, count),
        spike=rng.uniform(0.02, 0.10, count), lid_pull=pull, touch=np.where(touches, rng.uniform(0.1, 0.5, count), 0.0),
        lag=rng.uniform(120.0, 420.0, count), offset=np.clip(rng.normal(0.0, 0.25, count), -0.5, 0.5),
    )  # fmt: skip


def _stack(rng: np.random.Generator, kind: Array, volume: Array) -> tuple[Array, np.ndarray, Array]:
    """Draw the food: kg [5, N], which [5, N], and how much of the height it takes [N]."""
    count = len(kind)
    fill = rng.uniform(0.2, 1.0, count)
    share = rng.uniform(0.6, 1.4, (LEVELS, count))
    kg = fill * FULL * volume * share / share.sum(axis=0)
    food = rng.integers(0, len(foods.FOODS), (LEVELS, count))
    # a layer of bread or of poured vegetables cannot weigh more than its room holds
    most = 0.85 * volume / 1000.0 / LEVELS * 1.15 * foods.DENSITY[food]
    return np.minimum(kg, most), food, np.clip(0.25 + 0.7 * fill, 0.0, 0.95)


def _box(rng: np.random.Generator, kind: Array, volume: Array) -> dict[str, Array]:
    count = len(kind)
    chest, auto = kind == CHEST, kind == AUTO
    layer_kg, food, height = _stack(rng, kind, volume)
    size = (volume / 1000.0) ** (2 / 3)  # m2, a face of the box
    head = np.where(chest, 0.2 + 0.6 * (1 - height), 0.3)
    area = np.concatenate((head[None], np.tile((1 - head) / LEVELS, (LEVELS, 1)))) * 6.5 * size
    # natural convection and radiation in a small box, about 3 + 3 W/m2K; cold air lies still beside a chest's stack
    reach = np.where(chest, np.array([[1, 0.9, 0.6, 0.4, 0.3, 0.2]]).T, np.array([[1, 0.7, 0.7, 0.7, 0.7, 0.7]]).T)
    down = np.array([[0.0] + [0.2] * 5]).T  # a chest's tubes run round its walls, those above the food too
    frost = np.where(auto, 0.0, np.exp(rng.uniform(np.log(0.2), np.log(4.0), count)))
    settles = np.where(chest, np.array([[0.2, 0.35, 0.2, 0.12, 0.08, 0.05]]).T, np.array([[0.1] + [0.18] * 5]).T)
    cools = np.where(chest, (1 - height) * np.eye(LEVELS + 1, 1) + height * down, np.array([[0.05] + [0.19] * 5]).T)
    block = rng.uniform(0.025, 0.06, (LEVELS + 1, count))  # packages of 0.5 to 2 kg, some frozen to each other
    block[LEVELS] = rng.uniform(0.02, 0.05, count)
    return {
        "volume": volume, "layer_kg": layer_kg, "food": food, "area": area,
        "liner_c": area * rng.uniform(4500.0, 8500.0, count),  # 1 mm of aluminium or 0.6 mm of steel, tubes, plastic
        "frost": frost * settles, "frost_share": settles * ~auto, "cool_share": cools * ~auto,
        "air_liner": 6.0 * area * reach * rng.uniform(0.75, 1.3, count),
        "vent": 1200.0 * np.maximum(0.15, 1 - 1.25 * layer_kg.sum(axis=0) / 900 / (volume / 1000)) * volume / 1000
        / np.where(chest, rng.uniform(30, 90, count), rng.uniform(8, 20, count)),  # s to change the air; our choice
        "along": rng.uniform(0.5, 3.0, count) * np.sqrt(size),  # 0.7 mm of steel or aluminium, 2.6 m round, 0.12 m high
        "lid_area": size, **_touching(rng, kind, size, layer_kg, food, block), "block": block,
    }  # fmt: skip


def _touching(
    rng: np.random.Generator, kind: Array, size: Array, layer_kg: Array, food: np.ndarray, block: Array
) -> dict[str, Array]:
    """Return what food gives to the air, to its liner and to its neighbours."""
    count = len(kind)
    surface = layer_kg / foods.DENSITY[food] / block[:LEVELS] * rng.uniform(0.5, 1.0, (LEVELS, count))
    film = rng.uniform(3.5, 6.5, count)  # W/m2K, natural convection and radiation in gaps
    each = film * surface
    air = np.where(kind == AUTO, 0.9, np.where(kind == UPRIGHT, 0.35, 0.08))
    shares = np.tile(air, (LEVELS, 1))
    shares[0] = np.where(kind == CHEST, 0.4, shares[0])
    load = np.full(count, 5.0)  # filled in when its weight is known
    contact = size * 0.6 / 0.12 * rng.uniform(0.3, 1.0, (LEVELS, count)) * np.where(kind == CHEST, 1.0, 0.25)
    contact[LEVELS - 1] = size * rng.uniform(0.2, 1.5, count)
    return {
        "air_food": np.concatenate((each * shares, load[None])), "liner_food": each * (1 - shares),
        "contact": contact, "packing": rng.uniform(0.55, 1.0, (LEVELS + 1, count)),
    }  # fmt: skip

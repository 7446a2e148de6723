"""A fleet of simulated freezers in steps of 10 s, all at once: the truth that the forecasts are tried against.

Air (implicit), a headspace liner and five liner levels with frost that melts, foam nodes, an evaporator with fan and
heater where defrost is automatic, five layers of food in four shells each by the enthalpy method, a thermostat's bulb
on the liner, lids that open or gape and let moisture in, a warm load, a room with a day, a slow probe with an offset.
It is built from walls, surfaces and packages, and shares neither code nor structure with gatewayd's own model.
"""

from dataclasses import dataclass, field

import numpy as np

from tests.evaluate import foods
from tests.evaluate.foods import Array
from tests.evaluate.freezers import AUTO, LEVELS, SHELLS, Fleet

DT = 10.0  # s
A_MINUTE = 6  # steps
OPEN, BARE, LOADED, OUT, OFF = (
    1,
    2,
    4,
    8,
    16,
)  # bits of Course.state: lid open, food taken out, load in, probe out, no power
ICE = 2050.0  # J/kgK
SUBLIMATION = 2.83e6  # J/kg of frost settled from the air
DRIP = 300.0  # s after the heater, before the compressor (common practice)


@dataclass(slots=True)
class Course:
    """Hold what happens to a fleet: bits by step [steps, N], the rest by minute [minutes, N]."""

    state: np.ndarray  # uint8
    room: np.ndarray  # °C
    leak: np.ndarray | float = 0.0  # W/K of room air through a gap
    shift: np.ndarray | float = 0.0  # K, of the thermostat
    damp: Array | float = 0.0  # kg/s of frost from a source of moisture, [N]


@dataclass(slots=True)
class Trace:
    """Hold what came of it, by minute [minutes, N]; `top` is the mean of the warmest layer, `bulk` that of all food."""

    reading: np.ndarray
    air: np.ndarray
    top: np.ndarray
    bulk: np.ndarray
    running: np.ndarray  # steps of the minute in which the compressor ran
    defrost: np.ndarray
    liner: np.ndarray


def saturated(t: Array) -> Array:
    """Return kg of water in a kg of saturated air at `t` (°C); Magnus's formula at 101 kPa."""
    out: Array = 0.00376 * np.exp(17.3 * t / (t + 238.0))
    return out


@dataclass(slots=True)
class Ledger:
    """Hold the heat (J, [N]) that went in and out, to show that none is made."""

    walls: Array
    lid: Array
    moisture: Array
    cooled: Array
    heater: Array
    mass: Array  # carried by frost that settled or drained

    def sum(self) -> Array:
        """Return the heat that must now be in the freezer more than at the start."""
        return self.walls + self.lid + self.moisture - self.cooled + self.heater + self.mass


@dataclass(slots=True)
class Plant:
    """Step a fleet."""

    fleet: Fleet
    air: Array = field(init=False)
    liner: Array = field(init=False)
    melted: Array = field(init=False)  # J, latent heat that each liner's frost holds
    frost: Array = field(init=False)
    foam: Array = field(init=False)
    h: Array = field(init=False)
    t: Array = field(init=False)
    evap: Array = field(init=False)
    evap_frost: Array = field(init=False)
    evap_melted: Array = field(init=False)
    ledger: Ledger = field(init=False)

    def __post_init__(self) -> None:
        """Begin near what the owner wants; a day of running settles the rest."""
        f, n = self.fleet, len(self.fleet)
        self._constants()
        self.air = f.target.copy()
        self.liner = np.tile(f.target - 1.5, (LEVELS + 1, 1))
        self.melted = np.zeros_like(self.liner)
        self.frost = f.frost.copy()
        self.foam = 0.5 * (self.liner + f.room)
        start = np.tile(f.target - 0.8, (SHELLS, LEVELS + 1, 1))
        start[:, LEVELS] = f.load_t
        self.h = foods.enthalpy(self.food, start)
        self.t, self.k = foods.temperature(self.food, self.h)
        self.evap = f.target - 4.0
        self.evap_frost = np.where(self.auto, 0.15, 0.0)
        self.evap_melted = np.zeros(n)
        self.bulb = f.target - 1.5
        self.sensor = f.target.copy()
        self.set = np.where(self.auto, f.target, f.target - 2.0)  # mean of the bulb; `settle` corrects it
        self.on = np.zeros(n, dtype=bool)
        self.power = np.zeros(n)  # share of full cooling, after the start
        self.ran = f.defrost_every * np.linspace(0.0, 0.95, n)
        self.heating = np.zeros(n)  # s since a defrost began, 0 = none
        self.dripping = np.zeros(n)
        self.last: np.ndarray | None = None
        self.ledger = Ledger(*(np.zeros(n) for _ in range(6)))

    # what does not change, shaped for the step
    auto: np.ndarray = field(init=False)
    food: np.ndarray = field(init=False)
    mass: Array = field(init=False)
    k: Array = field(init=False)
    bulb: Array = field(init=False)
    sensor: Array = field(init=False)
    set: Array = field(init=False)
    on: np.ndarray = field(init=False)
    power: Array = field(init=False)
    ran: Array = field(init=False)
    heating: Array = field(init=False)
    dripping: Array = field(init=False)
    last: np.ndarray | None = field(init=False)
    wall: Array = field(init=False)
    foam_c: Array = field(init=False)
    air_c: Array = field(init=False)
    evap_c: Array = field(init=False)
    inner: Array = field(init=False)
    air_food: Array = field(init=False)
    bulb_at: np.ndarray = field(init=False)
    now: dict[str, Array] = field(init=False)

    def _constants(self) -> None:
        f, n = self.fleet, len(self.fleet)
        self.auto = f.kind == AUTO
        self.food = np.broadcast_to(np.concatenate((f.food, f.load_food[None])), (SHELLS, LEVELS + 1, n)).copy()
        kg = np.concatenate((f.layer_kg, f.load_kg[None]))
        self.mass = kg / SHELLS
        surface = kg / foods.DENSITY[self.food[0]] / f.block  # m2, one side of slabs cut in two halves
        self.inner = surface * f.packing / (f.block / SHELLS)  # times k: between shells
        self.air_food = f.air_food.copy()
        self.air_food[LEVELS] = 5.0 * surface[LEVELS]
        self.wall = 2.0 * (f.ua - f.gasket) * f.area / f.area.sum(axis=0)  # two halves in series make the wall
        self.foam_c = f.area * 0.065 * 35.0 * 1400.0  # 65 mm of polyurethane
        self.air_c = np.maximum(1300.0 * f.volume / 1000.0, 60.0)  # and the thin plastic parts in it
        self.evap_c = 2500.0 + 4.0 * f.volume
        self.bulb_at = f.bulb * n + np.arange(n)

    def stored(self) -> Array:
        """Return the heat in each freezer (J), food that may be put in later included."""
        food = (self.h * self.mass).sum(axis=(0, 1))
        liner = (self.liner * (self.fleet.liner_c + ICE * self.frost) + self.melted).sum(axis=0)
        evap = self.evap * (self.evap_c + ICE * self.evap_frost) + self.evap_melted
        out: Array = food + liner + evap + (self.foam * self.foam_c).sum(axis=0) + self.air * self.air_c
        return out

    def _bits(self, row: np.ndarray) -> None:
        """Set what depends on lid, load and power; called only when one of them changed."""
        f = self.fleet
        inside = np.where(row & BARE, 0.0, 1.0)
        loaded = np.where(row & LOADED, 1.0, 0.0) * inside
        is_open = np.where(row & OPEN, 1.0, 0.0)
        present = np.vstack((np.tile(inside, (LEVELS, 1)), loaded))
        air_food = self.air_food * present
        contact = f.contact * present[:LEVELS]
        contact[LEVELS - 1] *= loaded
        ray = is_open * 4.1 * f.lid_area  # W/K: 4 sigma T^3 near 0 °C by an emissivity of 0.9
        self.now = {
            "air_food": air_food,
            "liner_food": f.liner_food * inside,
            "contact": contact,
            "vent": f.vent * is_open,
            "ray_top": 0.5 * ray * inside,
            "ray_head": 0.5 * ray + 0.5 * ray * (1 - inside),
            "off": (row & OFF) > 0,
            "open": is_open > 0,
            "out": (row & OUT) > 0,
        }
        self.last = row.copy()

    def _control(self, shift: Array | float) -> None:
        f, off = self.fleet, self.now["off"]
        self.bulb += (self.liner.ravel()[self.bulb_at] - self.bulb) * (DT / 90.0)
        half = 0.5 * f.differential
        level = self.bulb - self.set - shift
        self.on = np.where(level > half, True, np.where(level < -half, False, self.on)) & ~off
        if self.auto.any():
            self.ran += self.on * DT
            begin = self.auto & (self.ran > f.defrost_every) & (self.heating == 0) & (self.dripping == 0) & ~off
            self.heating = np.where((begin | (self.heating > 0)) & ~off, self.heating + DT, 0.0)
            over = (self.heating > 0) & ((self.evap > 10.0) | (self.heating > 1800.0))
            self.heating[over] = 0.0
            self.ran[over | begin] = 0.0
            self.dripping = np.where(over, DRIP, np.maximum(self.dripping - DT, 0.0))
            if over.any():  # the melt water runs off
                self.ledger.mass -= over * (ICE * self.evap_frost * self.evap + self.evap_melted)
                self.evap_frost[over] = 0.0
                self.evap_melted[over] = 0.0
            self.on &= (self.heating == 0) & (self.dripping == 0)
        self.power += (self.on - self.power) * (DT / 120.0)  # pressures need some minutes
        self.power[~self.on] = 0.0

    def step(self, room: Array, wet: Array, leak: Array | float, shift: Array | float, damp: Array | float) -> None:
        """Go 10 s on. `wet` is the water in the room's air, kg/kg."""
        f, now, led = self.fleet, self.now, self.ledger
        self._control(shift)
        cold = (f.cool_share * self.liner).sum(axis=0) + self.auto * self.evap
        cooled = np.maximum(self.power * f.cool * (1.0 + 0.03 * (cold + 25.0)) * (1.0 - 0.01 * (room - 25.0)), 0.0)
        fan = np.where(self.auto, np.where(self.power > 0, 18.0, 0.5) + 1.0 * (self.heating > 0), 0.0)
        fan = np.where(now["open"], np.minimum(fan, 0.5), fan)
        skin = self.t[0]
        let_in = f.gasket + leak + now["vent"]
        air_food = now["air_food"]
        gain = self.air_c / DT
        top = gain * self.air + (f.air_liner * self.liner).sum(axis=0) + (air_food * skin).sum(axis=0)
        bottom = gain + f.air_liner.sum(axis=0) + air_food.sum(axis=0) + let_in + fan
        air = (top + let_in * room + fan * self.evap) / bottom
        self.air = air
        dry = np.maximum(wet - saturated(self.liner[0]), 0.0) / 1006.0
        settled = (leak + now["vent"] + 0.1 * f.gasket) * dry + damp  # kg/s; a tenth of a gasket's heat is leaking air
        rays_head = now["ray_head"] * (room - self.liner[0])
        rays_top = now["ray_top"] * (room - skin[0])
        wall_in = self.wall * (self.foam - self.liner)
        wall_out = self.wall * (room - self.foam)
        food_air = air_food * (air - skin)
        food_liner = now["liner_food"] * (self.liner[1:] - skin[:LEVELS])
        self.foam += (wall_out - wall_in) * (DT / self.foam_c)
        heat = wall_in + f.air_liner * (air - self.liner) - f.cool_share * cooled
        heat[0] += rays_head
        heat[1:] -= food_liner
        down = f.along * (self.liner[1:-1] - self.liner[2:])
        heat[1:-1] -= down
        heat[2:] += down
        self._liner(heat, settled)
        self._food(food_air, food_liner, rays_top)
        if self.auto.any():
            self._evaporator(fan * (air - self.evap), cooled, settled)
        led.walls += wall_out.sum(axis=0) * DT
        led.lid += (let_in * (room - air) + rays_head + rays_top) * DT
        led.moisture += settled * (SUBLIMATION * DT)
        led.cooled += cooled * DT

    def _liner(self, heat: Array, settled: Array) -> None:
        f = self.fleet
        new = settled * f.frost_share * DT
        heat += new * (SUBLIMATION / DT)
        self.ledger.mass += (new * ICE * self.liner).sum(axis=0)
        self.frost += new
        c = f.liner_c + ICE * self.frost
        energy = self.liner * c + self.melted + heat * DT
        self.melted = np.clip(energy, 0.0, foods.LATENT * self.frost)
        self.liner = (energy - self.melted) / c

    def _food(self, food_air: Array, food_liner: Array, rays: Array) -> None:
        t, k = self.t, self.k
        between = self.inner * (0.5 * (k[:-1] + k[1:])) * (t[:-1] - t[1:])
        heat = np.zeros_like(t)
        heat[1:] += between
        heat[:-1] -= between
        skin = heat[0]
        skin += food_air
        skin[:LEVELS] += food_liner
        skin[0] += rays
        touch = self.now["contact"]
        down = touch[: LEVELS - 1] * (t[0, : LEVELS - 1] - t[0, 1:LEVELS])
        skin[: LEVELS - 1] -= down
        skin[1:LEVELS] += down
        load = touch[LEVELS - 1] * (t[0, LEVELS] - t[0, 0])
        skin[0] += load
        skin[LEVELS] -= load
        self.h += heat * (DT / self.mass)
        self.t, self.k = foods.temperature(self.food, self.h)

    def _evaporator(self, warmed: Array, cooled: Array, settled: Array) -> None:
        new = settled * self.auto * DT
        heater = np.where(self.heating > 0, self.fleet.heater, 0.0)
        self.ledger.heater += heater * DT
        self.ledger.mass += new * ICE * self.evap
        self.evap_frost += new
        c = self.evap_c + ICE * self.evap_frost
        heat = warmed + heater - cooled * self.auto
        energy = self.evap * c + self.evap_melted + heat * DT + new * SUBLIMATION
        self.evap_melted = np.clip(energy, 0.0, foods.LATENT * self.evap_frost)
        self.evap = np.where(self.auto, (energy - self.evap_melted) / c, self.evap)

    def feel(self, room: Array) -> None:
        """Let the probe follow what is about it."""
        f = self.fleet
        about = self.air + f.lid_pull * (self.liner[0] - self.air) + f.touch * (self.t[0, 0] - self.air)
        if self.auto.any():
            about += f.spike * (self.heating > 0) * (self.evap - self.air)
        about = np.where(self.now["out"], room, about)
        self.sensor += (about - self.sensor) * (DT / f.lag)

    def run(self, course: Course) -> Trace:
        """Run a course and return what the probes read and what the food truly was."""
        f, minutes = self.fleet, len(course.room)
        kinds = ("reading", "air", "top", "bulk", "liner")
        out = {name: np.empty((minutes, len(f)), dtype=np.float32) for name in kinds}
        running = np.zeros((minutes, len(f)), dtype=np.uint8)
        defrost = np.zeros((minutes, len(f)), dtype=bool)
        share = f.layer_kg / f.kg
        for minute in range(minutes):
            room = course.room[minute].astype(float)
            wet = f.humidity * saturated(room)
            leak = course.leak[minute] if isinstance(course.leak, np.ndarray) else course.leak
            shift = course.shift[minute] if isinstance(course.shift, np.ndarray) else course.shift
            for row in course.state[minute * A_MINUTE : (minute + 1) * A_MINUTE]:
                if self.last is None or not np.array_equal(row, self.last):
                    self._bits(row)
                self.step(room, wet, leak, shift, course.damp)
                self.feel(room)
                running[minute] += self.on
            layers = self.t[:, :LEVELS].mean(axis=0)
            out["reading"][minute] = np.round(self.sensor + f.offset, 1)
            out["air"][minute] = self.air
            out["top"][minute] = layers.max(axis=0)
            out["bulk"][minute] = (layers * share).sum(axis=0)
            out["liner"][minute] = self.liner.ravel()[self.bulb_at]
            defrost[minute] = self.heating > 0
        return Trace(**out, running=running, defrost=defrost)

    def settle(self, room: np.ndarray, rounds: int = 3, hours: int = 14) -> None:
        """Run till warm-up is over, turning the thermostat till the mean air is what the owner wants."""
        steps = hours * 60 * A_MINUTE
        for _ in range(rounds):
            trace = self.run(Course(np.zeros((steps, len(self.fleet)), dtype=np.uint8), room[: hours * 60]))
            self.set += np.clip(self.fleet.target - trace.air[hours * 20 :].mean(axis=0), -6.0, 6.0)
        self.ledger = Ledger(*(np.zeros(len(self.fleet)) for _ in range(6)))

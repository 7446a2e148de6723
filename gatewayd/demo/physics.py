"""Simulate a freezer: air, walls, food that melts, a compressor that cycles, a lid that opens.

Units: W, J, K, kg, s, °C.

The nodes and what joins them:

    room --ua_walls--> liner (with the evaporator of a chest) <--air_liner--> air <--exchange, ua_lid-- room
                         ^ cooling (chest, plain upright)        ^
    food lumps <--to_liner--'        food lumps <--to_air--------'----fan--> coil <-- cooling (automatic defrost)

Air and coil weigh so little that a plain step would overshoot: they move by the exact exponential of the step.
Everything else is slow and moves by plain steps. Figures marked "chosen" were set so that duty, starts, ripple,
energy and hold-over time agree with the published figures that the tests of this module quote.
"""

import math
from dataclasses import dataclass, field

from gatewayd.demo.food import Curve, Food, curve

LITRES_PER_CUBIC_FOOT = 28.316846592  # exact
COOLING_LAG = 150.0  # s until an evaporator feels its compressor start or stop; chosen, minutes is common experience
BULB_LAG = 90.0  # s; the thermostat's bulb sits in a pocket of the liner; chosen
COP = 1.3  # heat out per electrical work; the middle of 1.1..1.5 that small machines reach at these temperatures
CAPACITY_SLOPE = 0.025  # 1/K; a warm evaporator boils more: compressor data sheets double from -35 to -10 °C (memory)
RATED_AT = -25.0  # °C at the evaporator, where `cooling` is stated
REST = 300.0  # s a compressor must rest before it can start against the pressure it left (common practice)
AIR_MASS = 2_500.0  # J/K: 0.4 m3 of air has 0.6 kJ/K, cartons, baskets and frost fluff the rest; chosen
MOIST = 1.25  # humid air brings a quarter more heat than dry air (practitioners' figures for cold-store doors)


def chest_conductance(litres: float) -> float:
    """Return UA (W/K) of a chest freezer of this volume.

    From the United States' energy limits for chest freezers, 7.29 AV + 107.8 kWh a year (10 CFR 430.32(a), class 10),
    with AV = 1.76 volumes in cubic feet, 0.7 for household use and 50 K between room and cabinet, at the COP above.
    """
    yearly = 7.29 * 1.76 * litres / LITRES_PER_CUBIC_FOOT + 107.8
    return yearly * 1000 / 8760 / 0.7 * COP / 50


@dataclass(frozen=True, slots=True)
class Defrost:
    """Describe an automatic defrost: every `after` s of running, a heater of `power` W for `lasts` s."""

    after: float
    power: float
    lasts: float
    drip: float = 300.0  # s of rest in which the water runs off; common practice
    into_coil: float = 0.55  # the rest warms the air past the coil; published efficiency of one heater: 0.30


@dataclass(frozen=True, slots=True)
class Build:
    """Describe how a freezer is built. Conductances in W/K; the thermostat reads the liner (°C)."""

    ua_walls: float
    ua_lid: float
    cooling: float  # W of heat taken out at RATED_AT
    cut_in: float
    cut_out: float
    open_exchange: float  # W/K of room air with the lid or door wide open
    air_liner: float = 8.0
    liner_mass: float = 20_000.0  # J/K; lumped models of chest freezers of 300 to 400 L take about this
    defrost: Defrost | None = None
    fan: float = 22.0  # W/K between coil and air with the fan running; only with a coil
    fan_power: float = 5.0  # W, all of it warms the air
    coil_mass: float = 4_000.0  # J/K of aluminium and frost; chosen
    coil_still: float = 1.5  # W/K between coil and air without the fan; chosen


@dataclass(slots=True)
class Lump:
    """Hold a lump of food: mass (kg), its joints (W/K) to air, liner and the lump below it, and its heat (J/kg)."""

    food: Food
    mass: float
    to_air: float
    to_liner: float
    to_next: float
    temperature: float
    heat: float = 0.0
    curve: Curve = field(init=False)

    def __post_init__(self) -> None:
        """Look the curve up and fill in the heat that belongs to the temperature."""
        self.curve = curve(self.food)
        self.heat = self.curve.heat(self.temperature)


class Plant:
    """Hold one freezer's state and move it by steps.

    `exchange` (W/K) is how much room air comes in past the lid, 0 when shut; `plugged` says whether it has power.
    `work` counts electrical energy (J), `run` the seconds the compressor ran, `starts` how often it started.
    """

    def __init__(self, build: Build, lumps: list[Lump], celsius: float) -> None:
        """Begin with everything but the food at `celsius`, the compressor resting and its rest nearly over."""
        self.build, self.lumps = build, lumps
        self.air = self.liner = self.coil = self.bulb = celsius
        self.cold = 0.0  # W that the evaporator takes out now; follows the compressor with its lag
        self.running, self.plugged, self.exchange = False, True, 0.0
        self.work, self.run, self.starts = 0.0, 0.0, 0
        self.defrosting = self.dripping = 0.0  # s left
        self._rested, self._since_defrost = REST, 0.0

    @property
    def bulk(self) -> float:
        """Return the mean temperature (°C) of all food, by mass."""
        return sum(lump.mass * lump.temperature for lump in self.lumps) / sum(lump.mass for lump in self.lumps)

    def open(self, share: float) -> None:
        """Set the lid: 0 shut, 1 wide open."""
        self.exchange = share * self.build.open_exchange * MOIST

    def load(self, food: Food, mass: float, celsius: float, to_air: float) -> None:
        """Put fresh food in, on top of everything else, where it touches only air."""
        self.lumps.append(Lump(food, mass, to_air, 0.0, 0.0, celsius))

    def step(self, room: float, seconds: float) -> None:
        """Move everything by `seconds` (10 to 30) with the room at `room` °C."""
        build = self.build
        self._switch(seconds)
        has_coil = build.defrost is not None
        evaporator = self.coil if has_coil else self.liner
        full = build.cooling * max(0.0, 1 + CAPACITY_SLOPE * (evaporator - RATED_AT)) if self.running else 0.0
        self.cold += (full - self.cold) * (1 - math.exp(-seconds / COOLING_LAG))
        air_gain, air_joint = self._food(seconds)
        joints = build.air_liner + build.ua_lid + self.exchange + air_joint
        gains = build.air_liner * self.liner + (build.ua_lid + self.exchange) * room + air_gain
        if has_coil:
            joint, heat = self._coil(seconds)
            joints += joint
            gains += joint * self.coil + heat
        flow = build.ua_walls * (room - self.liner) + build.air_liner * (self.air - self.liner)
        flow += sum(lump.to_liner * (lump.temperature - self.liner) for lump in self.lumps)
        if not has_coil:
            flow -= self.cold
        target = gains / joints
        self.air = target + (self.air - target) * math.exp(-seconds * joints / AIR_MASS)
        self.liner += flow * seconds / build.liner_mass
        self.bulb += (self.liner - self.bulb) * (1 - math.exp(-seconds / BULB_LAG))
        if self.running:
            self.run += seconds
            self._since_defrost += seconds
            self.work += full / COP * seconds

    def _switch(self, seconds: float) -> None:
        """Let thermostat, plug and defrost timer act."""
        build, was = self.build, self.running
        defrost = build.defrost
        self.defrosting = max(0.0, self.defrosting - seconds) if self.plugged else 0.0
        self.dripping = max(0.0, self.dripping - seconds)
        if defrost and self.plugged and self._since_defrost >= defrost.after:
            self._since_defrost = 0.0
            self.defrosting = defrost.lasts
            self.dripping = defrost.lasts + defrost.drip
        if not self.plugged or self.dripping > 0 or self.bulb <= build.cut_out:
            self.running = False
        elif self.bulb >= build.cut_in and self._rested >= REST:
            self.running = True
        self._rested = 0.0 if self.running else self._rested + seconds
        self.starts += self.running and not was

    def _food(self, seconds: float) -> tuple[float, float]:
        """Move the food; return its sums of joint times temperature (W), and of joints (W/K), to the air."""
        air, liner = self.air, self.liner
        gain = joint = from_above = 0.0
        last = len(self.lumps) - 1
        for index, lump in enumerate(self.lumps):
            here = lump.temperature
            gain += lump.to_air * here
            joint += lump.to_air
            down = lump.to_next * (here - self.lumps[index + 1].temperature) if index < last else 0.0
            flow = lump.to_air * (air - here) + lump.to_liner * (liner - here) + from_above - down
            from_above = down
            lump.heat += flow * seconds / lump.mass
            lump.temperature = lump.curve.temperature(lump.heat)
        return gain, joint

    def _coil(self, seconds: float) -> tuple[float, float]:
        """Move the coil; return its joint to the air (W/K) and the heat (W) of fan and heater that misses the coil."""
        build, defrost = self.build, self.build.defrost
        blowing = self.running and self.coil < self.air  # the fan waits until the coil is cold
        joint = build.fan if blowing else build.coil_still
        heater = defrost.power if defrost and self.defrosting > 0 else 0.0
        share = defrost.into_coil if defrost else 0.0
        target = self.air + (heater * share - self.cold) / joint
        self.coil = target + (self.coil - target) * math.exp(-seconds * joint / build.coil_mass)
        self.work += (heater + (build.fan_power if blowing else 0.0)) * seconds
        return joint, heater * (1 - share) + (build.fan_power if blowing else 0.0)

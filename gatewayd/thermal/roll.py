"""One freezer without cooling, stepped on in time: three lumps of which the air is fast and the food has a curve.

    C_f dT_f/dt = UA (T_room - T_f) - g_s' (T_f - T_s) - g_b' (T_f - T_b)
    m_s dh_s/dt = g_s' (T_f - T_s) - g_sb (T_s - T_b)
    m_b dh_b/dt = g_b' (T_f - T_b) + g_sb (T_s - T_b)

f is liner, air and frost; s the warmest layer of food; b all other food. A thawed shell insulates what is below it:
g' = g / (1 + crust x melted share). The fast lump is exact within a step (exponential), with the heat that it hands on
taken from its mean over the step. The food is looked up half a step ahead, by its last gain, which makes the step of
second order; a layer too light for the step takes several.
"""

from collections.abc import Sequence
from math import exp

from gatewayd.thermal.curve import CELLS, Curve
from gatewayd.thermal.prior import Body

# Of the time constant of a layer, as a step's length: beyond 1 it would swing. And the least specific heat, J/(kg K),
# of frozen food in use (Chen, bread at -30 °C).
STABLE, LEAST_HEAT = 0.6, 1800.0
SETTLES = 0.75  # h; air, liner and a cased probe come to rest after the last draught of cold. Our choice

State = tuple[float, float, float]  # °C of the fast lump, J/kg of the warmest layer and of the bulk


def begin(body: Body, curve: Curve) -> State:
    """Return the state at the start of an outage."""
    h = curve.enthalpy(min(39.0, body.food))
    return (body.liner, h, h)


def roll(body: Body, curve: Curve, state: State, rooms: Sequence[float], dt: float) -> list[State]:
    """Return the states after each step of `dt` seconds; `rooms` is the room (°C) over each step."""
    table, scale, last = curve.table, curve.scale, CELLS - 1
    melt_from, melt_span = curve.at_minus_10, curve.at_0 - curve.at_minus_10
    ua, gs0, gb0, gsb, cf = body.ua, body.top_coupling, body.bulk_coupling, body.within, body.fast
    crust, thawed, shift = body.crust / melt_span, 1 + body.crust, body.room
    parts = 1 + int(dt * (gs0 + gsb) / (STABLE * LEAST_HEAT * body.top_mass))
    dt /= parts
    per_s, per_b = dt / body.top_mass, dt / body.bulk_mass
    tf, hs, hb = state
    half_s, half_b = 0.0, 0.0  # half of the last gain
    out = []
    for room in rooms:
        for _ in range(parts):
            i = int((hs + half_s) * scale)
            j = int((hb + half_b) * scale)
            ts = table[i] if i < last else table[last]
            tb = table[j] if j < last else table[last]
            melted = hs - melt_from
            gs = gs0 if melted <= 0 else gs0 / (1 + crust * melted) if melted < melt_span else gs0 / thawed
            melted = hb - melt_from
            gb = gb0 if melted <= 0 else gb0 / (1 + crust * melted) if melted < melt_span else gb0 / thawed
            g = ua + gs + gb
            goal = (ua * (room + shift) + gs * ts + gb * tb) / g
            rate = g * dt / cf
            decay = exp(-rate)
            mean = goal + (tf - goal) * (1 - decay) / rate
            tf = goal + (tf - goal) * decay
            across = gsb * (ts - tb)
            gain_s = per_s * (gs * (mean - ts) - across)
            gain_b = per_b * (gb * (mean - tb) + across)
            hs += gain_s
            hb += gain_b
            half_s, half_b = 0.5 * gain_s, 0.5 * gain_b
        out.append((tf, hs, hb))
    return out


def reading(body: Body, curve: Curve, state: State, room: float, hours: float) -> float:
    """Return what the probe reads (°C) in a state, `hours` after cooling stopped.

    While it cools the air lies above the liner by what was read; within the hour after, that gives way to the still
    air of a warm lid.
    """
    tf, hs, _hb = state
    fresh = exp(-hours / SETTLES)
    air = tf + body.above * fresh + body.lift * (room + body.room - tf) * (1 - fresh)
    return (1 - body.buffer) * air + body.buffer * curve.temperature(hs) + body.offset

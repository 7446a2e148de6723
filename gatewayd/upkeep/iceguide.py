"""Guide the check of a probe in ice in words; commands and pages say it alike. A state is what the door tells of it."""

from typing import Any

from gatewayd.model.units import TemperatureUnit, show_span

State = dict[str, Any]

BEGIN = "Say yes below. Then"  # how the third step begins for who reads it at a terminal
DOWN = "there must be ice down to the bottom all the time, so pour water off and add ice when it floats."
SHUT = "now and then. Shut the freezer again."
NO_FREEZER = "It guards no freezer, so nothing is held."


def intro(name: str, unit: TemperatureUnit) -> str:
    """Say what the check is."""
    return (
        f"A check of {name} in ice: crushed ice in water is at {unit.show(0.0, 0)}, so what the sensor says there is "
        "its error."
    )


def steps(begin: str = BEGIN) -> tuple[str, ...]:
    """Say what to do, step by step; `begin` is what comes before the probe goes into the ice."""
    return (
        "Crush clean ice and fill a tall cup with it to the brim. Add cold water until it just fills the gaps; " + DOWN,
        "A sensor that is not watertight goes into a thin bag first, with the air pressed out.",
        f"{begin} put the probe into the middle of the ice, touching neither wall nor bottom, and stir gently " + SHUT,
        "It takes about a quarter of an hour: ten minutes in which nothing moves, and five readings.",
        "Dry it well and put it back where it was.",
    )


def quiet(freezer: str | None) -> str:
    """Say what is held meanwhile of the freezer with this name, None for a sensor of no freezer."""
    if not freezer:
        return NO_FREEZER
    return (
        "Until the probe is back, for two hours at most, it watches nothing. "
        f"The alarms of {freezer} are held for half an hour now, and again when the probe goes back."
    )


def stands(state: State) -> str:
    """Say how the check stands in a line."""
    if not state["running"]:
        return "No check is running any more."
    unit = TemperatureUnit(state["units"])
    raw = "" if state["raw_c"] is None else unit.show(state["raw_c"], 2)
    match state["stage"]:
        case "waiting":
            return "waiting for its first reading"
        case "on its way":
            return f"{raw}: on its way to the ice's temperature"
        case "settling":
            return f"{raw}: within {unit.show_difference(0.2)} for {show_span(state['steady_ms'])} of 10 min"
        case "not ice":
            return (
                f"{raw}: it stands still far from {unit.show(0.0, 0)}. Either it does not lie in ice down to the "
                "bottom, or the sensor is broken. Nothing is stored of this; it goes on."
            )
        case _:
            return f"{raw}: settled"


def result(state: State) -> tuple[str, str]:
    """Say what was found: by how much it is off, which way and how sure; and what would be added."""
    unit, off = TemperatureUnit(state["units"]), -state["offset_k"]
    side = "exactly right" if round(off, 2) == 0 else f"{unit.show_difference(abs(off), 2)} too {_side(off)}"
    return (
        (
            f"{state['name']} reads {side}: in ice it says {unit.show(state['mean_c'], 2)}, five readings within "
            f"{unit.show_difference(state['spread_k'], 2)}."
        ),
        (
            f"{unit.show_difference(state['offset_k'], 2)} would be added to its readings; until now it is "
            f"{unit.show_difference(state['was_k'], 2)}."
        ),
    )


def _side(off: float) -> str:
    return "warm" if off > 0 else "cold"

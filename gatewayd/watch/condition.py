"""Say how a sensor does, from its entry in `watch.view.health`; commands and pages say it in the same words."""

from collections.abc import Callable
from typing import Any

from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.upkeep.signal import strength

Entry = dict[str, Any]


def where(sensor: Entry, called: Callable[[str], str] = str) -> str:
    """Return where a sensor is; `called` turns the id of a freezer into what it is to be called."""
    if sensor["freezer"]:
        return f"in {called(sensor['freezer'])}"
    if sensor.get("room_of"):
        return f"in the room of {' and '.join(called(freezer) for freezer in sensor['room_of'])}"
    return "in no freezer"


def figures(sensor: Entry, unit: TemperatureUnit) -> list[str]:
    """Return what is known of a sensor, as people say it; what is not known is left out."""
    found = [] if sensor["celsius"] is None else [unit.show(sensor["celsius"])]
    if sensor["state"]:
        found.append(str(sensor["state"]))
    heard = sensor["heard_ago"]
    found.append("never heard" if heard is None else f"heard {show_span(heard)} ago")
    found.append(every(sensor))
    if sensor["missed"] is not None:
        found.append(f"missed {sensor['missed']:.0%} of a day")
    found += [f"battery {level}" for level in levels(sensor)]
    if sensor["signal"] is not None:
        found.append(f"signal {sensor['signal']} dBm ({over_time(sensor)})")
    return found


def every(sensor: Entry) -> str:
    """Return how often it reports."""
    if sensor["interval_told"]:
        return f"every {show_span(sensor['interval_told'])} (told)"
    return (
        f"every {show_span(sensor['interval_learnt'])}" if sensor["interval_learnt"] else "how often is not known yet"
    )


def levels(sensor: Entry) -> list[str]:
    """Return the levels of its battery, none where it does not say any."""
    found = [] if sensor["battery"] is None else [f"{sensor['battery']:.0f} %"]
    return found + ([] if sensor["voltage"] is None else [f"{sensor['voltage']:.2f} V"])


def over_time(sensor: Entry) -> str:
    """Return the mean and the weakest of its signal in the last two days."""
    return f"mean {sensor['signal_mean']:.0f}, weakest {sensor['signal_weakest']}"


def fell(sensor: Entry) -> str:
    """Return by how much its battery fell, empty where it did not or where that is not known."""
    if sensor["battery_trend"] is None or sensor["battery_trend"] >= 0:
        return ""
    return f"its battery fell by {-sensor['battery_trend']:.2g} {sensor['battery_unit']} within a week"


def faults(sensor: Entry) -> list[str]:
    """Return what is not as it should be."""
    found = unsaid(sensor)
    if sensor["reboots"]:
        found.append(f"its counters began anew: {sensor['reboots']}×")
    if falling := fell(sensor):
        found.append(falling)
    if sensor["advice"]:
        found.append(sensor["advice"])
    if sensor["late"]:
        found.append(f"arrived late: {sensor['late']}×")
    if sensor["repeats"]:
        found.append(f"the same reading again: {sensor['repeats']}×")
    if sensor["quality"] not in (None, "good"):
        found.append(f"now: {sensor['quality']}")
    return found


def unsaid(sensor: Entry) -> list[str]:
    """Return what it could not say, or said so that it does not count, and how often."""
    found = [f"{reason}: {count}×" for reason, count in {**sensor["bad"], **sensor["unreadable"]}.items()]
    return found + [f"{note}: {count}×" for note, count in sensor["notes"].items()]


def silent(sensor: Entry) -> str:
    """Return in a loud word how long it was not heard, empty where it is heard as it should be."""
    heard = sensor["heard_ago"]
    if heard is None:
        return "not heard yet"
    return f"not heard for {show_span(heard)}" if heard > sensor["silent_after"] else ""


def battery(sensor: Entry) -> str:
    """Return its battery and how it goes, empty where it does not say any."""
    level = " and ".join(levels(sensor))
    if not level:
        return ""
    if falling := fell(sensor):
        return f"{level}; {falling}"
    return f"{level}, {'steady' if sensor['battery_trend'] is not None else 'too early to say whether it falls'}"


def signal(sensor: Entry) -> str:
    """Return its signal in words with the figures beside, empty where it has none: a broker or a wire brings it."""
    if sensor["signal"] is None:
        return ""
    figures_ = f"{sensor['signal']} dBm; {over_time(sensor)}".replace("-", "−")
    return f"{strength(sensor['signal'])} ({figures_})"

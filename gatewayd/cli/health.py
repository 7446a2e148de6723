"""Show how the sensors do."""

from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.model.units import TemperatureUnit, show_span


@click.command(name="health")
@house.settings_option
@house.json_option
def command(settings_file: Path | None, *, as_json: bool) -> None:
    """Show for each sensor when it was heard, how often it reports, what it misses, its battery and faults."""
    found = next(house.knock(house.socket(settings_file), {"ask": "health"}))
    if as_json:
        house.show(found)
    else:
        _print(found["sensors"], TemperatureUnit(found["units"]))


def _print(sensors: list[dict[str, Any]], unit: TemperatureUnit) -> None:
    for sensor in sensors:
        click.echo(f"{sensor['name']} ({sensor['id']}, {_where(sensor)})")
        click.echo("  " + ", ".join(_figures(sensor, unit)))
        for fault in _faults(sensor):
            click.echo(f"  ! {fault}")


def _where(sensor: dict[str, Any]) -> str:
    if sensor["freezer"]:
        return f"in {sensor['freezer']}"
    return f"in the room of {' and '.join(sensor['room_of'])}" if sensor.get("room_of") else "in no freezer"


def _figures(sensor: dict[str, Any], unit: TemperatureUnit) -> list[str]:
    """Return what is known of a sensor, as people say it; what is not known is left out."""
    found = [] if sensor["celsius"] is None else [unit.show(sensor["celsius"])]
    if sensor["state"]:
        found.append(str(sensor["state"]))
    heard = sensor["heard_ago"]
    found.append("never heard" if heard is None else f"heard {show_span(heard)} ago")
    found.append(f"every {_every(sensor)}")
    if sensor["missed"] is not None:
        found.append(f"missed {sensor['missed']:.0%} of a day")
    if sensor["battery"] is not None:
        found.append(f"battery {sensor['battery']:.0f} %")
    if sensor["voltage"] is not None:
        found.append(f"battery {sensor['voltage']:.2f} V")
    if sensor["signal"] is not None:
        mean, weakest = sensor["signal_mean"], sensor["signal_weakest"]
        found.append(f"signal {sensor['signal']} dBm (mean {mean:.0f}, weakest {weakest})")
    return found


def _every(sensor: dict[str, Any]) -> str:
    if sensor["interval_told"]:
        return f"{show_span(sensor['interval_told'])} (told)"
    return show_span(sensor["interval_learnt"]) if sensor["interval_learnt"] else "so often is not known yet"


def _faults(sensor: dict[str, Any]) -> list[str]:
    faults = [f"{reason}: {count}×" for reason, count in {**sensor["bad"], **sensor["unreadable"]}.items()]
    faults += [f"{note}: {count}×" for note, count in sensor["notes"].items()]
    if sensor["reboots"]:
        faults.append(f"its counters began anew: {sensor['reboots']}×")
    if sensor["battery_trend"] is not None and sensor["battery_trend"] < 0:
        faults.append(f"its battery fell by {-sensor['battery_trend']:.2g} {sensor['battery_unit']} within a week")
    if sensor["advice"]:
        faults.append(sensor["advice"])
    if sensor["late"]:
        faults.append(f"arrived late: {sensor['late']}×")
    if sensor["repeats"]:
        faults.append(f"the same reading again: {sensor['repeats']}×")
    if sensor["quality"] not in (None, "good"):
        faults.append(f"now: {sensor['quality']}")
    return faults

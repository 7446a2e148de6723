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
    settings = house.settings_or_exit(settings_file)
    found = next(house.knock(settings, {"ask": "health"}))
    if as_json:
        house.show(found)
    else:
        _print(found["sensors"], settings.house.units)


def _print(sensors: list[dict[str, Any]], unit: TemperatureUnit) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table()
    for column in ("sensor", "air", "heard", "every", "missed", "battery", "signal", "faults"):
        table.add_column(column)
    for sensor in sensors:
        table.add_row(
            sensor["name"],
            "–" if sensor["celsius"] is None else unit.show(sensor["celsius"]),
            "never" if sensor["heard_ago"] is None else f"{show_span(sensor['heard_ago'])} ago",
            _every(sensor),
            "–" if sensor["missed"] is None else f"{sensor['missed']:.0%}",
            "–" if sensor["battery"] is None else f"{sensor['battery']:.0f} %",
            "–" if sensor["signal"] is None else f"{sensor['signal']} dBm",
            "\n".join(_faults(sensor)) or "none",
        )
    Console(highlight=False).print(table)


def _every(sensor: dict[str, Any]) -> str:
    if sensor["interval_told"]:
        return f"{show_span(sensor['interval_told'])} (told)"
    return show_span(sensor["interval_learnt"]) if sensor["interval_learnt"] else "not known yet"


def _faults(sensor: dict[str, Any]) -> list[str]:
    faults = [f"{reason}: {count}×" for reason, count in {**sensor["bad"], **sensor["unreadable"]}.items()]
    faults += [f"{note}: {count}×" for note, count in sensor["notes"].items()]
    if sensor["reboots"]:
        faults.append(f"its counters began anew: {sensor['reboots']}×")
    if sensor["battery_trend"] is not None and sensor["battery_trend"] < 0:
        faults.append(f"its battery fell by {-sensor['battery_trend']:.1f} within a week")
    if sensor["advice"]:
        faults.append(sensor["advice"])
    if sensor["late"]:
        faults.append(f"arrived late: {sensor['late']}×")
    if sensor["repeats"]:
        faults.append(f"the same reading again: {sensor['repeats']}×")
    if sensor["quality"] not in (None, "good"):
        faults.append(f"now: {sensor['quality']}")
    return faults

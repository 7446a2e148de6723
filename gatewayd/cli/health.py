"""Show how the sensors do."""

from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.model.units import TemperatureUnit


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
    from gatewayd.watch.condition import faults, figures, where

    for sensor in sensors:
        click.echo(f"{sensor['name']} ({sensor['id']}, {where(sensor)})")
        click.echo("  " + ", ".join(figures(sensor, unit)))
        for fault in faults(sensor):
            click.echo(f"  ! {fault}")

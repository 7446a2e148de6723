"""Show the house at a glance."""

import os
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.cli.known import last_watch
from gatewayd.door import NotRunning, Plain, ask
from gatewayd.message.house import held, older
from gatewayd.message.plan import HOUSE
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.settings.typed import Settings


@click.command(name="status")
@house.settings_option
@house.json_option
def command(settings_file: Path | None, *, as_json: bool) -> None:
    """Show each freezer, the alarms and the sources.

    Where gatewayd is not running it shows what it knew last, and exits with 3.
    """
    found, running = look(settings_file)
    if as_json:
        house.show({"running": running, **found})
    else:
        if not running:
            click.echo(f"gatewayd is not running; {house.START_IT}\nThis is what it knew last ({found['at']}):\n")
        _print(found)
    sys.exit(house.DONE if running else house.NOT_RUNNING)


def look(settings_file: Path | None) -> tuple[Plain, bool]:
    """Return the status and whether it is of now, from the daemon or as it knew last; exit where nobody may ask."""
    door = house.socket(settings_file)
    try:
        return next(ask(door, {"ask": "status"})), True
    except NotRunning:
        return last_known(house.settings_or_exit(settings_file)), False
    except PermissionError:
        house.refuse(f"You may not use {door}. Call this with sudo, or as a member of gatewayd's group.")


def last_known(settings: Settings) -> Plain:
    """Return the status as of the last snapshot in the store's file."""
    from gatewayd.watch.view import status

    found = last_watch(settings)
    if found is None:
        house.refuse("gatewayd has not watched anything yet.", house.NOT_RUNNING)
    watch, at = found
    return status(watch, at)


def _print(found: dict[str, Any]) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    unit = TemperatureUnit(found["units"])
    console = Console(highlight=False, markup=False, no_color="NO_COLOR" in os.environ or None)
    table = Table(title=f"{found['house']}, {datetime.fromisoformat(found['at']):%a %d %b %H:%M}", title_justify="left")
    for column in ("freezer", "where", "air", "heard", "state"):
        table.add_column(column)
    for freezer in found["freezers"]:
        celsius, ago = freezer["celsius"], freezer["heard_ago"]
        air = unit.show(celsius) if celsius is not None else "–"
        if celsius is None and freezer["retained_celsius"] is not None:
            air = f"{unit.show(freezer['retained_celsius'])}, age unknown"
        heard = f"{show_span(ago)} ago" if ago is not None else "never"
        table.add_row(*map(Text, (freezer["name"], freezer["place"], air, heard, freezer["state"])))
    console.print(table)
    for alarm in found["alarms"]:
        if alarm["hidden"] and not older(alarm, found["freezers"]):
            continue  # told by what stands in its place, or below
        by = alarm["acknowledged_by"]
        seen = f"acknowledged by {by}" if by and by != HOUSE else alarm["state"]
        console.print(
            f"{alarm['number']:>5}  {alarm['name']}: {alarm['words']}, for {show_span(alarm['lasted'])}, {seen}"
        )
    if not found["alarms"]:
        console.print("No alarms.")
    for freezer in found["freezers"]:
        for text in held(freezer):
            console.print(f"{freezer['name']}: {text}.")
    for neighbour in found["neighbours"]:
        if neighbour["gone"] or not neighbour["heard"]:
            console.print(f"{neighbour['name']}'s gateway {'is gone' if neighbour['gone'] else 'was never heard'}.")
    for route, error in found.get("failing_routes", {}).items():
        console.print(f"Messages do not get out by {route}: {error} {found['messages_waiting']} wait.")
    for source in found["sources"]:
        if not source["up"]:
            console.print(f"{source['name']} is not reachable: {source['reason']}")

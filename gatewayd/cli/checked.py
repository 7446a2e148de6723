"""Say that the food in a freezer was checked, and what was decided."""

import secrets
from pathlib import Path

import click

from gatewayd.cli import house


@click.command(name="checked")
@click.argument("freezer")
@click.option("--why", default="", help='What was decided, like: "kept all, still hard" or "threw out the fish".')
@house.settings_option
@house.json_option
def command(freezer: str, settings_file: Path | None, why: str, *, as_json: bool) -> None:
    """Say that you have checked the food in FREEZER (its id) after it was much too warm, and what you decided.

    The decision is written down, and the alarm that waited for it ends. Food with ice crystals, or at 4.4 °C (40 °F) or
    colder, may be refrozen or cooked. Never taste food to find out; when in doubt, throw it out.
    """
    request = {"ask": "order", "verb": "food checked", "subject": freezer, "why": why, "key": secrets.token_hex(8)}
    house.order(house.socket(settings_file), request, as_json=as_json)

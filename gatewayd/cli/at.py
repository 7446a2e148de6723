"""Say that you are at a freezer."""

import secrets
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.model.units import parse_span


@click.command(name="at")
@click.argument("freezer")
@click.option("--for", "span", default="60 min", show_default=True, help="How long it stays quiet, at most 12 h.")
@click.option("--done", is_flag=True, help="You have finished: watch it as always from now on.")
@click.option("--why", default="", help="A word on it for the log, like: putting the venison in.")
@house.settings_option
@house.json_option
def command(freezer: str, span: str, settings_file: Path | None, why: str, *, done: bool, as_json: bool) -> None:
    """Say that you are at FREEZER (its id), so that an open lid and warm food alarm nobody.

    Give it before you begin or when a message has come. It ends by itself; what is still wrong then is told at once.
    """
    try:
        lasts = parse_span(span)
    except ValueError as wrong:
        house.refuse(f"--for: {wrong}", house.WRONG)
    verb = "left the freezer" if done else "at the freezer"
    request = {"ask": "order", "verb": verb, "subject": freezer, "span": lasts, "why": why}
    house.order(house.socket(settings_file), request | {"key": secrets.token_hex(8)}, as_json=as_json)

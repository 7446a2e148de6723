"""Acknowledge an alarm."""

import secrets
from pathlib import Path

import click

from gatewayd.cli import house


@click.command(name="ack")
@click.argument("number", required=False)
@click.option("--why", default="", help="A word on it for the log, like: on my way home.")
@house.settings_option
@house.json_option
def command(number: str | None, why: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Say that you have seen an alarm: its NUMBER stands in the message. `all` means every one.

    It does not end the alarm and repairs nothing; it tells the house that somebody is on it.
    """
    if number is None:
        house.refuse("Say which: gatewayd ack NUMBER, or gatewayd ack all. See them with: gatewayd status", house.WRONG)
    if number != "all" and not (number.isascii() and number.isdigit() and int(number[:18]) > 0):
        house.refuse(f"{number!r} is not the number of an alarm. See them with: gatewayd status", house.WRONG)
    alarm = 0 if number == "all" else int(number[:18])
    request = {"ask": "order", "verb": "acknowledge", "alarm": alarm, "why": why, "key": secrets.token_hex(8)}
    house.order(house.socket(settings_file), request, as_json=as_json)

"""Let somebody into the pages who has no password, or has forgotten it."""

from pathlib import Path

import click

from gatewayd.cli import house


@click.group(name="pages")
def command() -> None:
    """See to the house's own pages."""


@command.command(name="code")
@house.settings_option
@house.json_option
def code(settings_file: Path | None, *, as_json: bool) -> None:
    """Show a new one-time code, with which a phone at home sets the household's password anew.

    It counts for 30 minutes. Sign-ins end only when the new password is set.
    """
    house.order(house.socket(settings_file), {"ask": "pages", "do": "code"}, as_json=as_json)

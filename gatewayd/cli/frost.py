"""Write down how thick the ice is, and show the log."""

import secrets
from contextlib import closing
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.model.moment import from_wall, iso


@click.group(name="frost")
def command() -> None:
    """Measure the frost now and then: the log tells when a freezer is to be defrosted.

    \b
    gatewayd frost add shed-chest 5 mm
    gatewayd frost add shed-chest 1/4 in
    gatewayd frost list
    """


@command.command(name="add")
@click.argument("freezer")
@click.argument("thickness", nargs=-1, required=True)
@click.option("--note", default="", help="A word on it, like: at the left wall.")
@house.settings_option
@house.json_option
def add(freezer: str, thickness: tuple[str, ...], note: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Write down that the frost in FREEZER (its id) is THICKNESS thick now, like 5 mm or 1/4 in.

    Measure where much of the wall is covered, with a ruler of wood or plastic, and always at the same place.
    """
    from gatewayd.upkeep.frost import parse_thickness

    try:
        mm = parse_thickness(" ".join(thickness))
    except ValueError as wrong:
        house.refuse(str(wrong), house.WRONG)
    request = {"ask": "frost", "do": "add", "freezer": freezer, "mm": mm, "note": note, "key": secrets.token_hex(8)}
    house.order(house.socket(settings_file), request, as_json=as_json)


@command.command(name="list")
@click.argument("freezer", default="")
@house.settings_option
@house.json_option
def listed(freezer: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Show the log, the newest first; of FREEZER (its id) alone if it is given."""
    from gatewayd.store.frost import rows
    from gatewayd.upkeep.frost import show_thickness

    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        found = rows(conn, freezer or None)[::-1]
    zone = settings.house.zone
    if as_json:
        house.show(
            {
                "frost": [
                    {"freezer": row.freezer, "at": iso(row.at, zone), "mm": row.mm, "who": row.who, "note": row.note}
                    for row in found
                ]
            }
        )
        return
    for row in found:
        when, note = from_wall(row.at).astimezone(zone), f": {row.note}" if row.note else ""
        click.echo(f"{when:%Y-%m-%d}  {row.freezer}  {show_thickness(row.mm)}{note} ({row.who})")
    if not found:
        click.echo("Nothing is measured yet. Begin with: gatewayd frost add FREEZER 5 mm")

"""Show what is to be done for the freezers and sensors."""

from contextlib import closing
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.door import NotRunning, ask
from gatewayd.settings.typed import Settings


@click.command(name="due")
@house.settings_option
@house.json_option
def command(settings_file: Path | None, *, as_json: bool) -> None:
    """Show what is to be done, the worst first: defrosting, batteries, checks, the yearly look at gasket and coils.

    What a standing alarm asks for is not in it; see those with gatewayd status.
    """
    running = True
    try:
        found = next(ask(house.socket(settings_file), {"ask": "due"}))["due"]
    except NotRunning:
        running, found = False, _alone(house.settings_or_exit(settings_file))
    except PermissionError:
        house.refuse("You may not ask gatewayd. Call this with sudo, or as a member of gatewayd's group.")
    if as_json:
        house.show({"running": running, "due": found})
        return
    for one in found:
        click.echo(("! " if one["overdue"] else "  ") + one["text"])
    if not found:
        click.echo("Nothing is due.")
    if not running:
        click.echo("gatewayd is not running: batteries and what it sees by itself are not in this list.", err=True)


def _alone(settings: Settings) -> list[dict[str, Any]]:
    """Return what is due as far as the file alone tells."""
    from gatewayd.clock import SystemClock
    from gatewayd.daemon.duty import defrosts, plain, read, undecided
    from gatewayd.upkeep.due import Known, due

    now = SystemClock().now().wall
    with closing(house.reader(settings)) as conn:
        told = read(conn, settings.storing.path)
        more = [*undecided(conn, settings.house, now), *defrosts(conn, settings.house, now, {})]
    known = Known(told.newest, told.began, told.copied, more=more)
    return [plain(one, now, settings.house) for one in due(settings.house, now, known)]

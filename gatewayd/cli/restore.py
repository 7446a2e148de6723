"""Put a copy in the place of the store."""

from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.door import NotRunning, Plain, ask
from gatewayd.settings.typed import Settings


@click.command(name="restore")
@click.argument("copy", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask first.")
@house.settings_option
@house.json_option
def command(copy: Path, settings_file: Path | None, *, yes: bool, as_json: bool) -> None:
    """Put COPY in the place of the store; the present file is kept beside it.

    Works while gatewayd runs (it must be able to read COPY) and while it does not.
    """
    settings = house.settings_or_exit(settings_file)
    if not copy.exists():
        house.refuse(f"There is no {copy}.")
    if not yes and not as_json:
        click.confirm(f"Put {copy} in the place of {settings.storing.path}?", abort=True)
    answer = _restore(settings, copy.absolute())
    if "error" in answer:
        house.refuse(str(answer["error"]))
    if as_json:
        house.show(answer)
    else:
        aside = f" The former file is kept as {answer['aside']}." if answer.get("aside") else ""
        click.echo(f"{copy} is in place.{aside}")


def _restore(settings: Settings, copy: Path) -> Plain:
    try:
        return next(ask(settings.socket, {"ask": "restore", "path": str(copy)}, patience=600))
    except PermissionError:
        house.refuse(f"You may not use {settings.socket}. Call this with sudo, or as a member of gatewayd's group.")
    except NotRunning:
        from gatewayd.clock import SystemClock
        from gatewayd.model.moment import from_wall
        from gatewayd.store.copy import put_back
        from gatewayd.store.trouble import StoreTrouble

        stamp = f"{from_wall(SystemClock().now().wall):%Y%m%dT%H%M%SZ}"
        try:
            settings.storing.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            aside = put_back(settings.storing.path, copy, stamp)
        except (StoreTrouble, OSError) as trouble:
            return {"error": str(trouble)}
        return {"done": True, "path": str(copy), "aside": str(aside) if aside else ""}

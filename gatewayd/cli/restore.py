"""Put a copy in the place of the store, and what was set on the pages back in force."""

import os
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

    Works while gatewayd runs (it must be able to read COPY) and while it does not. What was set on the pages comes
    back from COPY.house.yaml, where there is one and nothing is at fault with it.
    """
    settings = house.settings_or_exit(settings_file)
    if not copy.exists():
        house.refuse(f"There is no {copy}.")
    if not yes and not as_json:
        click.confirm(f"Put {copy} in the place of {settings.storing.path}?", abort=True)
    beside = house.copy_beside(copy.absolute())
    both = beside.exists()
    if both and not yes and not as_json:
        both = click.confirm(f"There is {beside} too. Put back what was set on the pages?", default=True)
    answer = _restore(settings, copy.absolute())
    if "error" in answer:
        house.refuse(str(answer["error"]))
    if not as_json:
        aside = f" The former file is kept as {answer['aside']}." if answer.get("aside") else ""
        click.echo(f"{copy} is in place.{aside}")
    if both:
        _settings_back(settings, settings_file, beside)
        if not as_json:
            click.echo(f"What was set on the pages is as in {beside}. What stood there before is kept for one undo.")
    if as_json:
        house.show({**answer, "house": str(beside) if both else ""})


def _settings_back(settings: Settings, settings_file: Path | None, beside: Path) -> None:
    """Put house.yaml back, by the daemon if it runs; exit with every fault if it does not hold, nothing changed."""
    from gatewayd.settings import edit, places
    from gatewayd.settings.faults import SettingsError

    try:
        said = next(ask(settings.socket, {"ask": "house", "do": "back", "path": str(beside)}, patience=120))
        error = str(said.get("error", ""))
    except NotRunning:
        files = places.find(settings_file, os.environ)
        env = places.as_service(files, os.environ)
        error = ""
        try:
            document = edit.read_copy(beside)
            edit.change(lambda _: document, files, env=env, state_dir=places.state_dir(env))
        except (SettingsError, ValueError, OSError) as wrong:
            error = str(wrong)
    if error:
        house.refuse(
            f"The store is back; what was set on the pages was left as it is, for {beside} does not fit:\n{error}"
        )


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

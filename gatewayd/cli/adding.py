"""Add a heard sensor to house.yaml, with questions, a check and an undo."""

import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gatewayd.cli import house
from gatewayd.settings import places
from gatewayd.settings.faults import SettingsError

if TYPE_CHECKING:
    from gatewayd.daemon.ear import Ear
    from gatewayd.settings.typed import Settings
    from gatewayd.watch.nearby import Neighbour


def add_sensor(ear: "Ear", channel: str, settings_file: Path | None) -> None:
    """Ask for what only a person knows, and write the sensor to house.yaml; exit with a sentence if it is not heard."""
    from gatewayd.settings.document import plain, with_radio, with_sensor, written
    from gatewayd.settings.edit import change

    found = ear.nearby.find(channel)
    if found is None:
        for trouble in ear.troubles:
            click.echo(f"careful: {trouble}", err=True)
        house.refuse(f"{channel} was not heard. Is it near, and does it send? Look with: gatewayd listen")
    entry = _entry(found, ear.settings)
    name = click.prompt("What is it called", default=plain(found.name) or "Freezer probe")
    id_ = click.prompt("Its id (small letters, digits, hyphens; never change it later)", default=_slug(name))
    entry = {"name": name, **entry}
    freezers = list(ear.settings.house.freezers) if ear.settings else []
    if freezers:
        freezer = click.prompt("In which freezer", type=click.Choice([*freezers, "none"]), default="none")
        if freezer != "none":
            entry["freezer"] = freezer
    if entry.pop("sealed", False):
        entry["key"] = click.prompt("Its key (32 hex digits, shown by the maker's app)", hide_input=True)
    new_radio = entry.get("radio") and (ear.settings is None or entry["radio"] not in ear.settings.radios)

    def edit(document: Any) -> Any:
        if new_radio:
            document = with_radio(document, str(entry["radio"]), {"name": "The gateway's radio", "adapter": "first"})
        return with_sensor(document, id_, entry)

    shown = {**entry, "key": "…"} if "key" in entry else entry
    click.echo("\n" + written({"sensors": {id_: shown}}))
    if not click.confirm("Write this to house.yaml?", default=True):
        house.refuse("Nothing was written.")
    files = places.find(settings_file, os.environ)
    env = places.as_service(files, os.environ)
    try:
        settings = change(edit, files, env=env, state_dir=places.state_dir(env))
    except SettingsError as wrong:
        house.refuse("\n".join(str(fault) for fault in wrong.faults) + "\nNothing was written.", house.WRONG)
    except (ValueError, OSError) as wrong:
        house.refuse(f"{wrong}. Nothing was written.")
    click.echo(f"{settings.house_file} was written. gatewayd takes it after: sudo systemctl reload gatewayd")
    click.echo("To take it back: gatewayd listen --undo")


def undo_last(settings_file: Path | None) -> None:
    """Take the last change of house.yaml back."""
    from gatewayd.settings.edit import undo

    files = places.find(settings_file, os.environ)
    env = places.as_service(files, os.environ)
    try:
        settings = undo(files, env=env, state_dir=places.state_dir(env))
    except SettingsError as wrong:
        house.refuse("\n".join(str(fault) for fault in wrong.faults) + "\nNothing was changed.", house.WRONG)
    except (ValueError, OSError) as wrong:
        house.refuse(f"{wrong}.")
    click.echo(f"{settings.house_file} is as it was before.")


def _entry(found: "Neighbour", settings: "Settings | None") -> dict[str, Any]:
    """Return what the settings must say of a neighbour, as far as it can be heard."""
    from gatewayd.model.format import Saying
    from gatewayd.watch.nearby import understand

    seems = understand(found)
    if seems.payload is None:
        house.refuse(
            f"{found.channel} speaks no open format. See its bytes with: gatewayd listen {found.channel} --bytes, and "
            "write a rule into your settings by hand."
        )
    if found.way == "broker":
        entry: dict[str, Any] = {"broker": found.source, "topic": found.channel}
        rule = seems.payload
        if not isinstance(rule, Saying) and rule.value is not None:
            entry |= {"payload": "json", "value": _pointer(found)}
            if rule.unit != "°C":
                entry["unit"] = rule.unit
        return entry
    if found.way == "wire":
        return {"file": _lasting(found.channel)}
    radio = found.source if settings and found.source in settings.radios else "garage-radio"
    form = seems.payload.format.value if isinstance(seems.payload, Saying) else "bthome"
    entry = {"radio": radio, "address": found.channel, "format": form}
    return entry | ({"sealed": True} if seems.encrypted else {})


def _pointer(found: "Neighbour") -> str:
    """Ask which number of a message is the freezer's temperature, where there are several."""
    from gatewayd.watch.nearby import pointers

    leaves = pointers(found.newest().get("", b""))
    for place, (pointer, number) in enumerate(leaves, 1):
        click.echo(f"  {place}  {pointer or '(the whole message)'} says {number:g}")
    if len(leaves) == 1:
        return leaves[0][0]
    place = click.prompt("Which of these is the temperature", type=click.IntRange(1, len(leaves)), default=1)
    return leaves[int(place) - 1][0]


def _lasting(path: str) -> str:
    """Return a probe's path by its device: hwmon3 may be another chip after the next start."""
    if "/hwmon" not in path:
        return path
    return re.sub(r"/hwmon/hwmon\d+/", "/hwmon/hwmon*/", os.path.realpath(path))


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:40] or "probe"

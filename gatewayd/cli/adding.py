"""Add a heard sensor to house.yaml, with questions, a check and an undo."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatewayd.cli import house
from gatewayd.settings import places
from gatewayd.settings.faults import SettingsError

if TYPE_CHECKING:
    from gatewayd.daemon.ear import Ear
    from gatewayd.settings.document import Document


def add_sensor(ear: "Ear", channel: str, settings_file: Path | None) -> None:
    """Ask for what only a person knows, and write the sensor to house.yaml; exit with a sentence if it is not heard."""
    from gatewayd.settings.adding import addable, proposed_id, shown, with_heard
    from gatewayd.settings.edit import change

    found = ear.nearby.find(channel)
    if found is None:
        for trouble in ear.troubles:
            click.echo(f"careful: {trouble}", err=True)
        house.refuse(f"{channel} was not heard. Is it near, and does it send? Look with: gatewayd listen")
    try:
        heard = addable(found, ear.settings)
    except ValueError as wrong:
        house.refuse(
            f"{wrong}. See its bytes with: gatewayd listen {found.channel} --bytes, and write a rule into your "
            "settings by hand."
        )
    pointer = _pointer(heard.choices) if heard.choices else ""
    name = click.prompt("What is it called", default=heard.name)
    id_ = click.prompt("Its id (small letters, digits, hyphens; never change it later)", default=proposed_id(name))
    freezers, freezer = list(ear.settings.house.freezers) if ear.settings else [], ""
    if freezers:
        freezer = click.prompt("In which freezer", type=click.Choice([*freezers, "none"]), default="none")
    key = ""
    if heard.sealed:
        key = click.prompt("Its key (32 hex digits, shown by the maker's app)", hide_input=True)
    entry = heard.filled(name, freezer="" if freezer == "none" else freezer, key=key, pointer=pointer)

    def edit(document: "Document") -> "Document":
        return with_heard(document, id_, entry, ear.settings)

    click.echo("\n" + shown(id_, entry) + "\n")
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


def _pointer(choices: "Sequence[tuple[str, float]]") -> str:
    """Ask which number of a message is the freezer's temperature, where there are several."""
    for place, (pointer, number) in enumerate(choices, 1):
        click.echo(f"  {place}  {pointer or '(the whole message)'} says {number:g}")
    if len(choices) == 1:
        return choices[0][0]
    place = click.prompt("Which of these is the temperature", type=click.IntRange(1, len(choices)), default=1)
    return choices[int(place) - 1][0]

"""What the commands share: the settings, the door, and how they say no."""

import json
import os
import sqlite3
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import click

from gatewayd.door import NotRunning, Plain, ask
from gatewayd.settings import places
from gatewayd.settings.faults import SettingsError
from gatewayd.settings.load import load, paths
from gatewayd.settings.typed import Settings

DONE, NOT_DONE, WRONG, NOT_RUNNING = 0, 1, 2, 3

F = TypeVar("F", bound=Callable[..., Any])

START_IT = "start it with: sudo systemctl start gatewayd   (or in a terminal: gatewayd run)"


def settings_option(function: F) -> F:
    """Add --settings."""
    return click.option(
        "--settings",
        "settings_file",
        type=click.Path(path_type=Path),
        envvar="GATEWAYD_SETTINGS",
        help="The settings file; without it ~/.config/gatewayd/gatewayd.yaml, then /etc/gatewayd/gatewayd.yaml.",
    )(function)


def json_option(function: F) -> F:
    """Add --json."""
    return click.option("--json", "as_json", is_flag=True, help="Answer in JSON.")(function)


def read_settings(explicit: Path | None, *, secrets: bool = True) -> Settings:
    """Read the settings from the usual places. Raise SettingsError with all faults.

    Only what sends or connects needs `secrets`; without them anybody of gatewayd's group may ask and order.
    """
    files = places.find(explicit, os.environ)
    env = places.as_service(files, os.environ)
    return load(files, env=env, state_dir=places.state_dir(env), secrets=secrets)


def state_dir(explicit: Path | None) -> Path:
    """Return the folder of the store and of house.yaml."""
    return places.state_dir(places.as_service(places.find(explicit, os.environ), os.environ))


def copy_beside(copy: Path) -> Path:
    """Return where `backup` copies house.yaml beside a copy of the store."""
    return copy.with_name(f"{copy.name}.{places.HOUSE_FILE}")


def settings_or_exit(explicit: Path | None, *, secrets: bool = False) -> Settings:
    """Read the settings, or print every fault and exit; secrets are left alone unless asked for."""
    try:
        return read_settings(explicit, secrets=secrets)
    except SettingsError as wrong:
        for fault in wrong.faults:
            click.echo(str(fault), err=True)
        context = click.get_current_context(silent=True)
        if context is not None and context.params.get("as_json"):
            show({"done": False, "faults": [str(fault) for fault in wrong.faults]})
            sys.exit(WRONG)
        mistakes = "1 mistake" if len(wrong.faults) == 1 else f"{len(wrong.faults)} mistakes"
        refuse(f"{mistakes} in the settings; nothing was done.", WRONG)


def socket(explicit: Path | None) -> Path:
    """Return where the daemon answers, also while the settings are half edited: it goes on with those it has."""
    files = places.find(explicit, os.environ)
    env = places.as_service(files, os.environ)
    try:
        return load(files, env=env, state_dir=places.state_dir(env), secrets=False).socket
    except SettingsError as wrong:
        click.echo(
            f"careful: the settings have mistakes ({len(wrong.faults)}); see them with: gatewayd check", err=True
        )
        return paths(files, env=env, state_dir=places.state_dir(env))[0]


def settings_or_none(explicit: Path | None) -> Settings | None:
    """Read the settings with their secrets where there are any; none at all is no fault, wrong ones are."""
    if not places.find(explicit, os.environ):
        return None
    return settings_or_exit(explicit, secrets=True)


def refuse(text: str, code: int = NOT_DONE) -> NoReturn:
    """Say why not, and exit; a command that answers in JSON says it so as well."""
    context = click.get_current_context(silent=True)
    if context is not None and context.params.get("as_json"):
        show({"done": False, "error": text})
    click.echo(text, err=True)
    sys.exit(code)


def knock(door: Path, request: Plain, patience: float = 30.0) -> Iterator[Plain]:
    """Ask the daemon; exit with a sentence where nobody may or can answer."""
    try:
        yield from _allowed(door, request, patience)
    except NotRunning:
        refuse(f"gatewayd is not running; nothing changed; {START_IT}", NOT_RUNNING)


def question(door: Path, request: Plain) -> Plain | None:
    """Ask the daemon what changes nothing; None where it is not running."""
    try:
        return next(_allowed(door, request, 30.0))
    except NotRunning:
        return None


def _allowed(door: Path, request: Plain, patience: float) -> Iterator[Plain]:
    try:
        yield from ask(door, request, patience)
    except PermissionError:
        refuse(f"You may not use {door}. Call this with sudo, or as a member of gatewayd's group.")
    except TimeoutError:
        refuse("gatewayd did not answer in time; whether it was done is not known. Look with: gatewayd status")


def order(door: Path, request: Plain, *, as_json: bool) -> None:
    """Give an order and print its answer; exit 1 if it was refused."""
    answer = next(knock(door, request))
    if as_json:
        click.echo(json.dumps(answer, ensure_ascii=False))
    else:
        click.echo(answer.get("error") or answer.get("text", ""), err=not answer.get("done"))
    sys.exit(DONE if answer.get("done") else NOT_DONE)


def reader(settings: Settings) -> sqlite3.Connection:
    """Open the store's file to read, or exit with a sentence."""
    from gatewayd.store.file import open_reader
    from gatewayd.store.trouble import StoreTrouble

    try:
        return open_reader(settings.storing.path)
    except StoreTrouble as trouble:
        refuse(str(trouble))


def show(answer: object) -> None:
    """Print an answer in JSON."""
    click.echo(json.dumps(answer, ensure_ascii=False, indent=2))

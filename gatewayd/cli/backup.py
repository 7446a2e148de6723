"""Copy the whole store to a file."""

import os
from collections.abc import Callable
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.door import Plain
from gatewayd.settings.typed import Settings


@click.command(name="backup")
@click.argument("target", type=click.Path(path_type=Path))
@house.settings_option
@house.json_option
def command(target: Path, settings_file: Path | None, *, as_json: bool) -> None:
    """Copy the store to TARGET, a file that does not exist yet; gatewayd goes on meanwhile."""
    from rich.console import Console
    from rich.progress import Progress

    settings = house.settings_or_exit(settings_file)
    target = target.absolute()
    with Progress(console=Console(stderr=True), transient=True, disable=as_json) as bar:
        task = bar.add_task("copying", total=None)

        def told(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total)

        answer = _copy(settings, target, told)
    if "error" in answer:
        house.refuse(str(answer["error"]))
    if as_json:
        house.show(answer)
    else:
        click.echo(f"The store was copied to {target}.")


def _copy(settings: Settings, target: Path, told: Callable[[int, int], None]) -> Plain:
    """Copy directly where this user may read the file, else ask the daemon to."""
    if not settings.storing.path.exists() or os.access(settings.storing.path, os.R_OK):
        from gatewayd.store.copy import backup
        from gatewayd.store.trouble import StoreTrouble

        try:
            backup(settings.storing.path, target, told)
        except (StoreTrouble, OSError) as trouble:
            return {"error": str(trouble)}
        return {"done": True, "path": str(target)}
    answer: Plain = {"error": "gatewayd gave no answer"}
    for answer in house.knock(settings.socket, {"ask": "backup", "path": str(target)}, patience=600):
        if "pages" in answer:
            told(answer["pages"], answer["of"])
    return answer

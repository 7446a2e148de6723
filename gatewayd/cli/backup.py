"""Copy the whole store to a file, and what was set on the pages to one beside it."""

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
    """Copy the store to TARGET, a file that does not exist yet; gatewayd goes on meanwhile.

    What was set on the pages goes to TARGET.house.yaml; keep it as safe as your own settings. The password of the
    pages is not copied.
    """
    from rich.console import Console
    from rich.progress import Progress

    settings = house.settings_or_exit(settings_file)
    target = target.absolute()
    beside = house.copy_beside(target)
    if beside.exists():
        house.refuse(f"{beside} exists already. Nothing was written; name a new file.")
    with Progress(console=Console(stderr=True), transient=True, disable=as_json) as bar:
        task = bar.add_task("copying", total=None)

        def told(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total)

        answer = _copy(settings, target, told)
    if "error" in answer:
        house.refuse(str(answer["error"]))
    copied = _copy_house(settings, house.state_dir(settings_file), beside)
    if copied.get("error"):
        house.refuse(f"The store was copied to {target}, what was set on the pages was not: {copied['error']}")
    if as_json:
        house.show({**answer, "house": str(beside) if copied["copied"] else ""})
        return
    click.echo(f"The store was copied to {target}.")
    if copied["copied"]:
        click.echo(f"What was set on the pages was copied to {beside}. Keep the two together.")


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


def _copy_house(settings: Settings, state_dir: Path, beside: Path) -> Plain:
    """Copy house.yaml where this user may read it, else ask the daemon to; say whether there was one."""
    from gatewayd.settings.edit import copy_out

    try:
        return {"copied": copy_out(state_dir, beside)}
    except PermissionError:
        return next(house.knock(settings.socket, {"ask": "house", "do": "copy", "path": str(beside)}))
    except OSError as trouble:
        return {"error": f"{beside}: {trouble.strerror or trouble}."}

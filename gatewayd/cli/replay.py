"""Play a recorded log through the house of the settings, to see what would have been told."""

import asyncio
import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatewayd.cli import house
from gatewayd.cli.demo import Teller, list_told, store_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

    from gatewayd.daemon.show import Happening
    from gatewayd.model.house import House
    from gatewayd.sources.recording import Recording


@click.command(name="replay")
@click.argument("log", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--keep", type=click.Path(path_type=Path), help="Keep the store in this folder, to look at afterwards.")
@house.settings_option
@house.json_option
def command(log: Path, keep: Path | None, settings_file: Path | None, *, as_json: bool) -> None:
    """Play LOG, a recording, through the house of your settings, and list what would have been told, and when.

    LOG is CSV with the columns time, sensor and payload (or temperature), or JSON lines with the same names; times are
    ISO 8601 with a zone, or Unix seconds. Nothing is sent, and your own store is not touched.
    """
    from gatewayd.daemon.show import Show
    from gatewayd.sources.recording import Recording, RecordingError

    settings = house.settings_or_exit(settings_file)
    recording = Recording(log, settings.house.sensors.values())
    try:
        count = recording.check()
    except RecordingError as wrong:
        house.refuse(str(wrong), house.WRONG)
    if not count:
        house.refuse(f"{log} holds no readings.", house.WRONG)
    first = next(recording.lines()).time
    teller = Teller(quiet=as_json)
    with contextlib.ExitStack() as stack:
        show = Show(teller.say, settings.house, first, store_folder(keep, stack))
        told = asyncio.run(show.play(_happenings(settings.house, first, recording)))
    list_told(told, teller, as_json=as_json)


def _happenings(wired: "House", first: int, recording: "Recording") -> "Iterator[tuple[int, Happening]]":
    from gatewayd.demo.house import SourceUp

    for source in wired.sources:
        yield first, SourceUp(source, up=True, reason="the recording plays")
    for moment, heard in recording.moments():
        yield moment.wall, heard

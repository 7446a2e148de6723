"""Write readings or events out, as CSV or JSON lines."""

import sys
from contextlib import nullcontext
from pathlib import Path
from typing import TextIO

import click

from gatewayd.cli import house
from gatewayd.cli.period import when
from gatewayd.settings.typed import Settings

FOREVER = 1 << 62


@click.command(name="export")
@click.argument("what", type=click.Choice(["readings", "events"]))
@click.option(
    "--since", default="", help="From when: 2026-11-25, 2026-11-25T14:00, or a span back from now like 7 days."
)
@click.option("--until", default="", help="Until when, written likewise.")
@click.option("--sensor", "sensors", multiple=True, help="Only this sensor; may be given several times.")
@click.option("--output", "-o", type=click.Path(path_type=Path), help="A file; without it the terminal or a pipe.")
@click.option("--json", "as_json", is_flag=True, help="JSON lines in place of CSV.")
@house.settings_option
def command(
    what: str,
    since: str,
    until: str,
    sensors: tuple[str, ...],
    output: Path | None,
    settings_file: Path | None,
    *,
    as_json: bool,
) -> None:
    """Write WHAT out: readings or events. Times are ISO 8601 with the zone of the household.

    It reads the store's file alone, whether gatewayd runs or not.
    """
    from gatewayd.clock import SystemClock

    settings = house.settings_or_exit(settings_file)
    unknown = [sensor for sensor in sensors if sensor not in settings.house.sensors]
    if unknown:
        click.echo(f"careful: {', '.join(unknown)} is not in the settings; looking for its old rows.", err=True)
    zone, now = settings.house.zone, SystemClock().now().wall
    span = (when(since, zone, now, 0), when(until, zone, now, FOREVER))
    if output is None:
        _export(settings, what, span, sensors, sys.stdout, as_json=as_json, bar=False)
        return
    if output.exists():
        house.refuse(f"{output} exists already. Nothing was written; name a new file.")
    with output.open("w", encoding="utf-8", newline="") as file:
        _export(settings, what, span, sensors, file, as_json=as_json, bar=sys.stderr.isatty())


def _export(
    settings: Settings,
    what: str,
    span: tuple[int, int],
    sensors: tuple[str, ...],
    file: TextIO,
    *,
    as_json: bool,
    bar: bool,
) -> None:
    from rich.console import Console
    from rich.progress import Progress

    from gatewayd.store import export, read

    zone, (since, until) = settings.house.zone, span
    with house.reader(settings) as conn:
        if what == "readings":
            lines = (export.readings_jsonl if as_json else export.readings_csv)(conn, zone, since, until, sensors)
            total = read.count(conn, since, until, sensors) if bar else 0
        else:
            lines = (export.events_jsonl if as_json else export.events_csv)(conn, zone, since, until)
            total = read.count_events(conn, since, until) if bar else 0
        with Progress(console=Console(stderr=True), transient=True) if bar else nullcontext() as progress:
            task = progress.add_task(what, total=total) if progress else None
            try:
                for line in lines:
                    file.write(line)
                    if progress is not None and task is not None:
                        progress.advance(task)
                file.flush()
            except BrokenPipeError:
                sys.stderr.close()  # the reader of the pipe has seen enough; say nothing
                sys.exit(house.DONE)

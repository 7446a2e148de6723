"""Show everything that is heard, known or not, and add a sensor to the house."""

import asyncio
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gatewayd.cli import house
from gatewayd.model.units import parse_span, show_span

if TYPE_CHECKING:
    from gatewayd.daemon.ear import Ear
    from gatewayd.settings.typed import Settings
    from gatewayd.watch.nearby import Neighbour

LOST = 5_000  # ms; while the gateway is carried about, an older report says nothing of where it is now
FOR = "60 s"  # with --json, --add or --bytes: long enough for sensors that report once a minute


def _span(_context: click.Context, _option: click.Parameter, text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return parse_span(text)
    except ValueError as wrong:
        raise click.BadParameter(str(wrong)) from wrong


@click.command(name="listen")
@click.argument("wanted", required=False, default="")
@click.option("--for", "span", callback=_span, help=f"How long, like 60s; else until Ctrl-C (with --json {FOR}).")
@click.option("--bytes", "as_bytes", is_flag=True, help="Show the bytes, and which of them could be a temperature.")
@click.option("--around", type=float, help="With --bytes: what the sensor shows just now, in °C.")
@click.option("--add", "add", metavar="CHANNEL", help="Add the sensor with this address, topic or file to house.yaml.")
@click.option("--undo", is_flag=True, help="Take the last change of house.yaml back.")
@click.option("--walk", metavar="CHANNEL", help="Show and sound the signal of one sensor while you carry the gateway.")
@house.settings_option
@house.json_option
def command(
    wanted: str,
    span: int | None,
    around: float | None,
    add: str | None,
    walk: str | None,
    settings_file: Path | None,
    *,
    as_bytes: bool,
    undo: bool,
    as_json: bool,
) -> None:
    """Show all that is heard: Bluetooth in the air, topics of your brokers, probes at the wire.

    WANTED narrows it to names, addresses, topics or formats that contain it. gatewayd may run meanwhile.
    """
    from gatewayd.cli.adding import add_sensor, undo_last
    from gatewayd.daemon.ear import Ear

    if undo:
        undo_last(settings_file)
        return
    settings = house.settings_or_none(settings_file)
    ear = Ear(settings)
    if add is not None:
        click.echo(f"Listening for {add} …", err=True)
        asyncio.run(ear.listen(span or parse_span(FOR), until=lambda: ear.understood(add)))
        add_sensor(ear, add, settings_file)
        return
    try:
        if walk is not None:
            asyncio.run(ear.listen(span, shown=lambda: _step(ear, walk)))
        elif as_json or as_bytes:
            asyncio.run(ear.listen(span or parse_span(FOR)))
        else:
            _live(ear, span, wanted)
    except KeyboardInterrupt:
        click.echo("", err=True)
    rows = [n for n in ear.nearby if wanted.lower() in _words(n).lower()]
    if as_json:
        house.show([_plain(neighbour, settings) for neighbour in rows])
    elif as_bytes:
        for neighbour in rows:
            _print_bytes(neighbour, around)
    for trouble in ear.troubles:
        click.echo(f"careful: {trouble}", err=True)
    sys.exit(house.DONE if rows or walk or not ear.troubles else house.NOT_DONE)


def _words(neighbour: "Neighbour") -> str:
    from gatewayd.watch.nearby import understand

    return f"{neighbour.name} {neighbour.channel} {understand(neighbour).format}"


def _plain(neighbour: "Neighbour", settings: "Settings | None") -> dict[str, Any]:
    """Return a row in plain values; spans in ms."""
    from gatewayd.watch.nearby import understand

    found = understand(neighbour)
    return {
        "way": neighbour.way,
        "source": neighbour.source,
        "channel": neighbour.channel,
        "name": neighbour.name,
        "signal": neighbour.signal,
        "format": found.format,
        "values": [{"quantity": v.quantity.value, "value": v.value, "unit": v.quantity.unit} for v in found.values],
        "why_not": found.why_not,
        "count": neighbour.count,
        "every": neighbour.every(),
        "known_as": _known_as(neighbour, settings),
        "bytes": {element: data.hex() for element, data in neighbour.newest().items()},
    }


def _known_as(neighbour: "Neighbour", settings: "Settings | None") -> str:
    from gatewayd.settings.adding import known_as

    known = known_as(neighbour, settings.house) if settings is not None else []
    return known[0].id if known else ""


def _live(ear: "Ear", span: int | None, wanted: str) -> None:
    """Show a table that follows what is heard."""
    from rich.console import Console
    from rich.live import Live

    with Live(console=Console(highlight=False), auto_refresh=False, transient=False) as live:
        asyncio.run(ear.listen(span, shown=lambda: live.update(_table(ear, wanted), refresh=True)))


def _table(ear: "Ear", wanted: str) -> Any:
    from rich.table import Table
    from rich.text import Text

    from gatewayd.watch.nearby import understand

    table = Table(expand=False)
    for column in ("name", "address or topic", "signal", "format", "says", "heard", "every"):
        table.add_column(column, overflow="fold")
    for neighbour in ear.nearby:
        if wanted.lower() not in _words(neighbour).lower():
            continue
        found = understand(neighbour)
        every = neighbour.every()
        cells = (
            neighbour.name or _known_as(neighbour, ear.settings),
            neighbour.channel,
            "" if neighbour.signal is None else f"{neighbour.signal} dBm",
            found.format,
            found.words(),
            f"{neighbour.count}×",
            "" if every is None else show_span(every),
        )
        table.add_row(*map(Text, cells))  # as text: a name from the air may hold anything
    table.caption = Text("; ".join(ear.troubles)) if ear.troubles else None
    return table


def _print_bytes(neighbour: "Neighbour", around: float | None) -> None:
    """Show the bytes of each element, and which of them could be a temperature."""
    from gatewayd.decode.guess import candidates

    click.echo(f"{neighbour.name or neighbour.channel}  {neighbour.channel}")
    for element, frames in neighbour.history.items():
        kind, _, number = element.partition(" ")
        click.echo(f"  {element or 'payload'}: {frames[-1].hex(' ')}")
        if kind not in ("service", "maker"):
            continue  # a topic or a file holds text; its numbers are found by their pointers
        where: dict[str, Any] = {"service": number} if kind == "service" else {"maker": int(number, 16)}
        for found in candidates(list(frames), around, **where)[:5]:
            rule = found.rule
            name = f"{kind}: {'0x' if kind == 'maker' else ''}{number}"
            place = f"bytes {rule.offset} to {rule.offset + rule.width - 1}"
            click.echo(
                f"    {place} could be {found.newest:.2f} °C: {{{name}, least: {rule.least}, offset: {rule.offset}, "
                f"width: {rule.width}, order: {rule.order}, factor: {rule.factor:g}}}"
            )


def _step(ear: "Ear", channel: str) -> None:
    """Say and sound how strong a sensor is heard just now: the bell rings once for each bar."""
    from gatewayd.upkeep.signal import bars, strength

    found, ago = ear.nearby.find(channel), ear.heard_ago(channel)
    signal = None if found is None else found.signal
    if signal is None or ago is None:
        click.echo(f"{channel}: not heard yet{''.join(f'; {trouble}' for trouble in ear.troubles)}")
        return
    if ago > LOST:
        click.echo(f"not heard for {show_span(ago)}")
        return
    many = bars(signal)
    bell = "\a" * many if sys.stdout.isatty() and "NO_BELL" not in os.environ else ""
    click.echo(f"{signal} dBm  {'█' * many}{'·' * (5 - many)}  {strength(signal)}{bell}")

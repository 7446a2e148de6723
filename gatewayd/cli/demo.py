"""Play a house with three freezers through a few eventful days."""

import asyncio
import contextlib
import json
import logging
import math
import random
import socket
import tempfile
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatewayd.model.moment import HOUR

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from gatewayd.daemon.openday import OpenDay
    from gatewayd.daemon.show import Told
    from gatewayd.demo.house import HeronLane
    from gatewayd.notify.letter import Letter

FIRST_DAY = date(2026, 11, 23)  # a Monday; the days of the demo are the same on every run
PACE = 1.0  # house hours a second: the first message comes after half a minute, the four days take a minute and a half
REAL = 1 / 3600  # house hours a second: as slow as life
PORT = 8470  # where the pages of a real house answer too, unless its settings say otherwise
HOST = "127.0.0.1"  # a demo is for who sits at this computer
SETTINGS = "gatewayd.yaml"  # in the folder of the demo
MOST_AHEAD = 24 * 90  # house hours; 90 days take some minutes


def pace_of(_ctx: click.Context, _param: click.Parameter, text: str) -> float:
    """Return house hours a second; the word `real` is as slow as life."""
    return REAL if text == "real" else number(text, REAL, 1000, "house hours a second, or the word: real")


def port_of(_ctx: click.Context, _param: click.Parameter, text: str | None) -> int | None:
    """Return the port of the pages, 0 for no pages, None where none was named."""
    if text is None or text == "off":
        return None if text is None else 0
    return int(number(text, 1, 65535, "a port, or the word: off"))


def number(text: str, least: float, most: float, what: str) -> float:
    """Return a number in a range. Raise BadParameter, which says `what` it should be."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise click.BadParameter(f"{text!r} is not allowed; it takes {what}, from {least:.2g} to {most:g}.")
    return value


@click.command(name="demo")
@click.option("--once", is_flag=True, help="Play the days as fast as they go, list what was told, and end.")
@click.option(
    "--pace", default=f"{PACE:g}", show_default=True, callback=pace_of, help="House hours a second; real: slow as life."
)
@click.option(
    "--ahead", type=click.FloatRange(0, MOST_AHEAD), help="Play so many house hours as fast as they go before the pace."
)
@click.option(
    "--pages", metavar="PORT", callback=port_of, help=f"Where its pages answer; off: none.  [default: {PORT}]"
)
@click.option("--seed", default=0, show_default=True, help="Another seed is other weather and other habits.")
@click.option("--keep", type=click.Path(path_type=Path), help="Keep the store in this folder, to look at afterwards.")
@click.option("--json", "as_json", is_flag=True, help="With --once: list what was told in JSON.")
def command(
    seed: int, pace: float, ahead: float | None, pages: int | None, keep: Path | None, *, once: bool, as_json: bool
) -> None:
    """Show Heron Lane: a simulated house, a real store, real alarms, its pages, and messages as they reach a phone.

    It needs nothing else: no broker, no radio, no settings. Ctrl-C ends it.

    \b
    gatewayd demo --ahead 24.3 --pace real    a lid was left open; look at the pages at leisure
    """
    if as_json and not once:
        raise click.UsageError("--json needs --once: a demo that goes on for ever has no end to print.")
    if once and (pages or ahead):
        raise click.UsageError(
            "--once plays to its end as fast as it goes; --pages and --ahead need a demo that lasts."
        )
    from gatewayd.daemon.show import Pacing, Show
    from gatewayd.demo.house import ZONE, HeronLane
    from gatewayd.demo.story import evening

    weather, garden = random.Random(seed), None if once else random.Random(seed)  # noqa: S311 - no secrets
    lane = HeronLane(weather, evening(FIRST_DAY, ZONE), garden=garden)
    teller = Teller(quiet=as_json)
    with contextlib.ExitStack() as stack:
        folder = store_folder(keep, stack)
        if once:
            show = Show(teller.say, lane.house(), lane.start, folder)
            told = asyncio.run(show.play(lane.play(lane.ends), Pacing(left=lambda: teller.gone)))
            list_told(told, teller, as_json=as_json)
            return
        stack.enter_context(heard_by(teller))
        visit = open_day(lane, folder, PORT if pages is None else pages, teller.note)
        show = Show(teller.say, lane.house(), lane.start, folder, visit)
        speed = "as slow as life" if pace == REAL else f"{pace:g} h of its life a second"
        teller.note(f"Heron Lane, {speed}. Lid, plug, sensor, source: four things will go wrong. Ctrl-C ends it.")
        if ahead:
            teller.note(f"Its first {ahead:g} h are played as fast as they go.")
        pacing = Pacing(pace, round((ahead or 0) * HOUR), lane.ends, lambda: teller.gone)
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(show.play(lane.play(), pacing))


def open_day(lane: "HeronLane", folder: Path, port: int, note: "Callable[[str], None]") -> "OpenDay | None":
    """Return who lets people in to look at the house; None, and a `note` why, where its pages cannot be shown."""
    from gatewayd.daemon.openday import OpenDay
    from gatewayd.demo.before import ICE, deeds
    from gatewayd.demo.keeper import written
    from gatewayd.settings.faults import SettingsError
    from gatewayd.settings.load import load

    if not port:
        return None
    try:
        with socket.create_server((HOST, port)):
            pass
    except OSError as error:
        why = error.strerror or str(error)
        note(f"Port {port} cannot be had ({why}), so there are no pages. Another one: gatewayd demo --pages PORT")
        return None
    (folder / SETTINGS).write_text(written(lane.house(), f"{HOST}:{port}", f"http://{HOST}:{port}"))
    try:
        settings = load([folder / SETTINGS], env={}, state_dir=folder)
    except SettingsError as wrong:  # a folder whose name is too long for a socket
        note("There are no pages: " + " ".join(str(fault) for fault in wrong.faults))
        return None
    return OpenDay(settings, folder, deeds(), ICE)


@contextlib.contextmanager
def heard_by(teller: "Teller") -> "Iterator[None]":
    """Show on the terminal what gatewayd says by its log that people must know: the code for the pages, troubles."""

    class Aloud(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            """Show a line of the log."""
            teller.note(self.format(record))

    aloud = Aloud(logging.WARNING)
    log = logging.getLogger("gatewayd")
    log.addHandler(aloud)
    try:
        yield
    finally:
        log.removeHandler(aloud)


def store_folder(keep: Path | None, stack: contextlib.ExitStack) -> Path:
    """Return the folder for the store: the wished one, or a throw-away one."""
    folder = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="gatewayd-")))
    folder.mkdir(parents=True, exist_ok=True)
    if (folder / "house.db").exists():
        raise click.ClickException(f"{folder} holds a house already; name an empty folder.")
    return folder


def list_told(told: "list[Told]", teller: "Teller", *, as_json: bool) -> None:
    """Print what was told, and when."""
    if as_json:
        click.echo(json.dumps([{"at": t.at, "to": t.phone, "title": t.title} for t in told], ensure_ascii=False))
        return
    if teller.gone:
        return
    teller.note("What was told, and when:" if told else "Nothing was told.")
    for one in told:
        click.echo(f"  {one.at}  {one.phone:<10} {one.title}")


class Teller:
    """Show what happens on the terminal: the narrator plain, messages in a frame."""

    def __init__(self, *, quiet: bool) -> None:
        """Say nothing where `quiet` is asked."""
        from rich.console import Console

        self._console = Console(highlight=False, quiet=quiet)
        self.gone = False  # whoever read the pipe has seen enough (`| head`)
        self._last = ""

    def note(self, text: str) -> None:
        """Print a line about the demo itself."""
        self._console.print(f"\n{text}", style="bold", markup=False)

    def say(self, stamp: str, text: str, letter: "Letter | None") -> None:
        """Print the narrator's line, or a message with the phone it reached; nothing once nobody reads."""
        if self.gone:
            return
        try:
            self._say(stamp, text, letter)
            self._console.file.flush()
        except (BrokenPipeError, SystemExit):  # rich ends the program itself; the house must close its store first
            self.gone = True

    def _say(self, stamp: str, text: str, letter: "Letter | None") -> None:
        from rich.padding import Padding
        from rich.panel import Panel
        from rich.text import Text

        if letter is None:
            self._console.print(f"[dim]{stamp}  {text}[/dim]")
        elif letter.title == self._last:
            self._console.print(f"           (the same to {text})")
        else:
            body = Text(f"{letter.title}\n\n{letter.body}")
            panel = Panel(body, title=f"{stamp}  to {text}", title_align="left", width=min(96, self._console.width - 2))
            self._console.print(Padding(panel, (0, 0, 0, 2)))
        if letter is not None:
            self._last = letter.title

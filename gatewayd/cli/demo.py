"""Play a house with three freezers through a few eventful days."""

import asyncio
import contextlib
import json
import random
import tempfile
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from gatewayd.daemon.show import Told
    from gatewayd.notify.letter import Letter

FIRST_DAY = date(2026, 11, 23)  # a Monday; the days of the demo are the same on every run
PACE = 1.0  # house hours a second: the first message comes after half a minute, the four days take a minute and a half


@click.command(name="demo")
@click.option("--once", is_flag=True, help="Play the days as fast as they go, list what was told, and end.")
@click.option(
    "--pace", default=PACE, show_default=True, type=click.FloatRange(0.01, 1000), help="House hours a second."
)
@click.option("--seed", default=0, show_default=True, help="Another seed is other weather and other habits.")
@click.option("--keep", type=click.Path(path_type=Path), help="Keep the store in this folder, to look at afterwards.")
@click.option("--json", "as_json", is_flag=True, help="With --once: list what was told in JSON.")
def command(seed: int, pace: float, keep: Path | None, *, once: bool, as_json: bool) -> None:
    """Show Heron Lane: a simulated house, a real store, real alarms, and messages as they would reach a phone.

    It needs nothing else: no broker, no radio, no settings. Ctrl-C ends it.
    """
    if as_json and not once:
        raise click.UsageError("--json needs --once: a demo that goes on for ever has no end to print.")
    from gatewayd.daemon.show import Show
    from gatewayd.demo.house import ZONE, HeronLane
    from gatewayd.demo.story import evening

    lane = HeronLane(random.Random(seed), evening(FIRST_DAY, ZONE))  # noqa: S311 - weather and habits, no secret
    teller = Teller(quiet=as_json)
    with contextlib.ExitStack() as stack:
        show = Show(teller.say, lane.house(), lane.start, store_folder(keep, stack))
        if once:
            told = asyncio.run(show.play(lane.play(lane.ends), 0, left=lambda: teller.gone))
            list_told(told, teller, as_json=as_json)
            return
        teller.note(
            f"Heron Lane, {pace:g} h of its life a second. Lid, plug, sensor, source: four things will go wrong. "
            "Ctrl-C ends it."
        )
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(show.play(lane.play(), pace, lane.ends, lambda: teller.gone))


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
        self._console.print(f"\n{text}", style="bold")

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

"""List the alarms, say why people were told or not, and measure how well the house is served by them."""

import os
import sys
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatewayd.cli import house
from gatewayd.door import Plain
from gatewayd.settings.typed import Settings

if TYPE_CHECKING:
    from gatewayd.model.delivery import Progress
    from gatewayd.model.event import Decision, Event
    from gatewayd.model.house import House
    from gatewayd.upkeep.metrics import Hidden, Metrics

LAST = 20  # events: a screen of them

_CALM = "No alarms."
_TITLES = (
    ("now", ("unacknowledged", "acknowledged")),
    ("over, but nobody has said that they have seen it", ("returned to normal",)),
    ("over, and waits until the food was checked", ("latched, unacknowledged", "latched")),
)


@click.group(name="alarms", invoke_without_command=True)
@house.settings_option
@house.json_option
@click.pass_context
def command(ctx: click.Context, settings_file: Path | None, *, as_json: bool) -> None:
    """List the alarms; or say why people were told of them or not; or measure them."""
    if ctx.invoked_subcommand is None:
        _list(settings_file, as_json=as_json)
    ctx.obj = (settings_file, as_json)  # given before the word or after it, both are meant


@command.command(name="list")
@house.settings_option
@house.json_option
@click.pass_obj
def list_(before: tuple[Path | None, bool], settings_file: Path | None, *, as_json: bool) -> None:
    """List what goes on, what is over and unseen, and what is kept quiet, by whom and until when.

    Where gatewayd is not running it shows what it knew last, and exits with 3.
    """
    _list(settings_file or before[0], as_json=as_json or before[1])


@command.command(name="why")
@click.argument("number", required=False, type=click.IntRange(min=1))
@house.settings_option
@house.json_option
@click.pass_obj
def why(before: tuple[Path | None, bool], number: int | None, settings_file: Path | None, *, as_json: bool) -> None:
    """Say who was told of the alarm or event NUMBER, when and why, and who was not; without NUMBER of the last 20.

    It reads the store's file alone, whether gatewayd runs or not.
    """
    from gatewayd.message.account import NOT_KEPT

    settings = house.settings_or_exit(settings_file or before[0])
    found = _why(settings, number)
    if as_json or before[1]:
        house.show(found)
        return
    for event in found:
        click.echo(f"{event['number']:>5}  {event['local']}  {event['name']}: {event['words']}, {event['what']}")
        for line in event["decisions"]:
            click.echo(f"         {line['text']}")
        for sent in event["messages"]:
            click.echo(f"         {sent['text']}")
        if not event["decisions"]:
            click.echo(f"         {NOT_KEPT}")
    if not found:
        click.echo("Nothing has happened yet.")


@command.command(name="metrics")
@click.option("--since", default="30 days", show_default=True, help="From when: a span back from now, or 2026-11-25.")
@house.settings_option
@house.json_option
@click.pass_obj
def metrics(before: tuple[Path | None, bool], since: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Measure the alarms: how many, how bunched, which ones are noise, and how long nobody answered.

    Beside each figure stands what to aim at and who says so. Those of control rooms are far above what a household
    wants; its own budget is one message a week, at most, that nobody needed.
    """
    settings = house.settings_or_exit(settings_file or before[0])
    found = _measured(settings, since)
    if as_json or before[1]:
        from gatewayd.model.pack import pack

        house.show(pack(found))
    else:
        _print_metrics(found, settings.house)


# -- list ------------------------------------------------------------------------------------------------------


def _list(settings_file: Path | None, *, as_json: bool) -> None:
    from gatewayd.cli.status import look

    found, running = look(settings_file)
    if as_json:
        shown = {key: found[key] for key in ("house", "at", "alarms", "shelved", "suppressed")}
        house.show({"running": running, **shown})
    else:
        if not running:
            click.echo(f"gatewayd is not running; {house.START_IT}\nThis is what it knew last ({found['at']}):\n")
        _print_list(found)
    sys.exit(house.DONE if running else house.NOT_RUNNING)


def _print_list(found: Plain) -> None:
    from gatewayd.message.plan import HOUSE
    from gatewayd.model.units import show_span

    shown = [alarm for alarm in found["alarms"] if not alarm["hidden"]]
    if not shown:
        click.echo(_CALM)
    for title, states in _TITLES:
        these = [alarm for alarm in shown if alarm["state"] in states]
        if these:
            click.echo(f"{title[0].upper()}{title[1:]}:")
        for alarm in these:
            by = alarm["acknowledged_by"]
            seen = f", seen by {by}" if by and by != HOUSE else ""  # what asks nobody has been seen by nobody
            span = f"for {show_span(alarm['lasted'])}, {alarm['priority']}{seen}"
            click.echo(f"  {alarm['number']:>5}  {alarm['name']}: {alarm['words']}, {span}")
    _print_hidden("Kept quiet by a person", found["shelved"])
    _print_hidden("Told by another alarm in their place", found["suppressed"])


def _print_hidden(title: str, those: list[Plain]) -> None:
    """Print what is hidden, in one line for all that one hand hid at one thing."""
    from datetime import datetime

    together: defaultdict[tuple[str, str, str], list[str]] = defaultdict(list)
    for alarm in those:
        together[alarm["name"], alarm["by"], alarm["until"] or ""].append(alarm["words"])
    if together:
        click.echo(f"{title}:")
    for (name, by, until), words in together.items():
        end = f", until {datetime.fromisoformat(until):%a %H:%M}" if until else ""
        whose = f", by {by}" if by else ""
        click.echo(f"  {name}{whose}{end}: {', '.join(words)}")


# -- why -------------------------------------------------------------------------------------------------------


def _why(settings: Settings, number: int | None) -> list[Plain]:
    from gatewayd.store import read

    with house.reader(settings) as conn:
        decided: defaultdict[int, list[Decision]] = defaultdict(list)
        for decision in read.decisions(conn):
            decided[decision.event].append(decision)
        events = list(read.events(conn))
        if number is None:
            events = [event for event in events if event.number in decided][-LAST:]
        else:
            events = [event for event in events if number in (event.number, event.first)]
            if not events:
                house.refuse(f"There is no event {number}. See the last ones with: gatewayd alarms why")
        sent = {event.number: read.deliveries(conn, event.number) for event in events}
    wired = settings.house
    return [
        _event(event, wired)
        | {
            "decisions": [_decision(decision, wired) for decision in decided[event.number]],
            "messages": [_message(*each, wired) for each in sent[event.number]],
        }
        for event in events
    ]


def _event(event: "Event", wired: "House") -> Plain:
    from gatewayd.message.account import subject
    from gatewayd.message.words import called
    from gatewayd.model.moment import from_wall, iso

    return {
        "number": event.number,
        "first": event.first,
        "at": iso(event.at.wall, wired.zone),
        "local": f"{from_wall(event.at.wall).astimezone(wired.zone):%a %d %b %H:%M}",
        "subject": event.subject,
        "name": subject(event, wired),
        "words": called(event.kind),
        "what": event.what.value,
    }


def _decision(decision: "Decision", wired: "House") -> Plain:
    from gatewayd.message.account import decided
    from gatewayd.model.moment import iso

    return {
        "person": decision.person,
        "reason": decision.reason,
        "at": iso(decision.at.wall, wired.zone),
        "until": iso(decision.until, wired.zone) if decision.until is not None else None,
        "text": decided(decision, wired),
    }


def _message(person: str, route: str, progress: "Progress", changed: int, wired: "House") -> Plain:
    from gatewayd.message.account import delivered
    from gatewayd.model.moment import iso

    return {
        "person": person,
        "route": route,
        "progress": progress.value,
        "since": iso(changed, wired.zone),
        "text": delivered(person, route, progress, changed, wired),
    }


# -- metrics ---------------------------------------------------------------------------------------------------


def _measured(settings: Settings, since: str) -> "Metrics":
    from gatewayd.cli.period import when
    from gatewayd.clock import SystemClock
    from gatewayd.store import read
    from gatewayd.upkeep.metrics import measure

    now = SystemClock().now().wall
    begin = when(since, settings.house.zone, now, now)
    with house.reader(settings) as conn:
        events = list(read.events(conn))
        first = events[0].at.wall if events else now
        begin = max(begin, min(first, now - 1))
        if begin >= now:
            house.refuse(f"--since {since} lies ahead; name a time that is past.", house.WRONG)
        return measure(events, read.notices(conn, begin), _asks, begin, now)


def _asks(kind: str) -> bool:
    from gatewayd.alarm.kinds import KINDS

    return kind in KINDS and KINDS[kind].asks


def _print_metrics(found: "Metrics", wired: "House") -> None:
    from rich.console import Console
    from rich.table import Table

    from gatewayd.message.account import who as person
    from gatewayd.message.words import called, clock, name
    from gatewayd.model.units import show_span
    from gatewayd.upkeep.metrics import figures

    console = Console(highlight=False, markup=False, no_color="NO_COLOR" in os.environ or None)
    begin = clock(found.since, found.until, wired.zone)
    table = Table(title=f"{wired.name} since {begin}: {found.alarms} alarms", title_justify="left")
    for column in ("", "here", "aim at", "says", ""):
        table.add_column(column)
    for figure in figures(found, lambda who: person(who, wired)):
        verdict = {None: "", True: "met", False: "not met"}[figure.met]
        table.add_row(figure.what, figure.here, figure.target, figure.source, verdict)
    console.print(table)
    console.print("The aims are those of control rooms with a person on shift, except ours, which are a household's.")
    lists = (
        ("Most often", [(s, f"{s.count}×, {s.share:.0%}") for s in found.top]),
        ("Chattering", [(s, f"{s.count}×") for s in (*found.chattering, *found.chattering_slowly)]),
        ("Fleeting", [(s, f"{s.count}×") for s in found.fleeting]),
        ("On for more than a day", [(s, show_span(s.lasted)) for s in found.stale]),
        ("Kept quiet", [(each, _kept_quiet(each, wired)) for each in found.hidden]),
    )
    for title, those in lists:
        if those:
            console.print(f"\n{title}:")
        for each, words in those:
            console.print(f"  {name(each.subject, wired)}: {called(each.kind)}, {words}")
    if found.unseen is not None:
        longest = f"{name(found.unseen.subject, wired)}: {called(found.unseen.kind)} ({found.unseen.first})"
        console.print(f"\nLongest unacknowledged: {longest}, {show_span(found.unseen.lasted)}")


def _kept_quiet(one: "Hidden", wired: "House") -> str:
    from gatewayd.message.account import who as person
    from gatewayd.model.units import show_span

    whose = f" by {person(one.by, wired)}" if one.by else ""
    return f"{one.how}{whose}, {show_span(one.lasted)}{', still' if one.ends is None else ''}"

"""Play the stored readings with other settings, to see which alarms would have been raised."""

import difflib
import sys
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gatewayd.cli import house
from gatewayd.door import Plain
from gatewayd.model.house import House
from gatewayd.settings import schema
from gatewayd.settings.typed import Settings

if TYPE_CHECKING:
    from gatewayd.daemon.rehearsal import Rehearsed
    from gatewayd.upkeep.compare import Change
    from gatewayd.upkeep.metrics import Metrics

EVERY = "*"  # in place of a freezer: all of them


@click.command(name="rehearse")
@click.option("--since", default="30 days", show_default=True, help="From when: a span back from now, or 2026-11-25.")
@click.option("--until", default="", help="Until when, written likewise; without it until now.")
@click.option(
    "--set",
    "sets",
    multiple=True,
    metavar="FREEZER.KEY=VALUE",
    help="Another limit, like shed-chest.high=-10C or *.high_on_delay=30min.",
)
@house.settings_option
@house.json_option
def command(since: str, until: str, sets: tuple[str, ...], settings_file: Path | None, *, as_json: bool) -> None:
    """Play what was stored through the watch with your settings, changed by --set, and compare with what was.

    KEY is any limit of a freezer; --set may be given several times, and * stands for all freezers. Nothing is stored
    and nobody is told, whether gatewayd runs or not.
    """
    settings = house.settings_or_exit(settings_file)
    wired, faults = changed(settings.house, sets)
    for fault in faults:
        click.echo(fault, err=True)
    if faults:
        house.refuse("Nothing was played.", house.WRONG)
    answer = _rehearse(settings, wired, since, until, bar=not as_json and sys.stderr.isatty())
    answer["set"] = list(sets)
    if as_json:
        house.show(answer)
    else:
        _print(answer, wired)


def changed(wired: House, sets: Sequence[str]) -> tuple[House, list[str]]:
    """Return the house with other limits, and what is wrong with the wishes, in words."""
    faults: list[str] = []
    freezers = dict(wired.freezers)
    for wish in sets:
        left, equals, text = wish.partition("=")
        which, dot, name = left.strip().rpartition(".")
        if not (equals and dot and text.strip()):
            faults.append(f"--set {wish}: is written like shed-chest.high=-10C or *.high_on_delay=30min.")
            continue
        key = next((key for key in schema.LIMITS.keys if key.name == name), None)
        if key is None:
            faults.append(f"--set {wish}: {_unknown(name, 'limit', [key.name for key in schema.LIMITS.keys])}")
        if which != EVERY and which not in freezers:
            faults.append(f"--set {wish}: {_unknown(which, 'freezer', list(freezers))}")
        elif key is not None:
            try:
                value = key.reader.parse(text.strip())
                for each in list(freezers) if which == EVERY else [which]:
                    other: dict[str, Any] = {name: value}  # typed by the reader of its key
                    freezers[each] = replace(freezers[each], limits=replace(freezers[each].limits, **other))
            except ValueError as wrong:
                faults.append(f"--set {wish}: {wrong}. Allowed: {key.reader.allowed}.")
    return replace(wired, freezers=freezers), faults


def _unknown(word: str, what: str, known: list[str]) -> str:
    near = difflib.get_close_matches(word, known, n=1)
    hint = f" (did you mean {near[0]}?)" if near else ""
    return f"there is no {what} {word!r}{hint}. Allowed: {', '.join(known)}."


def _rehearse(settings: Settings, wired: House, since: str, until: str, *, bar: bool) -> Plain:
    from rich.console import Console
    from rich.progress import Progress

    from gatewayd.cli.period import when
    from gatewayd.clock import SystemClock
    from gatewayd.daemon.rehearsal import WARM_UP, rehearse
    from gatewayd.store import stream

    now = SystemClock().now().wall
    begin, end = when(since, wired.zone, now, now), when(until, wired.zone, now, now)
    if begin >= end:
        house.refuse("--since must lie before --until, and before now.", house.WRONG)
    with house.reader(settings) as conn:
        oldest = stream.oldest(conn, wired.sensors)
        if oldest is None or oldest >= end:
            house.refuse("No single readings are stored from that time; there is nothing to play.")
        begin = max(begin, oldest)
        with Progress(console=Console(stderr=True), transient=True) if bar else nullcontext() as progress:
            first = max(begin - WARM_UP, oldest)
            task = progress.add_task("playing", total=end - first) if progress else None

            def told(upto: int) -> None:
                if progress is not None and task is not None:
                    progress.update(task, completed=upto - first)

            found = rehearse(conn, wired, begin, end, told)
    return _answer(found, wired, cut=begin > when(since, wired.zone, now, now))


def _answer(found: "Rehearsed", wired: House, *, cut: bool) -> Plain:
    from gatewayd.alarm.kinds import KINDS
    from gatewayd.model.moment import MINUTE, iso
    from gatewayd.upkeep.compare import compare
    from gatewayd.upkeep.metrics import measure

    def asks(kind: str) -> bool:
        return kind in KINDS and KINDS[kind].asks

    # a thinned row may be one span of keep_every later than the reading that raised the alarm, on both ends of a delay
    close = max(MINUTE, 2 * wired.keep_every)
    changes = compare(found.past, found.events, found.since, found.until, close)
    before = measure(found.past, found.past_notices, asks, found.since, found.until)
    after = measure(found.events, found.notices, asks, found.since, found.until)
    return {
        "house": wired.name,
        "since": iso(found.since, wired.zone),
        "until": iso(found.until, wired.zone),
        "readings": found.rows,
        "changes": [_change(change, wired, found.until) for change in changes],
        "before": _sums(before, wired),
        "after": _sums(after, wired),
        "not_shown": _not_shown(found, wired, cut=cut),
    }


def _change(change: "Change", wired: House, until: int) -> Plain:
    from gatewayd.message.words import called, name
    from gatewayd.model.moment import iso

    spell = change.spell
    return {
        "verdict": change.verdict.value,
        "subject": spell.subject,
        "name": name(spell.subject, wired),
        "kind": spell.kind,
        "words": called(spell.kind),
        "was": iso(change.was.raised, wired.zone) if change.was else None,
        "would": iso(change.would.raised, wired.zone) if change.would else None,
        "lasted": (until if spell.over is None else spell.over) - spell.raised,
        "over": spell.over is not None,
    }


def _sums(found: "Metrics", wired: House) -> Plain:
    from gatewayd.message.words import called, name

    longest = found.unseen
    return {
        "alarms": found.alarms,
        "messages_a_week": found.messages,
        "unacknowledged_longest": longest.lasted if longest else None,
        "unacknowledged": f"{name(longest.subject, wired)}: {called(longest.kind)}" if longest else None,
    }


def _not_shown(found: "Rehearsed", wired: House, *, cut: bool) -> list[str]:
    """Return what thinned rows cannot show, in words."""
    from gatewayd.daemon.rehearsal import WARM_UP
    from gatewayd.model.moment import from_wall
    from gatewayd.model.units import show_span

    said = []
    if wired.keep_every:
        said.append(
            f"At most one reading of a sensor is kept in {show_span(wired.keep_every)}: a peak, or a lid open, for "
            "less than that is not seen, and an alarm may come that much later."
        )
    said.append(
        "When people acknowledged, shelved or checked the food, and when sources were away, is played as it was "
        "written down; on other alarms people would have acted otherwise."
    )
    said.append(
        "Alarms of batteries, signals, sources, the disk, the messages and the clock are left out, before and after; "
        "a silence is as exact as the readings that were kept."
    )
    if cut:
        first = f"{from_wall(found.since).astimezone(wired.zone):%d %b %Y %H:%M}"
        sums = found.sums_from is not None and found.sums_from < found.since
        kept = "only sums of 15 minutes are kept" if sums else "there are no readings"
        said.append(f"Before {first} {kept}; that time cannot be played.")
    if found.oldest is not None and found.oldest > found.since - WARM_UP:
        said.append(
            "The watch learns the habits of a freezer from the week before; here it begins with nothing known, so the "
            "first days may differ."
        )
    if found.skipped:
        said.append(f"{found.skipped} readings lie within the time of another start of the computer and were left out.")
    return said


def _print(answer: Plain, wired: House) -> None:
    from datetime import datetime

    from gatewayd.model.units import show_span

    def stamp(text: str | None) -> str:
        return f"{datetime.fromisoformat(text):%a %d %b %Y %H:%M}" if text else ""

    changes = answer["changes"]
    wish = f", with {', '.join(answer['set'])}" if answer["set"] else ", with the settings as they are"
    click.echo(f"{answer['house']} from {stamp(answer['since'])} to {stamp(answer['until'])}{wish}:")
    for change in changes:
        if change["verdict"] == "same":
            continue
        was = f" (was {stamp(change['was'])})" if change["verdict"] == "moved" else ""
        lasts = show_span(change["lasted"]) if change["over"] else f"{show_span(change['lasted'])} and going on"
        at = stamp(change["would"] or change["was"])
        click.echo(f"  {change['verdict']:<5}  {at}{was}  {change['name']}: {change['words']}, {lasts}")
    same = sum(change["verdict"] == "same" for change in changes)
    if same:
        click.echo(f"  {same} as {'it was' if same == 1 else 'they were'}.")
    if not changes:
        click.echo("  No alarms, before or after.")
    before, after = answer["before"], answer["after"]
    for who in sorted({*before["messages_a_week"], *after["messages_a_week"]}):
        was, would = (each["messages_a_week"].get(who, 0.0) for each in (before, after))
        whom = wired.people[who].name if who in wired.people else who
        click.echo(f"Messages a week to {whom}: were {was:.2g}, would be {would:.2g}.")
    for words, each in (("was", before), ("would be", after)):
        if each["unacknowledged"]:
            span = show_span(each["unacknowledged_longest"])
            click.echo(f"Longest unacknowledged: {words} {span} ({each['unacknowledged']}).")
    click.echo("\nWhat this cannot show:")
    for text in answer["not_shown"]:
        click.echo(f"- {text}")

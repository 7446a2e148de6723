"""Write down what was done for a freezer or a sensor, and show it."""

import secrets
from contextlib import closing
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.model.chore import Kind
from gatewayd.model.moment import iso

KINDS = [kind.value for kind in Kind]


@click.group(name="chore")
def command() -> None:
    """Write down what was done, so that what is due can be said (gatewayd due).

    \b
    gatewayd chore add shed-air battery                    a new battery: its level is judged anew
    gatewayd chore add shed-chest gasket cleaned, tight    the gasket was looked at
    gatewayd chore add shed-chest condenser                the coils were looked at
    gatewayd chore add shed-air spare in the kitchen drawer
    gatewayd chore list
    """


@command.command(name="add")
@click.argument("subject")
@click.argument("kind")
@click.argument("note", nargs=-1)
@house.settings_option
@house.json_option
def add(subject: str, kind: str, note: tuple[str, ...], settings_file: Path | None, *, as_json: bool) -> None:
    """Write down that KIND of work was done for SUBJECT (the id of a freezer or a sensor), with a NOTE if you like.

    KIND is battery, gasket, condenser, defrosted, spare or note.
    """
    request = {"ask": "chore", "do": "add", "subject": subject, "kind": kind, "note": " ".join(note)}
    house.order(house.socket(settings_file), request | {"key": secrets.token_hex(8)}, as_json=as_json)


@command.command(name="list")
@click.argument("subject", default="")
@click.option("--kind", type=click.Choice(KINDS), help="Only this kind of work.")
@house.settings_option
@house.json_option
def listed(subject: str, kind: str | None, settings_file: Path | None, *, as_json: bool) -> None:
    """Show what was done, the newest first; for SUBJECT (an id) alone if it is given."""
    from gatewayd.store.chore import chores

    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        found = chores(conn, subject or None, Kind(kind) if kind else None)
    rows = [
        {
            "id": one.id,
            "at": iso(one.at, settings.house.zone),
            "subject": one.subject,
            "kind": one.kind.value,
            "who": one.who,
            "facts": dict(one.facts),
        }
        for one in reversed(found)
    ]
    if as_json:
        house.show({"chores": rows})
        return
    for one, row in zip(reversed(found), rows, strict=True):
        by, note = f" ({one.who})" if one.who else "", f": {one.note}" if one.note else ""
        click.echo(f"{str(row['at'])[:10]}  {one.subject}  {one.kind.value}{note}{by}")
    if not rows:
        click.echo("Nothing is written down yet.")

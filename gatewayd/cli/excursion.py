"""The command `gatewayd excursion`: what the warm spells were, what becomes of the food, and what was lost."""

import secrets
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatewayd.cli import house
from gatewayd.door import Plain
from gatewayd.food.chart import WARM_AFTER
from gatewayd.settings.typed import Settings

if TYPE_CHECKING:
    import sqlite3

    from gatewayd.model.excursion import Excursion

LAST = 10  # spells: a screen of them


def freezer_option(function: house.F) -> house.F:
    """Add --freezer."""
    return click.option("--freezer", help="Only of this freezer (its id), where one number is of several.")(function)


@click.group(name="excursion")
def command() -> None:
    """See what happened when a freezer was warm, and decide what becomes of its food.

    A spell opens by itself when a freezer is too warm, when the power fails, or when gatewayd itself was off.
    """


@command.command(name="list")
@click.option("--all", "everything", is_flag=True, help=f"All there ever were; without it the last {LAST}.")
@freezer_option
@house.settings_option
@house.json_option
def list_(settings_file: Path | None, freezer: str | None, *, everything: bool, as_json: bool) -> None:
    """List the warm spells, the last at the bottom. It reads the store's file, whether gatewayd runs or not."""
    from gatewayd.message.words import name
    from gatewayd.store import spell as words
    from gatewayd.store.carried import Carried

    settings, now = house.settings_or_exit(settings_file), _now()
    wired = settings.house
    with house.reader(settings) as conn:
        found, past = [s for s in _spells(conn, settings) if freezer in (None, s.freezer)], Carried(conn, wired, now)
        shown = [(each, *past.story(each), _done(conn, each)) for each in (found if everything else found[-LAST:])]
    if as_json:
        house.show([words.brief(wired, each, seen, those, now) | {"done": done} for each, seen, those, done in shown])
        return
    for each, seen, those, done in shown:
        peak = "" if seen.curve.peak is None else f", up to {wired.units.show(seen.curve.peak)}"
        click.echo(f"{each.number:>5}  {name(each.freezer, wired)}: {words.when(each, wired, now)}")
        click.echo(f"       {words.why(each)}{peak}; {words.state(those, done=done)}")
    if not shown:
        click.echo("No freezer has been warm, as far as anybody knows.")


@command.command(name="show")
@click.argument("number", type=click.IntRange(min=1))
@freezer_option
@house.settings_option
@house.json_option
def show(number: int, freezer: str | None, settings_file: Path | None, *, as_json: bool) -> None:
    """Show the warm spell NUMBER: curve, messages, and for each package what the published chart says.

    It reads the store's file, whether gatewayd runs or not.
    """
    from gatewayd.cli.spell import lines
    from gatewayd.store import spell as words

    settings, now = house.settings_or_exit(settings_file), _now()
    with house.reader(settings) as conn:
        those = _numbered(conn, settings, number, freezer)
        if as_json:
            house.show([words.whole(conn, settings.house, each, now) for each in those])
            return
        text = "\n\n".join("\n".join(lines(conn, settings.house, each, now)) for each in those)
    click.echo(text)


@command.command(name="decide")
@click.argument("number", type=click.IntRange(min=1))
@freezer_option
@click.option("--package", "packages", multiple=True, type=int, help="A package's number; may be given more than once.")
@click.option("--box", "boxes", multiple=True, help="A box's id: all in it; may be given more than once.")
@click.option("--all", "everything", is_flag=True, help="All packages and boxes of the spell.")
@click.option("--cold", is_flag=True, help="Found with ice crystals, or as cold as a refrigerator.")
@click.option("--warm", is_flag=True, help="It was above 40 °F (4.4 °C) for more than 2 h.")
@click.option("--not-known", is_flag=True, help="Take an answer back.")
@click.option("--hours", type=float, help="With --warm: for how many hours, if you know it; never less than measured.")
@click.option("--touched", is_flag=True, help="Juice of raw meat or poultry touched it.")
@click.option("--not-touched", is_flag=True, help="No juice of raw meat or poultry touched it.")
@click.option("--by-chart", is_flag=True, help="Do what the chart says; what it leaves open stays open.")
@click.option("--keep", is_flag=True, help="Keep it.")
@click.option("--refreeze", is_flag=True, help="Freeze it again, to be used first.")
@click.option("--throw", is_flag=True, help="Throw it out; it leaves the stock's list.")
@click.option("--count", type=float, help="With --throw: how many of one package; without it all.")
@click.option("--anyway", is_flag=True, help="Keep it although the chart does not.")
@click.option("--why", default="", help="A word on it, for the log.")
@house.settings_option
@house.json_option
def decide(settings_file: Path | None, *, as_json: bool, **asked: object) -> None:
    """Answer the chart's questions about the food of the warm spell NUMBER, and decide what becomes of it.

    Without options it walks with you from box to box. When all is decided, the alarm that waited for it ends.
    """
    answer = _one(asked, ("cold", "warm", "not_known"))
    touched = _one(asked, ("touched", "not_touched"))
    decision = _one(asked, ("by_chart", "keep", "refreeze", "throw"))
    hours = asked["hours"]
    if answer == "warm" and isinstance(hours, float) and 0 <= hours <= WARM_AFTER:
        house.refuse(
            f"Warm means for more than {WARM_AFTER:g} hours, and {hours:g} is not more: say --cold or how long.",
            house.WRONG,
        )
    door, number = house.socket(settings_file), asked["number"]
    base = {"ask": "excursion", "number": number, "freezer": asked["freezer"], "why": asked["why"]}
    which = {"packages": asked["packages"], "boxes": asked["boxes"], "all": asked["everything"]}
    steps: list[Plain] = []
    if answer or touched:
        found = {"answer": ANSWERS.get(answer), "hours": hours, "touched": touched == "touched" if touched else None}
        steps.append({**base, **which, "do": "answer", **found})
    if decision:
        chosen = {"decision": DECISIONS.get(decision, decision), "count": asked["count"], "anyway": asked["anyway"]}
        steps.append({**base, **which, "do": "decide", **chosen})
    if steps:
        from gatewayd.store.spell import FIRST

        _carry_out(door, steps, as_json=as_json, first=FIRST)
    elif as_json or any(which.values()):
        house.refuse("Say what was found (--cold, --warm) or what to do (--by-chart, --keep, --throw).", house.WRONG)
    else:
        from gatewayd.cli.walk import walk

        next(house.knock(door, {"ask": "hello"}))  # where nobody is there to write it down, nothing is asked
        walk(house.settings_or_exit(settings_file), door, base)


@command.command(name="done")
@click.argument("number", type=click.IntRange(min=1))
@freezer_option
@click.option("--why", default="", help="What was decided, for the log.")
@house.settings_option
@house.json_option
def done(number: int, freezer: str | None, why: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Say that you are done with the food of the warm spell NUMBER, whatever is left undecided; its alarm ends."""
    request = {"ask": "excursion", "do": "done", "number": number, "freezer": freezer, "why": why}
    _carry_out(house.socket(settings_file), [request], as_json=as_json)


@command.command(name="undo")
@click.argument("number", type=click.IntRange(min=1))
@house.settings_option
@house.json_option
def undo(number: int, settings_file: Path | None, *, as_json: bool) -> None:
    """Undo the last decision on the food of the warm spell NUMBER; the stock's list is as before."""
    _carry_out(house.socket(settings_file), [{"ask": "excursion", "do": "undo", "number": number}], as_json=as_json)


@command.command(name="loss")
@click.argument("number", type=click.IntRange(min=1))
@freezer_option
@click.option("--csv", "as_csv", is_flag=True, help="Write it as CSV (RFC 4180), for a spreadsheet or an insurer.")
@house.settings_option
@house.json_option
def loss(number: int, freezer: str | None, settings_file: Path | None, *, as_csv: bool, as_json: bool) -> None:
    """List what was thrown out after the warm spell NUMBER, with weights, for an insurer.

    It reads the store's file, whether gatewayd runs or not.
    """
    from gatewayd.food import said
    from gatewayd.message.words import name
    from gatewayd.store import spell as words

    settings = house.settings_or_exit(settings_file)
    with house.reader(settings) as conn:
        those = _numbered(conn, settings, number, freezer)
        found = words.lost(conn, settings.house, those, _now())
    total, unweighed = sum(row["kg"] or 0.0 for row in found), sum(row["kg"] is None for row in found)
    if as_json:
        house.show({"lost": found, "kg": round(total, 3), "without_weight": unweighed})
    elif as_csv:
        click.echo("".join(words.csv(found)), nl=False)
    else:
        units = settings.house.units
        for each in those:
            click.echo(f"{name(each.freezer, settings.house)}: {words.when(each, settings.house, _now())}")
        for row in found:
            kg = "weight not known" if row["kg"] is None else said.weight(row["kg"], units)
            click.echo(f"  {row['food']}, {kg} ({row['box']})" + (f", frozen {row['frozen']}" if row["frozen"] else ""))
        more = f", and {unweighed} without a known weight" if unweighed else ""
        click.echo(f"Thrown out in all: {said.weight(total, units)}{more}." if found else "Nothing was thrown out.")


# -- what they share -------------------------------------------------------------------------------------------


# what an option is called at the door
ANSWERS = {"cold": "cold", "warm": "warm", "not_known": "unknown"}
DECISIONS = {"by_chart": "chart"}


def _one(asked: Mapping[str, object], names: Sequence[str]) -> str:
    """Return the one of some options that was given, empty for none; exit where there are two."""
    given = [name for name in names if asked[name]]
    if len(given) > 1:
        words = " and ".join("--" + name.replace("_", "-") for name in given)
        house.refuse(f"{words} do not go together: say one.", house.WRONG)
    return given[0] if given else ""


def _now() -> int:
    from gatewayd.clock import SystemClock

    return SystemClock().now().wall


def _spells(conn: "sqlite3.Connection", settings: Settings) -> "list[Excursion]":
    from gatewayd.store import excursion

    return excursion.spells(conn, settings.house)


def _done(conn: "sqlite3.Connection", spell: "Excursion") -> bool:
    from gatewayd.store import excursion

    return excursion.done(conn, spell)


def _numbered(conn: "sqlite3.Connection", settings: Settings, number: int, freezer: str | None) -> "list[Excursion]":
    from gatewayd.store import excursion

    found = excursion.numbered(_spells(conn, settings), number, freezer)
    if not found:
        house.refuse(f"There is no warm spell {number}. See them with: gatewayd excursion list")
    return found


def _carry_out(door: Path, steps: Sequence[Plain], *, as_json: bool, first: str = "") -> None:
    """Ask for one step after another, up to the first that is refused, and exit; `first` goes before the answers."""
    answers = []
    for step in steps:
        answers.append(next(house.knock(door, {**step, "key": secrets.token_hex(8)})))
        if not answers[-1].get("done"):
            break
    if not as_json and first and any(answer.get("done") for answer in answers):
        click.echo(first)
    if as_json:
        house.show(answers[-1] if len(answers) == 1 else {"done": answers[-1].get("done", False), "steps": answers})
    else:
        for answer in answers:
            click.echo(answer.get("error") or answer.get("text", ""), err=not answer.get("done"))
    sys.exit(house.DONE if answers[-1].get("done") else house.NOT_DONE)

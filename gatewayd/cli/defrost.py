"""Plan a defrost, and be guided through it while gatewayd watches that the freezer cools again."""

import secrets
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.model.units import parse_span, show_span


@click.group(name="defrost")
def command() -> None:
    """Defrost a freezer, with a checklist, a timer for the food, and somebody who sees that it cools again.

    \b
    gatewayd defrost plan                     when each is due, why, and a good day
    gatewayd defrost start shed-chest         begin; its alarms are held, for four hours at most
    gatewayd defrost step                     this step is done: the next one
    gatewayd defrost finish --ice "3 kg"      it is on again and the food is in
    gatewayd defrost cancel                   it came to nothing: none is counted
    """


@command.command(name="plan")
@click.argument("freezer", default="")
@house.settings_option
@house.json_option
def plan(freezer: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Show when the freezers, or FREEZER (its id) alone, are to be defrosted, why, and a good day for it."""
    from gatewayd.door import NotRunning, ask

    running = True
    try:
        answer = next(ask(house.socket(settings_file), {"ask": "defrost", "do": "plan"}))
    except NotRunning:
        running, answer = False, {"freezers": _alone(settings_file)}
    except PermissionError:
        house.refuse("You may not ask gatewayd. Call this with sudo, or as a member of gatewayd's group.")
    if "freezers" not in answer:
        house.refuse(answer.get("error") or "gatewayd gave no answer.")
    found = [one for one in answer["freezers"] if freezer in ("", one["id"])]
    if freezer and not found:
        known = ", ".join(one["id"] for one in answer["freezers"]) or "none"
        house.refuse(f"There is no freezer {freezer!r}; there are: {known}.")
    if as_json:
        house.show({"running": running, "freezers": found})
        return
    click.echo("\n\n".join("\n".join(lines(one)) for one in found) or "There are no freezers.")


def _alone(settings_file: Path | None) -> list[dict[str, Any]]:
    """Return what the file alone tells, while nobody runs."""
    from gatewayd.clock import SystemClock
    from gatewayd.daemon.frost import plans

    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        return [{**one, "running": None} for one in plans(conn, settings.house, SystemClock().now().wall, {})]


def lines(one: dict[str, Any]) -> list[str]:
    """Return what is to be said of one freezer."""
    from gatewayd.upkeep.defrost import NEVER, NOT_DUE, told_day

    said = [f"{one['name']} ({one['id']})"]
    running = one.get("running")
    if running:
        said.append(f"  being defrosted since {_hour(running['began'])}, planned until {_hour(running['until'])}")
        if running["food_out"] is not None:
            said.append(f"  its food has been out for {show_span(running['food_out'])}; two hours are the most")
        if running["next"]:
            said.append(f"  next step: {running['next']}")
        return said
    said.append(f"  last defrosted {one['last'][:10]}" if one["last"] else f"  {NEVER}")
    said += [f"  {due['text']}" for due in one["due"]] or [f"  {NOT_DUE}"]
    if one["good_day"]:
        said.append(f"  {told_day(datetime.fromisoformat(one['good_day']['at']), one['good_day']['why'])}")
    return said


def _hour(stamp: str) -> str:
    return f"{datetime.fromisoformat(stamp):%H:%M}"


@command.command(name="start")
@click.argument("freezer")
@click.option("--for", "span", default="90 min", show_default=True, help="How long it is planned, 15 min to 3 h.")
@click.option("--yes", is_flag=True, help="Do not ask whether to go on.")
@click.option("--anyway", is_flag=True, help="Also where it has been too warm, or its probe is in ice.")
@house.settings_option
@house.json_option
def start(freezer: str, span: str, settings_file: Path | None, *, yes: bool, anyway: bool, as_json: bool) -> None:
    """Begin to defrost FREEZER (its id); given once more it asks for more time.

    Its alarms are held until it is cold again, for an hour more than planned at most and never for more than four.
    """
    try:
        lasts = parse_span(span)
    except ValueError as wrong:
        house.refuse(f"--for: {wrong}", house.WRONG)
    if as_json and not yes:
        house.refuse("With --json nobody can be asked; add --yes once you have read the steps.", house.WRONG)
    _fits(freezer, settings_file, anyway=anyway)
    if not as_json and not yes:
        click.echo(checklist(freezer))
        try:
            going = click.confirm("\nBegin now?", default=False)
        except click.Abort:
            going = False
        if not going:
            house.refuse("\nNothing was begun.")
    _order(settings_file, "begin defrost", freezer, "anyway" if anyway else "", lasts, as_json=as_json)


def _fits(freezer: str, settings_file: Path | None, *, anyway: bool) -> None:
    """Refuse at once what the daemon would refuse in the end, before anybody reads nine steps and takes food out."""
    door = house.socket(settings_file)
    list(house.knock(door, {"ask": "due"}))  # so that it knows what has been decided on up to now
    found = next(house.knock(door, {"ask": "status"}))["freezers"]
    one = next((each for each in found if each["id"] == freezer), None)
    if one is None:
        known = ", ".join(each["id"] for each in found) or "none"
        house.refuse(f"There is no freezer {freezer!r}; there are: {known}.")
    if one.get("left_alone") and not one.get("defrost") and not anyway:
        house.refuse(one["left_alone"])


def checklist(freezer: str) -> str:
    """Return all steps with what to mind, in plain lines."""
    from gatewayd.upkeep.defrost import CREW, STEPS

    said = [f"A defrost of {freezer}, step by step. {CREW}"]
    for number, step in enumerate(STEPS, 1):
        said.append(f"\n{number:>3}. {step.key}: {step.do}")
        if step.mind:
            said.append(f"     Mind: {step.mind}")
    return "\n".join(said)


@command.command(name="step")
@click.argument("freezer", default="")
@click.argument("step", default="")
@house.settings_option
@house.json_option
def step(freezer: str, step: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Say that a STEP is done (manual, ready, food-out, unplug, lid, ice, wash, on, food-back), and see the next.

    Without a STEP it is the next one of the list; without a FREEZER the one that is being defrosted.
    """
    _order(settings_file, "defrost step", freezer, why=step, as_json=as_json)


@command.command(name="finish")
@click.argument("freezer", default="")
@click.option("--ice", default="", help="How much ice came out, like: 3 kg, or: half a bucket.")
@click.option("--on", "is_on", is_flag=True, help="It is switched on again: do not ask.")
@house.settings_option
@house.json_option
def finish(freezer: str, ice: str, settings_file: Path | None, *, is_on: bool, as_json: bool) -> None:
    """Say that FREEZER is switched on again and the food is in; without it the one that is being defrosted.

    You are told if it does not cool within 20 minutes.
    """
    if not is_on and _asks_for_switch(freezer, settings_file):
        if as_json:
            house.refuse("Nobody said that it is switched on again. With --json add --on once it is.", house.WRONG)
        try:
            switched = click.confirm("Did you SWITCH IT BACK ON?", default=False)
        except click.Abort:
            switched = False
        if not switched:
            house.refuse("\nIt is not finished. SWITCH IT BACK ON, shut it, hear that it runs; then say it once more.")
    _order(settings_file, "end defrost", freezer, why=ice, as_json=as_json)


def _asks_for_switch(freezer: str, settings_file: Path | None) -> bool:
    """Return whether a defrost that is to be finished was one, and nobody said that the freezer is on again."""
    from gatewayd.upkeep.defrost import switch_unsaid

    found = next(house.knock(house.socket(settings_file), {"ask": "status"}))
    running = [one for each in found["freezers"] if (one := each.get("defrost")) and freezer in ("", each["id"])]
    if len(running) != 1 or running[0]["ended"]:
        return False  # the order's answer says what is wrong
    one, since = running[0], datetime.fromisoformat(found["at"]) - datetime.fromisoformat(running[0]["began"])
    return switch_unsaid(one["steps"], round(since.total_seconds() * 1000))


@command.command(name="cancel")
@click.argument("freezer", default="")
@house.settings_option
@house.json_option
def cancel(freezer: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Say that the defrost of FREEZER came to nothing: its alarms count again at once, and none is written down."""
    _order(settings_file, "defrost step", freezer, why="cancel", as_json=as_json)


def _order(settings_file: Path | None, verb: str, freezer: str, why: str = "", span: int = 0, *, as_json: bool) -> None:
    request = {"ask": "order", "verb": verb, "subject": freezer, "why": why, "span": span}
    house.order(house.socket(settings_file), request | {"key": secrets.token_hex(8)}, as_json=as_json)

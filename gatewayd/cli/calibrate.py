"""Guide the check of a probe in ice, and show what former checks found."""

import json
import secrets
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.model.moment import iso
from gatewayd.model.units import TemperatureUnit


@click.command(name="calibrate")
@click.argument("sensor")
@click.option("--end", is_flag=True, help="End the check that runs, and store nothing.")
@click.option("--list", "listing", is_flag=True, help="Show what former checks found.")
@click.option("--yes", is_flag=True, help="Do not ask: neither whether to begin, nor whether to store what was found.")
@house.settings_option
@click.option(
    "--json", "as_json", is_flag=True, help="Answer in JSON lines: one JSON object a line, one for each step."
)
def command(sensor: str, settings_file: Path | None, *, end: bool, listing: bool, yes: bool, as_json: bool) -> None:
    """Check SENSOR (its id) in crushed ice and water, and correct its readings by what it is off.

    The probe's freezer is kept quiet meanwhile. Once a year is common practice. If this command is stopped, the check
    goes on; call it again to look on. With --json each step is a line of JSON of its own (JSON lines).
    """
    from gatewayd.upkeep.iceguide import result

    if listing:
        _list(sensor, settings_file, as_json=as_json)
        return
    door = house.socket(settings_file)
    ask = {"ask": "calibrate", "sensor": sensor}
    if end:
        house.order(door, ask | {"do": "end"}, as_json=as_json)
    if as_json and not yes:
        house.refuse("With --json nobody can be asked; add --yes once you have read the steps.", house.WRONG)
    begun = _answer(house.knock(door, ask | {"do": "state"}))
    if not begun.get("running"):
        if not as_json:
            _explain(sensor, settings_file)
        if not yes and not _asked("\nBegin now?"):
            house.refuse("\nNothing was begun.")
        begun = _answer(house.knock(door, ask | {"do": "begin"}))
        _say(begun, as_json=as_json, text=f"Begun: put it into the ice now. It ends {_end(begun)} at the latest.")
    else:
        _say(begun, as_json=as_json, text=f"The check goes on; it ends {_end(begun)} at the latest.")
    try:
        found = _look_on(_steps(door, ask | {"do": "look"}, sensor), as_json=as_json)
    except KeyboardInterrupt:
        house.refuse(f"\nThe check goes on. Look on: gatewayd calibrate {sensor}   End it: add --end")
    if found.get("stage") != "done":
        house.refuse("The check is over without a result: its time was up, or somebody ended it. Nothing was stored.")
    if not as_json:
        click.echo("\n" + "\n".join(result(found)))
    if not yes and not _asked("Store that?"):
        house.order(door, ask | {"do": "end"}, as_json=as_json)
    kept = _answer(house.knock(door, ask | {"do": "keep", "key": secrets.token_hex(8)}))
    _say(kept, as_json=as_json, text=f"{kept.get('text')} Dry the probe and put it back now.")


def _end(state: dict[str, Any]) -> str:
    """Say when a check ends at the latest."""
    return f"at {datetime.fromisoformat(state['until']):%H:%M}"


def _steps(door: Path, request: dict[str, Any], sensor: str) -> Iterator[dict[str, Any]]:
    """Yield how the check stands; where the daemon stops meanwhile, say what becomes of it."""
    from gatewayd.door import NotRunning, ask

    try:
        yield from ask(door, request)
    except (NotRunning, OSError):
        house.refuse(
            "gatewayd stopped, or cannot be heard. The check goes on when it is there again, to the same end; nothing "
            "is stored before you say so. Leave the probe in the ice; only where the computer itself was started anew "
            f"it is over, and is begun once more. Now {house.START_IT}\n"
            f"Then look on: gatewayd calibrate {sensor}   Or end it: add --end",
            house.NOT_RUNNING,
        )


def _explain(sensor: str, settings_file: Path | None) -> None:
    """Print what to do; exit with a sentence where there is no such sensor."""
    from textwrap import fill

    from gatewayd.upkeep.iceguide import intro, quiet, steps

    found = next(house.knock(house.socket(settings_file), {"ask": "health"}))
    mine = next((one for one in found["sensors"] if one["id"] == sensor and one["measures"] == "temperature"), None)
    if mine is None:
        known = ", ".join(one["id"] for one in found["sensors"] if one["measures"] == "temperature") or "none"
        house.refuse(f"There is no thermometer {sensor!r}; there are: {known}.")
    click.echo(intro(mine["name"], TemperatureUnit(found["units"])) + "\n")
    for number, text in enumerate(steps(), 1):
        click.echo(fill(f"{number}. {text}", 116, initial_indent="  ", subsequent_indent="     "))
    click.echo("\n" + fill(quiet(mine["freezer"]), 116))


def _asked(question: str) -> bool:
    try:
        return click.confirm(question, default=False)
    except click.Abort:
        return False


def _answer(answers: Iterator[dict[str, Any]]) -> dict[str, Any]:
    answer = next(answers)
    if not answer.get("done"):
        house.refuse(answer.get("error", "Nothing came of it."))
    return answer


def _say(answer: dict[str, Any], *, as_json: bool, text: str) -> None:
    click.echo(json.dumps(answer, ensure_ascii=False) if as_json else text)


def _look_on(answers: Iterator[dict[str, Any]], *, as_json: bool) -> dict[str, Any]:
    """Print each step until the check is done or over, and return the last."""
    from gatewayd.upkeep.iceguide import stands

    last, said = dict[str, Any](), ""
    for last in answers:
        text = f"  {stands(last)}" if last["running"] else stands(last)
        if as_json or text != said:
            _say(last, as_json=as_json, text=text)
            sys.stdout.flush()
        said = text
    return last


def _list(sensor: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Print every offset that was found of a sensor, from the file alone."""
    from gatewayd.store.calibration import offsets

    settings = house.settings_or_exit(settings_file)
    zone, unit = settings.house.zone, settings.house.units
    with closing(house.reader(settings)) as conn:
        found = offsets(conn, sensor)
    if as_json:
        rows = [{"at": iso(c.since, zone), "quantity": c.quantity.value, "offset_k": c.offset} for c in found]
        house.show({"sensor": sensor, "checks": [row | {"who": c.who} for row, c in zip(rows, found, strict=True)]})
        return
    for each in found:
        by = f", {each.who}" if each.who else ""
        click.echo(f"{iso(each.since, zone)[:10]}  {unit.show_difference(each.offset, 2)} added{by}")
    if not found:
        click.echo(f"{sensor} was never checked. Check it: gatewayd calibrate {sensor}")

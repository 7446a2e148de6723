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
from gatewayd.model.units import TemperatureUnit, show_span

HOW = """\
A check of {name} in ice: crushed ice in water is at {ice}, so what the sensor says there is its error.

  1. Crush clean ice and fill a tall cup with it to the brim. Add cold water until it just fills the gaps; there must
     be ice down to the bottom all the time, so pour water off and add ice when it floats.
  2. A sensor that is not watertight goes into a thin bag first, with the air pressed out.
  3. Say yes below. Then put the probe into the middle of the ice, touching neither wall nor bottom, and stir gently
     now and then. Shut the freezer again.
  4. It takes about a quarter of an hour: ten minutes in which nothing moves, and five readings.
  5. Dry it well and put it back where it was.

{quiet}"""
QUIET = """\
Until the probe is back, for two hours at most, it watches nothing. The alarms of {freezer} are held for half an
hour now, and again when the probe goes back."""


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
        click.echo(_result(found))
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
    found = next(house.knock(house.socket(settings_file), {"ask": "health"}))
    mine = next((one for one in found["sensors"] if one["id"] == sensor and one["measures"] == "temperature"), None)
    if mine is None:
        known = ", ".join(one["id"] for one in found["sensors"] if one["measures"] == "temperature") or "none"
        house.refuse(f"There is no thermometer {sensor!r}; there are: {known}.")
    quiet = QUIET.format(freezer=mine["freezer"]) if mine["freezer"] else "It guards no freezer, so nothing is held."
    click.echo(HOW.format(name=mine["name"], ice=TemperatureUnit(found["units"]).show(0.0, 0), quiet=quiet))


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
    last, said = dict[str, Any](), ""
    for last in answers:
        text = _step(last)
        if as_json or text != said:
            _say(last, as_json=as_json, text=text)
            sys.stdout.flush()
        said = text
    return last


def _step(state: dict[str, Any]) -> str:
    """Say how the check stands in a line."""
    if not state["running"]:
        return "No check is running any more."
    unit = TemperatureUnit(state["units"])
    raw = "" if state["raw_c"] is None else unit.show(state["raw_c"], 2)
    match state["stage"]:
        case "waiting":
            return "  waiting for its first reading"
        case "on its way":
            return f"  {raw}: on its way to the ice's temperature"
        case "settling":
            return f"  {raw}: within {unit.show_difference(0.2)} for {show_span(state['steady_ms'])} of 10 min"
        case "not ice":
            return (
                f"  {raw}: it stands still far from {unit.show(0.0, 0)}. Either it does not lie in ice down to the "
                "bottom, or the sensor is broken. Nothing is stored of this; it goes on."
            )
        case _:
            return f"  {raw}: settled"


def _result(state: dict[str, Any]) -> str:
    """Say what was found: by how much it is off, which way, how sure, and what it was before."""
    unit, off = TemperatureUnit(state["units"]), -state["offset_k"]
    side = "exactly right" if round(off, 2) == 0 else f"{unit.show_difference(abs(off), 2)} too {_side(off)}"
    return (
        f"\n{state['name']} reads {side}: in ice it says {unit.show(state['mean_c'], 2)}, five readings within "
        f"{unit.show_difference(state['spread_k'], 2)}.\n{unit.show_difference(state['offset_k'], 2)} would be added "
        f"to its readings; until now it is {unit.show_difference(state['was_k'], 2)}."
    )


def _side(off: float) -> str:
    return "warm" if off > 0 else "cold"


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

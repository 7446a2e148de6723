"""Show all that is known of a freezer, and guide through a planned test switch-off."""

import secrets
import sys
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house
from gatewayd.cli.known import known
from gatewayd.message.levels import MEANING, PLACES, cycling, reached
from gatewayd.message.rule import remaining
from gatewayd.message.words import level
from gatewayd.model.moment import HOUR
from gatewayd.model.outlook import LEVELS, Span, Where
from gatewayd.thermal.picture import NOT_HEARD
from gatewayd.watch.holding import Case, told
from gatewayd.watch.switchoff import BEGIN, LASTS

# K; the error of the food's temperature as worked out from the air, in an outage, of the middle freezer of 60 simulated
FOOD_ERROR = 0.8
CAUSES = {
    "normal": "nothing unusual",
    "opened": "opened, and its cold is coming back",
    "lid-or-load": "a lid ajar, or warm food put in",
    "power": "cooling has stopped",
    "room-air": "the probe is in the room's air",
    "auto-defrost": "defrosting by itself",
    "drift": "set warmer, or slowly failing",
    "cannot-tell": "cannot be told yet",
}
SURE = {"hint": "a hint", "likely": "likely", "sure": "sure"}
HOW = {"outage": "an outage", "test": "a test switch-off"}
GROUPS = {"vegetables-fruit": "vegetables and fruit"}


@click.group(name="freezer")
def command() -> None:
    """Show all that is known of a freezer, or teach gatewayd how it warms.

    \b
    gatewayd freezer show shed-chest          its facts, its cycles, how long its food holds
    gatewayd freezer test-off shed-chest      three hours switched off, so that it learns how this one warms
    """


@command.command(name="show")
@click.argument("freezer")
@house.settings_option
@house.json_option
def show(freezer: str, settings_file: Path | None, *, as_json: bool) -> None:
    """Show all that is known of FREEZER (its id): what it is and holds, how it runs, how long its food holds."""
    here = known(settings_file, freezer)
    (found,) = here.freezers
    if as_json:
        house.show({**here.plain, **found})
    else:
        if here.words:
            click.echo(f"{here.words}\n")
        click.echo(f"{found['name']} ({found['id']})")
        case = here.case(found)
        for what, text in lines(found, case):
            click.echo(f"  {what:<14}{text}".rstrip())
        click.echo(f"\n{told([case])}")
    sys.exit(house.DONE if here.last is None else house.NOT_RUNNING)


def lines(found: Mapping[str, Any], case: Case) -> list[tuple[str, str]]:
    """Return what is known of a freezer, a line each: what it is about, and what there is to say."""
    unit = case.units
    said = [
        ("kind", f"{found['kind']}, {_or(found['volume_l'], '{:.0f} L', 'volume not said')}"),
        ("holds", _contents(found)),
        ("room", "not known" if found["room_c"] is None else unit.show(found["room_c"])),
        ("air", "not known" if found["air_c"] is None else unit.show(found["air_c"])),
        ("state", "heard, and not judged yet" if case.state == NOT_HEARD and not case.silent else case.state),
        ("cause", _cause(found["cause"])),
        ("compressor", cycling(found["cycles"])),
        ("food", _food(found["food_c"], case)),
        ("learnt from", _learnt(found)),
    ]
    if found["test"]:
        said.append(("test", f"switched off {_day(found['test']['began'])}, ends {_day(found['test']['until'])}"))
    for number, note in enumerate(found["ageing"] or ["nothing seen"]):
        said.append(("ageing" if not number else "", note))
    title = "left" if case.uncooled else "without power"
    rows = _rows(case.outlook.forecast if case.uncooled else case.outlook.reserve, case)
    said += [(title if not number else "", text) for number, text in enumerate(rows)]
    return said


def _or(value: float | None, form: str, otherwise: str) -> str:
    return otherwise if value is None else form.format(value)


def _contents(found: Mapping[str, Any]) -> str:
    weights = [f"{GROUPS.get(group, group)} {weight:.3g} kg" for group, weight in found["kg"].items() if weight]
    listed = ", ".join(weights) or "nothing"
    return listed if found["told"] else f"not said; taken as half full ({listed})"


def _cause(cause: Mapping[str, Any] | None) -> str:
    if not cause or not cause["held"]:
        return CAUSES["cannot-tell"]
    text = CAUSES[cause["label"]]
    if cause["label"] in ("normal", "cannot-tell"):
        return text
    since = f", since {_day(cause['since'])}" if cause.get("since") else ""
    return f"{text} ({SURE[cause['sure']]}){since}"


def _food(food: Mapping[str, Any] | None, case: Case) -> str:
    if not food:
        return "not known yet"
    unit = case.units
    off = f"{unit.show_difference(FOOD_ERROR)} in simulations{'' if case.outlook.calibrated else '; unknown for yours'}"
    return (
        f"warmest about {unit.show(food['top'])}, the rest {unit.show(food['bulk'])}; "
        f"worked out from the air, about ±{off}"
    )


def _learnt(found: Mapping[str, Any]) -> str:
    lessons = [f"{HOW.get(lesson['how'], lesson['how'])} {_day(lesson['at'])}" for lesson in found["learnt"]]
    if not found["calibrated"]:
        lessons.append("nothing yet: every figure is a guess. A test switch-off would teach it")
    return ", ".join(lessons) or "earlier outages"


def _rows(found: Sequence[Span], case: Case) -> list[str]:
    """Return three lines for each level: what it means, and when the sensor and the warmest food are there."""
    rule, known_of = remaining(case.event), {(span.where, span.level): span for span in found}
    said = []
    for celsius in LEVELS:
        both = [(where, known_of[where, celsius]) for where in Where if (where, celsius) in known_of]
        if both:
            said.append(f"{level(celsius, case.house)}: {MEANING[celsius]}")
            said += [f"  {PLACES[where]:<14}{reached(span, rule)}" for where, span in both]
    return (
        ["if nothing cools it, from now on" if case.uncooled else "counted from when cooling stops", *said]
        if said
        else []
    )


def _day(stamp: str) -> str:
    when = datetime.fromisoformat(stamp)
    return f"{when:%a} {when.day} {when:%b %Y %H:%M}"


@command.command(name="test-off")
@click.argument("freezer")
@click.option("--end", is_flag=True, help="The freezer is on again: end the test now.")
@click.option("--yes", is_flag=True, help="Do not ask whether to go on.")
@house.settings_option
@house.json_option
def test_off(freezer: str, settings_file: Path | None, *, end: bool, yes: bool, as_json: bool) -> None:
    """Switch FREEZER off for three hours, on purpose, so that gatewayd learns how it warms.

    It explains what to do and asks before it begins. The test ends by itself; the freezer must be switched on by hand.
    """
    verb = "end the test" if end else BEGIN
    if not end:
        if as_json and not yes:
            house.refuse("With --json nobody can be asked; add --yes once you have read the steps.", house.WRONG)
        (found,) = known(settings_file, freezer, order=True).freezers
        if found["test"]:
            house.refuse(
                f"{found['name']} is in a test already, until {_day(found['test']['until'])}. "
                f"To end it: gatewayd freezer test-off {freezer} --end"
            )
        if not as_json:
            click.echo(steps(found["name"], freezer))
        if not yes:
            try:
                going = click.confirm("\nBegin now?", default=False)
            except click.Abort:
                going = False
            if not going:
                house.refuse("\nNothing was begun.")
    request = {"ask": "order", "verb": verb, "subject": freezer, "key": secrets.token_hex(8)}
    house.order(house.socket(settings_file), request, as_json=as_json)


def steps(name: str, freezer: str) -> str:
    """Return what to do, and what to mind, in plain lines."""
    hours = LASTS // HOUR
    return f"""\
A test switch-off of {name}: {hours} hours without cooling, so that gatewayd learns how it warms.

  1. Choose a day on which it has run undisturbed, with nothing warm put in since yesterday.
  2. Say yes below, then at once switch it off or pull its plug, with dry hands. See its maker's manual for how.
  3. Keep it shut for {hours} hours. Nobody takes anything out.
  4. Its alarms are held meanwhile. You are still told if it gets much too warm.
  5. After {hours} hours the test ends by itself. SWITCH THE FREEZER BACK ON: gatewayd cannot do that for you. It tells
     you that it is time; set a timer all the same, and look that it runs.

Sooner over: switch it on, then   gatewayd freezer test-off {freezer} --end
Do not begin if you cannot be there when it ends, if its food has thawed lately, or if an alarm of it stands."""

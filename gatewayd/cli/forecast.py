"""Say how long the food of each freezer holds, now or over a recording."""

import json
import math
import sys
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gatewayd.cli import house
from gatewayd.cli.known import known
from gatewayd.cli.warmup import EXAMPLE, Row, WarmupError, doubts, read_rows, read_told
from gatewayd.model.house import Freezer
from gatewayd.model.moment import HOUR, Moment
from gatewayd.model.outlook import Outlook
from gatewayd.thermal.prior import FULL
from gatewayd.watch.holding import Case, below, cause_of, paragraph, spans, told

if TYPE_CHECKING:
    from gatewayd.thermal.facts import Facts

# s; a recording of 12 h whose last row is at 11 h 59 still reaches to 12 h. Our choice: a quarter of an hour at least,
# or one of its own steps
SLACK = 900.0


@click.command(name="forecast")
@click.argument("freezer", default="")
@click.option(
    "--replay", type=click.Path(path_type=Path), help="Play this recording (CSV: t,air or t,air,room) instead."
)
@click.option("--facts", type=click.Path(path_type=Path), help="With --replay: the freezer, in JSON (see above).")
@click.option("--at", "at", default="", help="With --replay: hours from its start, like 0.5,2,6; without it its end.")
@house.settings_option
@house.json_option
def command(
    freezer: str, replay: Path | None, facts: Path | None, at: str, settings_file: Path | None, *, as_json: bool
) -> None:
    """Say how long the food of each freezer holds if nothing cools it, or of FREEZER (its id) alone.

    Every figure is a range, and a guess until the freezer has been through an outage or a test switch-off
    (gatewayd freezer test-off). With --replay a recording is played through the same model: one answer a line.

    \b
    FACTS.json: kind (chest, upright or upright-auto-defrost), and volume_l, kg by group of food
    (meat, vegetables-fruit, bread, meals, water) and room_c as far as you know them, for instance:
    {"kind": "chest", "volume_l": 300, "kg": {"meat": 20, "vegetables-fruit": 15}, "room_c": 18}
    """
    if replay is None and (facts is not None or at):
        house.refuse("--facts and --at go with --replay FILE.", house.WRONG)
    if replay is not None:
        if facts is None:
            house.refuse(f"--replay needs the facts of the freezer: --facts FACTS.json, like {EXAMPLE}", house.WRONG)
        if freezer:
            house.refuse("--replay plays one recording with its own facts; leave the freezer off.", house.WRONG)
        _replay(replay, facts, at, as_json=as_json)
        return
    found = known(settings_file, freezer)
    if as_json:
        house.show({**found.plain, "freezers": found.freezers})
    else:
        if found.words:
            click.echo(f"{found.words}\n")
        click.echo(told([found.case(one) for one in found.freezers]) if found.freezers else "There are no freezers.")
    sys.exit(house.DONE if found.last is None else house.NOT_RUNNING)


def _replay(replay: Path, facts: Path, at: str, *, as_json: bool) -> None:
    try:
        rows, given = read_rows(replay), read_told(facts)
        times = _times(at, rows)
    except WarmupError as wrong:
        house.refuse(str(wrong), house.WRONG)
    for doubt in doubts(rows):
        click.echo(f"careful: {doubt}", err=True)
    answers = dict(play(rows, given.facts, sorted(set(times))))
    if given.guesses and not as_json:
        click.echo(f"Guessed: {'; '.join(given.guesses)}.")
    if as_json:
        for time in times:
            click.echo(json.dumps(answers[time], ensure_ascii=False))
        return
    said_of = [_case(answers[time], rows, given.facts, time) for time in times]
    for time, case in zip(times, said_of, strict=True):
        click.echo(f"After {time:g} h: {paragraph(case)}")
    click.echo(f"\n{below(said_of, recorded=True)}")


def _times(text: str, rows: list[Row]) -> list[float]:
    """Read the hours of --at, or take the recording's end. Raise WarmupError for one that lies outside of it."""
    first = next(row.t for row in rows if row.air is not None)
    end = rows[-1].t
    if not text:
        return [round(end / 3600, 3)]
    widest = max((after.t - before.t for before, after in pairwise(rows)), default=0.0)
    times = []
    for part in text.split(","):
        try:
            hours = float(part)
        except ValueError:
            hours = math.nan
        if not math.isfinite(hours):
            raise WarmupError(f"--at: {part.strip()!r} is no number of hours; write it like --at 0.5,2,6.")
        if hours * 3600 < first or hours < 0:
            raise WarmupError(f"--at: {hours:g} h is before the first reading of the air ({first / 3600:.2f} h).")
        if hours * 3600 > end + max(SLACK, widest):
            raise WarmupError(f"--at: {hours:g} h is beyond the end of the recording ({end / 3600:.2f} h).")
        times.append(hours)
    return times


def play(rows: list[Row], facts: "Facts", times: list[float]) -> Iterator[tuple[float, dict[str, object]]]:
    """Play the rows and yield the answer at each time (hours, rising) from what was read until then."""
    from gatewayd.thermal.played import Played

    played = Played(facts)
    taken = 0
    for time in times:
        while taken < len(rows) and rows[taken].t <= time * 3600 + 0.5:  # as near as the hours are written
            row = rows[taken]
            taken += 1
            played.take(row.t, row.air, row.room)
        played.pass_to(max(time * 3600, rows[taken - 1].t))
        yield time, {**played.answer(), "at_h": time}


def _case(answer: dict[str, Any], rows: list[Row], facts: "Facts", time: float) -> Case:
    """Return what there is to say of one answer, as if the freezer stood in the house."""
    now = Moment(round(time * HOUR), round(time * HOUR))
    outlook = Outlook(
        at=now,
        reserve=spans(answer["reserve"] or ()),
        forecast=spans(answer["forecast"] or ()),
        full=facts.weight / (FULL * facts.volume) if facts.told else None,
    )
    air = [row.air for row in rows if row.air is not None and row.t <= time * 3600 + 0.5][-1]
    freezer = Freezer("recording", "The freezer", facts.kind)
    return Case(freezer, outlook, now, answer["state"], air, cause_of(answer["cause"], now))

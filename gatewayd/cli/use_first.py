"""List what to use first, and why."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gatewayd.cli import house
from gatewayd.model.contents import Group

if TYPE_CHECKING:
    from gatewayd.food.first import Kept, Use
    from gatewayd.model.house import House
    from gatewayd.settings.typed import Settings

GROUPS = [group.value for group in Group if group is not Group.WATER]
MOST = 20  # packages: a screen of them


@click.command(name="use-first")
@click.option("--freezer", default="", help="Only this freezer (its id).")
@click.option("--group", type=click.Choice(GROUPS), help="Only this kind of food.")
@click.option(
    "--most", type=click.IntRange(min=1), default=MOST, show_default=True, help="So many; --json always gives all."
)
@house.settings_option
@house.json_option
def command(freezer: str, group: str | None, most: int, settings_file: Path | None, *, as_json: bool) -> None:
    """List the packages in the order in which to use them, each with the reason.

    The reason is quality: how much of its keeping a food has used at the temperatures it really had. It reads the
    store's file alone, whether gatewayd runs or not.
    """
    settings = house.settings_or_exit(settings_file)
    known = settings.house.freezers
    if freezer and freezer not in known:
        house.refuse(f"There is no freezer {freezer!r}; there are: {', '.join(known) or 'none'}.", house.WRONG)
    uses, nameless = _look(settings, freezer, Group(group) if group else None)
    if as_json:
        _show(uses, nameless, settings.house)
    else:
        _print(uses, nameless, settings.house, most)


def _look(settings: "Settings", freezer: str, group: Group | None) -> tuple[list["Use"], int]:
    """Return the list, and how many packages were left out because their food is of no known kind."""
    from gatewayd.clock import SystemClock
    from gatewayd.food.first import chosen, first
    from gatewayd.store.exposure import begins, courses, kept

    now = SystemClock().now().wall
    sensors = {key: one.sensors for key, one in settings.house.freezers.items()}
    with house.reader(settings) as conn:
        there = chosen(kept(conn), freezer)
        wanted = chosen(there, group=group)
        found = courses(conn, sensors, begins(wanted), now)
    return first(wanted, found, now, settings.house.zone), 0 if group is None else _nameless(there)


def _nameless(there: Sequence["Kept"]) -> int:
    from gatewayd.food.table import find

    return sum(find(one.package.food) is None for one in there)


def _show(uses: Sequence["Use"], nameless: int, there: "House") -> None:
    from gatewayd.food.first import HONEST, QUALITY

    packages = [_plain(use, there) for use in uses]
    house.show({"packages": packages, "of_no_known_kind": nameless, "note": QUALITY, "honest": HONEST})


def _plain(use: "Use", there: "House") -> dict[str, Any]:
    from gatewayd.model.moment import iso

    package, freezer = use.kept.package, use.kept.stays[-1].freezer
    return {
        "number": package.id,
        "food": package.food,
        "known_as": use.food.name if use.food else None,
        "group": use.food.group.value if use.food else None,
        "count": package.count,
        "kg": None if package.weight is None else round(package.weight, 3),
        "box": use.kept.box,
        "freezer": freezer,
        "frozen": None if package.frozen is None else iso(package.frozen, there.zone)[:10],
        "about": package.about,
        "used": None if use.used is None else round(use.used, 4),
        "months_used": None if use.months is None else round(use.months, 3),
        "keeps_months": [use.keeps.least, use.keeps.most],
        "refrozen": use.kept.refrozen,
        "reason": use.reason,
        "taken_for_granted": list(use.doubts),
    }


def _print(uses: Sequence["Use"], nameless: int, there: "House", most: int) -> None:
    from gatewayd.food.first import HONEST, QUALITY

    if not uses:
        click.echo("There is nothing on the list. Add what you have with: gatewayd stock add")
    width = len(str(min(most, len(uses))))
    for place, use in enumerate(uses[:most], 1):
        click.echo(f"{place:>{width}}. {use.reason}")
        click.echo(f"{'':{width}}  {_where(use, there)}")
        for doubt in use.doubts:
            click.echo(f"{'':{width}}  ({doubt})")
    if len(uses) > most:
        click.echo(f"and {len(uses) - most} more; see them with: --most {len(uses)}")
    if nameless:
        click.echo(f"Left out, since nobody knows what kind of food it is: {nameless}.")
    if uses:
        click.echo(f"{QUALITY} {HONEST}")


def _where(use: "Use", there: "House") -> str:
    package, freezer = use.kept.package, use.kept.stays[-1].freezer
    name = there.freezers[freezer].name if freezer in there.freezers else freezer
    place = ", ".join(part for part in (use.kept.box, name) if part) or "nobody wrote where"
    count = "" if package.count is None else f"{package.count:g} of "
    each = "" if package.each is None else f"{package.each:.3g} kg each" if count else f"{package.each:.3g} kg"
    amount = f"{count}{each}" if each else count.removesuffix(" of ")
    return f"no. {package.id}, {place}{f': {amount}' if amount else ''}"

"""List what to use first, and why."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatewayd.cli import house
from gatewayd.model.contents import Group

if TYPE_CHECKING:
    from gatewayd.food.first import Use
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
    from gatewayd.store.soon import uses

    with house.reader(settings) as conn:
        return uses(conn, settings.house, SystemClock().now().wall, freezer, group)


def _show(uses: Sequence["Use"], nameless: int, there: "House") -> None:
    from gatewayd.food.first import HONEST, QUALITY
    from gatewayd.food.listed import plain

    packages = [plain(use, there) for use in uses]
    house.show({"packages": packages, "of_no_known_kind": nameless, "note": QUALITY, "honest": HONEST})


def _print(uses: Sequence["Use"], nameless: int, there: "House", most: int) -> None:
    from gatewayd.food.first import HONEST, QUALITY
    from gatewayd.food.listed import left_out, where

    if not uses:
        click.echo("There is nothing on the list. Add what you have with: gatewayd stock add")
    width = len(str(min(most, len(uses))))
    for place, use in enumerate(uses[:most], 1):
        click.echo(f"{place:>{width}}. {use.reason}")
        click.echo(f"{'':{width}}  {where(use, there)}")
        for doubt in use.doubts:
            click.echo(f"{'':{width}}  ({doubt})")
    if len(uses) > most:
        click.echo(f"and {len(uses) - most} more; see them with: --most {len(uses)}")
    if nameless:
        click.echo(left_out(nameless))
    if uses:
        click.echo(f"{QUALITY} {HONEST}")

"""Keep the list of what is in the freezers."""

import secrets
import sys
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house

Given = tuple[Path | None, bool]


class _Late(click.Group):
    """Load what brings files in and out only when it is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        return sorted((*super().list_commands(ctx), *_BULK))

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load one command, None if there is no such."""
        if cmd_name in _BULK:
            from gatewayd.cli import bulk

            return {"import": bulk.import_, "export": bulk.export}[cmd_name]
        return super().get_command(ctx, cmd_name)


_BULK = ("import", "export")


@click.group(name="stock", cls=_Late, invoke_without_command=True)
@house.settings_option
@house.json_option
@click.pass_context
def command(ctx: click.Context, settings_file: Path | None, *, as_json: bool) -> None:
    """Keep the list of what is in the freezers: boxes, and packages in them.

    \b
    gatewayd stock add 12 bags of beans, 1 lb, frozen June 2025, top basket
    gatewayd stock take 2 beans porch       two of them out; take alone takes one
    gatewayd stock find plums porch 2025
    gatewayd stock undo                     the last was a slip

    Nothing but the food's name must be said; an imperfect list is better than none. Without a word it lists all.
    """
    ctx.obj = (settings_file, as_json)  # given before the word or after it, both are meant
    if ctx.invoked_subcommand is None:
        _list(settings_file, "", as_json=as_json, gone=False)


def _order(before: Given, settings_file: Path | None, as_json: bool, **request: Any) -> None:  # noqa: FBT001 - its options
    """Hand an order in and print what came of it; exit 1 if it was refused."""
    explicit, plain = settings_file or before[0], as_json or before[1]
    request = {"ask": "stock", "key": secrets.token_hex(8), **request}
    answer = next(house.knock(house.socket(explicit), request))
    if plain:
        house.show(answer)
    elif not answer.get("done"):
        click.echo(answer.get("error", ""), err=True)
    else:
        click.echo(answer["text"])
        for hint in answer["hints"]:
            click.echo(f"note: {hint}")
        for warning in answer["warnings"]:
            click.echo(f"! {warning}")
    sys.exit(house.DONE if answer.get("done") else house.NOT_DONE)


def _many(words: tuple[str, ...]) -> tuple[float | None, str]:
    """Return how many, if a number stands before the words, and the words."""
    first, rest = words[0], words[1:]
    if rest and first.replace(".", "", 1).isdigit() and first.isascii():
        return float(first), " ".join(rest)
    return None, " ".join(words)


why_option = click.option("--why", default="", help="A word on it for the history.")
oldest_option = click.option("--oldest", is_flag=True, help="If several fit, take the one frozen first.")
words_argument = click.argument("words", nargs=-1, required=True)


@command.command(name="add")
@words_argument
@house.settings_option
@house.json_option
@click.pass_obj
def add(before: Given, words: tuple[str, ...], settings_file: Path | None, *, as_json: bool) -> None:
    """Add packages from a line of WORDS; with - in their place, from the lines that come in by a pipe.

    \b
    gatewayd stock add 12 bags of beans, 1 lb, frozen about June 2025, top basket
    gatewayd stock add 3 kg venison in all, 4 pieces, fresh, shed (from the Millers)

    The food comes first, the rest in any order, apart by commas: weight of one (lb, oz, kg, g; "in all" for the whole),
    day ("2025-06", "June 2025", "about June 2025"), box or freezer. A litre of soup, stock, milk or juice counts as
    1 kg. What is in brackets is a note. "fresh" says that it goes in unfrozen. "(" and "&" need quotes around the line.
    """
    from gatewayd.food.order import lines

    said = lines(sys.stdin.read()) if words == ("-",) else [" ".join(words)]
    _order(before, settings_file, as_json, do="add", lines=said)


@command.command(name="take")
@words_argument
@oldest_option
@why_option
@house.settings_option
@house.json_option
@click.pass_obj
def take(
    before: Given, words: tuple[str, ...], why: str, settings_file: Path | None, *, oldest: bool, as_json: bool
) -> None:
    """Take one out, or as many as the number before the WORDS says: `take beans`, `take 2 beans porch`, `take 2 31`.

    WORDS are the number of a package, or a few words that fit only one.
    """
    many, what = _many(words)
    _order(before, settings_file, as_json, do="take", what=what, n=many, why=why, oldest=oldest)


@command.command(name="use")
@words_argument
@click.option("--thrown", is_flag=True, help="It was thrown out.")
@oldest_option
@why_option
@house.settings_option
@house.json_option
@click.pass_obj
def use(
    before: Given,
    words: tuple[str, ...],
    why: str,
    settings_file: Path | None,
    *,
    thrown: bool,
    oldest: bool,
    as_json: bool,
) -> None:
    """Take all of a package off the list: it is used up, or was thrown out."""
    verb = "throw" if thrown else "use"
    _order(before, settings_file, as_json, do=verb, what=" ".join(words), why=why, oldest=oldest)


@command.command(name="move")
@words_argument
@click.option("--to", default="", help="A box or freezer; or write it behind the word to.")
@oldest_option
@why_option
@house.settings_option
@house.json_option
@click.pass_obj
def move(
    before: Given, words: tuple[str, ...], to: str, why: str, settings_file: Path | None, *, oldest: bool, as_json: bool
) -> None:
    """Move a package, some of it, or a whole box: `move 2 beans to shed`, `move top basket to shed`."""
    if not to and "to" in words[1:]:
        at = len(words) - 1 - words[::-1].index("to")
        words, to = words[:at], " ".join(words[at + 1 :])
    if not to or not words:
        house.refuse("Where to? Say it like: gatewayd stock move 2 beans to shed chest", house.WRONG)
    many, what = _many(words)
    _order(before, settings_file, as_json, do="move", what=what, to=to, n=many, why=why, oldest=oldest)


@command.command(name="count")
@words_argument
@click.option("--is", "many", type=click.FloatRange(min=0), help="How many there are of a package; 0: none is left.")
@click.option("--full", default="", help="How full the box is: 3/4, 0.75 or 75%.")
@why_option
@house.settings_option
@house.json_option
@click.pass_obj
def count(
    before: Given,
    words: tuple[str, ...],
    many: float | None,
    full: str,
    why: str,
    settings_file: Path | None,
    *,
    as_json: bool,
) -> None:
    """Say that a box's list is right as it stands, or a freezer's: `count top basket`; or `count beans --is 5`."""
    _order(before, settings_file, as_json, do="count", what=" ".join(words), n=many, full=_full(full), why=why)


def _full(text: str) -> float | None:
    """Read how full a box is, as a share; exit with a sentence for anything else."""
    from gatewayd.food.amount import number

    if not text:
        return None
    try:
        value = number(text.rstrip("% ")) / (100 if text.strip().endswith("%") else 1)
    except ValueError:
        value = -1.0
    if not 0 <= value <= 1:
        house.refuse(f"--full: {text!r} is not how full a box is; write 3/4, 0.75 or 75%", house.WRONG)
    return value


@command.command(name="set")
@click.argument("number")
@words_argument
@house.settings_option
@house.json_option
@click.pass_obj
def set_(before: Given, number: str, words: tuple[str, ...], settings_file: Path | None, *, as_json: bool) -> None:
    """Write down what is known now of the package NUMBER, or name it anew.

    \b
    gatewayd stock set 31 1 lb, June 2025
    gatewayd stock set 31 venison steaks
    gatewayd stock set 31 food Aunt May's pie     a name that the table of foods does not know
    """
    _order(before, settings_file, as_json, do="set", what=number, line=" ".join(words))


@command.command(name="box")
@words_argument
@click.option("--in", "freezer", default=None, help="The freezer in which it stands.")
@click.option("--layer", default=None, help="Its layer: top, second, bottom …")
@click.option("--place", default=None, help="Where in the layer: left at the back …")
@click.option("--full", default="", help="How full it is: 3/4, 0.75 or 75%.")
@click.option("--name", default=None, help="A new name.")
@click.option("--gone", is_flag=True, help="It is no longer there; only an empty one goes.")
@house.settings_option
@house.json_option
@click.pass_obj
def box(
    before: Given,
    /,
    words: tuple[str, ...],
    full: str,
    settings_file: Path | None,
    *,
    gone: bool,
    as_json: bool,
    **news: Any,
) -> None:
    """Make a box, basket, drawer or shelf, or change what is known of it: `box Top basket --in porch --layer top`."""
    said = {name: value for name, value in news.items() if value is not None}
    _order(before, settings_file, as_json, do="box", what=" ".join(words), full=_full(full), gone=gone, **said)


@command.command(name="undo")
@house.settings_option
@house.json_option
@click.pass_obj
def undo(before: Given, settings_file: Path | None, *, as_json: bool) -> None:
    """Undo the last that was done; once more goes one further back."""
    _order(before, settings_file, as_json, do="undo")


# -- looking: the store's file alone ---------------------------------------------------------------------------


@command.command(name="list")
@click.argument("words", nargs=-1)
@click.option("--gone", is_flag=True, help="Also what is used up.")
@house.settings_option
@house.json_option
@click.pass_obj
def list_(before: Given, words: tuple[str, ...], settings_file: Path | None, *, gone: bool, as_json: bool) -> None:
    """List the boxes and what is in them: all, or those of a freezer or one box.

    Each box says when it was last looked into and how sure its list is. It reads the store's file alone.
    """
    _list(settings_file or before[0], " ".join(words), as_json=as_json or before[1], gone=gone)


def _list(settings_file: Path | None, where: str, *, as_json: bool, gone: bool) -> None:
    from gatewayd.cli import larder
    from gatewayd.food.larder import by_box, plain_box, plain_package

    found = larder.read(settings_file, gone=gone)
    boxes = larder.within(found, where)
    if not as_json:
        click.echo(larder.overview(found, boxes))
        return
    inside = by_box(found.packages)
    house.show(
        {
            "boxes": [
                plain_box(box, found) | {"packages": [plain_package(p, found) for p in inside[box.id]]} for box in boxes
            ]
        }
    )


@command.command(name="find")
@words_argument
@house.settings_option
@house.json_option
@click.pass_obj
def find(before: Given, words: tuple[str, ...], settings_file: Path | None, *, as_json: bool) -> None:
    """Find packages by a few words, in any order: food, box, freezer, year, month, who, note."""
    from gatewayd.cli import larder
    from gatewayd.food.larder import plain_package
    from gatewayd.food.table import suggest

    there = larder.read(settings_file or before[0])
    found = list(there.finder().search(" ".join(words), there.packages))
    if as_json or before[1]:
        house.show({"packages": [plain_package(one, there) for one in found]})
        return
    larder.show_lines(there.line(one) for one in found)
    if not found:
        near = [food.name for food in suggest(" ".join(words))]
        meant = f" Did you mean {', '.join(near)}? Then say: gatewayd stock find {near[0]}" if near else ""
        click.echo(f"Nothing fits.{meant}")


@command.command(name="history")
@click.argument("words", nargs=-1)
@click.option("--last", type=click.IntRange(min=1), default=20, show_default=True, help="How many lines.")
@house.settings_option
@house.json_option
@click.pass_obj
def history(before: Given, words: tuple[str, ...], last: int, settings_file: Path | None, *, as_json: bool) -> None:
    """Show what was done, the newest first: all, or of a package's number, a box, or what WORDS fit."""
    from gatewayd.cli import larder
    from gatewayd.food.larder import only_looked, plain_move

    there, found = larder.history(settings_file or before[0], " ".join(words), last)
    if as_json or before[1]:
        house.show({"moves": [plain_move(move, there) for move in found]})
        return
    larder.show_lines(larder.told(move, there) for move in found if not only_looked(move))
    if not found:
        click.echo("Nothing has been done yet.")


@command.command(name="sheet")
@click.argument("words", nargs=-1)
@house.settings_option
@house.json_option
@click.pass_obj
def sheet(before: Given, words: tuple[str, ...], settings_file: Path | None, *, as_json: bool) -> None:
    """Write the list for a printer, all or of one freezer or box: squares to tick, and lines for a pen."""
    from gatewayd.cli import larder

    there = larder.read(settings_file or before[0])
    text = larder.sheet(there, larder.within(there, " ".join(words)))
    if as_json or before[1]:
        house.show({"text": text})
    else:
        click.echo(text)

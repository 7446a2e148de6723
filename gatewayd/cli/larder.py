"""Read the stock from the store's file alone, and show it: lists, the history, a sheet of paper for the lid."""

from collections.abc import Iterable, Sequence
from contextlib import closing
from pathlib import Path

import click

from gatewayd.cli import house
from gatewayd.clock import SystemClock
from gatewayd.food import said
from gatewayd.food.larder import Larder, by_box, squares, what
from gatewayd.model.moment import from_wall
from gatewayd.model.stock import Box, Move
from gatewayd.store import stock

EMPTY_LINES = 8  # for a pen, below each box of the sheet


def within(larder: Larder, text: str) -> list[Box]:
    """Return the boxes of a place, all for an empty text; exit with a sentence for what is no place."""
    try:
        return larder.within(text)
    except LookupError as why:
        house.refuse(f"{why.args[0]}.\nTo look for food: gatewayd stock find {text}")


def read(settings_file: Path | None, *, gone: bool = False) -> Larder:
    """Read the list, with `gone` also what is used up; exit with a sentence where there is no store."""
    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        found = stock.boxes(conn), stock.packages(conn, gone=gone)
    return Larder(settings.house, SystemClock().now().wall, *found)


def overview(larder: Larder, boxes: Sequence[Box]) -> str:
    """Write each freezer with its boxes, and the packages in them."""
    inside = by_box(larder.packages)
    lines: list[str] = []
    freezer = None
    for box in boxes:
        if box.freezer != freezer:
            freezer = box.freezer
            lines.append(f"{'' if not lines else chr(10)}{larder.freezer_name(freezer)}")
        lines.append(f"  {title(larder, box)}")
        lines += [f"  {larder.line(one, place=False)}" for one in inside[box.id]]
        if not inside[box.id]:
            lines.append("         nothing on its list")
    return "\n".join(lines) or "Nothing is on the list yet. Begin with: gatewayd stock add 12 bags of beans, 1 lb"


def title(larder: Larder, box: Box) -> str:
    """Write a box: its name, where it is in the freezer, how full, when it was looked into, how sure its list is."""
    return f"{box.name} ({box.id}), {larder.known_of(box)}"


def sheet(larder: Larder, boxes: Sequence[Box]) -> str:
    """Write the list for a printer: squares to tick, and empty lines for a pen."""
    inside = by_box(larder.packages)
    lines = [f"{larder.house.name}: what is in the freezers, {larder.day(larder.now)}", ""]
    for box in boxes:
        lines.append(f"{larder.places.name(box)}  ({title(larder, box).split('; ')[-1]})")
        lines += [
            f"  {'☐' * squares(one)[0]} {said.package(one, larder.house.zone, larder.house.units)}  [{one.id}]"
            for one in inside[box.id]
        ]
        lines += ["  ______________________________________________"] * EMPTY_LINES + [""]
    return "\n".join(lines)


# -- history ---------------------------------------------------------------------------------------------------


def history(settings_file: Path | None, asked: str, last: int) -> tuple[Larder, list[Move]]:
    """Return the list with what is used up, and its history, or that of a number, a box, or what words fit."""
    settings = house.settings_or_exit(settings_file)
    with closing(house.reader(settings)) as conn:
        larder = Larder(
            settings.house, SystemClock().now().wall, stock.boxes(conn), stock.packages(conn, gone=True)
        )  # fmt: skip
        if not asked:
            found = stock.moves(conn, last=last)
        elif asked.isascii() and asked.isdigit() and len(asked) < 13 and stock.moves(conn, last=1, package=int(asked)):
            found = stock.moves(conn, last=last, package=int(asked))
        elif any(asked.casefold() in (box.id, box.name.casefold()) for box in larder.boxes):
            box = next(box for box in larder.boxes if asked.casefold() in (box.id, box.name.casefold()))
            found = stock.moves(conn, last=last, box=box.id)
        else:
            wanted = {one.id for one in larder.finder().search(asked, larder.packages)}
            every = stock.moves(conn)
            found = [move for move in every if (move.after or move.before) and _number(move) in wanted][:last]
    return larder, found


def _number(move: Move) -> int | None:
    one = move.after or move.before
    return None if one is None else one.id


def told(move: Move, larder: Larder) -> str:
    """Write one line of the history."""
    when = from_wall(move.at).astimezone(larder.house.zone)
    undone = "  (undone)" if move.undone is not None else ""
    why = f"  ({move.why})" if move.why else ""
    about = what(move, larder.names, larder.places)
    return f"{when:%a %d %b %Y %H:%M}  {move.turn.value:<9} {about}, by {move.who or '?'}{why}{undone}"


def show_lines(lines: Iterable[str]) -> None:
    """Print lines."""
    for line in lines:
        click.echo(line)

"""Bring a list of packages in from a file, and write it out: comma-separated values (RFC 4180)."""

import json
import secrets
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import click

from gatewayd.cli import house, larder
from gatewayd.food import exchange
from gatewayd.food.draft import Draft
from gatewayd.food.exchange import Fault, Taken
from gatewayd.food.larder import Larder, plain_package
from gatewayd.store import bring, comma

Given = tuple[Path | None, bool]


@click.command(name="import")
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.option("--map", "maps", multiple=True, help="A column and what it is: --map Qty=count; =- leaves it out.")
@click.option("--dry-run", is_flag=True, help="Say all that is wrong, and what would come of it; change nothing.")
@click.option("--new", "as_new", is_flag=True, help="The ids are of another list: all rows are new packages.")
@click.option("--again", is_flag=True, help="Also rows that are the same as packages already there.")
@house.settings_option
@house.json_option
@click.pass_obj
def import_(
    before: Given,
    file: Path,
    maps: tuple[str, ...],
    settings_file: Path | None,
    *,
    dry_run: bool,
    as_new: bool,
    again: bool,
    as_json: bool,
) -> None:
    """Take packages in from FILE (CSV), or from a pipe with -: all rows, or none and every fault with its line.

    The first line names the columns; gatewayd stock export shows how. A row with the id of a package changes that one,
    a row without one is new. A new row that is the same as a package already there (box, food, count, weight, day,
    note) is left out, unless you say --again. Boxes that are not known are made.
    """
    as_json = as_json or before[1]
    there = larder.read(settings_file or before[0], gone=True)
    taken, remark = look(file, _mapping(maps), there, as_new=as_new)
    if remark and not as_json:
        click.echo(f"careful: {remark}", err=True)
    if taken.faults:
        _refuse(taken, remark, as_json=as_json)
    same: list[int] = []
    if not again:
        taken, same = exchange.set_apart(taken, there.packages, there.places, there.house.zone)
    if same and not as_json:
        click.echo(f"{bring.left_out(same)} To add {'it' if len(same) == 1 else 'them'}: --again")
    if dry_run:
        _foretell(taken, remark, same, as_json=as_json)
        return
    if same and not taken.drafts:
        _nothing_new(remark, same, as_json=as_json)
        return
    answer = _hand_in(house.socket(settings_file or before[0]), taken.drafts, bar=sys.stderr.isatty() and not as_json)
    if as_json:
        house.show(answer | {"remark": remark, "same": len(same)})
    else:
        click.echo(answer.get("error") or answer["text"], err=not answer["done"])
    sys.exit(house.DONE if answer["done"] else house.NOT_DONE)


def _nothing_new(remark: str, same: Sequence[int], *, as_json: bool) -> None:
    text = "There is nothing new in the file. Nothing was changed."
    if as_json:
        house.show({"done": True, "text": text, "counts": {}, "remark": remark, "same": len(same)})
    else:
        click.echo(text)


def look(file: Path, mapping: dict[str, str], there: Larder, *, as_new: bool) -> tuple[Taken, str]:
    """Return what a file holds and what is wrong with it, and how it was read where that is worth a word."""
    try:
        raw = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
        text, remark = comma.decode(raw)
    except OSError as error:
        house.refuse(f"{file} cannot be read: {error.strerror}. Nothing was imported.")
    except ValueError as wrong:
        return Taken(faults=[Fault(1, str(wrong))]), ""
    return bring.look(text, mapping, there, as_new=as_new), remark


def _mapping(maps: Sequence[str]) -> dict[str, str]:
    found = {}
    for each in maps:
        header, sign, meant = each.rpartition("=")
        if not sign or not header:
            house.refuse(f"--map {each!r}: write it as COLUMN=FIELD, like Qty=count", house.WRONG)
        found[header] = meant.strip()
    return found


def _refuse(taken: Taken, remark: str, *, as_json: bool) -> None:
    lines = len({fault.line for fault in taken.faults})
    if as_json:
        faults = [{"line": f.line, "column": f.column, "text": f.text} for f in taken.faults]
        house.show({"done": False, "faults": faults, "sound_rows": len(taken.drafts), "remark": remark})
    else:
        for fault in taken.faults:
            click.echo(str(fault), err=True)
        click.echo(
            f"{len(taken.faults)} wrong on {lines} {'line' if lines == 1 else 'lines'}, {len(taken.drafts)} rows are "
            "sound. Nothing was imported; mend the file and try again.",
            err=True,
        )
    sys.exit(house.NOT_DONE)


def _foretell(taken: Taken, remark: str, same: Sequence[int], *, as_json: bool) -> None:
    new = sum(1 for draft in taken.drafts if draft.number is None)
    boxes = [{"name": name, "freezer": freezer, "packages": many} for (name, freezer), many in taken.boxes.items()]
    if as_json:
        found = {"new": new, "with_an_id": len(taken.drafts) - new, "new_boxes": boxes, "remark": remark}
        found["same"] = len(same)
        house.show({"done": True, "dry_run": True, **found})
        return
    click.echo(f"All rows are sound: {new} new, {len(taken.drafts) - new} that are on the list. Nothing was changed.")
    for box in boxes:
        where = f" in {box['freezer']}" if box["freezer"] else ""
        click.echo(f"  a new box would be made: {box['name']}{where}, for {box['packages']} rows")


def _hand_in(door: Path, drafts: Sequence[Draft], *, bar: bool) -> dict[str, Any]:
    """Hand the rows in piece by piece, then let them be stored all at once."""
    file, sent = secrets.token_hex(8), 0
    answer: dict[str, Any] = {"done": True}
    for piece in _shown(list(bring.pieces(drafts)), bar=bar):
        answer = next(house.knock(door, {"ask": "stock", "do": "stage", "file": file, "rows": piece}))
        if not answer["done"]:
            return answer
        sent += len(piece)
    key = secrets.token_hex(8)
    return next(house.knock(door, {"ask": "stock", "do": "import", "file": file, "rows": sent, "key": key}, 120.0))


def _shown(those: Sequence[list[Any]], *, bar: bool) -> Iterator[list[Any]]:
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) if bar else nullcontext() as progress:
        task = progress.add_task("import", total=len(those)) if progress else None
        for each in those:
            yield each
            if progress is not None and task is not None:
                progress.advance(task)


@click.command(name="export")
@click.option("--output", "-o", type=click.Path(path_type=Path), help="A file; without it the terminal or a pipe.")
@click.option("--gone", is_flag=True, help="Also what is used up.")
@house.settings_option
@house.json_option
@click.pass_obj
def export(before: Given, output: Path | None, settings_file: Path | None, *, gone: bool, as_json: bool) -> None:
    """Write the packages out as CSV, or with --json a JSON object a line. It reads the store's file alone.

    Cells that a spreadsheet would compute (= + - @) have an apostrophe before them; the import takes it off again.
    """
    there = larder.read(settings_file or before[0], gone=gone)
    if as_json or before[1]:
        rows: Iterable[str] = (
            json.dumps(plain_package(one, there), ensure_ascii=False) + "\n" for one in there.packages
        )
    else:
        rows = comma.lines(exchange.give(there.packages, there.boxes, there.places, there.house.zone))
    if output is None:
        try:
            sys.stdout.writelines(rows)
            sys.stdout.flush()
        except BrokenPipeError:
            sys.stderr.close()  # the reader of the pipe has seen enough; say nothing
        return
    try:
        with output.open("x", encoding="utf-8", newline="") as file:
            file.writelines(rows)
    except FileExistsError:
        house.refuse(f"{output} exists already. Nothing was written; name a new file.")
    except OSError as error:
        house.refuse(f"{output} cannot be written: {error.strerror}")
    click.echo(f"{len(there.packages)} rows were written to {output}.", err=True)

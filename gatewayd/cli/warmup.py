"""Read what `gatewayd forecast --replay` plays: a recorded warming (CSV) and the facts of its freezer (JSON).

The CSV has the header `t,air` or `t,air,room`: t in seconds from the start or ISO 8601, temperatures in °C, an empty
cell where there was no reading. The JSON is an object with kind, volume_l, kg and room_c. Everything wrong is said at
once, with line numbers, before anything is played.
"""

import csv
import json
import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.thermal.facts import Facts
from gatewayd.watch.facts import FULL, GUESS

HEADERS = (["t", "air"], ["t", "air", "room"])
KINDS = {"chest": Kind.CHEST, "upright": Kind.UPRIGHT, "upright-auto-defrost": Kind.UPRIGHT_AUTO_DEFROST}
GROUPS = {group.value: group for group in Group}
SHOWN = 20  # faults listed in full: enough to see what is wrong with the file
UNIX = 1e8  # s; a longer time from the start is a stamp in Unix seconds, and the first row is the start (our choice)
COLDEST, WARMEST = -90.0, 90.0  # °C; our choice: beyond what a freezer or its room can be, so another unit or column
LARGEST = 1 << 20  # bytes of facts; they have some hundred


class WarmupError(Exception):
    """Say what is wrong with the recording or the facts, with line numbers; nothing was played."""


@dataclass(frozen=True, slots=True)
class Row:
    """Hold one row: `t` (s from the start), air and room (°C), None where there was no reading."""

    t: float
    air: float | None
    room: float | None


def read_rows(path: Path) -> list[Row]:
    """Read the recording. Raise WarmupError with all that is wrong."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            lines = list(csv.reader(file, strict=True))
    except OSError as wrong:
        raise WarmupError(f"{path} cannot be read ({wrong.strerror}).") from wrong
    except (UnicodeDecodeError, csv.Error) as wrong:
        raise WarmupError(f"{path} is no CSV file in UTF-8 ({wrong}).") from wrong
    if not lines:
        raise WarmupError(f"{path} is empty; its first line must be t,air or t,air,room.")
    header = [name.strip() for name in lines[0]]
    if header not in HEADERS:
        raise WarmupError(f"{path}, line 1: the header is {','.join(header)!r}; allowed are t,air and t,air,room.")
    reader = _Reader(len(header))
    for number, cells in enumerate(lines[1:], start=2):
        if cells and any(cell.strip() for cell in cells):
            reader.take(number, cells)
    if reader.faults:
        shown = reader.faults[:SHOWN]
        more = len(reader.faults) - len(shown)
        raise WarmupError("\n".join([f"{path} cannot be played:", *shown, *([f"... and {more} more"] if more else [])]))
    if not any(row.air is not None for row in reader.rows):
        raise WarmupError(f"{path} holds no reading of the air.")
    return reader.rows


class _Reader:
    """Read rows one after another; what is wrong gathers in `faults`."""

    def __init__(self, columns: int) -> None:
        self.columns = columns
        self.rows: list[Row] = []
        self.faults: list[str] = []
        self._start: float | None = None
        self._stamps: bool | None = None
        self._zoned: bool | None = None

    def take(self, number: int, cells: list[str]) -> None:
        try:
            if len(cells) != self.columns:
                raise ValueError(f"has {len(cells)} cells where the header has {self.columns}")
            t = self._time(cells[0].strip())
            if self.rows and t < self.rows[-1].t:
                raise ValueError(f"{cells[0].strip()} is before the line above; sort the file by time")
            air, room = _celsius(cells[1], "air"), _celsius(cells[2], "room") if self.columns > 2 else None
        except ValueError as wrong:
            self.faults.append(f"line {number}: {wrong}")
            return
        self.rows.append(Row(t, air, room))

    def _time(self, text: str) -> float:
        number = _number(text)
        if self._stamps is None:
            self._stamps = number is None
        if not self._stamps:
            if number is None:
                raise ValueError(f"t is {text!r}; a number of seconds is expected, as in the lines above")
            if self._start is None:
                self._start = number if number >= UNIX else 0.0
            if number < 0:
                raise ValueError(f"t is {text}; it counts in seconds from the start, so it cannot be below 0")
            return number - self._start
        stamp = _stamp(text)
        zoned = stamp.tzinfo is not None
        self._zoned = zoned if self._zoned is None else self._zoned
        if zoned is not self._zoned:
            raise ValueError(f"t is {text!r}; either all times have a zone or none has")
        # without a zone the times are taken as they stand: an hour that a clock is put back is named as going backwards
        seconds = (stamp if zoned else stamp.replace(tzinfo=UTC)).timestamp()
        if self._start is None:
            self._start = seconds
        return seconds - self._start


def _stamp(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        wanted = "seconds from the start, or ISO 8601 like 2026-11-25T14:05:00"
        raise ValueError(f"t is {text!r}; allowed are {wanted}") from None


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _celsius(cell: str, column: str) -> float | None:
    text = cell.strip()
    if not text or text.lower() == "nan":  # as some programs write an empty cell
        return None
    value = _number(text)
    if value is None:
        raise ValueError(f"{column} is {text!r}; allowed are a number of °C, or nothing where there was no reading")
    if not COLDEST <= value <= WARMEST:
        raise ValueError(f"{column} is {text}; allowed are {COLDEST:g} to {WARMEST:g} °C")
    return value


def read_facts(path: Path) -> Facts:
    """Read the facts of the freezer. Raise WarmupError with the first thing that is wrong."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except OSError as wrong:
        raise WarmupError(f"{path} cannot be read ({wrong.strerror}).") from wrong
    try:
        found = json.loads(raw) if len(raw) <= LARGEST else None
    except (ValueError, RecursionError) as wrong:
        raise WarmupError(f"{path} is no JSON ({wrong}).") from wrong
    if not isinstance(found, dict):
        raise WarmupError(f"{path} is no JSON object; it needs the keys kind, volume_l, kg and room_c.")
    missing = [key for key in ("kind", "volume_l", "kg", "room_c") if key not in found]
    if missing:
        raise WarmupError(f"{path}: {' and '.join(missing)} missing; it needs the keys kind, volume_l, kg and room_c.")
    kind = found["kind"]
    if not isinstance(kind, str) or kind not in KINDS:
        raise WarmupError(f"{path}: kind is {kind!r}; allowed are {', '.join(KINDS)}.")
    kg = _kg(path, found["kg"])
    volume, room = _figure(path, "volume_l", found["volume_l"]), _figure(path, "room_c", found["room_c"])
    told = bool(kg)
    if not told:  # nobody said what it holds: a half-full freezer of mixed food, as the watch takes it
        kg = {group: share * FULL * volume / 2 for group, share in GUESS.items()}
    try:
        return Facts(KINDS[kind], volume, kg, room, told=told)
    except ValueError as wrong:
        raise WarmupError(f"{path}: {wrong}.") from wrong


def _kg(path: Path, found: object) -> dict[Group, float]:
    if not isinstance(found, dict):
        raise WarmupError(f'{path}: kg is {found!r}; it must be an object of weights, like {{"meat": 40}}.')
    unknown = [group for group in found if group not in GROUPS]
    if unknown:
        raise WarmupError(f"{path}: kg has {unknown[0]!r}; allowed are {', '.join(GROUPS)}.")
    return {GROUPS[group]: _figure(path, f"kg of {group}", weight) for group, weight in found.items()}


def _figure(path: Path, what: str, value: object) -> float:
    number = None if isinstance(value, bool) or not isinstance(value, int | float) else _number(str(value))
    if number is None:
        raise WarmupError(f"{path}: {what} is {value!r}; it must be a number.")
    return number

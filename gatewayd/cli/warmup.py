"""Read what `gatewayd forecast --replay` plays: a recorded warming (CSV) and the facts of its freezer (JSON).

The CSV has the header `t,air` or `t,air,room`: t in seconds from the start or ISO 8601, temperatures in °C, an empty
cell where there was no reading. The JSON is an object with kind, and with volume_l, kg and room_c where they are known.
Everything wrong is said at once, with line numbers, before anything is played.
"""

import csv
import json
import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.prior import FULL
from gatewayd.watch.facts import GUESS, ROOM, VOLUMES

HEADERS = (["t", "air"], ["t", "air", "room"])
KEYS = ("kind", "volume_l", "kg", "room_c")
# the settings' own words for the kinds are taken as well
KINDS = {
    "chest": Kind.CHEST,
    "upright": Kind.UPRIGHT,
    "upright-auto-defrost": Kind.UPRIGHT_AUTO_DEFROST,
    Kind.UPRIGHT_AUTO_DEFROST.value: Kind.UPRIGHT_AUTO_DEFROST,
}
GROUPS = {group.value: group for group in Group}
SHOWN = 20  # faults listed in full: enough to see what is wrong with the file
UNIX = 1e8  # s; a longer time from the start is a stamp in Unix seconds, and the first row is the start (our choice)
COLDEST, WARMEST = -90.0, 90.0  # °C; our choice: beyond what a freezer or its room can be, so another unit or column
LARGEST = 1 << 20  # bytes of facts; they have some hundred
LONGEST = 400 * 86_400.0  # s; as long as the store keeps readings. A longer one has its times in ms
SHORT, MANY = 600.0, 20  # s and rows: no sensor of a household speaks that often, so t is in hours or minutes
# °C: no freezer's air has such a median, but that of a freezer read in °F or of a room. Our choice
MILD, HOT = 10.0, 60.0
EMPTY = 0.001  # kg; a freezer told to hold nothing has this, for no weight at all means that nobody said
EXAMPLE = '{"kind": "chest", "volume_l": 300, "kg": {"meat": 20, "vegetables-fruit": 15}, "room_c": 18}'


class WarmupError(Exception):
    """Say what is wrong with the recording or the facts, with line numbers; nothing was played."""


@dataclass(frozen=True, slots=True)
class Told:
    """Hold the facts of a freezer, and in words what nobody said of them and how it was taken."""

    facts: Facts
    guesses: tuple[str, ...] = ()


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
    lasts = reader.rows[-1].t - reader.rows[0].t
    if lasts > LONGEST:
        raise WarmupError(
            f"{path} lasts {lasts / 86_400:.0f} days; allowed are 400. Is t in ms? It must be in seconds."
        )
    return reader.rows


def doubts(rows: list[Row]) -> list[str]:
    """Return what looks like another unit, as questions; it is played all the same."""
    found, lasts = [], rows[-1].t - rows[0].t
    if lasts < SHORT and len(rows) > MANY:
        found.append(f"the recording lasts {lasts:g} s; is t in seconds?")
    middle = median(row.air for row in rows if row.air is not None)
    if MILD < middle < HOT:
        found.append(f"half of its air is above {middle:.1f}; is air in °F? It must be in °C")
    return found


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


def read_told(path: Path) -> Told:
    """Read the facts of the freezer; what is not in them is guessed. Raise WarmupError with the first thing wrong."""
    found = _object(path)
    if "kind" not in found:
        raise WarmupError(f"{path}: kind missing; it needs one of {', '.join(KINDS)}. For instance: {EXAMPLE}")
    kind = found["kind"]
    if not isinstance(kind, str) or kind not in KINDS:
        raise WarmupError(f"{path}: kind is {kind!r}; allowed are {', '.join(KINDS)}.")
    volume, room = VOLUMES[KINDS[kind]], ROOM
    # a mistyped key would else pass for one that was left off
    guesses = [f"{key!r} is none of {', '.join(KEYS)}: left aside" for key in found if key not in KEYS]
    if "volume_l" in found:
        volume = _figure(path, "volume_l", found["volume_l"])
    else:
        guesses.append(f"volume_l is not said: taken as {volume:g} L")
    kg = _kg(path, found["kg"]) if "kg" in found else {}
    told = bool(kg)
    if not told:  # a half-full freezer of mixed food, as the watch takes it
        kg = {group: share * FULL * volume / 2 for group, share in GUESS.items()}
        guesses.append(f"kg is not said: taken as half full of mixed food, {FULL * volume / 2:.0f} kg")
    elif not any(kg.values()):
        kg = dict.fromkeys(kg, EMPTY / len(kg))
        guesses.append("kg is 0 in all: taken as told to be empty")
    if "room_c" in found:
        room = _figure(path, "room_c", found["room_c"])
    else:
        guesses.append(f"room_c is not said: taken as {room:g} °C")
    try:
        return Told(Facts(KINDS[kind], volume, kg, room, told=told), tuple(guesses))
    except ValueError as wrong:
        raise WarmupError(f"{path}: {wrong}.") from wrong


def _object(path: Path) -> dict[str, object]:
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
        raise WarmupError(f"{path} is no JSON object; it must be one like {EXAMPLE}")
    return found


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

"""Read a recorded log: CSV (RFC 4180) or JSON lines, checked as a whole before the first line is used.

CSV has a header with `time`, `sensor` and either `payload` or `temperature`; other columns are ignored. A line of JSON
is an object with the same names; its payload is text, or any other JSON value, which stands for itself. `time` is
ISO 8601 with a zone, or Unix seconds. `temperature` is in °C and becomes the payload that the sensor would have sent.
Lines stand in order of time.
"""

import csv
import difflib
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import TextIO

from gatewayd.model.format import Saying
from gatewayd.model.house import PayloadForm, PayloadRule, Sensor
from gatewayd.model.moment import DAY, SECOND, Moment, to_wall
from gatewayd.model.reading import Heard
from gatewayd.model.units import ABSOLUTE_ZERO_C

SHOWN = 100  # faults listed in full: more than anyone corrects in one go
LATEST = 200 * 365 * DAY  # 2169; a later stamp is in milliseconds by mistake, not in seconds
_UNIX = re.compile(r"\d{1,15}(\.\d{1,9})?")


class RecordingError(Exception):
    """Report everything that is wrong with a recording, with line numbers; nothing of it was used."""

    def __init__(self, path: Path, faults: list[str], count: int) -> None:
        """Keep the faults, `count` in all; only the first hundred are listed."""
        more = [f"... and {count - len(faults)} more"] if count > len(faults) else []
        super().__init__("\n".join([f"{path} cannot be played; nothing was changed:", *faults, *more]))
        self.path, self.faults, self.count = path, faults, count


@dataclass(frozen=True, slots=True)
class Line:
    """Hold one line: when (wall ms), which sensor, what bytes."""

    time: int
    sensor: Sensor
    payload: bytes


class Recording:
    """One file and the sensors that may stand in it."""

    def __init__(self, path: Path, sensors: Iterable[Sensor]) -> None:
        """Name the file: `.csv` is read as CSV, anything else as JSON lines."""
        self.path = path
        self._sensors = {sensor.id: sensor for sensor in sensors}

    def check(self) -> int:
        """Read the whole file and return how many readings it holds. Raise RecordingError, or OSError if unreadable."""
        count = bad = 0
        last: int | None = None
        faults: list[str] = []
        for number, found in self._lines():
            problem = found if isinstance(found, str) else None
            if isinstance(found, Line):
                count += 1
                if last is not None and found.time < last:
                    problem = "its time is before that of the line above; sort the file by time"
                last = found.time
            if problem is not None:
                bad += 1
                if len(faults) < SHOWN:
                    faults.append(f"line {number}: {problem}")
        if not count and not bad:
            bad, faults = 1, ["line 1: there is no reading in it"]
        if bad:
            raise RecordingError(self.path, faults, bad)
        return count

    def lines(self) -> Iterator[Line]:
        """Yield every line, after a check; raise RecordingError before the first one if any is wrong."""
        self.check()
        for number, found in self._lines():
            if isinstance(found, str):  # the file was changed since the check
                raise RecordingError(self.path, [f"line {number}: {found}"], 1)
            yield found

    def moments(self) -> Iterator[tuple[Moment, Heard]]:
        """Yield each reading with the moment at which it was recorded, for a rehearsal; steady time begins at 0."""
        start: int | None = None
        for line in self.lines():
            start = line.time if start is None else start
            moment = Moment(line.time, line.time - start, "recording")
            yield moment, Heard(line.sensor.source, line.sensor.id, line.payload, moment)

    def _lines(self) -> Iterator[tuple[int, Line | str]]:
        # Bytes that are not UTF-8 pass through unchanged: a payload may hold anything.
        with self.path.open(encoding="utf-8-sig", errors="surrogateescape", newline="") as file:
            if self.path.suffix.lower() == ".csv":
                yield from self._csv(file)
            else:
                yield from self._json(file)

    def _csv(self, file: TextIO) -> Iterator[tuple[int, Line | str]]:
        rows = csv.reader(file, strict=True)
        header: list[str] | None = None
        while True:
            try:
                row = next(rows)
            except StopIteration:
                return
            except csv.Error as fault:
                yield rows.line_num, f"it is not CSV ({fault}); look at its quotation marks"
                continue
            if header is None:
                header = [name.strip() for name in row]
                problem = _header_problem(header)
                if problem:
                    yield rows.line_num, problem
                    return
            elif len(row) not in (0, len(header)):
                yield rows.line_num, f"it has {len(row)} fields, the header has {len(header)}"
            elif row:
                yield rows.line_num, self._understand(dict(zip(header, row, strict=True)))

    def _json(self, file: TextIO) -> Iterator[tuple[int, Line | str]]:
        for number, text in enumerate(file, start=1):
            if not text.strip():
                continue
            try:
                found = json.loads(text, parse_constant=_refuse, parse_float=_finite)
            except (ValueError, RecursionError) as fault:
                yield number, f"it is not JSON ({fault})"
                continue
            if not isinstance(found, dict):
                yield number, 'it is not an object like {"time": ..., "sensor": ..., "payload": ...}'
            else:
                yield number, self._understand(found)

    def _understand(self, fields: Mapping[str, object]) -> Line | str:
        for name in ("time", "sensor"):
            if name not in fields:
                return f"it has no {name}"
        if ("payload" in fields) == ("temperature" in fields):
            return "it needs either a payload or a temperature"
        sensor = self._sensors.get(str(fields["sensor"]))
        if sensor is None:
            return f"{str(fields['sensor'])!r} is not a sensor of this house; {self._allowed(str(fields['sensor']))}"
        try:
            time = parse_time(str(fields["time"]))
            if "temperature" in fields:
                return Line(time, sensor, payload_of(sensor.payload, str(fields["temperature"])))
            payload = fields["payload"]
            text = payload if isinstance(payload, str) else json.dumps(payload, separators=(",", ":"))
            return Line(time, sensor, text.encode("utf-8", "surrogateescape"))
        except UnicodeEncodeError:
            return "its payload holds half a character (a lone surrogate), which no sensor can send"
        except ValueError as fault:
            return str(fault)

    def _allowed(self, wrong: str) -> str:
        near = difflib.get_close_matches(wrong, self._sensors, 1)
        return f"do you mean {near[0]}?" if near else f"allowed are {', '.join(sorted(self._sensors)) or 'none'}"


def _refuse(name: str) -> object:
    raise ValueError(f"{name} is no JSON number; to play such a payload, write it as text in quotation marks")


def _finite(text: str) -> float:
    number = float(text)
    if math.isinf(number):
        raise ValueError(f"{text} is too large; to play such a payload, write it as text in quotation marks")
    return number


def _header_problem(header: list[str]) -> str | None:
    missing = [name for name in ("time", "sensor") if name not in header]
    if missing or ("payload" in header) == ("temperature" in header):
        return f"the header is {','.join(header)}; it must name time, sensor and either payload or temperature"
    if len(set(header)) != len(header):
        return "the header names a column twice"
    return None


def parse_time(text: str) -> int:
    """Read ISO 8601 with a zone, or Unix seconds, as wall ms; raise ValueError for anything else."""
    text = text.strip()
    if _UNIX.fullmatch(text):
        stamp = int(Decimal(text) * SECOND)
    else:
        try:
            when = datetime.fromisoformat(text)
        except ValueError:
            raise ValueError(
                f"{text!r} is not a time; write it like 2026-02-03T04:05:06+01:00 or as Unix seconds"
            ) from None
        if when.tzinfo is None:
            raise ValueError(f"{text!r} has no time zone; write it like 2026-02-03T04:05:06+01:00 or ...Z")
        stamp = to_wall(when)
    if not 0 <= stamp < LATEST:
        raise ValueError(f"{text!r} is before 1970 or after 2169; are these milliseconds? Write seconds")
    return stamp


def payload_of(rule: PayloadRule | Saying, celsius: str) -> bytes:
    """Write a temperature (text, °C) as a sensor with this rule would send it.

    Raise ValueError if it is no number, or if the sensor does not write text.
    """
    if isinstance(rule, Saying):
        raise ValueError("this sensor sends no text, so a temperature cannot be played for it")  # noqa: TRY004 - the log errs
    try:
        value = float(celsius)
    except ValueError:
        raise ValueError(f"{celsius!r} is not a temperature in °C") from None
    match rule.unit.upper().removeprefix("°"):
        case "F":
            value = value * 9 / 5 + 32
        case "K":
            value -= ABSOLUTE_ZERO_C
    if rule.form is PayloadForm.NUMBER or not rule.value:
        return f"{value:.10g}".encode()
    document: object = float(f"{value:.10g}")
    for token in reversed(rule.value.removeprefix("/").split("/")):
        # A step that is a number finds a key of that name in an object too (RFC 6901, section 4).
        document = {token.replace("~1", "/").replace("~0", "~"): document}
    return json.dumps(document).encode()

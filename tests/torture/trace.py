"""Trace the daemon's system calls: what is answered, to a broker or at the door, was on the disk before.

For each PUBACK the reading is looked for in what was written to SQLite's write-ahead log (its own stamp as the six
bytes of the row), and an fsync or fdatasync of that log must have begun after that write and returned before the
PUBACK's send began. The same holds for an order at the door, by its key. strace handles one stop at a time and lets a
call into the kernel only after its line has begun, so the order of its lines is the order that counts.
"""

import json
import os
import random
import re
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from tests.torture.house import Feed, Household, check_readings, household, settle
from tests.torture.result import Result, until

ROUNDS = 10
STRACE = ("strace", "-D", "-f", "-yy", "-xx", "-s", "70000", "-e")
CALLS = "trace=pwrite64,write,fsync,fdatasync,recvfrom,sendto,sendmsg"

_LINE = re.compile(r"^(?P<pid>\d+) +(?P<rest>.*)$")
_CALL = re.compile(r"^(?P<name>\w+)\(\d+<(?P<what>.*?)>(?=[,)]|\s)(?P<args>.*)$")
_STRING = re.compile(r'"((?:\\x[0-9a-f]{2})*)"(\.\.\.)?')
_RESULT = re.compile(r"\)\s+= (-?\d+)[^=]*$")
_ESCAPED = re.compile(r"\\x([0-9a-f]{2})")


@dataclass(frozen=True)
class Call:
    """Hold one system call on a file or socket: the lines at which it began and returned, and its bytes."""

    name: str
    what: str
    began: int
    ended: int
    data: bytes
    result: int


class Unreadable(Exception):
    """The trace cannot be judged."""


def calls(lines: Iterable[str]) -> Iterator[Call]:
    """Yield the calls of a trace in the order in which they returned."""
    open_ones: dict[str, tuple[int, str]] = {}
    for number, line in enumerate(lines):
        found = _LINE.match(line.rstrip("\n"))
        if found is None:
            continue
        pid, rest = found["pid"], found["rest"]
        if rest.endswith("<unfinished ...>"):
            open_ones[pid] = (number, rest.removesuffix("<unfinished ...>"))
            continue
        began = number
        if rest.startswith("<... "):
            if pid not in open_ones:
                raise Unreadable(f"line {number + 1}: a call goes on that never began")
            began, head = open_ones.pop(pid)
            rest = head + rest.split(" resumed>", 1)[1]
        call = _call(rest, began, number)
        if call is not None:
            yield call


def _call(text: str, began: int, ended: int) -> Call | None:
    shape, result = _CALL.match(text), _RESULT.search(text)
    if shape is None or result is None:
        return None  # a signal, an exit, a call that never returned, or one without a file
    what = _ESCAPED.sub(lambda hexed: chr(int(hexed[1], 16)), shape["what"])
    data = b""
    for string, cut in _STRING.findall(shape["args"]):
        beside = shape["name"].startswith("pwrite") and not what.endswith("-wal")
        if cut and not beside:  # of files only the log is read; the daemon also reserves room beside the store
            raise Unreadable(f"line {began + 1}: a text is cut off; -s is too small")
        data += bytes.fromhex(string.replace("\\x", ""))
    returned = int(result[1])
    transfer = shape["name"] not in ("fsync", "fdatasync")
    return Call(shape["name"], what, began, ended, data[: max(0, returned)] if transfer else data, returned)


@dataclass
class _Stream:
    """Take MQTT packets out of the bytes of one direction; each knows the first line its bytes came from."""

    rest: bytearray = field(default_factory=bytearray)
    marks: list[int] = field(default_factory=list)  # the line of each byte that is left

    def add(self, data: bytes, line: int) -> Iterator[tuple[int, bytes, int]]:
        """Yield (first byte, body, line) of each packet that is whole."""
        self.rest += data
        self.marks += [line] * len(data)
        while (found := self._head()) is not None:
            begin, end = found
            if len(self.rest) < end:
                return
            yield self.rest[0], bytes(self.rest[begin:end]), self.marks[0]
            del self.rest[:end], self.marks[:end]

    def _head(self) -> tuple[int, int] | None:
        length, shift = 0, 0
        for place, byte in enumerate(self.rest[1:5], start=1):
            length |= (byte & 0x7F) << shift
            shift += 7
            if not byte & 0x80:
                return place + 1, place + 1 + length
        return None


@dataclass
class _Connection:
    """Hold one connection to the broker."""

    incoming: _Stream = field(default_factory=_Stream)
    outgoing: _Stream = field(default_factory=_Stream)
    version: int = 5
    waiting: dict[int, bytes] = field(default_factory=dict)  # packet identifier -> what must be on the disk, or b""


class Judge:
    """Go through the calls and note each answer that left before its cause was safe."""

    def __init__(self, port: int, door: str) -> None:
        """Take the broker's port and the path of the door's socket."""
        self.faults: list[str] = []
        self.pubacks = self.orders = self.syncs = 0
        self._to_broker = re.compile(rf"->\S*:{port}\]")
        self._door = door
        self._links: dict[str, _Connection] = {}
        self._asked: dict[str, bytes] = {}
        self._wanted: dict[bytes, int] = {}  # needle -> line it was heard at; not written yet
        self._written: dict[bytes, int] = {}  # needle -> line at which its first write returned; not synced yet
        self._safe: dict[bytes, int] = {}  # needle -> line at which its sync returned

    def go(self, lines: Iterable[str]) -> "Judge":
        """Judge a whole trace."""
        for call in calls(lines):
            if call.result < 0:
                continue
            if call.what.endswith("-wal"):
                self._file(call)
            elif self._to_broker.search(call.what):
                self._broker(call)
            elif self._door in call.what:
                self._at_door(call)
        return self

    def _file(self, call: Call) -> None:
        if call.name in ("fsync", "fdatasync"):
            self.syncs += 1
            for needle in [n for n, line in self._written.items() if line <= call.began]:
                del self._written[needle]
                self._safe[needle] = call.ended
            return
        for needle in [n for n in self._wanted if n in call.data]:
            del self._wanted[needle]
            self._written[needle] = call.ended

    def _broker(self, call: Call) -> None:
        link = self._links.setdefault(call.what, _Connection())
        if call.name == "recvfrom":
            for first, body, _ in link.incoming.add(call.data, call.ended):
                if first >> 4 == 3 and first & 6:  # PUBLISH above quality of service 0
                    self._published(link, body, call.ended)
            return
        for first, body, line in link.outgoing.add(call.data, call.began):
            if first >> 4 == 1:  # CONNECT: the version stands behind the name of the protocol
                link.version = body[2 + int.from_bytes(body[:2])]
            elif first >> 4 == 4:
                self._acknowledged(link, int.from_bytes(body[:2]), line)

    def _published(self, link: _Connection, body: bytes, line: int) -> None:
        at = 2 + int.from_bytes(body[:2])
        topic, mid, payload = body[2:at], int.from_bytes(body[at : at + 2]), body[at + 2 :]
        if link.version == 5:  # the properties; shorter than 128 bytes here, so their length is one byte
            payload = payload[1 + payload[0] :]
        link.waiting[mid] = b""
        if topic.startswith(b"house/"):
            needle = int(json.loads(payload)["t"]).to_bytes(6)
            link.waiting[mid] = needle
            if needle not in self._written and needle not in self._safe:
                self._wanted[needle] = line

    def _acknowledged(self, link: _Connection, mid: int, line: int) -> None:
        needle = link.waiting.pop(mid, None)
        if needle is None:
            self.faults.append(f"line {line + 1}: a PUBACK for message {mid}, which was not heard")
        elif needle:
            self.pubacks += 1
            self._hold(needle, line, f"PUBACK for the reading of {int.from_bytes(needle)}")

    def _at_door(self, call: Call) -> None:
        if call.name == "recvfrom" and call.data:
            request = json.loads(call.data)
            if request.get("ask") == "order":
                key = str(request["key"]).encode()
                self._asked[call.what] = key
                self._wanted[key] = call.ended
        elif call.name in ("sendto", "sendmsg") and b'"done": true' in call.data and call.what in self._asked:
            self.orders += 1
            key = self._asked.pop(call.what)
            self._hold(key, call.began, f"answer to the order {key.decode()}")

    def _hold(self, needle: bytes, line: int, what: str) -> None:
        if needle in self._safe and self._safe[needle] <= line:
            return
        how = "was written but not forced to the disk" if needle in self._written else "was not even written"
        self.faults.append(f"line {line + 1}: {what} left before it was safe: it {how}")


def run(seed: int, rounds: int) -> Result:
    """Trace a daemon under load for `rounds` times three seconds, with an order in each, and judge the trace."""
    result = Result("trace", seed, rounds)
    with household() as (broker, _, house):
        path = house.folder / "trace"
        house.up([*STRACE, CALLS, "-o", str(path)])
        with Feed(broker, random.Random(seed)) as feed:
            for number in range(1, rounds + 1):
                time.sleep(3)
                result.round(number, f"{feed.total} published, ack: {_acknowledge(house)}")
            settle(house, feed)
        house.down()
        until(lambda: "+++ exited with 0" in path.read_text()[-200:], "strace has written all")
        check_readings(result, house, feed)
        _judge(result, path.read_text().splitlines(), broker.port, str(house.door))
    return result


def _acknowledge(house: Household) -> str:
    call = [sys.executable, "-m", "gatewayd.cli.main", "ack", "all", "--settings", str(house.settings)]
    done = subprocess.run(call, env=os.environ | house.env, capture_output=True, text=True, timeout=60, check=False)
    return (done.stdout + done.stderr).strip().replace("\n", "; ")


def _judge(result: Result, lines: list[str], port: int, door: str) -> None:
    judged = Judge(port, door).go(lines)
    for fault in judged.faults[:9]:
        result.hold(False, fault)
    result.hold(judged.pubacks >= result.rounds, f"only {judged.pubacks} PUBACKs were seen")
    result.hold(judged.orders >= result.rounds, f"only {judged.orders} answers at the door were seen")
    # the check must be able to fail: with the syncs taken out of this very trace, every answer is a fault
    blind = Judge(port, door).go(line for line in lines if "sync" not in line)
    all_found = len(blind.faults) == judged.pubacks + judged.orders
    result.hold(all_found, f"without its syncs the trace shows {len(blind.faults)} faults; the check is blind")
    result.figures |= {
        "lines": len(lines), "syncs of the log": judged.syncs, "PUBACKs": judged.pubacks, "orders": judged.orders,
        "answers before the sync": len(judged.faults),
        "found by the same check with the syncs taken out": len(blind.faults),
    }  # fmt: skip

"""A publisher that is never the bottleneck: it writes MQTT 3.1.1 packets, QoS 1, straight into the socket.

A publisher built on a client library costs as much as the subscriber that is to be measured, and then the subscriber
waits for it. Sources: MQTT 3.1.1, 3.1 CONNECT, 3.3 PUBLISH, 3.4 PUBACK.
"""

import select
import socket
import struct
import time
from collections.abc import Iterable, Iterator
from typing import Self

from tests.rigs.broker import SENSOR, SENSOR_PASSWORD, Mosquitto

_CONNACK, _PUBACK_BYTES = 4, 4
_ACCEPTED = b"\x20\x02\x00\x00"
_CHUNK = 65_536  # bytes handed to the socket at once


def _text(text: str) -> bytes:
    raw = text.encode()
    return struct.pack("!H", len(raw)) + raw


def _packet(kind: int, body: bytes) -> bytes:
    length, rest = b"", len(body)
    while True:
        rest, low = divmod(rest, 128)
        length += bytes([low | (128 if rest else 0)])
        if not rest:
            return bytes([kind]) + length + body


class Flood:
    """Publish to one broker as fast as it takes, or at a pace."""

    def __init__(self, broker: Mosquitto, name: str = "flood") -> None:
        """Connect as a sensor with a clean session."""
        self._sock = socket.create_connection(("127.0.0.1", broker.port), timeout=10)
        flags = 0b1100_0010  # user, password, clean session
        body = _text("MQTT") + bytes([4, flags, 0, 0]) + _text(name) + _text(SENSOR) + _text(SENSOR_PASSWORD)
        self._sock.sendall(_packet(0x10, body))
        answer = self._sock.recv(_CONNACK, socket.MSG_WAITALL)
        if answer != _ACCEPTED:
            raise RuntimeError(f"the broker refuses the publisher: {answer!r}")
        self._mid = 0
        self.published = 0

    def _encode(self, messages: Iterable[tuple[str, str]]) -> Iterator[bytes]:
        for topic, payload in messages:
            self._mid = self._mid % 65_535 + 1
            self.published += 1
            yield _packet(0x32, _text(topic) + struct.pack("!H", self._mid) + payload.encode())

    def send(self, messages: Iterable[tuple[str, str]], deadline: float = 60.0) -> None:
        """Publish all at once; return when the broker has acknowledged every one."""
        packets = list(self._encode(messages))
        waiting, out = len(packets) * _PUBACK_BYTES, memoryview(b"".join(packets))
        end = time.monotonic() + deadline
        self._sock.setblocking(False)
        while waiting > 0:
            if time.monotonic() > end:
                raise TimeoutError(f"the broker has not answered for {waiting // _PUBACK_BYTES} messages")
            readable, writable, _ = select.select([self._sock], [self._sock] if out else [], [], 1.0)
            if readable:
                got = self._sock.recv(_CHUNK)
                if not got:
                    raise ConnectionError("the broker hung up on the publisher")
                waiting -= len(got)
            if writable:
                out = out[self._sock.send(out[:_CHUNK]) :]
        self._sock.settimeout(10)

    def pace(self, messages: Iterable[tuple[str, str]], per_second: int, seconds: float) -> None:
        """Publish from an endless supply at a rate, in a burst each 10 ms, for some seconds."""
        supply = iter(messages)
        begin = time.monotonic()
        while (passed := time.monotonic() - begin) < seconds:
            due = int(passed * per_second) - self.published
            if due > 0:
                self.send([next(supply) for _ in range(due)])
            time.sleep(0.01)

    def __enter__(self) -> Self:
        """Give itself."""
        return self

    def __exit__(self, *exc: object) -> None:
        """Hang up."""
        self._sock.close()

"""A tiny broker for what mosquitto cannot be made to say: old versions, refused subscriptions."""

import asyncio
import contextlib
from types import TracebackType
from typing import Self

from gatewayd.settings.typed import Broker


class FakeBroker:
    """Greet, grant or deny subscriptions, acknowledge what is published; deliver nothing.

    `versions` are the protocol levels it speaks (4 = 3.1.1, 5); to others it answers as a 3.1.1 broker does (return
    code 1), or hangs up if it is `rude`. `asked` collects the level of each CONNECT.
    """

    def __init__(self, *, versions: set[int], deny: set[str] | None = None, rude: bool = False) -> None:
        """Start with `async with`."""
        self.asked: list[int] = []
        self._versions, self._deny, self._rude = versions, deny or set(), rude
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()

    def settings(self) -> Broker:
        """Return gatewayd's settings for this broker."""
        assert self._server is not None
        port = self._server.sockets[0].getsockname()[1]
        return Broker("shed", "Shed broker", "127.0.0.1", "gatewayd-heron-lane", "gatewayd/heron-lane", port=port)

    def hang_up(self) -> None:
        """Close every connection."""
        for writer in self._writers:
            writer.close()

    async def __aenter__(self) -> Self:
        """Listen."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close."""
        assert self._server is not None
        self.hang_up()
        self._server.close()
        await self._server.wait_closed()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.add(writer)
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            version = 0
            while True:
                head = (await reader.readexactly(1))[0]
                body = await reader.readexactly(await _length(reader))
                match head >> 4:
                    case 1:
                        version = body[6]
                        self.asked.append(version)
                        if version not in self._versions and self._rude:
                            break
                        if version not in self._versions:
                            writer.write(b"\x20\x02\x00\x01")
                            break
                        writer.write(b"\x20\x03\x00\x00\x00" if version == 5 else b"\x20\x02\x00\x00")
                    case 3:
                        topic = int.from_bytes(body[:2])
                        writer.write(b"\x40\x02" + body[2 + topic : 4 + topic])
                    case 8:
                        codes = self._codes(body[3 if version == 5 else 2 :])
                        empty = b"\0" if version == 5 else b""
                        writer.write(bytes([0x90, 2 + len(empty) + len(codes)]) + body[:2] + empty + codes)
                    case 14:
                        break
                await writer.drain()
        self._writers.discard(writer)
        writer.close()

    def _codes(self, rest: bytes) -> bytes:
        codes = b""
        while rest:
            size = int.from_bytes(rest[:2])
            codes += b"\x87" if rest[2 : 2 + size].decode() in self._deny else b"\x01"
            rest = rest[3 + size :]
        return codes


async def _length(reader: asyncio.StreamReader) -> int:
    value, shift = 0, 0
    while True:
        byte = (await reader.readexactly(1))[0]
        value |= (byte & 0x7F) << shift
        shift += 7
        if not byte & 0x80:
            return value

"""Take connections, so many at a time and of one address fewer; one too many is hung up on before a word is said.

It is done where the connection is accepted: whoever says nothing at all, not even the first word of the encryption,
holds a file handle of the daemon too, and without those it can store nothing.
"""

import asyncio
import socket
import ssl
from collections.abc import Callable
from typing import Any

MOST = 64  # connections at a time: a household has some phones; each costs some 20 KB and a file handle
OF_ONE = 16  # of one address: a phone opens six for one page at most, and a house has several behind one router's


class Porch:
    """Know who is here."""

    def __init__(self, proxy: str = "") -> None:
        """Take the address that many come by, empty where there is none."""
        self._proxy = proxy
        self._here: list[tuple[socket.socket, str]] = []

    def takes(self, connection: socket.socket, address: str) -> bool:
        """Return whether there is room for one more from an address, and count it until it is closed."""
        self._here = [(one, where) for one, where in self._here if one.fileno() >= 0]
        same = sum(where == address for _, where in self._here)
        if len(self._here) >= MOST or (same >= OF_ONE and address != self._proxy):
            return False
        self._here.append((connection, address))
        return True


class _Ear(socket.socket):
    """Listen for a porch. It is the loop's own server that accepts here, as soon as somebody knocks."""

    def __init__(self, porch: Porch, bound: socket.socket) -> None:
        super().__init__(bound.family, bound.type, bound.proto, fileno=bound.detach())
        self._porch = porch

    def accept(self) -> tuple[socket.socket, Any]:
        """Return who came. Raise BlockingIOError where nobody did whom the porch takes; the loop asks again."""
        connection, address = super().accept()
        if not self._porch.takes(connection, address[0]):
            connection.close()
            raise BlockingIOError
        return connection, address


async def listen(
    porch: Porch,
    welcome: Callable[[], asyncio.Protocol],
    host: str,
    port: int,
    context: ssl.SSLContext | None,
    span: float,
) -> list[asyncio.Server]:
    """Return what listens at a port of a host, or of all addresses where none is said, one for each kind of address.

    Who does not come to an end with the first words of the encryption is hung up on after `span` (s). Raise OSError
    where an address cannot be had.
    """
    loop = asyncio.get_running_loop()
    bound = await loop.create_server(asyncio.Protocol, host or None, port, start_serving=False)
    ears = [_Ear(porch, one.dup()) for one in bound.sockets]
    bound.close()
    servers: list[asyncio.Server] = []
    try:
        for ear in ears:
            within = None if context is None else span
            servers.append(await loop.create_server(welcome, sock=ear, ssl=context, ssl_handshake_timeout=within))
    except BaseException:
        for server in servers:
            server.close()
        for ear in ears:
            ear.close()
        raise
    return servers

"""A small web server on loopback: hooks that answer well or badly, and enough of an open chat server to post."""

import asyncio
import contextlib
import json
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import unquote

REASONS = {
    200: "OK",
    204: "No Content",
    302: "Found",
    403: "Forbidden",
    404: "Not Found",
    429: "Too Many Requests",
    500: "Oops",
}
Answer = tuple[int, dict[str, str], bytes]


@dataclass
class Hook:
    """Keep what arrived. The first part of a path says how it is answered: a status, hang, lost, trickle, moved."""

    port: int = 0
    heard: list[tuple[str, str, dict[str, Any]]] = field(default_factory=list)  # method, path, JSON
    room: list[str] = field(default_factory=list)  # bodies that stand in the chat room
    logins: int = 0
    registered: int = 0
    keys: set[str] = field(default_factory=set)  # valid now
    transactions: set[tuple[str, str]] = field(default_factory=set)
    mood: str = ""  # for posts to the chat: "wait" (429), "lost" or "hang" after it was taken
    seen: asyncio.Event = field(default_factory=asyncio.Event)

    def of(self, start: str) -> list[tuple[str, str, dict[str, Any]]]:
        """Return what arrived at paths that begin with `start`."""
        return [entry for entry in self.heard if entry[1].startswith(start)]

    def chat(self, method: str, path: str, headers: dict[str, str], body: dict[str, Any]) -> Answer | str:
        """Answer as a home server of the open chat does (client-server API r0.6 and v3, as far as posting needs)."""
        path = unquote(path.partition("_matrix/client/")[2].partition("/")[2].partition("?")[0])
        if path == "login":
            self.logins += 1
            if body.get("password") != "p@ss#1":
                return _json(403, {"errcode": "M_FORBIDDEN", "error": "Invalid username or password"})
            key = f"key{self.logins}"
            self.keys.add(key)
            return _json(
                200,
                {"access_token": key, "user_id": "@warden:house.test", "device_id": "D1", "home_server": "house.test"},
            )
        if path == "register":
            self.registered += 1
            return _json(403, {"errcode": "M_FORBIDDEN", "error": "Registration is closed"})
        key = headers.get("authorization", "").removeprefix("Bearer ")
        if key not in self.keys:
            return _json(401, {"errcode": "M_UNKNOWN_TOKEN", "error": "revoked"})
        if "/send/" in path:
            if self.mood == "wait":
                return _json(429, {"errcode": "M_LIMIT_EXCEEDED", "error": "slow", "retry_after_ms": 61_000})
            if (key, path) not in self.transactions:  # a repeat of a transaction is dropped in silence
                self.transactions.add((key, path))
                self.room.append(body["body"])
            if self.mood in {"lost", "hang"}:
                return self.mood
            return _json(200, {"event_id": "$1"})
        if path.startswith("rooms/") and "/state/" in path:
            return _json(404, {"errcode": "M_NOT_FOUND", "error": "none"})
        if path == "account/whoami":
            return _json(200, {"user_id": "@warden:house.test", "device_id": "D1"})
        return _json(200, {"room_id": "!r:house.test", "joined_rooms": ["!r:house.test"]})

    async def answer(self, method: str, target: str, headers: dict[str, str], raw: bytes) -> Answer | str:
        """Say what to answer, or how to mistreat the client."""
        body: dict[str, Any] = {}
        with contextlib.suppress(ValueError):
            body = json.loads(raw)
        self.heard.append((method, target, body))
        self.seen.set()
        if target.startswith("/_matrix/"):
            return self.chat(method, target, headers, body)
        first = target.strip("/").partition("/")[0].partition("?")[0]
        if first == "moved":
            return 302, {"Location": "/200/after"}, b""
        if first.isdigit():
            return int(first), {"Retry-After": "7"} if first == "429" else {}, b"{}" if first == "200" else b""
        return first


def _json(status: int, words: dict[str, Any]) -> Answer:
    return status, {"Content-Type": "application/json"}, json.dumps(words).encode()


@asynccontextmanager
async def hook_server(chain: Path | None = None) -> AsyncIterator[Hook]:
    """Serve on loopback, over TLS with the certificate of `chain` if there is one."""
    rig = Hook()
    context = None
    if chain:
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(chain)

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        # a client that goes away, or the end of the test, ends the talk
        try:
            await _talk(rig, reader, writer)
        except (ConnectionError, asyncio.IncompleteReadError, ssl.SSLError):
            pass
        finally:
            writer.transport.abort()

    talks: set[asyncio.Task[None]] = set()

    def begin(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.ensure_future(serve(reader, writer))
        talks.add(task)
        task.add_done_callback(talks.discard)

    server = await asyncio.start_server(begin, "127.0.0.1", 0, ssl=context)
    rig.port = server.sockets[0].getsockname()[1]
    try:
        yield rig
    finally:
        server.close()
        for task in list(talks):
            task.cancel()
        await asyncio.gather(*talks, return_exceptions=True)


async def _talk(rig: Hook, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    while line := await reader.readline():
        method, target, _ = line.decode().split(" ", 2)
        headers = {}
        while (row := (await reader.readline()).decode().strip()) != "":
            name, _, value = row.partition(":")
            headers[name.lower()] = value.strip()
        raw = await reader.readexactly(int(headers.get("content-length", "0")))
        answer = await rig.answer(method, target, headers, raw)
        if answer == "hang":
            await asyncio.sleep(3600)
        if answer == "trickle":
            writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\n")
            while True:  # a byte now and then: no read of it ever times out
                writer.write(b".")
                await writer.drain()
                await asyncio.sleep(0.2)
        if isinstance(answer, str):  # "lost": it was taken, and the line is cut
            return
        status, extra, content = answer
        rows = [f"HTTP/1.1 {status} {REASONS.get(status, 'Other')}", f"Content-Length: {len(content)}"]
        rows += [f"{name}: {value}" for name, value in extra.items()]
        writer.write("\r\n".join([*rows, "", ""]).encode() + content)
        await writer.drain()

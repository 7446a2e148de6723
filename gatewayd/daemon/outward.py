"""Send one HTTP request to the outside, with every end of it bounded.

It is the standard library's client in a thread of its own: 2 MB where the library under the pages takes 14 MB, and a
house without pages has no use for that one (both measured). The thread is a daemon thread, for a name look-up that
hangs cannot be stopped, and neither the loop nor the interpreter may wait for it at the end.
"""

import asyncio
import base64
import http.client
import socket
import ssl
import threading
from contextlib import suppress
from dataclasses import dataclass
from urllib.parse import SplitResult, quote, unquote, urljoin, urlsplit

from gatewayd.model.moment import SECOND

STEP = 10.0  # s, for each of: reaching one address, TLS, one read; what is alive answers in a few
ANSWER = 65_536  # bytes of a body that are looked at
MOVES = 3  # redirects followed: one to TLS, one to another name, one spare
MOVED = {301, 302, 303, 307, 308}  # RFC 9110, 15.4; the last two keep the method, the others make it a GET
KEEPS_METHOD = {307, 308}


PLAIN = "/?:@!$&'()*+,;=~%"  # beside letters and digits, what a path and a query may hold as it is (RFC 3986, 3.3)


class RequestFailed(Exception):
    """A request came to nothing; the text says why in the keeper's words and holds nothing of the address."""


@dataclass(frozen=True, slots=True)
class Reply:
    """Hold the status and the beginning of the body of an answer."""

    status: int
    body: bytes


@dataclass(slots=True)
class _Line:
    """Hold the socket that is open now, so that it can be cut from outside."""

    sock: socket.socket | None = None
    cut: bool = False

    def cut_off(self) -> None:
        """Wake whoever waits on it. A socket that is only closed would let its reader wait on."""
        self.cut = True
        sock = self.sock
        if sock is not None:
            with suppress(OSError):
                socket.socket.shutdown(sock, socket.SHUT_RDWR)  # below TLS, whose own goodbye would wait too


class Outward:
    """Send requests, one at a time."""

    def __init__(self) -> None:
        """Begin with nothing under way; the certificates to trust are read at the first request over TLS."""
        self._busy = False
        self._tls: ssl.SSLContext | None = None

    async def fetch(self, method: str, url: str, deadline: int) -> Reply:
        """Return the answer, or raise RequestFailed; after `deadline` (ms) the connection is cut."""
        if self._busy:
            raise RequestFailed("the request before it still hangs")
        self._busy = True
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[Reply] = loop.create_future()
        line = _Line()

        def settle(result: Reply | RequestFailed) -> None:
            self._busy = False
            if answer.done():
                return
            if isinstance(result, Reply):
                answer.set_result(result)
            else:
                answer.set_exception(result)

        def work() -> None:
            try:
                result: Reply | RequestFailed = self._follow(method, url, line)
            except RequestFailed as failed:
                result = failed
            except (OSError, http.client.HTTPException, ValueError) as fault:
                result = RequestFailed(_words(fault))
            with suppress(RuntimeError):  # the loop has ended; nobody waits any more
                loop.call_soon_threadsafe(settle, result)

        threading.Thread(target=work, name="sign of life", daemon=True).start()
        try:
            async with asyncio.timeout(deadline / SECOND):
                return await answer
        except TimeoutError:
            raise RequestFailed("no answer in time") from None
        finally:
            answer.cancel()
            line.cut_off()

    def _follow(self, method: str, url: str, line: _Line) -> Reply:
        for _ in range(MOVES + 1):
            status, body, moved = self._once(method, urlsplit(url), line)
            if status not in MOVED or not moved:
                return Reply(status, body)
            there = urljoin(url, moved)
            if urlsplit(url).scheme == "https" and urlsplit(there).scheme != "https":
                raise RequestFailed("it leads from a safe address to an open one; write the right address")
            url = there
            method = method if status in KEEPS_METHOD else "GET"
        raise RequestFailed(f"it leads from one address to the next, more than {MOVES} times")

    def _once(self, method: str, url: SplitResult, line: _Line) -> tuple[int, bytes, str]:
        connection = self._connection(url)
        try:
            connection.connect()
            line.sock = connection.sock  # the library lets go of it before the body is read
            if line.cut:  # while it was dialled, when there was nothing to cut yet
                raise RequestFailed("no answer in time")
            path = quote(url.path or "/", safe=PLAIN) + (f"?{quote(url.query, safe=PLAIN)}" if url.query else "")
            headers = {"User-Agent": "gatewayd", "Accept": "*/*", "Connection": "close"}
            if url.username is not None:
                user = f"{unquote(url.username)}:{unquote(url.password or '')}"
                headers["Authorization"] = f"Basic {base64.b64encode(user.encode()).decode()}"
            connection.request(method, path, headers=headers)
            response = connection.getresponse()
            return response.status, response.read(ANSWER), response.getheader("Location", "")
        finally:
            line.sock = None
            connection.close()

    def _connection(self, url: SplitResult) -> http.client.HTTPConnection:
        if not url.hostname or url.scheme not in ("http", "https"):
            raise RequestFailed("the address must begin with http:// or https:// and name a computer")
        if url.scheme == "http":
            return http.client.HTTPConnection(url.hostname, url.port, timeout=STEP)
        if self._tls is None:
            self._tls = ssl.create_default_context()
        return http.client.HTTPSConnection(url.hostname, url.port, timeout=STEP, context=self._tls)


def _words(fault: Exception) -> str:
    """Say what went wrong without the text of the fault, which may hold the address and its secret."""
    match fault:
        case ssl.SSLCertVerificationError():
            return f"its certificate is not trusted ({fault.verify_message})"
        case ssl.SSLError():
            return "no safe connection could be agreed on"
        case socket.gaierror():
            return "its name could not be found"
        case TimeoutError():
            return "no answer in time"
        case ConnectionRefusedError():
            return "nobody takes connections there"
        case ConnectionError() | http.client.RemoteDisconnected():
            return "it hung up before it answered"
        case OSError():
            return f"it cannot be reached ({fault.strerror or type(fault).__name__})"
        case http.client.HTTPException():
            return "what answers there does not speak HTTP as it should"
        case _:
            return "the address is not one that can be asked"

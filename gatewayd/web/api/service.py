"""Serve the JSON under /api/v1: read what comes, check it, have it done, and write what goes out."""

import asyncio
import hashlib
import json
import logging
import math
from collections.abc import Awaitable, Callable, Iterator
from typing import Any

from aiohttp import web

from gatewayd.model.pack import pack
from gatewayd.store.trouble import StoreTrouble
from gatewayd.web.api import events, excursions, forecast, house, stock, upkeep
from gatewayd.web.api.export import downloads
from gatewayd.web.api.fit import Garbled, Unfit, fit, from_query, read
from gatewayd.web.api.openapi import BASE, KEY_HEADER, PROBLEM, Problem, describe, needed
from gatewayd.web.api.operation import Call, Operation, Refused
from gatewayd.web.api.says import KeyHeader
from gatewayd.web.api.stream import WAY, Streams
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.server import staying
from gatewayd.web.visitor import signed_in

log = logging.getLogger(__name__)

LARGE = 32 << 10  # bytes that are compressed in a thread: a millisecond's work on a small board
BODY = 256 << 10  # bytes of an order: 500 lines of 500 characters; what is longer has the import of the commands
TITLES = {
    400: "It cannot be read", 404: "It is not there", 409: "The house refuses", 415: "That is not JSON",
    422: "A value does not fit", 503: "Not at the moment",
}  # fmt: skip
OPERATIONS: tuple[Operation, ...] = (
    *house.OPERATIONS, *forecast.OPERATIONS, *events.OPERATIONS, *stock.OPERATIONS,
    *excursions.OPERATIONS, *upkeep.OPERATIONS,
)  # fmt: skip
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class Api:
    """Answer under /api/v1."""

    def __init__(self, home: Home, paint: Paint, streams: Streams) -> None:
        """Take the house, the painter, and what streams exports."""
        self._home = home
        self._paint = paint
        self._streams = streams

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get(BASE, self.page)
        app.router.add_get(f"{BASE}/openapi.json", self.description)
        app.router.add_get(f"{BASE}/export{WAY}", self.guarded(self._streams.answer))
        for operation in OPERATIONS:
            app.router.add_route(operation.method, f"{BASE}{operation.way}", self._handler(operation))
            if operation.body is None:
                app.router.add_route("head", f"{BASE}{operation.way}", self._handler(operation))

    async def page(self, request: web.Request) -> web.Response:
        """Show in words what there is."""
        about: dict[str, list[Operation]] = {}
        for each in OPERATIONS:
            about.setdefault(each.about, []).append(each)
        return self._paint.page(request, "log_api.html", about=about, base=BASE)

    async def description(self, request: web.Request) -> web.Response:
        """Answer with the description by OpenAPI."""
        name = self._home.house.name
        return await _tagged(request, lambda: describe(name, OPERATIONS, downloads()))

    def _handler(self, operation: Operation) -> Handler:
        async def answer(request: web.Request) -> web.StreamResponse:
            call = Call(
                self._home,
                signed_in(request),
                _from(operation.path, {name: [text] for name, text in request.match_info.items()}, 404),
                _from(operation.query, _query(request)),
                *await _order(operation, request),
            )
            if operation.body is None:
                found = await operation.work(call)
                return await _tagged(request, lambda: pack(found))
            with staying(request):  # what an order brings about may take long
                return web.json_response(text=written(pack(await operation.work(call))))

        return self.guarded(answer)

    def guarded(self, handler: Handler) -> Handler:
        """Return a handler that says what is wrong as RFC 9457 wants it."""

        async def answer(request: web.Request) -> web.StreamResponse:
            try:
                return await handler(request)
            except Unfit as wrong:
                return problem(422, str(wrong), wrong.at)
            except Garbled as wrong:
                return problem(400, str(wrong))
            except Refused as wrong:
                return problem(wrong.status, str(wrong))
            except StoreTrouble as trouble:
                return problem(503, str(trouble))

        return answer


def problem(status: int, text: str, at: str | None = None) -> web.Response:
    """Return an answer that says what is wrong, and where."""
    told = Problem(TITLES.get(status, "That could not be done"), status, text, text, at)
    return web.Response(status=status, text=written(pack(told)), content_type=PROBLEM)


def written(plain: Any) -> str:
    """Write plain values as JSON; a figure that is no number is not known, which JSON calls null."""
    try:
        return "".join(_pieces(plain))
    except ValueError:
        return "".join(_pieces(_known(plain)))


def _pieces(plain: Any, deep: int = 0) -> Iterator[str]:
    """Yield JSON in pieces: the library lets nothing else of the process run until it has written what it was given."""
    match plain:
        case dict() if deep < DEEP and plain:
            for n, (name, value) in enumerate(plain.items()):
                yield f"{', ' if n else '{'}{_ENCODER.encode(name)}: "
                yield from _pieces(value, deep + 1)
            yield "}"
        case list() if deep < DEEP and plain:
            for n, value in enumerate(plain):
                yield ", " if n else "["
                yield from _pieces(value, deep + 1)
            yield "]"
        case _:
            yield _ENCODER.encode(plain)


_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False)
DEEP = 4  # an answer is a list of boxes, say, each with a list of packages; what is in one of those is small


def _known(plain: Any) -> Any:
    match plain:
        case float() if not math.isfinite(plain):
            return None
        case dict():
            return {name: _known(value) for name, value in plain.items()}
        case list():
            return [_known(value) for value in plain]
        case _:
            return plain


async def _tagged(request: web.Request, made: Callable[[], Any]) -> web.Response:
    """Return an answer with its ETag, or 304 where the asker has it already. It is made and written in a thread."""

    def work() -> tuple[str, str]:
        text = written(made())
        return text, hashlib.sha256(text.encode()).hexdigest()[:32]

    text, tag = await asyncio.to_thread(work)
    headers = {"ETag": f'W/"{tag}"', "Cache-Control": "private, no-cache"}
    if any(each.value in (tag, "*") for each in request.if_none_match or ()):
        return web.Response(status=304, headers=headers)
    answer = web.Response(text=text, content_type="application/json", headers=headers, zlib_executor_size=LARGE)
    if len(text) > 1400:  # a smaller answer fits one packet as it is
        answer.enable_compression()
    return answer


def _query(request: web.Request) -> dict[str, list[str]]:
    return {name: request.query.getall(name) for name in request.query}


def _from(shape: type, given: dict[str, list[str]], status: int = 422) -> Any:
    try:
        return from_query(shape, given)
    except Unfit as wrong:
        if status == 422:
            raise
        raise Refused(str(wrong), status) from None  # a path that names nothing


async def _order(operation: Operation, request: web.Request) -> tuple[Any, str]:
    """Return the body of an order and its key. Raise Garbled, Unfit or Refused."""
    if operation.body is None:
        return None, ""
    content = await request.clone(client_max_size=BODY).read() if request.can_read_body else b""
    if content and request.content_type != "application/json":
        raise Refused("Send the body as application/json.", 415)
    if not content and needed(operation.body):
        raise Garbled("A JSON object is needed in the body.")
    body = fit(operation.body, read(content) if content else {})
    if KEY_HEADER in request.headers:
        return body, fit(KeyHeader, request.headers[KEY_HEADER], f"/{KEY_HEADER}")
    return body, body.key

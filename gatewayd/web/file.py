"""The list as a file: take it out, or bring one in after a look at what would come of it."""

import asyncio
import secrets
import sqlite3
import zlib
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from aiohttp import web

from gatewayd.food import exchange
from gatewayd.food.exchange import FIELDS, IGNORED, Fault, Taken
from gatewayd.food.larder import Larder
from gatewayd.store import bring, comma, stock
from gatewayd.web.form import Form, Wrong, read_form
from gatewayd.web.home import Home
from gatewayd.web.paint import Paint
from gatewayd.web.server import lasting, staying
from gatewayd.web.shelf import larder, undoing
from gatewayd.web.spoken import sentences, spoken
from gatewayd.web.visitor import signed_in

FILES = 4  # that wait for a yes at once; a fifth lets the oldest go. 2 MB each at most, a tenth of it as a rule
HEAD = 20_000  # characters in which the first line of a file ends
FAULTS = 300  # that are said in words; of more only the lines are named, to keep the page small
PIECE = 32_000  # characters that go out at a time
NAMES = {
    "number": "id on this list", "food": "food", "count": "how many", "each": "weight of each", "frozen": "date frozen",
    "about": "date is a guess", "packed": "packed in", "who": "whose", "note": "note", "box": "box",
    "freezer": "freezer", "since": "in the freezer since", "fresh": "put in unfrozen",
}  # fmt: skip


@dataclass
class Waiting:
    """Hold a file that waits for somebody's yes; what it says is read again then, against the list of that moment."""

    session: str
    packed: bytes  # the text
    remark: str
    mapping: dict[str, str]
    as_new: bool
    again: bool
    many: int = 0  # rows that were promised to go in
    answers: dict[str, dict[str, Any]] = field(default_factory=dict)  # to the forms that said yes, by key


@dataclass(frozen=True, slots=True)
class Looked:
    """Hold what a file would bring."""

    taken: Taken
    same: list[int]
    headers: list[str]


class File:
    """Answer at /stock/file."""

    def __init__(self, home: Home, paint: Paint) -> None:
        """Take the house and the painter."""
        self._home = home
        self._paint = paint
        self._waiting: OrderedDict[str, Waiting] = OrderedDict()
        self._turn = asyncio.Lock()  # one file is read at a time: a large one takes the memory of all else together

    def add(self, app: web.Application) -> None:
        """Add where it answers."""
        app.router.add_get("/stock/file", self.show)
        app.router.add_get("/stock/list.csv", self.give)
        app.router.add_post("/stock/file", lasting(self.look))
        app.router.add_post("/stock/file/again", lasting(self.look_again))
        app.router.add_post("/stock/file/import", lasting(self.bring_in))

    async def show(self, request: web.Request) -> web.Response:
        """Show the two ways."""
        return self._page(request)

    def _page(self, request: web.Request, wrong: str = "") -> web.Response:
        header = ", ".join(exchange.HEADER)
        return self._paint.page(
            request, "stock_file.html", status=422 if wrong else 200, wrong=wrong, header=header
        )  # fmt: skip

    async def give(self, request: web.Request) -> web.StreamResponse:
        """Give the list as comma-separated values, piece by piece."""
        there = await larder(self._home, gone="gone" in request.query)
        answer = web.StreamResponse(headers={"Content-Disposition": 'attachment; filename="stock.csv"'})
        answer.content_type, answer.charset = "text/csv", "utf-8"
        with staying(request):
            await answer.prepare(request)
            for piece in _pieces(there):
                await answer.write(piece)
            await answer.write_eof()
        return answer

    async def look(self, request: web.Request) -> web.Response:
        """Say what would come of a file; nothing is changed."""
        form = await read_form(request)
        given = form.fields.get("file")
        if not isinstance(given, web.FileField) or not given.filename:
            return self._page(request, "Choose a file first.")
        try:
            with given.file:
                text, remark = await asyncio.to_thread(lambda: comma.decode(given.file.read()))
        except ValueError as why:
            return self._page(request, f"{why}. Nothing was imported.")
        packed = await asyncio.to_thread(lambda: zlib.compress(text.encode("utf-8", "replace")))
        seen = signed_in(request)
        waits = Waiting(seen.session, packed, remark, {}, form.ticked("as_new"), form.ticked("again"))
        token = secrets.token_hex(8)
        self._waiting[token] = waits
        while len(self._waiting) > FILES:
            self._waiting.popitem(last=False)
        async with self._turn:
            return self._foretold(request, token, waits, await self._looked(waits))

    async def look_again(self, request: web.Request) -> web.Response:
        """Say what would come of the file with its columns named otherwise."""
        form = await read_form(request)
        token, waits = self._find(request, form)
        if waits is None:
            return self._page(request, GONE)
        async with self._turn:
            if not waits.packed:  # it went in while this waited
                return self._page(request, GONE)
            headers = (await self._looked(waits)).headers
            try:
                for number, header in enumerate(headers):
                    meant = form.text(f"column-{number}")
                    if meant:
                        waits.mapping[header] = meant if meant in FIELDS else IGNORED
            except Wrong as why:
                return self._page(request, str(why))
            waits.as_new, waits.again = form.ticked("as_new"), form.ticked("again")
            return self._foretold(request, token, waits, await self._looked(waits))

    async def bring_in(self, request: web.Request) -> web.Response:
        """Store all rows of the file, if it still brings what was promised."""
        form = await read_form(request)
        token, waits = self._find(request, form)
        if waits is None:
            return self._page(request, GONE)
        async with self._turn:
            answer = waits.answers.get(form.key)
            if answer is None:
                if not waits.packed:
                    return self._page(request, GONE)
                looked = await self._looked(waits)
                if looked.taken.faults or str(len(looked.taken.drafts)) != form.text("many"):
                    return self._foretold(request, token, waits, looked, changed=True)
                answer = await self._store(f"{token}{form.key}"[:80], form.key, looked, signed_in(request).who)
                if answer.get("done"):
                    waits.answers[form.key] = answer
                    waits.packed = b""
        to = "/stock" if answer.get("done") else "/stock/file"
        return self._paint.answered(request, to, answer, undoing(answer, to))

    async def _store(self, file: str, key: str, looked: Looked, who: str) -> dict[str, Any]:
        sent = 0
        for piece in bring.pieces(looked.taken.drafts):
            answer = await self._home.ask({"ask": "stock", "do": "stage", "file": file, "rows": piece}, who)
            if not answer.get("done"):
                return spoken(answer)
            sent += len(piece)
        order = {"ask": "stock", "do": "import", "file": file, "rows": sent, "key": key}
        return spoken(await self._home.ask(order, who))

    def _find(self, request: web.Request, form: Form) -> tuple[str, Waiting | None]:
        """Return a file of this sign-in that waits, None for one that waits no longer."""
        token = form.text("token")
        waits = self._waiting.get(token)
        if waits is None or waits.session != signed_in(request).session:
            return token, None
        return (token, waits) if waits.packed or waits.answers.get(form.key) else (token, None)

    async def _looked(self, waits: Waiting) -> Looked:
        house, now = self._home.house, self._home.now().wall

        def read(conn: sqlite3.Connection) -> Looked:
            there = Larder(house, now, stock.boxes(conn), stock.packages(conn, gone=True))
            return _look(zlib.decompress(waits.packed).decode(), waits, there)

        return await self._home.read(read)

    def _foretold(
        self, request: web.Request, token: str, waits: Waiting, looked: Looked, *, changed: bool = False
    ) -> web.Response:
        taken = looked.taken
        waits.many = len(taken.drafts)
        new = sum(1 for draft in taken.drafts if draft.number is None)
        meant = [
            (number, header, waits.mapping.get(header) or exchange.column(header) or "")
            for number, header in enumerate(looked.headers)
        ]
        return self._paint.page(
            request, "stock_look.html", status=409 if changed else 422 if taken.faults else 200, token=token,
            faults=[_said(fault) for fault in taken.faults[:FAULTS]], many=len(taken.drafts), new=new,
            rest=sorted({fault.line for fault in taken.faults[FAULTS:]}),
            wrong_lines=len({fault.line for fault in taken.faults}), changed=changed, remark=waits.remark,
            same=bring.left_out(looked.same) if looked.same else "", columns=meant, as_new=waits.as_new,
            again=waits.again, boxes=[(*box, rows) for box, rows in sorted(taken.boxes.items())][:50],
            fields=[("", "not known: choose"), *NAMES.items(), (IGNORED, "leave it out")],
        )  # fmt: skip


GONE = "That file does not wait here any more. Nothing was imported; choose it again."


def _said(fault: Fault) -> str:
    """Say a fault as a page does, which has a box to tick where the command has an option."""
    said = str(fault).replace("For a file of another list say --new", "Or tick that the ids are of another list.")
    return sentences(said)


def _look(text: str, waits: Waiting, there: Larder) -> Looked:
    taken = bring.look(text, waits.mapping, there, as_new=waits.as_new)
    same: list[int] = []
    if not taken.faults and not waits.again:
        taken, same = exchange.set_apart(taken, there.packages, there.places, there.house.zone)
    first = comma.cut(text[:HEAD], lambda header: exchange.column(header, waits.mapping))
    return Looked(taken, same, [header.strip()[:80] for header in first[0].cells] if first else [])


def _pieces(there: Larder) -> Iterator[bytes]:
    """Yield the list in pieces that are worth a packet."""
    piece: list[str] = []
    long = 0
    for line in comma.lines(exchange.give(there.packages, there.boxes, there.places, there.house.zone)):
        piece.append(line)
        long += len(line)
        if long > PIECE:
            yield "".join(piece).encode()
            piece, long = [], 0
    yield "".join(piece).encode()

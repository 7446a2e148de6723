"""One operation of the JSON: where it is, what comes in and goes out, and who does it."""

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from gatewayd.model.house import House
from gatewayd.web.api.says import Id, Key
from gatewayd.web.home import Home, Plain
from gatewayd.web.spoken import NOTHING, sentences
from gatewayd.web.visitor import Visitor


class Refused(Exception):
    """What was asked cannot be done, or is not there; the text says why, `status` is that of HTTP."""

    def __init__(self, text: str, status: int = 409) -> None:
        """Take the sentence and the status: 409 unless said otherwise."""
        super().__init__(text)
        self.status = status


@dataclass(frozen=True, slots=True)
class Nothing:
    """Nothing is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Keyed:
    """An order that needs no more words. `key` may also come as the header Idempotency-Key."""

    key: Key = ""


@dataclass(frozen=True, slots=True)
class Done:
    """An order was carried out: `text` says what was done, `hints` and `warnings` what to mind now."""

    done: bool
    text: str
    hints: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Call:
    """Hold one request to an operation: who asks, and what was said in the path, the query and the body."""

    home: Home
    visitor: Visitor
    path: Any
    query: Any
    body: Any
    key: str = ""

    async def order(self, request: Plain) -> Done:
        """Give an order at the door as the visitor, with the request's key. Raise Refused where it was not done.

        The words come back without what is to be typed at a terminal: a program has operations.
        """
        answer = await self.home.ask({**request, "key": self.key}, self.visitor.who)
        if answer.get("done") is not True:
            raise Refused(sentences(str(answer.get("error") or answer.get("text") or "")) or NOTHING)
        hints, warnings = (
            tuple(plain for each in answer.get(name, ()) if (plain := sentences(str(each))))
            for name in ("hints", "warnings")
        )
        return Done(done=True, text=sentences(str(answer.get("text") or "")) or "Done.", hints=hints, warnings=warnings)

    async def alarm_order(self, verb: str, *, alarm: int = 0, subject: str = "", why: str = "", span: int = 0) -> Done:
        """Give an order to the watch."""
        return await self.order(
            {"ask": "order", "verb": verb, "alarm": alarm, "subject": subject, "why": why, "span": span}
        )


Work = Callable[[Call], Awaitable[object]]


@dataclass(frozen=True, slots=True)
class Operation:
    """Describe one operation: `way` below /api/v1, `words` what it is for, `about` its subject.

    `path`, `query` and `body` are the types of what comes in, `answer` that of what goes out; an operation with a
    `body` is an order, all others only look.
    """

    about: str
    name: str
    way: str
    words: str
    answer: type
    work: Work
    path: type = Nothing
    query: type = Nothing
    body: type | None = None

    @property
    def method(self) -> str:
        """Return the method of HTTP, in small letters."""
        return "get" if self.body is None else "post"


@dataclass(frozen=True, slots=True)
class OfFreezer:
    """Which freezer."""

    freezer: Id


def freezer(call: Call) -> str:
    """Return the id of the freezer in the path. Raise Refused where there is none of that id."""
    return known(str(call.path.freezer), call.home.house)


def known(wanted: str, house: House) -> str:
    """Return the id of a freezer. Raise Refused where there is none of that id."""
    if wanted not in house.freezers:
        raise Refused(f"There is no freezer {wanted!r}; there are: {', '.join(house.freezers) or 'none'}.", 404)
    return wanted

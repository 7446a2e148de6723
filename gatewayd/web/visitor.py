"""Who looks at a page, and what they may do."""

from collections.abc import Callable
from dataclasses import dataclass

from aiohttp import web

GUEST = "guest"  # somebody of the household who is not in the settings; no id of a person may be taken for it


@dataclass(frozen=True, slots=True)
class Visitor:
    """Hold who looks: `who` a person's id or GUEST, `name` for people, `may_order` whether they may change anything.

    `session` names the sign-in, the same on all its pages; `csrf` is the word that each of their forms must carry.
    """

    who: str
    name: str
    may_order: bool
    session: str
    csrf: str


_HERE = web.RequestKey("visitor", Visitor)
_STILL: web.RequestKey[Callable[[], bool]] = web.RequestKey("still")


def welcome(request: web.Request, visitor: Visitor, still: Callable[[], bool] = lambda: True) -> None:
    """Note on a request who sends it; `still` says later whether that sign-in counts yet."""
    request[_HERE] = visitor
    request[_STILL] = still


def still_welcome(request: web.Request) -> bool:
    """Return whether the sign-in of a request that takes long counts yet: nobody signed out or took a link back."""
    still = request.get(_STILL)
    return still is not None and still()


def visitor(request: web.Request) -> Visitor | None:
    """Return who sends a request, None for somebody who has not signed in."""
    return request.get(_HERE)


def signed_in(request: web.Request) -> Visitor:
    """Return who sends a request to a page behind the lock. Raise HTTPForbidden where nobody has signed in."""
    found = visitor(request)
    if found is None:
        raise web.HTTPForbidden
    return found

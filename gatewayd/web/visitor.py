"""Who looks at a page, and what they may do."""

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


def welcome(request: web.Request, visitor: Visitor) -> None:
    """Note on a request who sends it."""
    request[_HERE] = visitor


def visitor(request: web.Request) -> Visitor | None:
    """Return who sends a request, None for somebody who has not signed in."""
    return request.get(_HERE)


def signed_in(request: web.Request) -> Visitor:
    """Return who sends a request to a page behind the lock. Raise HTTPForbidden where nobody has signed in."""
    found = visitor(request)
    if found is None:
        raise web.HTTPForbidden
    return found

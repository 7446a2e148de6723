"""Fill the pages in: one frame, one way to write temperatures and times, one place for what was just done."""

import secrets
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from aiohttp import web
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from gatewayd.message.words import at, clock
from gatewayd.model.moment import DAY, from_wall
from gatewayd.model.units import show_span
from gatewayd.web.asset import address
from gatewayd.web.home import Home
from gatewayd.web.spoken import spoken
from gatewayd.web.visitor import visitor

SAID = 200  # sign-ins for which something waits to be said; a household has a dozen
FRESH = "X-Fresh"  # the header of a page that renews itself, see static/live.js
PACK_FROM = 1400  # bytes: a smaller answer fits one packet as it is

# The pages behind the menu: where, what it is called.
MENU = (
    ("/", "Now"),
    ("/stock", "Stock"),
    ("/use-first", "Use first"),
    ("/what-happened", "What happened"),
    ("/defrost", "Defrost"),
    ("/sensors", "Sensors"),
    ("/people", "People"),
    ("/log", "Log"),
    ("/settings", "Settings"),
)


@dataclass(frozen=True, slots=True)
class Tap:
    """Hold a button that is a form of its own: where it goes, what it says, and hidden fields beside the key."""

    way: str
    words: str
    fields: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Said:
    """Hold what the last tap brought about: the words, whether it was done, and perhaps a button to take it back."""

    text: str
    done: bool
    button: Tap | None = None


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return what turns templates into pages: everything is escaped, and a misspelt name is an error."""
    return Environment(
        loader=PackageLoader("gatewayd.web"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


class Paint:
    """Paint the pages of one house."""

    def __init__(self, home: Home) -> None:
        """Take the house whose units and time zone the pages speak in."""
        self._home = home
        self._said: OrderedDict[str, list[Said]] = OrderedDict()

    def page(self, request: web.Request, template: str, *, status: int = 200, **values: Any) -> web.Response:
        """Return a page of the house made of `templates/<template>`, which extends base.html.

        Beside `values` a template has: `house`, `now` (wall ms), `visitor` (None before the sign-in), `here` (the
        path), `menu`, `said` (what the last tap brought about), `asset(name)`, `key()` for a form, and what `writers`
        returns.
        """
        seen = visitor(request)
        # an open page that looks by itself shows no such words; they wait for the page that the person opens next
        said = self._said.pop(seen.session, []) if seen and FRESH not in request.headers else []
        shown = {
            "house": self._home.house, "now": self._home.now().wall, "visitor": seen, "here": request.path,
            "menu": MENU, "said": said, "asset": address, "key": lambda: secrets.token_hex(8),
            **writers(self._home), **values,
        }  # fmt: skip
        text = environment().get_template(template).render(shown)
        answer = web.Response(text=text, status=status, content_type="text/html")
        if len(text) > PACK_FROM:
            answer.enable_compression()
        return answer

    def say(self, request: web.Request, text: str, *, done: bool = True, button: Tap | None = None) -> None:
        """Keep a sentence for the next page that this sign-in opens."""
        seen = visitor(request)
        if seen is None or not text:
            return
        self._said.setdefault(seen.session, []).append(Said(text, done, button))
        self._said.move_to_end(seen.session)
        while len(self._said) > SAID:
            self._said.popitem(last=False)

    def back(self, request: web.Request, to: str, text: str = "", *, done: bool = True) -> web.Response:
        """Return the answer to a form: go on to the page `to`, which then says `text`."""
        self.say(request, text, done=done)
        return web.Response(status=303, headers={"Location": to})

    def answered(
        self, request: web.Request, to: str, answer: dict[str, Any], button: Tap | None = None
    ) -> web.Response:
        """Return the answer to a form from what the door answered: its words, hints and warnings, on the page `to`.

        `button` stands beside the words, to take back what was done.

        Without what is to be typed at a terminal: a page has a button.
        """
        done, said = answer.get("done") is True, spoken(answer)
        self.say(request, str(said.get("error") or said.get("text") or "Done."), done=done, button=button)
        for more in (*said.get("warnings", ()), *said.get("hints", ())):
            self.say(request, more, done=done)
        return web.Response(status=303, headers={"Location": to})


def writers(home: Home) -> dict[str, Callable[..., str]]:
    """Return how templates write things, in the household's units and time zone.

    `temp(°C)`, `difference(K)`, `span(ms)`, `ago(ms)`, `clock(wall ms)` as people say it today, `when(wall ms)` in a
    sentence, `date(wall ms)`, `stamp(wall ms)` for machines.
    """
    house, now = home.house, home.now().wall

    def temp(celsius: float | None, places: int = 1) -> str:
        return "not known" if celsius is None else house.units.show(celsius, places)

    def stamp(wall: int) -> str:
        return from_wall(wall).astimezone(house.zone).isoformat(timespec="seconds")

    return {
        "temp": temp,
        "difference": lambda kelvin, places=1: house.units.show_difference(kelvin, places),
        "span": show_span,
        "ago": lambda ms: "just now" if ms < 5000 else f"{show_span(ms)} ago",
        "clock": lambda wall: clock(wall, now, house.zone),
        "when": lambda wall: at(clock(wall, now, house.zone)),
        "date": lambda wall: f"{from_wall(wall).astimezone(house.zone):%-d %b %Y}",
        "stamp": stamp,
        "days": lambda wall: str(max(0, (now - wall) // DAY)),
    }

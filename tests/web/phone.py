"""A phone that opens pages, keeps its cookie and fills in forms as a browser without script does."""

from dataclasses import dataclass, field
from html.parser import HTMLParser
from types import TracebackType
from typing import Any
from urllib.parse import urljoin

import aiohttp


@dataclass
class Sheet:
    """Hold one form of a page: where it goes, its fields as they stand, and what its buttons say."""

    action: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    buttons: list[str] = field(default_factory=list)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.sheets: list[Sheet] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self._in: Sheet | None = None
        self._select = ""
        self._option = ""
        self._button = False
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        at = {name: value or "" for name, value in attrs}
        match tag:
            case "a" | "link" | "script" | "img":
                self.links += [at[name] for name in ("href", "src") if name in at]
                self._hidden += tag == "script"
            case "style":
                self._hidden += 1
            case "form":
                self._in = Sheet(at.get("action", ""))
                self.sheets.append(self._in)
            case "input" | "textarea" if self._in is not None and at.get("name"):
                if at.get("type") not in ("checkbox", "radio") or "checked" in at:
                    self._in.fields.append((at["name"], at.get("value", "")))
            case "select":
                self._select, self._option = at.get("name", ""), ""
            case "option" if self._in is not None and self._select and ("selected" in at or not self._option):
                self._in.fields = [pair for pair in self._in.fields if pair[0] != self._select]
                self._in.fields.append((self._select, at.get("value", "")))
                self._option = "one"
            case "button":
                self._button = True

    def handle_endtag(self, tag: str) -> None:
        match tag:
            case "form":
                self._in = None
            case "select":
                self._select = ""
            case "button":
                self._button = False
            case "script" | "style":
                self._hidden -= 1

    def handle_data(self, data: str) -> None:
        if self._hidden:
            return
        self.words.append(data)
        if self._button and self._in is not None and data.strip():
            self._in.buttons.append(data.strip())


@dataclass
class Page:
    """Hold one answer."""

    status: int
    path: str
    headers: dict[str, str]
    text: str
    size: int  # bytes as they came over the line
    sheets: list[Sheet] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    words: str = ""

    def sheet(self, action: str, **has: str) -> Sheet:
        """Return the form that goes to `action` and whose fields have these values."""
        fit = [s for s in self.sheets if s.action == action and has.items() <= dict(s.fields).items()]
        assert fit, f"no form to {action} with {has}; there are {[s.action for s in self.sheets]}"
        return fit[0]


class Phone:
    """Open the pages of one house."""

    def __init__(self, begins: str) -> None:
        """Take how addresses begin."""
        self.begins = begins
        jar = aiohttp.CookieJar(unsafe=True)  # an address of numbers may have cookies too
        self.session = aiohttp.ClientSession(cookie_jar=jar, auto_decompress=True)
        self.page = Page(0, "/", {}, "", 0)

    async def __aenter__(self) -> "Phone":
        """Begin."""
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Put it away."""
        await self.session.close()

    async def get(self, path: str, **more: Any) -> Page:
        """Open a page, following where it leads."""
        return await self._ask("GET", path, **more)

    async def post(self, path: str, data: Any = None, **more: Any) -> Page:
        """Send a form as it is given."""
        return await self._ask("POST", path, data=data, **more)

    async def press(self, action: str, *, has: dict[str, str] | None = None, **fields: str) -> Page:
        """Fill in and send the form of the open page that goes to `action` (and has some field values)."""
        sheet = self.page.sheet(action, **(has or {}))
        data = [pair for pair in sheet.fields if pair[0] not in fields] + list(fields.items())
        return await self._ask("POST", urljoin(self.page.path, action) or self.page.path, data=data)

    async def set_up(self, code: str, who: str = "ann", password: str = "plums and beans") -> Page:
        """Set the password with the code."""
        await self.get("/set-up")
        return await self.press("/set-up", code=code, who=who, password=password, again=password)

    async def sign_in(self, who: str = "ann", password: str = "plums and beans") -> Page:
        """Sign in."""
        await self.get("/sign-in")
        return await self.press("/sign-in", who=who, password=password)

    async def _ask(self, method: str, path: str, **more: Any) -> Page:
        async with self.session.request(method, self.begins + path, **more) as answer:
            body = await answer.read()
            text = body.decode("utf-8", "replace")
            reader = _Reader()
            if "html" in answer.headers.get("Content-Type", ""):
                reader.feed(text)
            words = " ".join(" ".join(reader.words).split())
            length = int(answer.headers.get("Content-Length", len(body)))
            self.page = Page(
                answer.status,
                answer.url.path_qs,
                dict(answer.headers),
                text,
                length,
                reader.sheets,
                reader.links,
                words,
            )
            return self.page

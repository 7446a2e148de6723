"""Walk over every link that leads on from the front page, and no form."""

import re
from collections import Counter, deque
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urljoin, urlsplit

from tests.pages.demo_house import DemoHouse
from tests.web.phone import Phone

MOST = 30  # addresses of one kind; the past of a curve goes on for ever
ALIKE = 1  # pages of one kind that are looked at closely


@dataclass
class Found:
    """Hold what a walk found: pages, everything else, what did not answer, and what leads out of the house."""

    pages: list[str] = field(default_factory=list)
    files: list[str] = field(default_factory=list)
    broken: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)

    def each_kind(self) -> list[str]:
        """Return pages of which no more than a few are alike but for a name, a number or a choice."""
        many, chosen = Counter[str](), []
        for path in self.pages:
            kind = kind_of(path)
            many[kind] += 1
            if many[kind] <= ALIKE:
                chosen.append(path)
        return chosen


async def walk(house: DemoHouse, state: Any) -> Found:
    """Follow the links as somebody who has signed in."""
    found, waiting, seen, many = Found(), deque(["/"]), {"/"}, Counter[str]()
    async with Phone(house.begins) as phone:
        for cookie in state["cookies"]:
            phone.session.cookie_jar.update_cookies({cookie["name"]: cookie["value"]})
        while waiting:
            path = waiting.popleft()
            page = await phone.get(path)
            if page.status >= 400:
                found.broken.append(f"{path}: {page.status}")
                continue
            if "text/html" not in page.headers.get("Content-Type", ""):
                found.files.append(path)
                continue
            found.pages.append(path)
            for link in page.links:
                to = urlsplit(urljoin(house.begins + path, link))
                if f"{to.scheme}://{to.netloc}" != house.begins:
                    found.outside.append(f"{path}: {link}")
                    continue
                on = to.path + (f"?{to.query}" if to.query else "")
                if on not in seen and many[kind_of(on)] < MOST:
                    seen.add(on)
                    many[kind_of(on)] += 1
                    waiting.append(on)
    return found


def kind_of(path: str) -> str:
    """Return an address without what names one thing among others: ids, numbers, and the values of choices."""
    parts = urlsplit(path)
    first, *rest = parts.path.strip("/").split("/")
    named = [re.sub(r".*[\d-].*", "*", part) for part in rest]
    choices = sorted(pair.partition("=")[0] for pair in parts.query.split("&") if pair)
    return "/".join([first, *named]) + "?" + "&".join(choices)

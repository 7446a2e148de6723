"""Ways to reach people that do not work."""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gatewayd.daemon.failing import AFTER, Failing
from gatewayd.daemon.routes import Passed
from gatewayd.model.given import Condition
from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.model.route import MailRoute, Route
from gatewayd.notify.letter import Letter, Outcome
from tests.fakes.clock import FakeClock
from tests.fakes.sender import FakeSender

LETTER = Letter("Shed chest", "It is warm.", "17-new-ann", datetime(2026, 11, 25, tzinfo=UTC))
DOWN = Outcome(ok=False, error="The mail server is not taking connections.")
REFUSED = Outcome(ok=False, error="The mail server refused the user name or the password.", hopeless=True)
MAIL, CHAT = (Route(name, MailRoute("mail.test", 465, "tls", "a@b.test", "c@d.test")) for name in ("mail", "chat"))


@dataclass
class House:
    """A watch that takes note, a clock, a sender that fails as told, and what stands between."""

    told: list[Condition] = field(default_factory=list)
    clock: FakeClock = field(default_factory=FakeClock)
    sender: FakeSender = field(default_factory=FakeSender)
    remembered: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Begin with all well."""
        self.failing = Failing(self.sender, self, self.clock, self)
        self.failing.begin([], {})
        self.told.clear()

    def give(self, given: Condition, /) -> object:
        """Take note."""
        self.told.append(given)
        return None

    def fails(self, failing: Mapping[str, str]) -> None:
        """Remember."""
        self.remembered = dict(failing)

    async def send(self, route: Route, answer: Outcome) -> None:
        """Let one letter end so."""
        self.sender.answers[route.id] = answer
        assert await self.failing.send(route, LETTER, SECOND) == answer

    @property
    def on(self) -> list[bool]:
        """Return what was told, in order."""
        return [condition.on for condition in self.told]


@pytest.fixture
async def house() -> House:
    """Build one."""
    return House()


async def test_hiccup(house: House) -> None:
    """A route that fails for less than ten minutes is nobody's business."""
    await house.send(MAIL, DOWN)
    await house.clock.advance(AFTER - 1)
    await house.send(MAIL, DOWN)
    await house.send(MAIL, Outcome(ok=True))
    await house.clock.advance(AFTER)
    await house.send(MAIL, DOWN)

    assert house.on == []


async def test_fails_for_long(house: House) -> None:
    """After ten minutes it is told, with the route and the last error, without waiting for a try, until it works."""
    task = asyncio.create_task(house.failing.run())
    await house.send(MAIL, DOWN)
    await house.clock.advance(AFTER - 1)
    assert house.on == []
    await house.clock.advance(1)
    assert house.told == [Condition("route", True, "route mail: The mail server is not taking connections")]
    await house.clock.advance(60 * MINUTE)
    await house.send(MAIL, Outcome(ok=True))
    assert house.on == [True, False]
    assert house.clock._sleepers == []
    task.cancel()
    await asyncio.wait({task})


async def test_hopeless(house: House) -> None:
    """What trying again will not mend is told at once."""
    await house.send(MAIL, REFUSED)

    assert house.told == [Condition("route", True, "route mail: The mail server refused the user name or the password")]


async def test_one_reason_does_not_settle_the_other(house: House) -> None:
    """An inspection that finds nothing leaves a route that fails, and a letter that arrives what was inspected."""
    house.failing.inspected([("mail", "the recipient is wrong.")])
    await house.send(MAIL, REFUSED)
    await house.send(MAIL, Outcome(ok=True))
    assert house.told[-1] == Condition("route", True, "route mail: the recipient is wrong")
    await house.send(CHAT, REFUSED)
    house.failing.inspected([])
    assert (house.told[-1].on, "chat" in house.told[-1].text, "mail:" in house.told[-1].text) == (True, True, False)
    await house.send(CHAT, Outcome(ok=True))
    assert house.told[-1] == Condition("route", False)
    assert house.on[:-1] == [True] * (len(house.on) - 1)


async def test_begin_tells_how_things_stand() -> None:
    """At a start the state is told in any case, and a route that failed before it and has letters waiting counts."""
    well, ill = House(), House()
    well.failing.begin([], {})
    ill.failing.begin([], {"mail": "No answer."})
    fresh = Failing(FakeSender(), well, FakeClock(), well)
    fresh.begin([], {})

    assert well.told == [Condition("route", False)]
    assert ill.told == [Condition("route", True, "route mail: No answer")]


async def test_restart_is_no_good_news(tmp_path: Path) -> None:
    """A route that was told to fail still does after a restart, with nothing waiting, until a letter gets out."""
    passed, house = Passed(tmp_path), House()
    failing = Failing(house.sender, house, house.clock, passed)
    failing.begin([], {})
    house.sender.answers["mail"] = REFUSED
    await failing.send(MAIL, LETTER, SECOND)
    house.told.clear()

    again = Failing(house.sender, house, house.clock, Passed(tmp_path))
    again.begin([], Passed(tmp_path).failing(["mail", "chat"]))
    others = Passed(tmp_path).failing(["chat"])
    await again.send(CHAT, LETTER, SECOND)
    assert house.on == [True]
    assert house.told[0].text == "route mail: The mail server refused the user name or the password"
    assert others == {}

    house.sender.answers["mail"] = Outcome(ok=True)
    await again.send(MAIL, LETTER, SECOND)
    assert house.on == [True, False]
    assert Passed(tmp_path).failing(["mail", "chat"]) == {}


async def test_route_that_is_gone(house: House) -> None:
    """A route that was taken out of the settings ends its trouble."""
    await house.send(MAIL, REFUSED)
    house.failing.keep(["chat"])

    assert house.on == [True, False]


async def test_same_state_is_told_once(house: House) -> None:
    """A hundred failures of the same kind are one message."""
    for _ in range(100):
        await house.send(MAIL, REFUSED)

    assert house.on == [True]

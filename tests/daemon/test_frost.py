"""Frost is measured and a defrost carried out by the real gateway and store; only the clock is played."""

import asyncio
import json
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from gatewayd.daemon.answers import Answers
from gatewayd.daemon.frost import by_month
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.model.chore import Kind
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.reading import Heard
from gatewayd.model.stock import Move, Package, Turn
from gatewayd.store.chore import chores
from gatewayd.store.excursion import spells
from gatewayd.store.frost import rows
from tests.daemon.atdoor import LONDON, behind_its_door
from tests.days.player import BROKER
from tests.fakes.clock import FakeClock

WHO = "shed-chest"


@dataclass
class Home:
    """Hold a house that runs: its gateway on a played clock, with who answers at its door."""

    gateway: Gateway
    clock: FakeClock
    answers: Answers

    async def ask(self, ask: str, **more: object) -> Plain:
        """Ask at the door and return the last answer, as it goes over the socket."""
        answers = [told async for told in self.answers({"ask": ask, **more}, "ann")]
        plain: Plain = json.loads(json.dumps(answers[-1]))
        return plain

    async def order(self, verb: str, why: str = "", span: int = 0, key: str = "") -> Plain:
        """Give an order about the defrost."""
        return await self.ask("order", verb=verb, subject=WHO, why=why, span=span, key=key)

    async def pass_time(self, ms: int) -> None:
        """Let time pass once all is stored: the played clock would else run ahead of the disk."""
        await self.gateway.commit()
        await self.clock.advance(ms)
        self.gateway.tick()

    async def report(self, *values: float) -> None:
        """Let the probe say one value after another, a minute apart."""
        for value in values:
            self.gateway.hear(Heard(BROKER, f"{WHO}-air", f"{value}".encode(), self.clock.now()), None)
            await self.pass_time(MINUTE)


@pytest.fixture
async def home(tmp_path: Path) -> AsyncIterator[Home]:
    """Run a house with one cold freezer; commits are made for real."""
    async with behind_its_door(tmp_path) as (gateway, clock, answers):
        home = Home(gateway, clock, answers)
        await home.report(-20.0, -20.2, -20.0)
        yield home


async def test_a_whole_defrost_is_in_the_book(home: Home) -> None:
    """Begun, gone through, finished: the plan shows how far it is, the book has it once, the calendar counts anew."""
    begun = await home.order("begin defrost", span=90 * MINUTE, key="a")
    again = await home.order("begin defrost", span=90 * MINUTE, key="a")
    step = await home.order("defrost step", "unplug")
    running = (await home.ask("defrost", do="plan"))["freezers"][0]["running"]
    status = (await home.ask("status"))["freezers"][0]
    await home.report(*[-20 + n for n in range(30)], *[9 - n for n in range(20)])
    done = await home.order("end defrost", "3 kg")
    await home.report(*[-20.5] * 25)

    async with asyncio.timeout(5):
        written = await home.gateway.store.ask(lambda conn: chores(conn, WHO, Kind.DEFROSTED))
    plan = (await home.ask("defrost", do="plan"))["freezers"][0]
    assert begun["done"]
    assert begun["text"] == again["text"]
    assert "Step 5 of 9, lid" in step["text"]
    assert (running["next"], list(running["steps"])) == ("lid", ["unplug"])
    assert (status["state"], status["defrost"]["next"]) == ("being defrosted", "lid")
    assert done["done"]
    assert [(one.who, one.facts["ice"]) for one in written] == [("ann", "3 kg")]
    assert plan["running"] is None
    assert plan["last"] is not None
    assert [one["why"] for one in plan["due"]] == ["year"]


async def test_frost_is_written_down_once_and_answered_with_what_it_means(home: Home) -> None:
    """A measurement is kept once per order, and its answer says when the freezer is due."""
    first = await home.ask("frost", do="add", freezer=WHO, mm=2.0, key="f1")
    await home.pass_time(30 * DAY)
    second = await home.ask("frost", do="add", freezer=WHO, mm=7.0, key="f2", note="left wall")
    await home.ask("frost", do="add", freezer=WHO, mm=7.0, key="f2", note="left wall")

    async with asyncio.timeout(5):
        log = await home.gateway.store.ask(rows)
    plan = (await home.ask("defrost", do="plan"))["freezers"][0]
    assert first["text"].startswith("Written down: Shed chest, 2 mm (1/16 in) of frost.")
    assert "Due now" in second["text"]
    assert [(row.mm, row.who, row.note) for row in log] == [(2.0, "ann", ""), (7.0, "ann", "left wall")]
    assert plan["frost"]["readings"] == 2
    assert plan["due"][0]["why"] == "frost"
    assert plan["good_day"]["at"] > plan["due"][0]["by"]  # due today: the next Saturday


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"freezer": "attic", "mm": 2.0}, "There is no freezer 'attic'; there are: shed-chest."),
        ({"freezer": WHO, "mm": -1}, "-1 is no thickness"),
        ({"freezer": WHO, "mm": "thick"}, "'thick' is no thickness"),
        ({"freezer": WHO, "mm": True}, "True is no thickness"),
        ({"freezer": WHO, "mm": 1e9}, "is no thickness"),
    ],
)
async def test_what_is_wrong_is_refused(home: Home, more: dict[str, object], said: str) -> None:
    """A freezer that is not there, or a thickness that cannot be, is refused and not kept."""
    answer = await home.ask("frost", do="add", **more)
    assert not answer["done"]
    assert said in answer["error"]


def test_what_was_in_a_freezer_is_worked_back_from_its_moves() -> None:
    """The weight a month ago is today's without what was put in since; gone and foreign packages do not count."""
    now = 1_795_600_000_000  # 25 November 2026
    plums = Package(1, "red", "plums", 10, 1.0)
    story = [
        Move(3, now - 40 * DAY, "ann", Turn.USED, 3, before=Package(2, "red", "beans", 5, 1.0), after=None),
        Move(2, now - 70 * DAY, "ann", Turn.ADDED, 2, before=None, after=plums),
        Move(1, now - 200 * DAY, "ann", Turn.ADDED, 1, before=None, after=Package(2, "red", "beans", 5, 1.0)),
        Move(0, now - 300 * DAY, "ann", Turn.ADDED, 0, before=None, after=Package(4, "blue", "trout", 9, 1.0)),
    ]
    found = by_month(story, {"red"}, 10.0, now, LONDON)
    assert (found[11], found[9], found[8], found[5]) == (10.0, 15.0, 5.0, 5.0)
    assert found[4] == 0.0
    assert by_month(story[:1], {"red"}, 10.0, now - 39 * DAY, LONDON) == {}


@pytest.mark.parametrize(("mm", "said"), [(6.35, "Due now"), (20.0, "Overdue"), (50.0, "Overdue")])
async def test_thick_ice_is_told_of_by_every_command(home: Home, mm: float, said: str) -> None:
    """The first measurement of thick ice is due at once: in its answer, in the plan, and in the list of what is due."""
    answer = await home.ask("frost", do="add", freezer=WHO, mm=mm, key="f")
    plan = (await home.ask("defrost", do="plan"))["freezers"][0]
    due = next(one for one in (await home.ask("due"))["due"] if one["what"].startswith("defrost"))

    assert said in answer["text"]
    assert plan["due"][0]["text"].startswith(said)
    assert plan["frost"]["mm_a_month"] is None
    assert due["overdue"] is (said == "Overdue")
    assert "its frost is" in due["reason"]


async def test_undecided_food_is_the_first_line_and_holds_a_defrost_back(home: Home) -> None:
    """Food that was warm and not decided on heads the list and holds a defrost back, until it is decided on."""
    await home.ask("stock", do="box", what="Top basket", freezer=WHO)
    added = await home.ask("stock", do="add", lines=["2 bags of trout, 1 kg, top basket"])
    await home.report(*[-20.0] * 3, *[-8.0] * 90, *[-20.0] * 45)
    await home.ask("frost", do="add", freezer=WHO, mm=20.0)
    async with asyncio.timeout(5):
        due = (await home.ask("due"))["due"]
    (spell,) = await home.gateway.store.ask(lambda conn: spells(conn, home.gateway.watch.house))
    refused = await home.order("begin defrost")
    left = (await home.ask("status"))["freezers"][0]["left_alone"]
    decided = await home.ask("excursion", do="decide", number=spell.number, all=True, decision="throw")
    after = (await home.ask("due"))["due"]
    begun = await home.order("begin defrost")

    assert added["done"], added
    assert due[0]["what"] == "look at the food of Shed chest"
    assert f"gatewayd excursion show {spell.number}" in due[0]["reason"]
    assert "a test switch-off of Shed chest" not in [one["what"] for one in due]
    assert not refused["done"]
    assert left == refused["text"]
    assert decided["done"], decided
    assert after[0]["what"] == "defrost Shed chest"
    assert begun["done"], begun

"""A probe is checked in ice by the real gateway and store, and chores are written down; only the clock is played."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.door import Plain
from gatewayd.model.chore import Kind
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND
from gatewayd.model.reading import Heard, Quantity
from gatewayd.store import frost
from gatewayd.store.calibration import offsets
from gatewayd.store.chore import chores
from gatewayd.store.trouble import StoreTrouble
from gatewayd.upkeep.frost import Thickness
from tests.daemon.atdoor import behind_its_door
from tests.days.player import BROKER
from tests.fakes.clock import FakeClock

PROBE = "shed-chest-air"


@dataclass
class Home:
    """Hold a house that runs: its gateway on a played clock, with who answers at its door."""

    gateway: Gateway
    clock: FakeClock
    answers: Answers

    async def ask(self, ask: str, **more: object) -> list[Plain]:
        """Ask at the door and return every answer."""
        return [told async for told in self.answers({"ask": ask, **more}, "ann")]

    async def check(self, do: str, **more: object) -> Plain:
        """Ask one thing of the check of the probe and return the last answer."""
        return (await self.ask("calibrate", sensor=PROBE, do=do, **more))[-1]

    async def report(self, *values: float, every: int = MINUTE) -> None:
        """Let the probe say one value after another."""
        for value in values:
            self.gateway.hear(Heard(BROKER, PROBE, f"{value}".encode(), self.clock.now()), None)
            await self.clock.advance(every)

    def hidden(self) -> list[str]:
        """Return the kinds of alarms that are kept quiet."""
        return sorted(alarm.kind for alarm in self.gateway.watch.alarms.all.values() if alarm.hidden)


@pytest.fixture
async def home(tmp_path: Path) -> AsyncIterator[Home]:
    """Run a house with one cold freezer; commits are made for real."""
    async with behind_its_door(tmp_path) as (gateway, clock, answers):
        home = Home(gateway, clock, answers)
        await home.report(-20.0, -20.2, -20.0)
        yield home


async def test_whole_check(home: Home) -> None:
    """The probe goes into the ice, settles, is corrected, and goes back; nothing rings and nothing is left hidden."""
    begun = await home.check("begin")
    quiet = home.hidden()
    await home.report(12.0, 11.0, 3.0, 1.5, *[0.4] * 11)
    done = await home.check("look")
    kept = await home.check("keep", key="k")
    await home.report(9.0, -12.0, -20.0, -20.2)

    async with asyncio.timeout(5):
        rows = await home.gateway.store.ask(lambda conn: (offsets(conn), chores(conn)))
    assert (begun["stage"], begun["again"], begun["freezer"]) == ("waiting", False, "Shed chest")
    assert {"high", "highhigh"} <= set(quiet)
    assert (done["stage"], done["offset_k"], done["was_k"]) == ("done", -0.4, 0.0)
    assert kept["text"] == "shed-chest probe: −0.40 °C is added to its readings from now on."
    assert [(row.sensor, row.offset, row.who) for row in rows[0]] == [(PROBE, -0.4, "ann")]
    assert [(row.kind, row.facts["offset"]) for row in rows[1]] == [(Kind.ICE_POINT, -0.4)]
    newest = home.gateway.watch.posts[PROBE].newest[Quantity.TEMPERATURE]
    assert (newest.good, newest.value) == (True, pytest.approx(-20.6))
    assert not [alarm for alarm in home.gateway.watch.alarms.all.values() if alarm.standing or alarm.latched]
    await home.clock.advance(31 * MINUTE)
    home.gateway.tick()
    assert home.hidden() == []


async def test_keep_twice_is_kept_once(home: Home) -> None:
    """The same order again, after a lost answer, is answered the same and stores nothing more."""
    await home.check("begin")
    await home.report(*[0.4] * 13)
    first = await home.check("keep", key="k")
    second = await home.check("keep", key="k")
    third = await home.check("keep", key="other")

    assert second["text"] == first["text"]
    assert not third["done"]
    assert len(await home.gateway.store.ask(offsets)) == 1


async def test_nothing_is_stored_too_early_or_of_no_ice(home: Home) -> None:
    """What has not settled, or stands still far from 0 °C, is refused, and so is an order without a check."""
    without = await home.check("keep")
    end = await home.check("end")
    await home.check("begin")
    await home.report(*[0.4] * 4)
    early = await home.check("keep")
    await home.report(*[5.0] * 14)
    strange = await home.check("keep")
    state = home.gateway.watch.posts[PROBE]

    assert [answer["done"] for answer in (without, end, early, strange)] == [False] * 4
    assert "Begin with: gatewayd calibrate shed-chest-air" in without["error"]
    assert await home.gateway.store.ask(offsets) == []
    assert state.offsets == {}


async def test_store_in_trouble_changes_nothing(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """A check that cannot be written is refused and not used either; it can be kept later."""
    await home.check("begin")
    await home.report(*[0.4] * 13)

    async def fail(*_: object) -> tuple[str, bool]:
        raise StoreTrouble("The disk is full.")

    with monkeypatch.context() as patch:
        patch.setattr(home.gateway.store, "carry_out", fail)
        refused = await home.check("keep", key="k")
    unused = dict(home.gateway.watch.posts[PROBE].offsets)
    kept = await home.check("keep", key="k")

    assert refused == {"done": False, "error": "The disk is full. Nothing was stored; the check can be kept later."}
    assert unused == {}
    assert kept["done"]


async def test_calling_again_moves_no_end(home: Home) -> None:
    """A check ends two hours after its begin, however often it is begun again; its state is told without beginning."""
    none = await home.check("state")
    first = await home.check("begin")
    await home.report(*[0.4] * 5)
    again = await home.check("begin")
    state = await home.check("state")
    status = (await home.ask("status"))[-1]["freezers"][0]["state"]

    assert (none["running"], first["again"], again["again"]) == (False, False, True)
    assert first["until"] == again["until"] == state["until"]
    assert status.startswith("its probe is in ice since ")
    assert "nobody watches it until" in status


async def test_looking_on(home: Home) -> None:
    """Who looks on hears of each reading, and now and then while there is none, until the time is up."""
    await home.check("begin")
    looking = asyncio.create_task(home.ask("calibrate", sensor=PROBE, do="look"))
    await home.report(14.0, 13.0, 8.5)
    await home.clock.advance(2 * HOUR)
    told = await looking

    assert {told[0]["stage"], told[-2]["stage"]} == {"waiting", "on its way"}
    assert [state["running"] for state in (told[0], told[-1])] == [True, False]
    assert 2 * HOUR // (15 * SECOND) <= len(told) <= 2 * HOUR // (15 * SECOND) + 5


async def test_no_such_thermometer(home: Home) -> None:
    """A sensor that is not there is named with those that are, and an unknown wish with those that are known."""
    (absent,) = await home.ask("calibrate", sensor="attic", do="begin")

    assert absent["error"] == "There is no thermometer 'attic'; there are: shed-chest-air."
    assert "begin, state, look, keep and end" in (await home.check("dance"))["error"]


async def test_chore_is_written_and_leaves_the_list(home: Home) -> None:
    """What was done is in the store with who and note, once however often it is sent, and is no longer due."""
    await home.answers.duty.tell()
    before = (await home.ask("due"))[0]["due"]
    add = {"subject": "shed-chest", "kind": "defrosted", "note": "2 kg of ice", "key": "d"}
    (first,) = await home.ask("chore", do="add", **add)
    (again,) = await home.ask("chore", do="add", **add)
    (battery,) = await home.ask("chore", do="add", subject=PROBE, kind="battery")
    done = await home.gateway.store.ask(chores)

    assert [one["what"] for one in before] == [
        "check shed-chest probe in ice",
        "a test switch-off of Shed chest",
    ]
    assert first == again == {"done": True, "text": "Written down: Shed chest, defrosted (2 kg of ice)."}
    assert "judged anew" in battery["text"]
    assert [(one.subject, one.kind, one.who, one.note) for one in done] == [
        ("shed-chest", Kind.DEFROSTED, "ann", "2 kg of ice"),
        (PROBE, Kind.BATTERY, "ann", ""),
    ]


async def test_defrost_is_due_by_the_frost_log(home: Home) -> None:
    """A freezer whose frost is measured thicker than half an inch is overdue to be defrosted, and says so first."""
    now = home.clock.now().wall
    for ago, mm in ((90, 5.0), (45, 9.0), (1, 14.0)):
        row = Thickness("shed-chest", now - ago * DAY, mm)
        await home.gateway.store.ask(lambda conn, row=row: frost.add(conn, row))  # type: ignore[misc]
    before = (await home.ask("due"))[0]["due"]
    await home.ask("chore", do="add", subject="shed-chest", kind="defrosted")
    after = (await home.ask("due"))[0]["due"]

    assert (before[0]["what"], before[0]["overdue"]) == ("defrost Shed chest", True)
    assert "defrost Shed chest" not in [one["what"] for one in after]


@pytest.mark.parametrize(
    ("subject", "kind", "error"),
    [
        ("shed-chest", "polish", "There is no work 'polish'"),
        ("attic", "gasket", "There is no freezer 'attic'; there are: shed-chest."),
        ("shed-chest", "battery", "There is no sensor 'shed-chest'; there are: shed-chest-air."),
        ("attic", "note", "There is no freezer or sensor 'attic'"),
        (PROBE, "ice point", "gatewayd calibrate shed-chest-air"),
    ],
)
async def test_what_does_not_fit_is_refused(home: Home, subject: str, kind: str, error: str) -> None:
    """Work of an unknown kind, or for what it cannot be done to, is refused with what can be."""
    (answer,) = await home.ask("chore", do="add", subject=subject, kind=kind)

    assert not answer["done"]
    assert error in answer["error"]
    assert await home.gateway.store.ask(chores) == []

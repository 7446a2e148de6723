"""The stock is ordered at the door of a real store; only the clock is played."""

from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gatewayd.daemon.answers import Answers
from gatewayd.daemon.gateway import Gateway
from gatewayd.daemon.mailbag import Mailbag
from gatewayd.door import Plain
from gatewayd.food.draft import Draft, cells
from gatewayd.model.contents import Group
from gatewayd.model.given import Start
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.stock import Box, Package, Sure, Turn
from gatewayd.store.stock import boxes, moves, packages
from gatewayd.store.store import Store
from gatewayd.watch.watch import Watch
from tests.days.player import house
from tests.fakes.clock import FakeClock

LONDON = ZoneInfo("Europe/London")


def heron_lane() -> House:
    """Return the house with a shed chest of 400 litres and a porch chest."""
    plain = house(1)
    shed = replace(plain.freezers["shed-chest"], volume=400.0)
    return replace(plain, freezers={"shed-chest": shed, "porch-chest": Freezer("porch-chest", "Porch chest")})


class Home:
    """Ask at the door of a house that runs."""

    def __init__(self, gateway: Gateway, clock: FakeClock, answers: Answers) -> None:
        """Take the parts."""
        self.gateway, self.clock, self.answers = gateway, clock, answers
        self.store = gateway.store

    async def do(self, do: str, what: str = "", **more: object) -> Plain:
        """Order one thing and return its answer."""
        request = {"ask": "stock", "do": do, "what": what, **more}
        return [told async for told in self.answers(request, "ann")][-1]

    async def add(self, *lines: str) -> Plain:
        """Add lines of words."""
        return await self.do("add", lines=list(lines))

    async def there(self) -> list[Package]:
        """Return the packages on the list."""
        return await self.store.ask(packages)

    async def box(self, name: str) -> Box:
        """Return a box by its name."""
        return next(box for box in await self.store.ask(boxes) if box.name == name)


@pytest.fixture
async def home(tmp_path: Path) -> AsyncIterator[Home]:
    """Run Heron Lane with a top basket in the porch chest."""
    clock = FakeClock()
    store = await Store.open(tmp_path / "house.db", LONDON)
    gateway = Gateway(Watch(heron_lane(), clock.now()), store, Mailbag(store), clock, SECOND)

    async def restored() -> None:
        """Do nothing after a copy was put back."""

    gateway.give(Start())
    home = Home(gateway, clock, Answers(gateway, clock, restored))
    made = await home.do("box", "Top basket", freezer="porch", layer="top")
    assert made["done"], made
    yield home
    await store.close()


class TestAdd:
    async def test_many_at_once(self, home: Home) -> None:
        """One line of words puts twelve bags into a box, with their weight and day."""
        answer = await home.add("12 bags of beans, 1 lb, frozen about June 2025, top basket")

        (beans,) = await home.there()
        assert answer["done"]
        assert (beans.food, beans.count, beans.packed, beans.box) == ("beans", 12, "bag", "top-basket")
        assert beans.weight == pytest.approx(12 * 0.45359237)
        assert beans.about
        assert beans.since is None  # frozen long ago: nobody said when it came here

    async def test_all_or_nothing(self, home: Home) -> None:
        """One line of several that is not understood keeps all of them out, and says which it was."""
        answer = await home.add("12 bags of beans", "plums, blue crate", "trout, 2025-13")

        assert not answer["done"]
        assert "line 2: 'blue crate' is no box" in answer["error"]
        assert "line 3: '2025-13'" in answer["error"]
        assert await home.there() == []

    async def test_nothing_but_the_name(self, home: Home) -> None:
        """A food without anything else is on the list, and lies somewhere."""
        await home.add("plums")

        assert [one.food for one in await home.there()] == ["plums"]
        assert (await home.box("Somewhere")).freezer == ""

    async def test_loose(self, home: Home) -> None:
        """Food put into a freezer without a box lies loose in it, in the same place each time."""
        await home.add("plums, porch chest", "bread, porch chest")

        assert {one.box for one in await home.there()} == {"porch-chest-loose"}

    async def test_unmatched(self, home: Home) -> None:
        """A food that the table does not know stays as written, with a guess at what was meant."""
        answer = await home.add("trutt, shed")

        assert [one.food for one in await home.there()] == ["trutt"]
        assert "Then say: gatewayd stock set 1 food trout" in answer["hints"][0]

    async def test_named_as_meant(self, home: Home) -> None:
        """What the suggestion says to write gives the package its right name, the name alone does too."""
        hint = (await home.add("trutt, shed"))["hints"][0]
        _, number, *words = hint.partition("gatewayd stock ")[2].split()
        told = await home.do("set", number, line=" ".join(words))
        renamed = [one.food for one in await home.there()]
        await home.do("set", number, line="venison steaks")

        assert told["hints"] == []
        assert renamed == ["trout"]
        assert [one.food for one in await home.there()] == ["venison steaks"]

    async def test_repeat(self, home: Home) -> None:
        """The same order handed in twice adds once and is answered alike."""
        first = await home.do("add", lines=["plums"], key="k")

        assert await home.do("add", lines=["plums"], key="k") == first
        assert len(await home.there()) == 1


class TestTake:
    async def test_one_by_one(self, home: Home) -> None:
        """Taking out lessens the count; the last one takes the row off the list."""
        await home.add("3 bags of beans, top basket")
        await home.do("take", "beans")
        left = await home.there()
        answer = await home.do("take", "beans porch", n=2, why="supper")

        assert [one.count for one in left] == [2]
        assert "That was the last" in answer["text"]
        assert await home.there() == []
        assert [move.why for move in await home.store.ask(moves) if move.turn is Turn.TAKEN] == ["supper", ""]

    async def test_more_than_there_are(self, home: Home) -> None:
        """Taking more than the list has is refused with what to do, and nothing changes."""
        await home.add("3 bags of beans")
        answer = await home.do("take", "beans", n=4)

        assert not answer["done"]
        assert "gatewayd stock use 1" in answer["error"]
        assert [one.count for one in await home.there()] == [3]

    async def test_count_unknown(self, home: Home) -> None:
        """Of food whose count nobody said the row stays, and the taking is in the history."""
        await home.add("plums")
        answer = await home.do("take", "plums")

        assert answer["done"]
        assert len(await home.there()) == 1
        assert Turn.TAKEN in [move.turn for move in await home.store.ask(moves)]

    async def test_which(self, home: Home) -> None:
        """Of several that fit none is taken blindly: they are shown with their numbers; --oldest chooses."""
        await home.add("3 bags of beans, 2026-06-01", "5 bags of beans, 2025-06-01")
        refused = await home.do("take", "beans")
        await home.do("take", "beans", oldest=True)
        await home.do("use", "#1")

        assert "2 fit 'beans'" in refused["error"]
        assert [(one.id, one.count) for one in await home.there()] == [(2, 4)]

    async def test_nothing_fits(self, home: Home) -> None:
        """What is not on the list is said, with a food that may be meant."""
        answer = await home.do("use", "trutt")

        assert "Nothing on the list fits 'trutt'. Did you mean trout" in answer["error"]

    @pytest.mark.parametrize("n", [-1, 0, "two", float("inf"), True, 1e9])
    async def test_absurd(self, home: Home, n: object) -> None:
        """A count that is none is refused."""
        await home.add("3 bags of beans")

        assert not (await home.do("take", "beans", n=n))["done"]
        assert [one.count for one in await home.there()] == [3]


class TestMove:
    async def test_some(self, home: Home) -> None:
        """Some of a row moved to another freezer are a row of their own there, and count from now on."""
        await home.add("5 bags of beans, 2025-06-01, top basket")
        await home.clock.advance(MINUTE)
        await home.do("move", "beans", to="shed", n=2)

        stay, went = sorted(await home.there(), key=lambda one: one.id)
        assert (stay.count, stay.since, went.count) == (3, None, 2)
        assert (went.box, went.since) == ("shed-chest-loose", home.clock.now().wall)
        assert went.frozen == stay.frozen

    async def test_box(self, home: Home) -> None:
        """A whole box moves with all that is in it, and back with one undo."""
        await home.add("5 bags of beans, top basket", "plums, top basket")
        before = await home.there()
        await home.clock.advance(MINUTE)
        answer = await home.do("move", "top basket", to="shed chest")
        moved = await home.there()
        await home.do("undo")

        assert "with 2 rows to Shed" in answer["text"]
        assert {one.since for one in moved} == {home.clock.now().wall}
        assert await home.there() == before
        assert (await home.box("Top basket")).freezer == "porch-chest"

    async def test_nowhere(self, home: Home) -> None:
        """A place that is not known is refused with those that are."""
        await home.add("plums")

        assert "Porch chest (porch-chest)" in (await home.do("move", "plums", to="attic"))["error"]


class TestCount:
    async def test_sure(self, home: Home) -> None:
        """A box that was counted is sure; what is put in or taken out in writing keeps it, and says so."""
        await home.add("5 bags of beans, top basket")
        guessed = (await home.box("Top basket")).sure
        await home.do("count", "top basket", full=0.75)
        counted = await home.box("Top basket")
        await home.do("take", "beans")

        assert guessed is Sure.GUESSED
        assert (counted.sure, counted.full, counted.looked) == (Sure.COUNTED, 0.75, home.clock.now().wall)
        assert (await home.box("Top basket")).sure is Sure.KEPT

    async def test_package(self, home: Home) -> None:
        """A package counted again has so many; none left takes it off the list."""
        await home.add("5 bags of beans", "plums")
        await home.do("count", "beans", n=7)
        await home.do("count", "plums", n=0)

        assert [(one.food, one.count) for one in await home.there()] == [("beans", 7)]


class TestSet:
    async def test_known_later(self, home: Home) -> None:
        """What was not known at first is written down later; what was known stays."""
        await home.add("5 bags of beans, top basket (old)")
        answer = await home.do("set", "1", line="1 lb, about June 2025, food runner beans")

        (one,) = await home.there()
        assert answer["done"]
        assert (one.food, one.count, one.packed, one.note, one.about) == ("runner beans", 5, "bag", "old", True)
        assert one.each == pytest.approx(0.45359237)

    @pytest.mark.parametrize("line", ["", "shed chest", "mumble"])
    async def test_nothing_known(self, home: Home, line: str) -> None:
        """What says nothing, or a place, changes nothing."""
        await home.add("5 bags of beans, top basket")
        before = await home.there()

        assert not (await home.do("set", "1", line=line))["done"]
        assert await home.there() == before


class TestBox:
    async def test_drop(self, home: Home) -> None:
        """A box with food on its list stays; an empty one goes, and its id is not used again."""
        await home.add("plums, top basket")
        kept = await home.do("box", "top basket", gone=True)
        await home.do("use", "plums")
        await home.do("box", "top basket", gone=True)
        again = await home.do("box", "Top basket", freezer="shed")

        assert "has 1 row on its list" in kept["error"]
        assert [box["id"] for box in again["boxes"]] == ["top-basket-2"]

    async def test_change(self, home: Home) -> None:
        """What is known of a box is changed by its name."""
        await home.do("box", "top basket", place="left at the back", full=0.5)

        box = await home.box("Top basket")
        assert (box.place, box.full, box.layer) == ("left at the back", 0.5, "top")


class TestTooMuchFresh:
    @pytest.mark.parametrize(
        ("kg", "said"), [(12.7, None), (12.9, "Careful"), (19.1, "Careful"), (19.3, "Too much at once")]
    )
    async def test_limits(self, home: Home, kg: float, said: str | None) -> None:
        """400 litres freeze 12.8 to 19.2 kg in a day (2 to 3 lb a cubic foot in 24 h: makers' manuals citing USDA)."""
        answer = await home.add(f"venison, {kg} kg, fresh, shed")

        assert [text.split(":")[0] for text in answer["warnings"]] == ([said] if said else [])

    async def test_in_all(self, home: Home) -> None:
        """A weight in all is warned of once, and is what the watch is told, however many pieces it is in."""
        fine = await home.add("12 kg venison in all, 4 pieces, fresh, shed (from the Millers)")
        more = await home.add("1 kg trout in all, 4 pieces, fresh, shed")
        await home.do("count", "shed chest")
        await home.answers.pantry.tell()

        assert fine["warnings"] == []
        assert more["warnings"][0].startswith("Careful: 13 kg of fresh food went into Shed chest within a day.")
        assert home.gateway.watch.stocked["shed-chest"] == {Group.MEAT: 13.0}

    async def test_within_a_day(self, home: Home) -> None:
        """What went in earlier that day counts too, what went in a day ago does not, and frozen food never does."""
        await home.add("venison, 10 kg, fresh, shed", "trout, 30 kg, 2025-06-01, shed")
        second = await home.add("venison, 5 kg, fresh, shed")
        await home.clock.advance(DAY)
        third = await home.add("venison, 5 kg, fresh, shed")

        assert "15 kg" in second["warnings"][0]
        assert third["warnings"] == []


class TestContents:
    async def test_told(self, home: Home) -> None:
        """A counted list tells the watch what a freezer holds, by groups; a guess of a few bags does not."""
        await home.add("10 kg of venison, shed", "4 loaves of bread, 500 g, shed")
        await home.answers.pantry.tell()
        guessed = dict(home.gateway.watch.stocked)
        await home.do("count", "shed chest")
        await home.answers.pantry.tell()

        assert guessed == {}
        assert home.gateway.watch.stocked == {"shed-chest": {Group.MEAT: 10.0, Group.BREAD: 2.0}}
        assert home.gateway.watch.pictures["shed-chest"].facts.kg == {Group.MEAT: 10.0, Group.BREAD: 2.0}


class TestImport:
    @staticmethod
    def rows(*drafts: Draft) -> list[list[object]]:
        """Write drafts as the command sends them."""
        return [list(cells(draft)) for draft in drafts]

    async def test_in_pieces(self, home: Home) -> None:
        """A file handed in piece by piece is stored in one go, with the boxes it names, and undone in one."""
        before = await home.there()
        await home.do("stage", file="f", rows=self.rows(Draft("beans", 12.0, box="Top basket", freezer="porch-chest")))
        await home.do("stage", file="f", rows=self.rows(Draft("plums", box="New crate", freezer="shed-chest")))
        waiting = await home.there()
        answer = await home.do("import", file="f", rows=2, key="k")
        again = await home.do("import", file="f", rows=2, key="k")

        assert waiting == before
        assert answer["counts"] == {"added": 2, "new boxes": 1}
        assert again == answer
        assert [(one.food, one.box) for one in await home.there()] == [("plums", "new-crate"), ("beans", "top-basket")]
        await home.do("undo")
        assert await home.there() == before

    async def test_not_whole(self, home: Home) -> None:
        """A file of which a piece is missing is not imported."""
        await home.do("stage", file="f", rows=self.rows(Draft("beans")))

        assert "not all here" in (await home.do("import", file="f", rows=2))["error"]
        assert await home.there() == []

    async def test_changed(self, home: Home) -> None:
        """A row with the number of a package changes that package; what is as it was is left alone."""
        await home.add("3 bags of beans, top basket", "plums, top basket")
        beans, plums = await home.there()
        rows = self.rows(
            Draft("runner beans", 4.0, packed="bag", box="top-basket", number=beans.id, since=beans.since),
            Draft("plums", box="top-basket", number=plums.id, since=plums.since),
        )
        await home.do("stage", file="f", rows=rows)
        answer = await home.do("import", file="f", rows=2)

        assert answer["counts"] == {"changed": 1, "as they were": 1, "added": 0, "new boxes": 0}
        assert [(one.food, one.count) for one in await home.there()] == [("runner beans", 4.0), ("plums", None)]

    @pytest.mark.parametrize(
        "row",
        [
            "beans",
            ["beans"],
            list(cells(Draft("beans", freezer="attic"))),
            list(cells(Draft("beans", count=-1.0))),
            list(cells(Draft("beans", each=float("nan")))),
            list(cells(Draft("beans", frozen=1 << 70))),
            list(cells(Draft("b" * 200))),
        ],
    )
    async def test_hostile_piece(self, home: Home, row: object) -> None:
        """A piece that no command of ours sends is refused, and the door goes on."""
        answer = await home.do("stage", file="f", rows=[row])

        assert not answer["done"]
        assert (await home.add("plums"))["done"]

    async def test_forgotten(self, home: Home) -> None:
        """Files that were begun and left make room after ten minutes; until then only so many are held."""
        for n in range(4):
            await home.do("stage", file=f"f{n}", rows=[])
        refused = await home.do("stage", file="g", rows=[])
        await home.clock.advance(11 * MINUTE)

        assert "other files are being imported" in refused["error"]
        assert (await home.do("stage", file="g", rows=[]))["done"]


async def test_undo_what_was_meant(home: Home) -> None:
    """Orders that are named are undone together if they are the last ones; otherwise none of them is."""
    await home.add("8 bags of venison, top basket")
    number = (await home.there())[-1].id
    one = await home.do("take", what=str(number))
    two = await home.do("move", what=str(number), to="shed chest")
    early = await home.do("undo", orders=[one["order"]])
    between = await home.there()
    done = await home.do("undo", orders=[two["order"], one["order"]])

    assert "Something else was done since" in early["error"]
    assert between[-1].count == 7
    assert (await home.there())[-1].count == 8
    assert done["text"].splitlines()[1:] == [
        "  7 bags of venison are in Top basket in Porch chest again",
        "  8 bags of venison are on the list again",
    ]


async def test_undo_nothing(home: Home) -> None:
    """With nothing left to undo it is said."""
    await home.do("undo")

    assert (await home.do("undo"))["error"] == "There is nothing to undo."


@pytest.mark.parametrize(
    "request_",
    [{"do": "dance"}, {"do": "add", "lines": "beans"}, {"do": "take", "what": 7}, {"do": "add"}, {"do": "use"}],
)
async def test_wrong_request(home: Home, request_: Plain) -> None:
    """A request that makes no sense is answered with a sentence."""
    answer = [told async for told in home.answers({"ask": "stock", **request_}, "ann")][-1]

    assert answer["error"]

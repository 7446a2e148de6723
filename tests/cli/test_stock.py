"""The commands of the stock: what they ask at the door, and what they show of the file."""

import asyncio
import csv
import json
import re
import sqlite3
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import click
import pytest

from gatewayd.cli import house
from gatewayd.cli.stock import command
from gatewayd.door import LONGEST, NotRunning
from gatewayd.food import table as food
from gatewayd.food.draft import Draft
from gatewayd.food.order import amend, parse
from gatewayd.food.place import Places
from gatewayd.model.house import Freezer
from gatewayd.model.moment import DAY, Moment
from gatewayd.model.stock import Box, Package, Sure, Turn
from gatewayd.store.bring import PIECE, pieces
from gatewayd.store.stock import pen
from gatewayd.store.store import Store
from tests.cli.household import LONDON, asked, call, settle

JUNE = 1748775600000  # 1 Jun 2025, noon in London
T0 = 1_795_600_800_000  # 25 Nov 2026
DONE = {
    "done": True,
    "text": "Done.",
    "packages": [],
    "boxes": [],
    "hints": ["'trutt' is not in the table"],
    "warnings": [],
}
MOVE = {"do": "move", "why": "", "oldest": False}


class Door:
    """Answer at the door, and remember what was asked; `away` is a daemon that does not run."""

    def __init__(self) -> None:
        """Begin with nothing asked."""
        self.asked: list[dict[str, Any]] = []
        self.answer: dict[str, Any] = dict(DONE)
        self.away = False

    def __call__(self, _door: Path, request: dict[str, Any], _patience: float = 30.0) -> Iterator[dict[str, Any]]:
        """Answer one request."""
        if self.away:
            raise NotRunning("no door")
        self.asked.append({name: value for name, value in request.items() if name not in ("ask", "key")})
        yield {"done": True, "rows": 0} if request["do"] == "stage" else self.answer


@pytest.fixture
def front(monkeypatch: pytest.MonkeyPatch) -> Door:
    """Put somebody at the door."""
    door = Door()
    monkeypatch.setattr(house, "ask", door)
    return door


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Write a house with beans and plums in its store; return the settings file."""
    file = settle(tmp_path)

    def fill(conn: sqlite3.Connection) -> str:
        writing = pen(conn, T0, "ann")
        writing.new_box(
            Box("top", "Top basket", "shed-chest", layer="top", full=0.5, looked=T0 - DAY, sure=Sure.COUNTED)
        )
        writing.new_box(Box("crate", "Crate", "cellar-upright"))
        beans = writing.add(Package(0, "top", "runner beans", 12, 0.5, JUNE, about=True, packed="bag", who="ann"))
        writing.add(Package(0, "crate", "=plums", note="from the tree"))
        after = Package(beans.id, "top", "runner beans", 10, 0.5, JUNE, about=True, packed="bag", who="ann")
        pen(conn, T0 + 1, "ben").change(beans, after, Turn.TAKEN, "supper")
        return ""

    async def write() -> None:
        store = await Store.open(tmp_path / "house.db", LONDON)
        await store.carry_out(fill, Moment(T0, T0))
        await store.close()

    asyncio.run(write())
    return file


@pytest.mark.parametrize(
    ("words", "request_"),
    [
        ("add 12 bags of beans, 1 lb, top basket", {"do": "add", "lines": ["12 bags of beans, 1 lb, top basket"]}),
        ("take beans", {"do": "take", "what": "beans", "n": None, "why": "", "oldest": False}),
        ("take 2 beans porch", {"do": "take", "what": "beans porch", "n": 2.0, "why": "", "oldest": False}),
        ("take 31", {"do": "take", "what": "31", "n": None, "why": "", "oldest": False}),
        ("take 2 31 --oldest", {"do": "take", "what": "31", "n": 2.0, "why": "", "oldest": True}),
        ("use beans", {"do": "use", "what": "beans", "why": "", "oldest": False}),
        ("use beans --thrown --why thawed", {"do": "throw", "what": "beans", "why": "thawed", "oldest": False}),
        ("move 2 beans to shed top", MOVE | {"what": "beans", "to": "shed top", "n": 2.0}),
        ("move top basket --to shed", MOVE | {"what": "top basket", "to": "shed", "n": None}),
        ("count top basket --full 75%", {"do": "count", "what": "top basket", "n": None, "full": 0.75, "why": ""}),
        ("count beans --is 5", {"do": "count", "what": "beans", "n": 5.0, "full": None, "why": ""}),
        (
            "box Top --in shed --layer top",
            {"do": "box", "what": "Top", "full": None, "gone": False, "freezer": "shed", "layer": "top"},
        ),
        ("set 31 1 lb, June 2025", {"do": "set", "what": "31", "line": "1 lb, June 2025"}),
        ("undo", {"do": "undo"}),
    ],
)  # fmt: skip
def test_orders(home: Path, front: Door, words: str, request_: dict[str, Any]) -> None:
    """A few words become the order that is meant."""
    code, output = call(home, "stock", *words.split(" "))

    assert (code, front.asked) == (0, [request_])
    assert "Done.\nnote: 'trutt' is not in the table" in output


def examples() -> list[str]:
    """Return every line about the stock in the README and in a --help, what is said behind it left out."""
    told = [Path("README.md").read_text(encoding="utf-8")]
    for name in (None, *command.list_commands(click.Context(command))):
        one = command if name is None else command.get_command(click.Context(command), name)
        told.append(one.help or "")  # type: ignore[union-attr]
    found = [
        line for text in told for line in re.findall(r"^ *gatewayd stock (\w+ .+?)(?:   .*)?$", text, re.MULTILINE)
    ]
    spoken = re.findall(r"`(?:stock )?((?:add|take|use|move|count|set|box) [^`]+)`", "\n".join(told))
    return [line for line in dict.fromkeys((*found, *spoken)) if line != "add -"]  # that one reads a pipe


PLACES = Places(
    (Box("top-basket", "Top basket", "porch-chest", layer="top"),),
    {
        who: Freezer(who, name)
        for who, name in (("shed-chest", "Shed chest"), ("porch-chest", "Porch chest"), ("cellar-upright", "Cellar"))
    },
)
ONE = Package(31, "top-basket", "beans", 12)


def test_examples(home: Path, front: Door) -> None:
    """Every example in the README and the --help is understood, and means a food that the table knows."""
    said = examples()
    adds = [parse(line[4:], date(2026, 11, 25), LONDON, PLACES) for line in said if line.startswith("add ")]
    sets = [amend(line[7:], ONE, date(2026, 11, 25), LONDON, PLACES) for line in said if line.startswith("set 31")]

    assert len(said) > 15
    assert all(food.find(one.food) for one in adds)
    assert {(one.food, one.count, one.each, one.note) for one in adds} >= {
        ("venison", 4, 0.75, "from the Millers"),
        ("beans", 12, 0.45359237, ""),
    }
    assert {"food": "venison steaks"} in sets
    for line in said:
        assert call(home, "stock", *line.split())[0] == 0, line


def test_refused(home: Path, front: Door) -> None:
    """What is refused is said, and the exit code tells; with --json it is a document."""
    front.answer = {"done": False, "error": "Nothing on the list fits 'x'."}

    assert call(home, "stock", "take", "x") == (1, "Nothing on the list fits 'x'.\n")
    code, output = call(home, "stock", "take", "x", "--json")
    assert (code, json.loads(output)) == (1, front.answer)


def test_warning(home: Path, front: Door) -> None:
    """A warning is shown behind what was done."""
    front.answer = DONE | {"warnings": ["Too much at once: 20 kg"]}

    assert "! Too much at once: 20 kg" in call(home, "stock", "add", "venison")[1]


@pytest.mark.parametrize("words", ["move beans", "move to shed", "count top --full much", "count top --full 200%"])
def test_wrong_use(home: Path, front: Door, words: str) -> None:
    """What cannot be meant is not asked for."""
    assert call(home, "stock", *words.split())[0] == 2
    assert front.asked == []


def test_not_running(home: Path, front: Door) -> None:
    """With the daemon down the list is read all the same, and nothing can be changed."""
    front.away = True

    assert call(home, "stock", "list")[0] == 0
    code, output = call(home, "stock", "take", "beans")
    assert code == 3
    assert "not running; nothing changed; start it with" in output


class TestLooking:
    @pytest.mark.parametrize("words", [(), ("list",)])
    def test_list(self, home: Path, words: tuple[str, ...]) -> None:
        """Each freezer has its boxes, each box says when it was looked into and how sure its list is."""
        code, output = call(home, "stock", *words)

        assert code == 0
        assert "Shed chest\n  Top basket (top), top, 50% full, looked into 24 Nov 2026; its list is counted" in output
        assert "10 bags of runner beans, 500 g each, about Jun 2025, by ann" in output
        assert "Crate (crate), never looked into; its list is a guess" in output

    def test_list_of_a_place(self, home: Path) -> None:
        """One freezer or box can be listed; what is no place is said."""
        found = asked(home, "stock", "list", "shed")

        assert [box["id"] for box in found["boxes"]] == ["top"]  # type: ignore[index]
        assert call(home, "stock", "list", "attic")[0] == 1

    @pytest.mark.parametrize(("words", "numbers"), [("beans shed 2025", [1]), ("plums", [2]), ("plums shed", [])])
    def test_find(self, home: Path, words: str, numbers: list[int]) -> None:
        """A few words in any order find packages."""
        found = asked(home, "stock", "find", *words.split())

        assert [one["number"] for one in found["packages"]] == numbers  # type: ignore[index]

    def test_find_nothing(self, home: Path) -> None:
        """Where nothing fits a food that may be meant is named, with the command that finds it."""
        output = call(home, "stock", "find", "trutt")[1]
        assert "Did you mean trout" in output
        assert "Then say: gatewayd stock find trout\n" in output

    def test_history(self, home: Path) -> None:
        """The history says what was done, by whom, when and why, the newest first."""
        lines = call(home, "stock", "history")[1].splitlines()

        assert "taken out 1 12 bags of runner beans → 10, by ben  (supper)" in lines[0]
        assert len(lines) == 5
        assert len(asked(home, "stock", "history", "1")["moves"]) == 2  # type: ignore[index]
        assert len(asked(home, "stock", "history", "plums")["moves"]) == 1  # type: ignore[index]
        assert len(asked(home, "stock", "history", "top basket", "--last", "2")["moves"]) == 2  # type: ignore[index]

    def test_sheet(self, home: Path) -> None:
        """The sheet has a square for each bag, and lines for a pen."""
        output = call(home, "stock", "sheet")[1]

        assert "☐☐☐☐☐☐☐☐☐☐ 10 bags of runner beans" in output
        assert output.count("______") > 8


class TestFiles:
    def test_export(self, home: Path, tmp_path: Path) -> None:
        """The list goes out as RFC 4180 has it, formulas made harmless, and an existing file is not overwritten."""
        out = tmp_path / "list.csv"
        first, again = call(home, "stock", "export", "-o", str(out)), call(home, "stock", "export", "-o", str(out))

        rows = list(csv.DictReader(out.read_text().splitlines()))
        assert (first[0], again[0]) == (0, 1)
        assert out.read_bytes().count(b"\r\n") == 3
        assert sorted(row["food"] for row in rows) == ["'=plums", "runner beans"]

    def test_export_json(self, home: Path) -> None:
        """With --json each line is a package."""
        lines = call(home, "stock", "export", "--json")[1].splitlines()

        assert sorted(json.loads(line)["food"] for line in lines) == ["=plums", "runner beans"]

    def test_round_trip(self, home: Path, front: Door, tmp_path: Path) -> None:
        """What was written out comes in again with its numbers."""
        out = tmp_path / "list.csv"
        call(home, "stock", "export", "-o", str(out))
        front.answer = DONE | {"counts": {}}
        code, _ = call(home, "stock", "import", str(out))

        (stage, imported) = front.asked
        assert code == 0
        assert sorted((row[0], row[-1]) for row in stage["rows"]) == [("=plums", 2), ("runner beans", 1)]
        assert (stage["do"], imported["do"], imported["rows"]) == ("stage", "import", 2)
        assert stage["file"] == imported["file"]

    def test_faults(self, home: Path, front: Door, tmp_path: Path) -> None:
        """A file with faults is not handed in; each is said with its line, dry run or not."""
        file = tmp_path / "x.csv"
        file.write_text('food,count\nbeans,2\nplums,many\n"trout,1\nbread,x\n')
        for more in ((), ("--dry-run",)):
            code, output = call(home, "stock", "import", str(file), *more)
            assert code == 1
            assert "line 3, count: 'many'" in output
            assert "line 4: a quote opens here and never closes" in output
            assert "line 5, count: 'x'" in output
            assert "3 wrong on 3 lines, 1 rows are sound. Nothing was imported" in output
        code, output = call(home, "stock", "import", str(file), "--json")
        assert [fault["line"] for fault in json.loads(output)["faults"]] == [3, 4, 5]
        assert front.asked == []

    def test_dry_run(self, home: Path, front: Door, tmp_path: Path) -> None:
        """A dry run of a sound file says what would come of it and asks for nothing."""
        file = tmp_path / "x.csv"
        file.write_bytes("what;Menge;box;freezer\r\nBückling;2;Kiste;shed\r\n".encode("cp1252"))
        code, output = call(home, "stock", "import", str(file), "--map", "menge=count", "--dry-run")

        assert (code, front.asked) == (0, [])
        assert "no UTF-8 (line 2)" in output
        assert "1 new, 0 that are on the list. Nothing was changed" in output
        assert "a new box would be made: Kiste in shed-chest, for 1 rows" in output

    def test_twice(self, home: Path, front: Door, tmp_path: Path) -> None:
        """Rows that are on the list already are named and left out, of a dry run too, unless they are wanted again."""
        file = tmp_path / "x.csv"
        file.write_text(
            "food,count,kg,frozen,box,freezer,note\n"
            "Runner beans,10,0.5,2025-06-01,Top basket,shed,\n"
            "Runner beans,10,0.5,2025-06-01,Top basket,shed,\n"
            "'=plums,,,,Crate,cellar,from the tree\n"
            "'=plums,,,,Crate,cellar,from the other tree\n"
        )
        front.answer = DONE | {"counts": {}}
        named = "2 rows are the same as packages already there (lines 2, 4); they are left out"
        dry = call(home, "stock", "import", str(file), "--dry-run")
        told = asked(home, "stock", "import", str(file), "--dry-run")
        nothing = front.asked.copy()
        code, output = call(home, "stock", "import", str(file))
        sent = [row[0] for row in front.asked[0]["rows"]]
        front.asked.clear()
        again = call(home, "stock", "import", str(file), "--again")

        assert nothing == []
        assert named in dry[1]
        assert "2 new, 0 that are on the list" in dry[1]
        assert isinstance(told, dict)
        assert (told["same"], told["new"]) == (2, 2)
        assert (code, named in output, sent) == (0, True, ["Runner beans", "=plums"])
        assert "already there" not in again[1]
        assert len(front.asked[0]["rows"]) == 4

    def test_nothing_new(self, home: Path, front: Door, tmp_path: Path) -> None:
        """A file of which all is there already asks for nothing."""
        file = tmp_path / "x.csv"
        file.write_text("food,box,freezer,note\n'=plums,crate,,from the tree\n")
        code, output = call(home, "stock", "import", str(file))

        assert (code, front.asked) == (0, [])
        assert "1 row is the same as a package already there (line 2)" in output
        assert "There is nothing new in the file. Nothing was changed." in output
        assert asked(home, "stock", "import", str(file)) == {
            "done": True, "text": "There is nothing new in the file. Nothing was changed.", "counts": {},
            "remark": "", "same": 1,
        }  # fmt: skip

    @pytest.mark.parametrize("args", [("nowhere.csv",), ("x.csv", "--map", "nonsense")])
    def test_wrong_use(self, home: Path, front: Door, tmp_path: Path, args: tuple[str, ...]) -> None:
        """A file that is not there and a mapping that is none are said."""
        (tmp_path / "x.csv").write_text("food\n")
        code, output = call(home, "stock", "import", str(tmp_path / args[0]), *args[1:])

        assert code in (1, 2)
        assert output
        assert front.asked == []

    def test_stops_at_the_first_refusal(self, home: Path, front: Door, tmp_path: Path) -> None:
        """A file that the daemon refuses is not imported."""
        file = tmp_path / "x.csv"
        file.write_text("food\nbeans\n")
        front.answer = {"done": False, "error": "the rows are not all here"}

        assert call(home, "stock", "import", str(file)) == (1, "the rows are not all here\n")

    def test_pieces(self) -> None:
        """Rows are handed in by pieces that the door takes, all of them once, in order."""
        drafts = [Draft(f"beans {n}", note="ü" * 400) for n in range(300)]
        found = list(pieces(drafts))

        assert all(len(json.dumps(piece, ensure_ascii=False).encode()) < PIECE + 2000 < LONGEST for piece in found)
        assert [row[0] for piece in found for row in piece] == [draft.food for draft in drafts]
        assert list(pieces([])) == []

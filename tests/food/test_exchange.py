"""Rows of cells become drafts, every fault is said, and what goes out comes in again."""

from collections.abc import Sequence
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.food.cell import bare, harmless
from gatewayd.food.draft import Draft
from gatewayd.food.exchange import HEADER, House, Taken, column, give, set_apart, take
from gatewayd.food.place import Places
from gatewayd.model.house import Freezer
from gatewayd.model.stock import Box, Package

LONDON = ZoneInfo("Europe/London")
JUNE = 1748775600000  # 1 Jun 2025, noon in London
FREEZERS = {f.id: f for f in (Freezer("shed-chest", "Shed chest"), Freezer("porch-chest", "Porch chest"))}
BOXES = (
    Box("top-basket", "Top basket", "porch-chest"), Box("top-basket-2", "Top basket", "shed-chest"),
    Box("somewhere", "Somewhere"), Box("bag-a", "Bag", "shed-chest"), Box("bag-b", "Bag", "shed-chest"),
)  # fmt: skip
PLACES = Places(BOXES, FREEZERS)
HERE = House(PLACES, date(2026, 11, 25), LONDON, frozenset((1, 2, 3)))


def read(
    header: Sequence[str], *rows: Sequence[str], mapping: dict[str, str] | None = None, here: House = HERE
) -> Taken:
    """Take a table in."""
    return take(((line, list(cells), "") for line, cells in enumerate((header, *rows), 1)), here, mapping)


def faults(taken: Taken) -> list[tuple[int, str]]:
    """Return line and column of every fault."""
    return [(fault.line, fault.column) for fault in taken.faults]


def test_all_columns() -> None:
    """Every field has its column, and a row with all of them is read."""
    row = [
        "2", "beans", "12", "0.5", "2025-06-01", "yes", "bag", "ann", "salted", "Top basket", "Porch chest",
        "2025-06-01T12:00+01:00", "",
    ]  # fmt: skip
    (draft,) = read(HEADER, row).drafts

    assert draft == Draft(
        "beans", 12.0, 0.5, JUNE, about=True, packed="bag", who="ann", note="salted", box="top-basket",
        freezer="porch-chest", since=JUNE, number=2,
    )  # fmt: skip


def test_only_the_food() -> None:
    """A table of nothing but names is enough."""
    assert read(["Item"], ["beans"], [""], ["plums"]).drafts == [Draft("beans"), Draft("plums")]


@pytest.mark.parametrize(
    ("header", "field"),
    [
        ("Food", "food"), (" what ", "food"), ("QTY", "count"), ("How many", "count"), ("weight (lb)", "each"),
        ("Date frozen", "frozen"), ("ID", "number"), ("Basket", "box"), ("Colour", None), ("", None),
    ],
)  # fmt: skip
def test_column(header: str, field: str | None) -> None:
    """Headers are known by their usual names, whatever their case; others are not guessed at."""
    assert column(header) == field


def test_mapping() -> None:
    """A header that is not known is given a field by the keeper, or left out."""
    taken = read(["Kram", "Colour"], ["beans", "green"], mapping={"kram": "food", "Colour": "-"})

    assert (taken.drafts, taken.faults) == ([Draft("beans")], [])


@pytest.mark.parametrize(
    ("header", "mapping", "said"),
    [
        (["food", "Colour"], {}, "--map 'Colour'=FIELD"), (["count"], {}, "no column says the food"),
        (["food", "item"], {}, "is food once more"), (["food"], {"Colour": "note"}, "the file has no such column"),
        (["food", "Colour"], {"Colour": "colour"}, "'colour' is no field"),
    ],
)  # fmt: skip
def test_wrong_columns(header: list[str], mapping: dict[str, str], said: str) -> None:
    """A table whose columns are not clear is a fault of its first line: nothing in it is dropped unseen."""
    taken = read(header, mapping=mapping)

    assert [fault.line for fault in taken.faults] == [1] * len(taken.faults)
    assert any(said in fault.text for fault in taken.faults)


def test_empty() -> None:
    """An empty file is a fault that shows what is wanted."""
    assert "must begin with a header, as: id,food,count" in str(take([], HERE).faults[0])


def test_every_fault() -> None:
    """Every bad cell of every bad line is said, and the sound lines between are counted."""
    taken = read(
        ["id", "food", "count", "weight", "frozen", "freezer", "about"],
        ["", "beans", "many", "1 stone", "2025-13", "attic", "perhaps"],
        ["", "plums", "2", "1 lb", "June 2025", "porch", ""],
        ["9", "trout", "", "", "", "", ""],
        ["1", "", "3", "", "", "", ""],
        ["1", "bread", "", "", "", "", ""],
        ["", "milk", "0", "", "2027-01-01", "", "no"],
    )

    assert faults(taken) == [
        (2, "count"), (2, "weight"), (2, "frozen"), (2, "freezer"), (2, "about"), (4, "id"), (5, ""), (6, ""),
        (7, "count"), (7, "frozen"),
    ]  # fmt: skip
    assert [draft.food for draft in taken.drafts] == ["plums"]
    assert "the id 1 stands on line 5 already" in str(taken.faults[7])


def test_form() -> None:
    """What is wrong with a row's form is said with its line, among the others in order."""
    taken = take(
        [(1, ["food", "count"], ""), (2, ["beans"], "1 cell where the header has 2"), (3, ["x", "?"], "")], HERE
    )

    assert faults(taken) == [(2, ""), (3, "count")]


def test_weights() -> None:
    """A bare number is in the unit that the header names, and without one it is a fault."""
    assert read(["food", "weight (lb)"], ["beans", "2"], ["plums", "500 g"]).drafts[1].each == 0.5
    assert read(["food", "weight (lb)"], ["beans", "2"]).drafts[0].each == pytest.approx(2 * 0.45359237)
    assert faults(read(["food", "weight"], ["beans", "2"])) == [(2, "weight")]


class TestHostile:
    @pytest.mark.parametrize("text", ["=1+2", "+41 79", "-beans", "@SUM(A1)", "=cmd|' /C calc'!A0"])
    def test_formula(self, text: str) -> None:
        """What a spreadsheet would compute is text here, and harmless when it goes out again."""
        (draft,) = read(["food", "note"], ["beans", text]).drafts
        package = Package(1, "somewhere", "beans", note=draft.note)
        row = list(give([package], BOXES, PLACES, LONDON))[1]

        assert draft.note == text
        assert row[HEADER.index("note")] == f"'{text}"

    def test_long_cell(self) -> None:
        """A cell of a megabyte is a fault of its line, wherever it stands."""
        long = "x" * (1 << 20)
        taken = read(
            ["food", "count", "note", "box"], *(["beans", "1", "", ""][:n] + [long] + [""] * (3 - n) for n in range(4))
        )

        assert [line for line, _ in faults(taken)] == [2, 3, 4, 5]
        assert all(len(fault.text) < 300 for fault in taken.faults)

    @pytest.mark.parametrize("text", ["be\0ans", "be\x1bans", "be\u202eans"])
    def test_unprintable(self, text: str) -> None:
        """A cell with what cannot be printed is a fault."""
        assert faults(read(["food"], [text])) == [(2, "food")]

    def test_duplicate_ids(self) -> None:
        """An id that stands twice is a fault of the second; one that nobody has is a fault, unless all are new."""
        rows = (["1", "a"], ["1", "b"], ["77", "c"])

        assert faults(read(["id", "food"], *rows)) == [(3, ""), (4, "id")]
        new = House(PLACES, HERE.today, LONDON, frozenset(), as_new=True)
        assert [draft.number for draft in read(["id", "food"], *rows, here=new).drafts] == [None] * 3

    @given(st.lists(st.lists(st.text(max_size=12), min_size=13, max_size=13), max_size=4))
    def test_any_cells(self, rows: list[list[str]]) -> None:
        """Whatever stands in the cells, each row is empty, sound or a fault."""
        taken = read(HEADER, *rows)

        sound, wrong = set(taken.lines), {fault.line for fault in taken.faults}
        assert not sound & wrong
        empty = {n for n, row in enumerate(rows, 2) if not any(cell.strip() for cell in row)}
        assert sound | wrong | empty >= set(range(2, len(rows) + 2))


class TestBoxes:
    def test_by_name(self) -> None:
        """A box is known by name within its freezer, by its id anywhere, and is made where there is none."""
        taken = read(
            ["food", "box", "freezer"], ["a", "Top basket", "shed"], ["b", "top-basket", ""], ["c", "Crate", "porch"],
            ["d", "Crate", "porch"], ["e", "", "porch"],
        )  # fmt: skip

        assert [(d.box, d.freezer) for d in taken.drafts] == [
            ("top-basket-2", "shed-chest"), ("top-basket", "porch-chest"), ("Crate", "porch-chest"),
            ("Crate", "porch-chest"), ("", "porch-chest"),
        ]  # fmt: skip
        assert dict(taken.boxes) == {("Crate", "porch-chest"): 2}

    def test_several(self) -> None:
        """A name that several boxes have is a fault, and says their ids."""
        (fault,) = read(["food", "box"], ["a", "Top basket"]).faults

        assert "top-basket, top-basket-2" in fault.text


texts = st.text(
    st.characters(min_codepoint=33, max_codepoint=0x2FF, categories=("L", "N", "P", "S")), min_size=1, max_size=9
)
packages = st.builds(
    Package,
    id=st.just(0),
    box=st.sampled_from([box.id for box in BOXES]),
    food=texts,
    count=st.none() | st.floats(0.001, 10_000),
    each=st.none() | st.floats(0.001, 500),
    frozen=st.none() | st.integers(0, 500).map(lambda n: JUNE - n * 7 * 86_400_000),
    about=st.booleans(),
    packed=texts | st.just(""),
    who=texts | st.just(""),
    note=texts | st.just(""),
    since=st.none() | st.integers(10**12, JUNE),
    fresh=st.booleans(),
)


@given(st.lists(packages, max_size=3))
def test_round_trip(those: list[Package]) -> None:
    """What goes out comes in again as it was, whatever it is called."""
    utc = ZoneInfo("UTC")  # noon is noon there all year, so that every day is at its own
    here = House(PLACES, HERE.today, utc, frozenset(range(1, 9)))
    those = [
        Package(n, p.box, p.food, p.count, p.each, p.frozen and p.frozen + 3_600_000, p.about and p.frozen is not None,
                p.packed, p.who, p.note, p.since, p.fresh)
        for n, p in enumerate(those, 1)
    ]  # fmt: skip
    rows = list(give(those, BOXES, PLACES, utc))
    taken = read(rows[0], *rows[1:], here=here)

    assert taken.faults == []
    assert [
        Package(
            d.number or 0, d.box, d.food, d.count, d.each, d.frozen, d.about, d.packed, d.who, d.note, d.since, d.fresh
        )
        for d in taken.drafts
    ] == those


def test_set_apart() -> None:
    """A new row that equals a package there is set apart, once for each such package; any other difference counts."""
    those = [
        Package(1, "top-basket", "beans", 12, 0.45359237, JUNE, note="salted", who="ann"),
        Package(2, "somewhere", "plums"),
        Package(3, "bag-a", "bread", gone=JUNE),
    ]
    header = ("food", "count", "each", "frozen", "note", "box", "freezer")
    rows = [
        ("Beans", "12", "1 lb", "June 2025", "salted", "Top basket", "Porch chest"),
        ("Beans", "12", "1 lb", "June 2025", "salted", "Top basket", "Porch chest"),
        ("beans", "12", "1 lb", "June 2025", "salted", "Top basket", "Shed chest"),
        ("beans", "11", "1 lb", "June 2025", "salted", "Top basket", "Porch chest"),
        ("beans", "12", "1 lb", "2025-06-02", "salted", "Top basket", "Porch chest"),
        ("plums", "", "", "", "", "", ""),
        ("bread", "", "", "", "", "bag-a", ""),
    ]
    kept, same = set_apart(read(header, *rows), those, PLACES, LONDON)

    assert same == [2, 7]
    assert kept.lines == [3, 4, 5, 6, 8]
    assert [draft.food for draft in kept.drafts] == ["Beans", "beans", "beans", "beans", "bread"]


def test_named_by_its_id() -> None:
    """A package that the file names by its id stands for that row; another row like it is new."""
    taken = read(("id", "food", "note"), ("2", "plums", ""), ("", "plums", ""))

    assert set_apart(taken, [Package(2, "somewhere", "plums")], PLACES, LONDON) == (taken, [])


@given(st.text(max_size=9))
def test_harmless(text: str) -> None:
    """No cell that goes out begins as a formula does, and none is changed by the way out and in."""
    assert not harmless(text).startswith(("=", "+", "-", "@", "\t", "\r"))
    assert bare(harmless(text)) == text

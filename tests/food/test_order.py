"""One line of words becomes packages."""

import string
from datetime import date
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.food.draft import CELLS, Draft
from gatewayd.food.order import amend, lines, parse
from gatewayd.food.place import Places, slug
from gatewayd.model.house import Freezer
from gatewayd.model.stock import Box, Package

LONDON = ZoneInfo("Europe/London")
TODAY = date(2026, 11, 25)
LB = 0.45359237
JUNE, NOVEMBER = 1748775600000, 1795608000000  # noon in London of 1 Jun 2025 (BST) and 25 Nov 2026 (GMT), wall ms
PLACES = Places(
    (
        Box("top-basket", "Top basket", "porch-chest", layer="top"),
        Box("top-basket-2", "Top basket", "shed-chest"),
        Box("drawer-2", "Drawer 2", "cellar-upright", place="second from below"),
    ),
    {
        f.id: f
        for f in (
            Freezer("shed-chest", "Shed chest", place="shed"),
            Freezer("cellar-upright", "Cellar upright", place="cellar"),
            Freezer("porch-chest", "Porch chest", place="porch"),
        )
    },
)


def read(line: str) -> Draft:
    """Read a line at Heron Lane."""
    return parse(line, TODAY, LONDON, PLACES)


@pytest.mark.parametrize(
    ("line", "draft"),
    [
        ("12 bags of beans, 1 lb", Draft("beans", 12, LB, packed="bag")),
        (
            "12 bags of beans, 1 lb, frozen about June 2025, top basket porch",
            Draft("beans", 12, LB, JUNE, about=True, packed="bag", box="top-basket", freezer="porch-chest"),
        ),
        ("beans", Draft("beans")),
        ("3 kg of venison in shed", Draft("venison", each=3.0, freezer="shed-chest")),
        ("12 x 1 lb beans", Draft("beans", 12, LB)),
        ("12 bags of beans, 12 lb in all", Draft("beans", 12, LB, packed="bag")),
        ("trout, 2 lb 4 oz each, 4 pieces", Draft("trout", 4, 2.25 * LB, packed="piece")),
        ("2 loaves of bread, cellar", Draft("bread", 2, packed="loaf", freezer="cellar-upright")),
        ("3 pot roasts", Draft("pot roasts", 3)),
        ("7up cake", Draft("7up cake")),
        ("a dozen eggs (cracked, for cakes)", Draft("eggs", 12, note="cracked, for cakes")),
        ("peas, frozen unknown, note old bag", Draft("peas", note="old bag")),
        ("plums, by Ann, vacuum packed", Draft("plums", who="Ann", packed="vacuum packed")),
        (
            "trout, fresh, drawer 2",
            Draft("trout", None, None, NOVEMBER, box="drawer-2", freezer="cellar-upright", fresh=True),
        ),
        ("trout, today", Draft("trout", None, None, NOVEMBER, fresh=True)),
        ("beans in tomato sauce, 2 tubs", Draft("beans in tomato sauce", 2, packed="tub")),
        ("plums porch", Draft("plums", freezer="porch-chest")),
        ("dragon stew", Draft("dragon stew")),
        ("green beans 500g in the porch chest", Draft("green beans", each=0.5, freezer="porch-chest")),
        (
            "soup, 2025-06, second from below",
            Draft("soup", None, None, JUNE, about=True, box="drawer-2", freezer="cellar-upright"),
        ),
    ],
)  # fmt: skip
def test_read(line: str, draft: Draft) -> None:
    """A line is read as it is meant; only the food must be said."""
    found = read(line)

    assert found.each == pytest.approx(draft.each)
    assert [getattr(found, name) for name in CELLS if name != "each"] == [
        getattr(draft, name) for name in CELLS if name != "each"
    ]


VENISON = Draft("venison", 4, 0.75, packed="piece")


@pytest.mark.parametrize(
    "line",
    [
        "3 kg venison in all, 4 pieces", "3 kg in all of venison, 4 pieces", "venison 3 kg in all, 4 pieces",
        "venison, 4 pieces, 3 kg in all", "venison, 4 pieces, in all 3 kg", "venison, 4 pieces, in total: 3 kg",
        "4 pieces of venison in all, 3 kg", "4 pieces in all of venison, 3 kg", "venison, 4 pieces in all, 3 kg",
        "venison, 4 pieces, 3 kg, in all", "in all 3 kg of venison, 4 pieces", "3 kg venison altogether, 4 pieces",
        "venison in all, 4 pieces, 750 g each",
    ],
)  # fmt: skip
def test_in_all(line: str) -> None:
    """ "In all" means the weight wherever it stands, unless that is said to be of each; it is never the food's name."""
    assert read(line) == VENISON


def test_all_of_a_name() -> None:
    """A name that only begins like "in all" stays whole."""
    assert read("beans in all-purpose sauce, 1 lb").food == "beans in all-purpose sauce"


@pytest.mark.parametrize(
    ("line", "food", "count", "kg"),
    [
        ("1 l of soup", "soup", None, 1.0),
        ("4 tubs of soup, 500 ml", "soup", 4, 0.5),
        ("4 jars of stock, 2 litres in all", "stock", 4, 0.5),
        ("dragon soup, 1.5 L", "dragon soup", None, 1.5),
        ("2 liters milk, cellar", "milk", None, 2.0),
    ],
)
def test_litres(line: str, food: str, count: float | None, kg: float) -> None:
    """A litre of what pours is a kilogram."""
    found = read(line)
    assert (found.food, found.count, found.each) == (food, count, pytest.approx(kg))


@pytest.mark.parametrize("line", ["1 l of peas", "dragon, 1 l", "beans, 12 bags, 500 ml"])
def test_litres_of_solids(line: str) -> None:
    """A litre of what lies in pieces says no weight, and the weight is asked for."""
    with pytest.raises(ValueError, match="says no weight; write what it weighs"):
        read(line)


SOUP = Package(11, "top-basket", "soup 2025, old", 4)


@pytest.mark.parametrize(
    ("line", "news"),
    [
        ("venison steaks", {"food": "venison steaks"}),
        ("food: dragon stew", {"food": "dragon stew"}),
        ("food dragon stew, 1 l", {"food": "dragon stew", "each": 1.0}),
        ("1 lb, venison steaks", {"food": "venison steaks", "each": LB}),
        ("6 kg in all", {"each": 1.5}),
        ("3 pieces, 6 kg in all", {"count": 3, "each": 2.0, "packed": "piece"}),
        ("about June 2025", {"frozen": JUNE, "about": True}),
    ],
)
def test_amend(line: str, news: dict[str, object]) -> None:
    """A name that the table knows renames the package, any other behind "food"; the rest stays as it is."""
    assert amend(line, SOUP, TODAY, LONDON, PLACES) == news


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("mumble", "called so, write: food mumble"),
        ("frozn June 2025", r"no box or freezer .*\)$"),
        ("shed", "gatewayd stock move NUMBER --to PLACE"),
        ("1 l", "'1 l' of soup 2025, old says no weight"),
    ],
)
def test_amend_refused(line: str, said: str) -> None:
    """What is not understood renames nothing by itself."""
    with pytest.raises(ValueError, match=said):
        amend(line, SOUP, TODAY, LONDON, PLACES)


def test_year_behind_the_food() -> None:
    """A year before the place or behind it is a day, not a part of the name."""
    both = read("plums 2025 porch"), read("plums porch 2025")

    assert {(one.food, one.freezer, one.about) for one in both} == {("plums", "porch-chest", True)}
    assert both[0].frozen == both[1].frozen != None  # noqa: E711 - one chain


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("", "which food"), ("12", "which food"), ("12 lb", "which food"), ("2025-06", "which food"),
        ("beans, blue crate", "no box or freezer here"), ("beans, top basket", "may be several"),
        ("plums chest", "may be several"), ("beans 1,5 kg", "comma in a number"), ("plums, 2025-13", "write it like"),
        ("beans, 1 lb, 2 lb", "weight was said before"), ("beans, 2025, 2024", "day was said before"),
        ("beans, shed, porch", "place was said before"), ("beans, 0 kg", "not the weight"),
        ("0 bags of beans", "not how many"), ("99999 bags of beans", "not how many"), ("b" * 130, "120 are allowed"),
        ("beans " * 200, "characters"), ("be\x07ans", "cannot be printed"),
        ("beans, 12 bags, 10 jars", "no box or freezer"),
        ("beans, topp basket", "Top basket in Porch chest"),
    ],
)  # fmt: skip
def test_refused(line: str, said: str) -> None:
    """What is not understood, or said twice, is refused with what to do, and never guessed at."""
    with pytest.raises(ValueError, match=said):
        read(line)


@given(st.text(st.sampled_from(string.printable + "½ü\x00\u2028"), max_size=60))
def test_any_text(line: str) -> None:
    """Whatever is typed is read or refused with a ValueError; what is read is on one line and in bounds."""
    try:
        found = read(line)
    except ValueError:
        return
    assert found.food.isprintable()
    assert found.food
    assert found.count is None or 0 < found.count <= 10_000
    assert found.each is None or 0 < found.each <= 500


def test_lines() -> None:
    """A whole basket may be written at once, with empty lines and remarks."""
    assert lines("beans\n\n  plums \n# the rest tomorrow\n") == ["beans", "plums"]


class TestPlaces:
    @pytest.mark.parametrize(
        ("text", "found"),
        [
            ("Porch chest", "porch-chest"), ("porch", "porch-chest"), ("the porch", "porch-chest"),
            ("top-basket", "top-basket"), ("top porch", "top-basket"), ("top shed", "top-basket-2"),
            ("second", "drawer-2"), ("drawer 2", "drawer-2"), ("upright", "cellar-upright"),
        ],
    )  # fmt: skip
    def test_find(self, text: str, found: str) -> None:
        """A place is found by its id, its name, or a few words of box and freezer."""
        assert PLACES.find(text).id == found

    def test_name(self) -> None:
        """A box is called by its name and its freezer's."""
        assert PLACES.name(PLACES.find("drawer 2")) == "Drawer 2 in Cellar upright"

    @pytest.mark.parametrize(
        ("name", "made"),
        [("Top basket", "top-basket"), ("Ännes Kiste!", "nnes-kiste"), ("鮭", "box"), ("x" * 60, "x" * 40)],
    )
    def test_slug(self, name: str, made: str) -> None:
        """A name becomes an id."""
        assert slug(name) == made

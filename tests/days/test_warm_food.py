"""Whole days in which a freezer warms, up to what becomes of its food: questions, the chart, decisions, the stock."""

import csv
import io
from contextlib import closing
from pathlib import Path

import pytest

from gatewayd.alarm.kinds import HIGHHIGH
from gatewayd.cli import house
from gatewayd.model.moment import HOUR
from gatewayd.model.stock import Turn
from gatewayd.store import stock
from gatewayd.store.file import open_reader
from tests.cli.lived import T0, Lived, cycling, read_house
from tests.days.inquest import Household
from tests.fakes.clock import FakeClock

pytestmark = pytest.mark.slow  # days of readings through the real watch and store, a second each

FOODS = ("trout", "venison", "peas", "bread", "plums", "ice cream", "milk", "butter", "apple juice", "something")
BASKETS = ("Basket A", "Basket B", "Basket C", "Basket D", "Basket E", "Basket F")


def warming(begin: float, end: float, top: float, sensor: str = "shed-chest-air"):
    """Return the air: it warms from `begin` to `end` (h) up to `top` (°C), cools by 8 K an hour, then cycles."""

    def air(who: str, at: int) -> float | None:
        usual, hour = cycling(who, at), at / HOUR
        if who != sensor or hour < begin:
            return usual
        if hour <= end:
            return usual + (top - usual) * (hour - begin) / (end - begin)
        return max(usual, top - 8 * (hour - end))

    return air


@pytest.fixture
def at_the_door(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Return what makes a household of a life."""

    def make(lived: Lived) -> Household:
        household = Household(tmp_path, lived)
        monkeypatch.setattr(house, "ask", household)
        return household

    return make


def cut(tmp_path: Path, top: float = 6.0) -> Lived:
    """Live through a power cut of 9 h that takes the gateway too, and some hours after it."""
    life = Lived(read_house(tmp_path))
    life.until(12 * HOUR)
    life.dark(9 * HOUR)
    life.until(28 * HOUR, warming(12, 21, top))
    return life


def test_nine_hours_dark(tmp_path: Path, at_the_door) -> None:
    """After 9 h without power nobody knows what was: sixty packages are judged by questions, basket by basket."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS, FOODS)
    assert home.watch.alarms.get("shed-chest", HIGHHIGH).latched

    spell = next(s for s in home.asked("excursion", "list") if s["freezer"] == "shed-chest")
    assert (spell["packages"], spell["to_decide"], spell["dark"]) == (60, 60, True)
    number = str(spell["number"])
    before = home.asked("excursion", "show", number, "--freezer", "shed-chest")[0]
    assert {one["ruling"] for one in before["food"]} == {"not judged"}
    assert before["not_heard_h"] > 9
    assert before["core_estimate_c"] is None
    assert before["messages"]
    assert "not judged: when in doubt, throw it out" in home.call("excursion", "show", number).output

    # A, B: ice crystals. C: warm for more than 2 h. D: warm, not for 2 h. E: not known. F: cold, but meat juice on all
    cold = ["y", "y", "y"]  # all alike, clean of juice, do what the chart says
    warm = ["n", "n", "y", "y", "y", "y"]  # and of plums and apple juice: sound
    mild = ["n", "y", "y", "y"]
    unknown = ["?", "y", *["l"] * len(FOODS)]
    said = [*cold, *cold, *warm, *mild, *unknown, "y", "n", "all", "y"]
    done = home.call("excursion", "decide", number, "--freezer", "shed-chest", says=said)
    assert done.exit_code == 0, done.output

    after = home.asked("excursion", "show", number, "--freezer", "shed-chest")[0]
    decided = {(one["box_name"], one["food"]): one["decision"] for one in after["food"]}
    again, out = "refrozen, use first", "thrown out"
    for food in FOODS:
        melted = out if food == "ice cream" else again
        kept = again if food in ("bread", "plums", "butter", "apple juice") else out
        assert [decided[basket, food] for basket in BASKETS] == [melted, melted, kept, melted, None, out], food
    assert home.watch.alarms.get("shed-chest", HIGHHIGH).latched  # basket E waits

    answer = home.call("excursion", "decide", number, "--box", "basket-e", "--throw")
    assert answer.exit_code == 0, answer.output
    assert "the food was checked" in answer.output
    assert not home.watch.alarms.get("shed-chest", HIGHHIGH).latched
    assert home.asked("excursion", "list")[-1]["to_decide"] == 0
    check_stock(home, tmp_path, number)


def check_stock(home: Household, tmp_path: Path, number: str) -> None:
    """Check that the stock followed, and that the loss is listed with weights."""
    conn = open_reader(tmp_path / "house.db")
    there, every = stock.packages(conn), stock.packages(conn, gone=True)
    thrown = [move for move in stock.moves(conn) if move.turn is Turn.THROWN]
    conn.close()
    lost = len(every) - len(there)
    assert len(thrown) == lost == 3 + 6 + 10 + 10
    assert all("use first" in one.note for one in there)

    found = home.asked("excursion", "loss", number)
    assert (len(found["lost"]), found["kg"], found["without_weight"]) == (lost, lost * 0.5, 0)
    rows = list(csv.DictReader(io.StringIO(home.call("excursion", "loss", number, "--csv").output)))
    assert sum(float(row["kg"]) for row in rows) == lost * 0.5
    assert {row["freezer"] for row in rows} == {"Shed chest"}
    assert "Thrown out in all: 14.5 kg." in home.call("excursion", "loss", number).output


def test_plug_out_awake(tmp_path: Path, at_the_door) -> None:
    """Eight hours with the plug out, all seen, never above 4.4 °C: the cold column holds, but for ice cream."""
    life = Lived(read_house(tmp_path))
    life.until(12 * HOUR)
    life.until(30 * HOUR, warming(12, 20, -2.0))
    home = at_the_door(life)
    home.fill(BASKETS[:1], FOODS)

    spell = home.asked("excursion", "list")[-1]
    number = str(spell["number"])
    shown = home.asked("excursion", "show", number)[0]
    assert spell["freezer"] == "shed-chest"
    assert shown["peak_c"] == pytest.approx(-2.0, abs=0.1)
    assert shown["not_heard_h"] == 0
    assert shown["hours_above_at_most"]["4.4"] == 0
    assert 3 < shown["hours_above"]["-12"] < 8
    assert shown["core_estimate_c"] < -2
    rulings = {one["food"]: one["ruling"] for one in shown["food"]}
    assert rulings.pop("ice cream") == "not judged"  # somebody looks whether it has softened
    assert rulings.pop("something") == "not judged"  # and what nobody can name may melt like it
    assert set(rulings.values()) == {"keep"}

    done = home.call("excursion", "decide", number, says=["y", "y", "y"])
    assert done.exit_code == 0, done.output
    last = home.asked("excursion", "show", number)[0]
    decided = {one["food"]: one["decision"] for one in last["food"]}
    assert decided.pop("ice cream") == "thrown out"
    assert decided.pop("something") == "refrozen, use first"
    assert set(decided.values()) == {"kept"}


def test_kept_by_the_sensor(tmp_path: Path, at_the_door) -> None:
    """What the sensor answers for is kept as it is, in one word, and the list stays as it is."""
    life = Lived(read_house(tmp_path))
    life.until(12 * HOUR)
    life.until(30 * HOUR, warming(12, 20, -2.0))
    home = at_the_door(life)
    home.fill(BASKETS, ("trout", "peas"))
    number = str(home.asked("excursion", "list")[-1]["number"])
    assert "without a gap: the chart's cold column" in home.call("excursion", "show", number).output

    done = home.call("excursion", "decide", number, "--all", "--by-chart")
    assert "Kept: trout and peas (12 rows of the list)." in done.output
    assert {one["decision"] for one in home.asked("excursion", "show", number)[0]["food"]} == {"kept"}
    assert home.asked("excursion", "loss", number)["lost"] == []


def test_warm_again_after_the_answer(tmp_path: Path, at_the_door) -> None:
    """Food that was found cold counts as such until it may have been warm for 2 h since; then somebody looks again."""
    life = Lived(read_house(tmp_path))
    life.until(12 * HOUR)
    life.until(32 * HOUR, warming(12, 22, 14.0))
    home = at_the_door(life)
    home.fill(BASKETS[:1], ("trout",))
    number = str(home.asked("excursion", "list")[-1]["number"])
    over, home.clock = home.clock, FakeClock(T0 + 16 * HOUR, HOUR, life.now.boot)
    home.call("excursion", "decide", number, "--all", "--cold")
    fate = home.asked("excursion", "show", number)[0]["food"][0]
    assert (fate["ruling"], fate["look_again"]) == ("not judged", True)
    refused = home.call("excursion", "decide", number, "--all", "--keep")
    assert refused.exit_code == 1
    assert "does not let you keep: trout" in refused.output

    home.clock = over
    home.call("excursion", "decide", number, "--all", "--cold")
    fate = home.asked("excursion", "show", number)[0]["food"][0]
    assert (fate["ruling"], fate["look_again"], fate["answered_by"]) == ("keep", False, "ann")


def test_raw_juice(tmp_path: Path, at_the_door) -> None:
    """By the chart nothing that thawed is kept before somebody said whether raw juice dripped on it; Enter says not."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS[:2], ("trout", "bread"))
    number = str(home.asked("excursion", "list")[-1]["number"])
    done = home.call("excursion", "decide", number, "--box", "basket-a", "--cold", "--by-chart")
    assert "Not judged for want of a word: 2" in done.output
    assert "Say --touched or --not-touched" in done.output
    assert "dripped on it: somebody must say so" in home.call("excursion", "show", number).output
    done = home.call("excursion", "decide", number, "--box", "basket-a", "--not-touched", "--by-chart")
    assert "Refrozen, use first: trout and bread." in done.output

    walked = home.call("excursion", "decide", number, "--freezer", "shed-chest", says=["y", "", "n", "4", "y"])
    assert walked.exit_code == 0, walked.output
    assert walked.output.count("no juice of raw meat or poultry on it?") == 2
    after = home.asked("excursion", "show", number, "--freezer", "shed-chest")[0]
    assert [one["decision"] for one in after["food"]] == [*["refrozen, use first"] * 3, "thrown out"]


def test_hours_measured(tmp_path: Path, at_the_door) -> None:
    """Fewer hours than the sensor measured are raised to those, and it is said; the chart judges by them."""
    life = Lived(read_house(tmp_path))
    life.until(12 * HOUR)
    life.until(40 * HOUR, warming(12, 24, 20.0))
    home = at_the_door(life)
    home.fill(BASKETS[:1], ("trout", "tomato juice"))
    number = str(home.asked("excursion", "list")[-1]["number"])
    sure = home.asked("excursion", "show", number)[0]["hours_above"]["4.4"]
    assert sure > 6
    done = home.call("excursion", "decide", number, "--all", "--warm", "--hours", "3")
    assert "which counts here instead of 3 h" in done.output
    for one in home.asked("excursion", "show", number)[0]["food"]:
        assert one["hours_above_4.4"] == pytest.approx(sure, abs=0.01)
        assert one["ruling"] == "throw out"
    more = home.call("excursion", "decide", number, "--all", "--warm", "--hours", "20")
    assert "instead" not in more.output


def test_undo(tmp_path: Path, at_the_door) -> None:
    """A decision is undone with all that it did to the stock's list, be it from here or from there."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS[:1], FOODS)
    number = str(home.asked("excursion", "list")[-1]["number"])
    assert home.call("excursion", "decide", number, "--package", "1", "--throw", "--count", "0.25").exit_code == 0
    assert home.asked("excursion", "loss", number)["kg"] == 0.125
    assert home.asked("excursion", "list")[-1]["to_decide"] == len(FOODS)  # the rest of it is still there
    assert home.call("excursion", "decide", number, "--package", "1", "--package", "2", "--throw").exit_code == 0
    assert home.asked("excursion", "loss", number)["kg"] == 1.0
    assert "on 2 rows of the list" in home.call("excursion", "undo", number).output
    assert home.asked("excursion", "loss", number)["kg"] == 0.125
    assert home.call("stock", "undo").exit_code == 0
    assert home.asked("excursion", "loss", number)["lost"] == []
    assert "no decision to undo" in home.call("excursion", "undo", number).output


def test_undo_beside_other_orders(tmp_path: Path, at_the_door) -> None:
    """Orders about other food do not stand in the way of an undo; one about the same food does, and is named."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS[:2], FOODS[:2])
    number = str(home.asked("excursion", "list")[-1]["number"])
    assert home.call("excursion", "decide", number, "--package", "1", "--throw").exit_code == 0
    assert home.call("stock", "use", "4").exit_code == 0
    undone = home.call("excursion", "undo", number)
    assert "on 1 row of the list." in undone.output
    with closing(open_reader(tmp_path / "house.db")) as conn:
        assert {one.id for one in stock.packages(conn)} == {1, 2, 3}  # number 4 stays used up

    decided = home.call("excursion", "decide", number, "--package", "2", "--package", "1", "--keep", "--anyway")
    assert decided.exit_code == 0, decided.output
    assert home.call("stock", "use", "2").exit_code == 0
    refused = home.call("excursion", "undo", number)
    assert refused.exit_code == 1
    assert "Changed since by another order: venison (2)." in refused.output
    assert home.call("stock", "undo").exit_code == 0
    assert "on 2 rows of the list" in home.call("excursion", "undo", number).output


def test_carried_in_one_power_cut(tmp_path: Path, at_the_door) -> None:
    """A power cut of several freezers has one number: what was carried between them is thrown out and counted once."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS[:1], ("trout", "bread"))
    home.fill(("Shelf",), ("peas",), "cellar-upright")
    life, home.clock = home.clock, FakeClock(T0 + 20 * HOUR, HOUR, home.lived.now.boot)
    assert home.call("stock", "move", "1", "to", "shelf").exit_code == 0
    home.clock = life
    dark = [spell for spell in home.asked("excursion", "list") if spell["dark"]]
    number = str(dark[-1]["number"])
    both = home.asked("excursion", "show", number)
    assert sum(one["food"] == "trout" for each in both for one in each["food"]) == 2
    done = home.call("excursion", "decide", number, "--package", "1", "--throw")
    assert "Thrown out: trout (500 g)." in done.output
    assert home.asked("excursion", "loss", number)["kg"] == 0.5
    assert "on 1 row of the list." in home.call("excursion", "undo", number).output


def test_used_up(tmp_path: Path, at_the_door) -> None:
    """What was used up is not listed any more; who comes before the chart is said at the top of every answer."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS[:1], ("trout", "plums"))
    number = str(home.asked("excursion", "list")[-1]["number"])
    assert home.call("stock", "use", "2").exit_code == 0
    shown = home.call("excursion", "show", number, "--freezer", "shed-chest").output
    assert "trout" in shown
    assert "plums" not in shown
    assert [one["food"] for one in home.asked("excursion", "show", number, "--freezer", "shed-chest")[0]["food"]] == [
        "trout"
    ]
    first = "Your local food-safety authority and the food's maker"
    assert shown.startswith(first)
    walked = home.call("excursion", "decide", number, "--freezer", "shed-chest", says=["y", "y", "y"]).output
    assert walked.startswith(first)
    assert home.call("excursion", "decide", number, "--package", "1", "--cold").output.startswith(first)
    assert home.call("stock", "use", "1").exit_code == 0


def test_done(tmp_path: Path, at_the_door) -> None:
    """Without any list somebody says that it is done, and the alarm that waited ends with that word."""
    home = at_the_door(cut(tmp_path))
    number = str(home.asked("excursion", "list")[-1]["number"])
    done = home.call("excursion", "done", number, "--freezer", "shed-chest", "--why", "all thrown out")
    assert "the food was checked, all thrown out" in done.output
    assert not home.watch.alarms.get("shed-chest", HIGHHIGH).latched
    assert home.asked("excursion", "show", number, "--freezer", "shed-chest")[0]["done"]


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--package", "99", "--throw"), "Not in this warm spell: package 99"),
        (("--box", "attic", "--cold"), "Not in this warm spell: box attic"),
        (("--throw",), "Say which packages or boxes, or all"),
        (("--all", "--cold", "--hours", "3"), "go with the answer warm only"),
        (("--all", "--warm", "--hours", "-1"), "is not possible"),
        (("--all", "--throw", "--count", "2"), "a part of one package"),
        (("--package", "1", "--throw", "--count", "9"), "No more than 1 of trout (1) is there, not 9"),
        (("--freezer", "attic", "--all", "--throw"), "There is no freezer 'attic'"),
    ],
)
def test_refused(tmp_path: Path, at_the_door, args: tuple[str, ...], words: str) -> None:
    """What cannot be done is refused with a reason, and nothing is changed."""
    home = at_the_door(cut(tmp_path))
    home.fill(BASKETS[:1], FOODS[:2])
    number = str(home.asked("excursion", "list")[-1]["number"])
    done = home.call("excursion", "decide", number, *args)
    assert done.exit_code == 1
    assert words in done.output
    assert home.asked("excursion", "list")[-1]["to_decide"] == 2

"""`gatewayd use-first` over the file of a small house."""

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.model.stock import Box, Package
from gatewayd.store.file import open_writer
from gatewayd.store.stock import pen
from gatewayd.store.transaction import transaction
from tests.cli.household import asked, call, settle
from tests.store.make import batch, reading

NOW = SystemClock().now().wall
FOODS = (("plums", 300, "shed"), ("trout", 50, "shed"), ("bread", 20, "cellar"), ("thing", 10, "shed"))


@pytest.fixture
def house(tmp_path):
    """Return the settings of a house whose shed chest was heard for three months, with four packages."""
    air = [reading(NOW - 90 * DAY + quarter * 15 * MINUTE, -18.0) for quarter in range(90 * 96)]
    file = settle(tmp_path, [batch(*air, wall=NOW)])
    conn = open_writer(tmp_path / "house.db")
    with transaction(conn):
        order = pen(conn, NOW, "ann")
        order.new_box(Box("shed", "Top basket", "shed-chest"))
        order.new_box(Box("cellar", "Drawer", "cellar-upright"))
        for food, days, box in FOODS:
            order.add(Package(0, box, food, 2, 0.4, NOW - days * DAY))
    conn.close()
    return file


def foods(found):
    """Return the foods of an answer in order."""
    return [one["food"] for one in found["packages"]]


def test_json(house):
    """All packages come in order, with where they are and what they have used."""
    found = asked(house, "use-first")
    assert foods(found) == ["plums", "trout", "bread", "thing"]
    trout = found["packages"][1]
    assert (trout["freezer"], trout["box"], trout["kg"]) == ("shed-chest", "Top basket", 0.8)
    assert trout["used"] == pytest.approx(50 / (2 * 365.25 / 12), abs=2e-4)  # the shorter of 2 to 3 months
    assert trout["keeps_months"] == [2, 3]
    assert "stays safe" in found["note"]
    assert "from memory" in found["honest"]
    bread = found["packages"][2]
    assert bread["taken_for_granted"][0].startswith("20 days without a sensor")


def test_words(house):
    """It is said which, why and where, and that it is about quality."""
    code, output = call(house, "use-first")
    assert code == 0
    lines = output.splitlines()
    assert lines[0].startswith("1. plums, 9.9 of 10 months' keeping used: frozen ")
    assert lines[1] == "   no. 1, Top basket, Shed chest: 2 of 0.4 kg each"
    assert "quality, not safety" in lines[-1]
    assert "(not in the food table: counted as if it kept 2 months)" in output


def test_filters(house):
    """One freezer, one kind and a short list are asked for; what is of no known kind is counted."""
    assert foods(asked(house, "use-first", "--freezer", "cellar-upright")) == ["bread"]
    found = asked(house, "use-first", "--group", "meat")
    assert foods(found) == ["trout"]
    assert found["of_no_known_kind"] == 1
    _, output = call(house, "use-first", "--most", "1")
    assert "and 3 more; see them with: --most 4" in output
    _, output = call(house, "use-first", "--group", "bread")
    assert "nobody knows what kind of food it is: 1" in output


def test_wrong_freezer(house):
    """A freezer that is not there is refused with those that are."""
    code, output = call(house, "use-first", "--freezer", "attic")
    assert code == 2
    assert "there are: shed-chest, cellar-upright" in output


def test_empty(tmp_path):
    """A house without a list is told how to begin one."""
    code, output = call(settle(tmp_path, [batch(reading(NOW, -18.0), wall=NOW)]), "use-first")
    assert code == 0
    assert "gatewayd stock add" in output

"""The stock and the real daemon: words and files go in, a kill loses nothing that was answered, and all comes out."""

import csv
import json
from pathlib import Path

import pytest

from tests.rigs.broker import Mosquitto
from tests.rigs.gateway import Gateway

pytestmark = pytest.mark.rig


def foods(gateway: Gateway) -> dict[str, float | None]:
    """Return the list: food and how many."""
    found = gateway.ask("stock", "list")["boxes"]
    return {one["food"]: one["count"] for box in found for one in box["packages"]}


def test_words_and_files(tmp_path: Path) -> None:
    """Food is added, taken, imported and undone by commands; after a kill the list is as it was answered."""
    many = tmp_path / "many.csv"
    rows = [["food", "count", "weight", "frozen", "box", "freezer"]]
    rows += [[f"pie number {n}", "2", "1 lb", "2026-06", f"crate {n % 7}", "Shed chest"] for n in range(1500)]
    with many.open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    wrong = tmp_path / "wrong.csv"
    wrong.write_text("food,count\nbeans,2\nplums,many\ntrout,-1\n")

    with Mosquitto() as broker, Gateway(tmp_path, broker) as gateway:
        added = gateway.ask("stock", "add", "12 bags of beans, 1 lb, frozen June 2026, shed chest")
        taken = gateway.ask("stock", "take", "2", "beans")
        refused = gateway.command("stock", "import", str(wrong))
        imported = gateway.ask("stock", "import", str(many))
        twice = gateway.ask("stock", "import", str(many))
        gateway.command("stock", "count", "shed chest")
        gateway.wait(lambda: gateway.ask("forecast")["freezers"][0]["told"], "the list tells what the freezer holds")
        kg = gateway.ask("forecast")["freezers"][0]["kg"]
        gateway.down(how=9)  # type: ignore[arg-type]

        assert added["packages"][0]["count"] == 12
        assert taken["packages"][0]["count"] == 10
        assert refused.returncode == 1
        assert "line 3, count: 'many'" in refused.stderr
        assert "line 4, count: '-1'" in refused.stderr
        assert imported["counts"] == {"added": 1500, "new boxes": 7}
        assert (twice["same"], twice["counts"]) == (1500, {})
        assert kg == {"vegetables-fruit": 5.0, "meals": 1361.0}

        assert len(foods(gateway)) == 1501
        assert foods(gateway)["beans"] == 10
        down = gateway.command("stock", "take", "beans")
        assert down.returncode == 3
        assert "not running; nothing changed" in down.stderr
        out = gateway.command("stock", "export")

        gateway.up()
        for _ in range(2):
            gateway.command("stock", "undo")
        assert foods(gateway) == {"beans": 10}
        assert len(list(csv.DictReader(out.stdout.splitlines()))) == 1501
        turns = [move["turn"] for move in gateway.ask("stock", "history", "beans")["moves"]]
        assert turns == ["taken out", "added"]
        assert json.loads(gateway.command("stock", "find", "beans", "shed", "2026", "--json").stdout)["packages"]
        assert gateway.down() == 0

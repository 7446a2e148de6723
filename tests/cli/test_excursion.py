"""`gatewayd excursion` without a daemon: it shows what the file holds, refuses to change it, and writes clean CSV."""

import csv
import io
import json
from pathlib import Path

import pytest

from gatewayd.model.moment import HOUR
from gatewayd.store import spell
from tests.cli.household import call, settle
from tests.cli.lived import Lived, cycling, read_house
from tests.store.make import batch


def warm(sensor: str, now: int) -> float:
    """Return the air: the shed chest stands at +5 °C from the first hour on."""
    return 5.0 if sensor == "shed-chest-air" and now >= HOUR else cycling(sensor, now)


def test_nothing_happened(tmp_path: Path) -> None:
    """A house in which nothing was warm has an empty list, and no spell to show."""
    file = settle(tmp_path, [batch()])
    assert call(file, "excursion", "list") == (0, "No freezer has been warm, as far as anybody knows.\n")
    code, output = call(file, "excursion", "show", "3")
    assert code == 1
    assert "There is no warm spell 3" in output


def test_that_goes_on(tmp_path: Path) -> None:
    """A spell that goes on says so; since nothing is heard since, all until now counts as not heard."""
    life = Lived(read_house(tmp_path))
    life.until(5 * HOUR, warm)
    file = settle(tmp_path, life.kept())
    code, output = call(file, "excursion", "list")
    assert code == 0
    assert "and it goes on" in output
    assert "much too warm, too warm" in output
    number = json.loads(call(file, "excursion", "list", "--json")[1])[0]["number"]
    code, shown = call(file, "excursion", "show", str(number))
    assert code == 0
    assert "Warmest air at its warmest sensor: 5.0 °C" in shown
    assert "The stock's list has nothing in this freezer." in shown
    assert shown.startswith("Your local food-safety authority and the food's maker (what its package says) come first")


def test_degrees_of_the_house(tmp_path: Path) -> None:
    """A household that reads °F is told in °F."""
    life = Lived(read_house(tmp_path))
    life.until(5 * HOUR, warm)
    life.until(8 * HOUR)
    file = settle(tmp_path, life.kept())
    file.write_text(file.read_text().replace("time_zone: Europe/London}", "time_zone: Europe/London, units: F}", 1))
    number = json.loads(call(file, "excursion", "list", "--json")[1])[0]["number"]
    shown = call(file, "excursion", "show", str(number))[1]
    assert "41.0 °F" in shown
    for level in ("10 °F", "20 °F", "32 °F", "40 °F"):
        assert level in shown


def test_needs_the_daemon(tmp_path: Path) -> None:
    """With the daemon down nothing is decided, and the exit code says so; without a word what to do it is wrong use."""
    file = settle(tmp_path, [batch()])
    for words in (("decide", "3", "--all", "--throw"), ("decide", "3"), ("done", "3"), ("undo", "3")):
        code, output = call(file, "excursion", *words)
        assert code == 3
        assert "not running; nothing changed" in output
    code, output = call(file, "excursion", "decide", "3", "--all")
    assert code == 2
    assert "Say what was found" in output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--throw", "--keep"), "--keep and --throw do not go together: say one."),
        (("--cold", "--warm"), "--cold and --warm do not go together: say one."),
        (("--touched", "--not-touched"), "--touched and --not-touched do not go together: say one."),
        (("--warm", "--hours", "2"), "say --cold or how long"),
        (("--warm", "--hours", "0"), "say --cold or how long"),
    ],
)
def test_contradictions(tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    """Options that contradict each other are wrong use: nothing is asked of the daemon, and it is said what to say."""
    file = settle(tmp_path, [batch()])
    code, output = call(file, "excursion", "decide", "3", "--all", *words)
    assert code == 2
    assert told in output


def test_csv_cells() -> None:
    """A food whose name reads like a formula comes into a spreadsheet as text, and quotes and commas survive."""
    row = dict.fromkeys(("freezer", "box", "package", "kg", "frozen", "thrown_out", "by", "why", "source"))
    rows = [{**row, "food": food} for food in ("=1+2", 'plums, "late"', "-5")]
    read = [each["food"] for each in csv.DictReader(io.StringIO("".join(spell.csv(rows)), newline=""))]
    assert read == ["'=1+2", 'plums, "late"', "'-5"]

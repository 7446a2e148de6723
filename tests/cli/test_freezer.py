"""The command `freezer`: all that is known of one, and the guided test switch-off."""

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from gatewayd.cli.freezer import steps
from gatewayd.cli.main import cli
from gatewayd.model.moment import HOUR
from gatewayd.watch.switchoff import LASTS
from tests.cli.answering import CALM, TEST, WARM, Answering, rows
from tests.cli.household import asked, call, settle


def shown(door: Answering, folder: Path, **changed: Any) -> dict[str, str]:
    """Return the lines that `freezer show` prints of a freezer like this, by what they are about."""
    door.freezers = [CALM | changed]
    code, output = call(settle(folder), "freezer", "show", "shed-chest")
    assert code == 0, output
    lines, what = dict[str, str](), ""
    for line in output.split("\n\n")[0].splitlines()[1:]:
        what = line[2:16].strip() or what
        lines[what] = (lines[what] + "\n" if what in lines else "") + line[16:]
    return lines


def test_show(door: Answering, tmp_path: Path) -> None:
    """It says what a freezer is and holds, how it runs, what its food has, and how long that holds."""
    assert shown(door, tmp_path) == {
        "kind": "chest, 400 L",
        "holds": "meat 60 kg, bread 8 kg",
        "room": "19.5 °C",
        "air": "−18.4 °C",
        "state": "as usual",
        "cause": "nothing unusual",
        "compressor": "starts every 45 min, 32 times a day, seems to run 36% of the time (compare it with itself only)",
        "food": "warmest about −17.9 °C, the rest −19.1 °C; worked out from the air, about ±0.8 °C in simulations; "
        "unknown for yours",
        "learnt from": "nothing yet: every figure is a guess. A test switch-off would teach it",
        "ageing": "nothing seen",
        "without power": """\
counted from when cooling stops
−12 °C: well kept up to here
  sensor        perhaps in 2 h, likely in 4 h, perhaps only in 8 h
  warmest food  perhaps in 5 h, likely in 12 h, perhaps only in 20 h
−9.4 °C: still hard frozen, quality begins to go
  sensor        perhaps in 4 h, likely in 8 h, perhaps only in 16 h
  warmest food  perhaps in 14 h, likely in 24 h, perhaps only in 40 h
−6.7 °C: much too warm, it softens
  sensor        perhaps in 8 h, likely in 14 h, perhaps only in 30 h
  warmest food  perhaps in 20 h, likely in 30 h, perhaps only in 50 h
0 °C: thawed through
  sensor        perhaps in 40 h, likely in 70 h, perhaps much later
  warmest food  longer than the government's hours: go by those
4.4 °C: limit of the outage chart for food that may be kept
  sensor        perhaps in 70 h, likely in 5 days, perhaps much later
  warmest food  longer than the government's hours: go by those""",
    }


def test_show_ends_with_the_forecast(door: Answering, tmp_path: Path) -> None:
    """Below the lines stands what `gatewayd forecast` says of it."""
    file = settle(tmp_path)

    assert call(file, "freezer", "show", "shed-chest")[1].endswith("\n\n" + call(file, "forecast", "shed-chest")[1])


def test_show_of_a_warm_one(door: Answering, tmp_path: Path) -> None:
    """While it warms the rows count from now, and the cause has its word of confidence and its beginning."""
    lines = shown(door, tmp_path, **WARM | {"ageing": ["The gasket may leak."], "test": TEST})

    assert "without power" not in lines
    assert lines["left"].splitlines()[:7] == [
        "if nothing cools it, from now on",
        "−12 °C: well kept up to here",
        "  sensor        there already",
        "  warmest food  there already",
        "−9.4 °C: still hard frozen, quality begins to go",
        "  sensor        perhaps in 30 min, likely in 1 h, perhaps only in 2 h",
        "  warmest food  perhaps in 6 h, likely in 9 h, perhaps only in 14 h",
    ]
    assert lines["cause"] == "cooling has stopped (likely), since Wed 25 Nov 2026 11:15"
    assert lines["test"] == "switched off Wed 25 Nov 2026 13:00, ends Wed 25 Nov 2026 16:00"
    assert lines["ageing"] == "The gasket may leak."


def test_show_of_an_unknown_one(door: Answering, tmp_path: Path) -> None:
    """What is not known is said to be so, and what is only taken for granted too."""
    nothing = {"volume_l": None, "room_c": None, "air_c": None, "cycles": None, "food_c": None, "cause": None}
    lines = shown(door, tmp_path, told=False, reserve=[], forecast=[], **nothing)

    assert lines["kind"] == "chest, volume not said"
    assert lines["holds"] == "not said; taken as half full (meat 60 kg, bread 8 kg)"
    assert (lines["room"], lines["air"], lines["food"]) == ("not known", "not known", "not known yet")
    assert lines["cause"] == "cannot be told yet"
    assert lines["compressor"] == "its cycles cannot be seen yet"


def test_show_what_it_has_learnt_from(door: Answering, tmp_path: Path) -> None:
    """Each lesson is listed with its day, and a cause that has not held is not said."""
    learnt = [{"how": "outage", "at": "2026-03-12T02:10:00.000+00:00"}, {"how": "test", "at": CALM["at"]}]
    cause = {"label": "drift", "sure": "hint", "held": False, "since": None}
    lines = shown(door, tmp_path, learnt=learnt, calibrated=True, cause=cause)

    assert lines["learnt from"] == "an outage Thu 12 Mar 2026 02:10, a test switch-off Wed 25 Nov 2026 14:10"
    assert lines["cause"] == "cannot be told yet"


def test_show_in_fahrenheit(door: Answering, tmp_path: Path) -> None:
    """A household that reads °F has every temperature and difference so."""
    door.units = "°F"
    lines = shown(door, tmp_path)

    assert lines["room"] == "67.1 °F"
    assert "about ±1.4 °F" in lines["food"]
    assert lines["without power"].splitlines()[4].startswith("15 °F: ")
    assert "°C" not in "".join(lines.values())


def test_show_for_programs(door: Answering, tmp_path: Path) -> None:
    """In JSON it is the freezer of the door's answer."""
    assert asked(settle(tmp_path), "freezer", "show", "shed-chest") == CALM


@pytest.mark.parametrize("word", ["show", "test-off"])
def test_unknown_freezer(word: str, door: Answering, tmp_path: Path) -> None:
    """A freezer that there is not is refused with those there are, and nothing is ordered."""
    code, output = call(settle(tmp_path), "freezer", word, "barn")

    assert (code, output) == (1, "There is no freezer 'barn'; there are: shed-chest.\n")
    assert door.orders == []


@pytest.mark.parametrize("args", [("--yes",), ("--end",), ()])
def test_not_running(args: tuple[str, ...], tmp_path: Path) -> None:
    """Without the daemon nothing is ordered, and the exit code says so."""
    code, output = call(settle(tmp_path), "freezer", "test-off", "shed-chest", *args)

    assert code == 3
    assert "not running; nothing changed" in output


def test_show_without_the_daemon(tmp_path: Path) -> None:
    """Without the daemon and without anything watched there is nothing to show, and it is said how to start it."""
    code, output = call(settle(tmp_path), "freezer", "show", "shed-chest")

    assert code == 3
    assert "not running, and has not watched anything yet; start it" in output


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ((None, None, None), "not within 9 days"),
        ((0.0, 0.0, 0.0), "there already"),
        ((0.0, 5.0, 9.0), "perhaps there already, likely in 5 h, perhaps only in 9 h"),
        ((0.0, 0.0, 9.0), "perhaps there already, likely there already, perhaps only in 9 h"),
        ((30.0, None, None), "perhaps in 30 h, perhaps much later"),
    ],
)
def test_ends_of_a_range(row: tuple[float | None, ...], words: str, door: Answering, tmp_path: Path) -> None:
    """What is there already, not within nine days, or open to the end, is said as such, where no rule is shorter."""
    found: Any = row
    lines = shown(door, tmp_path, kg={"meat": 8.0}, reserve=rows(found, found, found, found, found))

    assert lines["without power"].splitlines()[2] == f"  warmest food  {words}"


def test_right_after_a_start(door: Answering, tmp_path: Path) -> None:
    """Right after a start a freezer that is heard is not called unheard; a test that taught it leaves no doubt open."""
    door.heard = 30_000

    assert shown(door, tmp_path, state="not heard")["state"] == "heard, and not judged yet"
    assert shown(door, tmp_path, calibrated=True)["food"].endswith("±0.8 °C in simulations")


def answered(file: Path, text: str) -> tuple[int, str]:
    """Call the test switch-off and type an answer."""
    done = CliRunner().invoke(cli, ["freezer", "test-off", "shed-chest", "--settings", str(file)], input=text)
    return done.exit_code, done.output


def test_test_is_explained_and_begun(door: Answering, tmp_path: Path) -> None:
    """It says what to do and what to mind, asks, and on yes gives the order and prints what the watch answers."""
    code, output = answered(settle(tmp_path), "y\n")
    (order,) = door.orders

    assert code == 0
    for word in ("3 hours", "Keep it shut", "alarms are held", "SWITCH THE FREEZER BACK ON", "dry hands", "manual"):
        assert word in output
    assert output.endswith("Switch Shed chest off now.\n")
    assert (order["verb"], order["subject"]) == ("test switch-off", "shed-chest")
    assert order["key"]


@pytest.mark.parametrize("text", ["n\n", "\n", ""])
def test_no_is_no(text: str, door: Answering, tmp_path: Path) -> None:
    """No, nothing, and the end of the input begin no test."""
    code, output = answered(settle(tmp_path), text)

    assert code == 1
    assert "Nothing was begun." in output
    assert door.orders == []


def test_yes_beforehand(door: Answering, tmp_path: Path) -> None:
    """With --yes nobody is asked, and with --json the answer is the watch's own."""
    file = settle(tmp_path)

    assert call(file, "freezer", "test-off", "shed-chest", "--yes")[0] == 0
    assert asked(file, "freezer", "test-off", "shed-chest", "--yes") == {
        "done": True,
        "text": "Switch Shed chest off now.",
    }
    assert len(door.orders) == 2


def test_json_cannot_ask(door: Answering, tmp_path: Path) -> None:
    """With --json and without --yes it is wrong use: nobody would see the steps."""
    code, output = call(settle(tmp_path), "freezer", "test-off", "shed-chest", "--json")

    assert code == 2
    assert "add --yes" in output
    assert door.orders == []


def test_second_test_is_refused(door: Answering, tmp_path: Path) -> None:
    """A freezer that is in a test gets no second one; it is said until when, and how to end it."""
    door.freezers = [CALM | {"test": TEST}]
    code, output = answered(settle(tmp_path), "y\n")

    assert code == 1
    assert "in a test already, until Wed 25 Nov 2026 16:00" in output
    assert "--end" in output
    assert door.orders == []


def test_test_is_ended(door: Answering, tmp_path: Path) -> None:
    """--end asks nothing and orders the end."""
    code, _ = call(settle(tmp_path), "freezer", "test-off", "shed-chest", "--end")
    (order,) = door.orders

    assert code == 0
    assert (order["verb"], order["subject"]) == ("end the test", "shed-chest")


def test_lasts_as_long_as_said() -> None:
    """The hours in the steps are those after which the watch ends the test."""
    assert f"for {LASTS // HOUR} hours" in steps("Shed chest", "shed-chest")

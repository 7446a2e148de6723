"""The commands calibrate, chore and due."""

import json
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from gatewayd.cli import due, house
from gatewayd.cli.main import cli
from gatewayd.door import NotRunning
from gatewayd.model.chore import Kind
from gatewayd.model.moment import DAY, to_wall
from gatewayd.model.reading import Quantity
from gatewayd.store import calibration, chore
from gatewayd.store.batch import Calibration
from gatewayd.store.file import open_writer
from tests.cli.household import asked, call, settle
from tests.store.make import T0, at, batch

SETTLING: dict[str, Any] = {
    "done": True, "sensor": "shed-chest-air", "name": "Shed air", "units": "°C", "freezer": "Shed chest",
    "running": True, "was_k": 0.1, "stage": "settling", "readings": 3, "raw_c": 0.41, "steady_ms": 120_000, "count": 3,
    "mean_c": None, "spread_k": None, "offset_k": None, "until": "2026-11-25T16:00:00.000+00:00",
}  # fmt: skip
FOUND = SETTLING | {"stage": "done", "mean_c": 0.4, "spread_k": 0.1, "offset_k": -0.4, "steady_ms": 600_000}
OVER = {key: SETTLING[key] for key in ("done", "sensor", "name", "units", "freezer", "was_k")} | {"running": False}


class Door:
    """Answer as a daemon does; `steps` are what who looks on hears."""

    def __init__(self) -> None:
        """Begin with a check that works."""
        self.steps: list[dict[str, Any]] = [SETTLING | {"stage": "waiting", "raw_c": None}, SETTLING, SETTLING, FOUND]
        self.asked: list[dict[str, Any]] = []
        self.running = self.stops = False

    def __call__(self, _door: Path, request: dict[str, Any], _patience: float = 30.0) -> Iterator[dict[str, Any]]:
        """Answer one request."""
        self.asked.append(request)
        match request["ask"], request.get("do"):
            case "health", _:
                sensor = {
                    "id": "shed-chest-air",
                    "name": "Shed air",
                    "freezer": "shed-chest",
                    "measures": "temperature",
                }
                yield {"units": "°C", "sensors": [sensor]}
            case "calibrate", "state":
                yield SETTLING if self.running else OVER
            case "calibrate", "look" if self.stops:
                yield self.steps[0]
                raise NotRunning("the daemon went away")
            case "calibrate", "look":
                yield from self.steps
            case "calibrate", "begin":
                yield {"again": False, "lasts": 1, **SETTLING}
            case "calibrate", "keep":
                yield {
                    "done": True,
                    "text": "Shed air: −0.40 °C is added to its readings from now on.",
                    "offset_k": -0.4,
                }
            case _:
                yield {"done": True, "text": "Done."}

    @property
    def dos(self) -> list[object]:
        """Return what was asked of the check, in order."""
        return [request["do"] for request in self.asked if request["ask"] == "calibrate"]


@pytest.fixture
def door(monkeypatch: pytest.MonkeyPatch) -> Door:
    """Let a daemon answer."""
    answering = Door()
    monkeypatch.setattr(house, "ask", answering)
    monkeypatch.setattr("gatewayd.door.ask", answering)
    return answering


def calibrate(file: Path, *args: str, answers: str = "") -> Result:
    """Call `gatewayd calibrate shed-chest-air` and answer its questions."""
    return CliRunner().invoke(cli, ["calibrate", "shed-chest-air", *args, "--settings", str(file)], input=answers)


def test_guided_check(tmp_path: Path, door: Door) -> None:
    """It explains the ice, shows each step once, says which way the probe is off, and stores it when told so."""
    done = calibrate(settle(tmp_path), answers="y\ny\n")

    assert done.exit_code == 0, done.output
    assert door.dos == ["state", "begin", "look", "keep"]
    assert "crushed ice in water is at 0 °C" in done.output
    assert "The alarms of shed-chest are held for half an\nhour now" in done.output
    assert done.output.count("within 0.2 °C for 2 min of 10 min") == 1
    assert "Shed air reads 0.40 °C too warm: in ice it says 0.40 °C, five readings within 0.10 °C." in done.output
    assert "−0.40 °C would be added to its readings; until now it is 0.10 °C." in done.output
    assert done.output.rstrip().endswith("Dry the probe and put it back now.")


def test_nothing_is_begun_or_stored_without_a_yes(tmp_path: Path, door: Door) -> None:
    """Without a yes nothing is begun; with one only, nothing is stored and the probe goes back."""
    file = settle(tmp_path)
    neither = calibrate(file, answers="n\n")
    before = list(door.dos)
    one = calibrate(file, answers="y\nn\n")

    assert (neither.exit_code, before) == (1, ["state"])
    assert one.exit_code == 0
    assert door.dos == ["state", "state", "begin", "look", "end"]


def test_json_lines(tmp_path: Path, door: Door) -> None:
    """With --json each step is a line of JSON, and nothing is asked."""
    refused = calibrate(settle(tmp_path), "--json")
    done = calibrate(settle(tmp_path), "--json", "--yes")
    rows = [json.loads(line) for line in done.output.splitlines()]

    assert refused.exit_code == 2
    assert [row.get("stage") for row in rows] == ["settling", "waiting", "settling", "settling", "done", None]
    assert rows[-1]["offset_k"] == -0.4
    assert door.dos == ["state", "begin", "look", "keep"]


def test_called_again_looks_on(tmp_path: Path, door: Door) -> None:
    """While a check runs nobody is asked to begin; its true end is said, and the help says that JSON comes in lines."""
    door.running = True
    done = calibrate(settle(tmp_path), answers="n\n")

    assert "The check goes on; it ends at 16:00 at the latest." in done.output
    assert "Begin now?" not in done.output
    assert door.dos == ["state", "look", "end"]
    assert "JSON lines" in CliRunner().invoke(cli, ["calibrate", "--help"]).output


def test_daemon_stops_meanwhile(tmp_path: Path, door: Door) -> None:
    """Where gatewayd stops during a check it is said that the check goes on, not that nothing changed."""
    door.running = door.stops = True
    done = calibrate(settle(tmp_path))

    assert done.exit_code == 3
    assert "The check goes on when it is there again, to the same end" in done.output
    assert "nothing changed" not in done.output


def test_over_without_a_result(tmp_path: Path, door: Door) -> None:
    """A check whose time is up is said to be over, and no ice at all is said while it lasts."""
    door.steps = [SETTLING | {"stage": "not ice", "raw_c": -18.4}, OVER]
    done = calibrate(settle(tmp_path), "--yes")

    assert done.exit_code == 1
    assert "−18.40 °C: it stands still far from 0 °C." in done.output
    assert "Nothing was stored." in done.output
    assert door.dos == ["state", "begin", "look"]


def test_unknown_sensor_and_end(tmp_path: Path, door: Door) -> None:
    """An unknown sensor is refused with those there are; --end ends the check."""
    file = settle(tmp_path)
    code, output = call(file, "calibrate", "attic")
    ended = calibrate(file, "--end")

    assert code == 1
    assert "There is no thermometer 'attic'; there are: shed-chest-air." in output
    assert (ended.exit_code, ended.output) == (0, "Done.\n")
    assert door.dos == ["state", "end"]


def written(tmp_path: Path) -> Path:
    """Return the settings of a house whose file holds two checks and two chores."""
    file = settle(tmp_path, [batch(settings=("v1", "text"))])
    conn = open_writer(tmp_path / "house.db")
    boot = conn.execute("SELECT name FROM boot").fetchone()[0]
    for offset, day in ((-0.4, T0), (-0.25, T0 + 400 * DAY)):
        calibration.put(conn, Calibration("shed-chest-air", Quantity.TEMPERATURE, offset, day, "ann"), boot)
    chore.add(conn, "shed-chest", Kind.GASKET, T0, "ann", {"note": "tight"})
    chore.add(conn, "shed-chest-air", Kind.BATTERY, T0 + DAY)
    conn.close()
    return file


def test_offsets_of_former_checks(tmp_path: Path) -> None:
    """Every offset that was found is listed with its day and who found it, with no daemon."""
    file = written(tmp_path)
    code, output = call(file, "calibrate", "shed-chest-air", "--list")
    found = asked(file, "calibrate", "shed-chest-air", "--list")

    assert code == 0
    assert output == "2026-11-25  −0.40 °C added, ann\n2027-12-30  −0.25 °C added, ann\n"
    assert isinstance(found, dict)
    assert [row["offset_k"] for row in found["checks"]] == [-0.4, -0.25]
    assert "was never checked" in call(file, "calibrate", "cellar-upright-air", "--list")[1]


def test_chores_are_listed_from_the_file(tmp_path: Path) -> None:
    """What was done is listed, the newest first, all of it or of one thing or kind, with no daemon."""
    file = written(tmp_path)

    assert call(file, "chore", "list")[1] == (
        "2026-11-26  shed-chest-air  battery\n2026-11-25  shed-chest  gasket: tight (ann)\n"
    )
    assert call(file, "chore", "list", "shed-chest-air")[1].count("\n") == 1
    assert "Nothing is written down yet." in call(file, "chore", "list", "--kind", "spare")[1]
    rows = asked(file, "chore", "list", "--kind", "gasket")
    assert isinstance(rows, dict)
    assert [(row["subject"], row["facts"]) for row in rows["chores"]] == [("shed-chest", {"note": "tight"})]


def test_chore_is_ordered(tmp_path: Path, door: Door) -> None:
    """`chore add` hands the words over as one note, with a key that makes it once."""
    code, output = call(settle(tmp_path), "chore", "add", "shed-chest", "gasket", "cleaned,", "tight")

    assert (code, output) == (0, "Done.\n")
    (request,) = door.asked
    assert (request["subject"], request["kind"], request["note"]) == ("shed-chest", "gasket", "cleaned, tight")
    assert len(request["key"]) == 16


def test_chore_without_a_daemon_changes_nothing(tmp_path: Path) -> None:
    """With no daemon nothing is written, and that is said with how to start it."""
    code, output = call(written(tmp_path), "chore", "add", "shed-chest", "gasket")

    assert code == 3
    assert "not running; nothing changed; start it with" in output


def test_due_from_the_daemon(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the daemon says is due is shown, the overdue marked; nothing due is said so."""
    rows = [
        {"overdue": True, "text": "Defrost Shed chest, soon: thick"},
        {"overdue": False, "text": "Check it: yearly"},
    ]
    monkeypatch.setattr(due, "ask", lambda *_: iter([{"due": rows}]))
    file = settle(tmp_path)

    assert call(file, "due") == (0, "! Defrost Shed chest, soon: thick\n  Check it: yearly\n")
    assert asked(file, "due") == {"running": True, "due": rows}
    monkeypatch.setattr(due, "ask", lambda *_: iter([{"due": []}]))
    assert call(file, "due") == (0, "Nothing is due.\n")


def test_due_from_the_file_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With no daemon the file still tells which checks are due, and that it does not tell all."""

    def nobody(*_: object) -> Iterator[dict[str, Any]]:
        raise NotRunning("door")

    monkeypatch.setattr(due, "ask", nobody)
    now = at(to_wall(datetime(2029, 3, 1, tzinfo=UTC)))
    monkeypatch.setattr("gatewayd.clock.SystemClock.now", lambda _: now)
    file = written(tmp_path)
    with closing(open_writer(tmp_path / "house.db")) as conn:
        chore.add(conn, "shed-chest-air", Kind.ICE_POINT, T0 + 400 * DAY)
    code, output = call(file, "due")

    assert code == 0
    assert "! Check Shed chest air in ice, overdue since 29 December 2028: once a year; a thermometer drifts" in output
    assert "! Defrost Shed chest" in output
    assert "gatewayd is not running" in output

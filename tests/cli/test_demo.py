"""The demo and the replay, as somebody calls them who has nothing but the program."""

import json
import random
import socket
from pathlib import Path

import pytest
from click.testing import CliRunner

from gatewayd.cli.demo import FIRST_DAY, open_day
from gatewayd.cli.main import cli
from gatewayd.demo.house import ZONE, HeronLane
from gatewayd.demo.story import evening
from gatewayd.store.file import open_reader

ONE = Path(__file__).parent.parent.parent / "config" / "one-freezer.yaml"


MISHAPS = [
    "Porch chest is too warm",
    "Porch chest is cold again",
    "Shed chest is too warm",
    "Shed chest is cold again",
    "Cellar upright is not being watched",
    "Cellar upright is watched again",
    "Shed broker is not reachable",
    "Shed broker is back",
]
# what goes with them: the lid and the cooling seen early, a reminder, and that somebody is on it
BESIDE = ("the lid of Porch chest", "stopped cooling", "cools again", "still", "has seen it", "are too warm")


def call(*args: str, env: dict[str, str] | None = None) -> tuple[int, str]:
    """Call a command in this process and return its exit code and output."""
    done = CliRunner().invoke(cli, list(args), env=env)
    return done.exit_code, done.output


def test_demo_tells_each_mishap_once(tmp_path: Path) -> None:
    """`demo --once` tells of lid, plug, sensor and source, each once and once when over, to whom they concern."""
    code, output = call("demo", "--once", "--json", "--keep", str(tmp_path / "house"))
    told = [(one["to"], one["title"].removeprefix("Heron Lane: ").split(",")[0]) for one in json.loads(output)]

    assert code == 0
    assert [title for to, title in told if to == "ann-phone" and title in MISHAPS] == MISHAPS
    beside = {title for _, title in told} - set(MISHAPS)
    assert {title for title in beside if not any(words in title for words in BESIDE)} == set()
    ben = [title for to, title in told if to == "ben-phone"]
    assert ben[0] == "Shed chest is too warm"  # told from high on, and when Ann had not answered
    assert ben[-1] == "Shed chest is cold again"


def test_demo_leaves_a_real_store(tmp_path: Path) -> None:
    """The demo's store holds its readings, events and sent messages, and a used folder is refused."""
    _, output = call("demo", "--once", "--json", "--keep", str(tmp_path))
    with open_reader(tmp_path / "house.db") as conn:
        rows = conn.execute("SELECT (SELECT count(*) FROM log) + (SELECT count(*) FROM reading)").fetchone()[0]
        sent = conn.execute("SELECT count(*) FROM delivery WHERE progress = 'sent'").fetchone()[0]
    conn.close()
    again = call("demo", "--once", "--keep", str(tmp_path))

    assert rows > 10_000
    assert sent >= len(json.loads(output)) >= 12  # what happened within a minute is one letter
    assert again == (1, f"Error: {tmp_path} holds a house already; name an empty folder.\n")


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--pace", "0"], "not allowed; it takes house hours a second, or the word: real"),
        (["--pace", "nan"], "not allowed"),
        (["--pages", "0"], "a port, or the word: off, from 1 to 65535"),
        (["--pages", "here"], "a port, or the word: off"),
        (["--once", "--pages", "8470"], "--once plays to its end"),
        (["--once", "--ahead", "3"], "--once plays to its end"),
    ],
)
def test_wrong_wish_is_refused(args: list[str], says: str) -> None:
    """A pace or port that there is not is refused with what is allowed, and nothing is played."""
    code, output = call("demo", *args)

    assert code == 2
    assert says in " ".join(output.split())


def test_taken_port_is_said_and_the_demo_goes_on(tmp_path: Path) -> None:
    """Where the port of the pages is taken that is said, with what to do, and the house is played without them."""
    lane = HeronLane(random.Random(0), evening(FIRST_DAY, ZONE))
    said: list[str] = []
    with socket.create_server(("127.0.0.1", 0)) as taken:
        found = open_day(lane, tmp_path, taken.getsockname()[1], said.append)

    assert found is None
    assert "Address already in use" in said[0]
    assert "gatewayd demo --pages PORT" in said[0]


def test_replay_lists_what_would_have_been_told(tmp_path: Path) -> None:
    """A recorded warm afternoon, played through the settings of one freezer, lists the alarm and its end."""
    log = tmp_path / "log.csv"
    values = [-18.0] * 10 + [-14.0] + [-10.0] * 60 + [-14.0] * 30
    lines = [f"{1_795_600_000 + n * 60},shed-chest-air,{value}" for n, value in enumerate(values)]
    log.write_text("time,sensor,payload\n" + "\n".join(lines) + "\n")
    env = {"MAIL_PASSWORD": "x", "STATE_DIRECTORY": str(tmp_path)}
    code, output = call("replay", str(log), "--settings", str(ONE), "--json", env=env)

    assert code == 0
    titles = [one["title"].split(": ")[1] for one in json.loads(output)]
    assert titles == ["Shed chest is too warm, −10.0 °C", "Shed chest is cold again, −14.0 °C"]


def test_bad_recording_plays_nothing(tmp_path: Path) -> None:
    """A recording with wrong lines names them all and plays nothing."""
    log = tmp_path / "log.csv"
    log.write_text(
        "time,sensor,payload\n1795600000,shed-chest-air,-18\nnever,shed-chest-air,-18\n1795600060,attic,-18\n"
    )
    env = {"MAIL_PASSWORD": "x", "STATE_DIRECTORY": str(tmp_path)}
    code, output = call("replay", str(log), "--settings", str(ONE), env=env)

    assert code == 2
    assert "line 3" in output
    assert "line 4" in output
    assert not (tmp_path / "house.db").exists()


def test_every_command_has_help() -> None:
    """Each command explains itself."""
    for name in cli.list_commands(None):  # type: ignore[arg-type]
        code, output = call(name, "--help")
        assert code == 0, name
        assert len(output.splitlines()) > 5, name

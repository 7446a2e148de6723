"""`gatewayd forecast --replay`: a recorded warming played through the model, and what is said of a wrong file."""

import json
from datetime import UTC, datetime, timedelta
from math import exp, sin, tau
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from gatewayd.cli.main import cli
from gatewayd.cli.warmup import EXAMPLE, Row, read_rows, read_told
from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.model.outlook import LEVELS, Label, Sure
from gatewayd.thermal.prior import FULL

README = Path(__file__).parent.parent.parent / "README.md"
FACTS: dict[str, Any] = {"kind": "chest", "volume_l": 300, "kg": {"meat": 30, "vegetables-fruit": 15.5}, "room_c": 20}
OFF = 18  # h; from then on nothing cools


def air(hours: float) -> float:
    """Return the air of a freezer that cools every 45 min and stops cooling after 18 h."""
    if hours < OFF:
        return -18.5 + sin(tau * hours / 0.75)
    return 8.0 - (8.0 + 18.5) * exp(-(hours - OFF) / 30) + 1.5 * (1 - exp(-(hours - OFF) / 0.7))


def recording(folder: Path, end: float = 24.0, step: int = 120, form: str = "{t},{air:.1f}") -> Path:
    """Write a recording and return its file."""
    file = folder / "warming.csv"
    lines = [form.format(t=t, air=air(t / 3600)) for t in range(0, round(end * 3600) + 1, step)]
    file.write_text("\n".join(["t,air", *lines]) + "\n")
    return file


def told(folder: Path, **changed: object) -> Path:
    """Write the facts and return their file."""
    file = folder / "facts.json"
    file.write_text(json.dumps(FACTS | changed))
    return file


def play(file: Path, facts: Path, *args: str) -> tuple[int, str]:
    """Call the command and return its exit code and what it printed."""
    done = CliRunner().invoke(cli, ["forecast", "--replay", str(file), "--facts", str(facts), *args])
    return done.exit_code, done.output


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Return the answers at 12, 20 and 24 h, asked for in another order."""
    folder = tmp_path_factory.mktemp("played")
    code, output = play(recording(folder), told(folder), "--at", "24,12,20", "--json")
    assert code == 0, output
    return [json.loads(line) for line in output.splitlines()]


def test_one_object_a_time(answers: list[dict[str, Any]]) -> None:
    """There is one line of JSON for each time that was asked for, in that order."""
    assert [answer["at_h"] for answer in answers] == [24, 12, 20]


def test_shape(answers: list[dict[str, Any]]) -> None:
    """Each object has the fixed keys, a row for the probe and the food at each level, and words that exist."""
    keys = {"at_h", "state", "reserve", "forecast", "cause", "cycles", "food_c"}
    places = {(where, level) for where in ("probe", "food") for level in LEVELS}
    for answer in answers:
        assert set(answer) == keys
        for rows in (answer["reserve"], answer["forecast"]):
            assert {(row["where"], row["level_c"]) for row in rows} == places
            assert all(set(row) == {"where", "level_c", "early_h", "likely_h", "late_h"} for row in rows)
        assert set(answer["cause"]) == {"label", "sure", "held"}
        assert answer["cause"]["label"] in {label.value for label in Label}
        assert answer["cause"]["sure"] in {sure.value for sure in Sure}
        assert set(answer["cycles"]) == {"period_s", "duty", "starts_per_day"}
        assert set(answer["food_c"]) == {"top", "bulk"}


def test_only_what_was_read_until_then_counts(answers: list[dict[str, Any]], tmp_path: Path) -> None:
    """An answer at 12 h is the same whether the recording goes on or ends there."""
    code, output = play(recording(tmp_path, end=12.0), told(tmp_path), "--json")

    assert code == 0
    assert json.loads(output) == answers[1]


def test_running_and_stopped(answers: list[dict[str, Any]]) -> None:
    """While it cools its cycles are read; two hours after it stopped it is seen to warm, and why."""
    end, calm, warm = answers

    assert calm["cycles"]["period_s"] == pytest.approx(2700, rel=0.02)
    assert (warm["state"], end["state"]) == ("warming", "warming")
    assert (end["cause"]["label"], end["cause"]["held"]) == ("power", True)


def test_words(tmp_path: Path) -> None:
    """Without --json each time is a paragraph."""
    code, output = play(recording(tmp_path), told(tmp_path), "--at", "12,24")
    calm, warm, _, *below = output.splitlines()

    assert code == 0
    assert calm.startswith("After 12 h: The freezer is at −18.")
    assert "Without power it takes" in calm
    assert "If nothing cools it, the warmest food" in warm
    assert "government" in calm
    assert "government" in warm
    assert below[0].startswith("Kept shut, a full freezer")
    assert below[1].endswith("a test switch-off.")


def test_times_as_stamps(answers: list[dict[str, Any]], tmp_path: Path) -> None:
    """ISO 8601 in t says the same as seconds from the start, with a zone or without."""
    for zone in (UTC, None):
        first = datetime(2026, 11, 25, 3, 0, tzinfo=zone)
        lines = [f"{(first + timedelta(seconds=t)).isoformat()},{air(t / 3600):.1f}" for t in range(0, 43201, 120)]
        file = tmp_path / "stamps.csv"
        file.write_text("\n".join(["t,air", *lines]))

        assert json.loads(play(file, told(tmp_path), "--json")[1]) == answers[1]


def test_room_column_and_gaps(tmp_path: Path) -> None:
    """A room may stand in a third column; an empty cell, or nan, is no reading; an empty line is none at all."""
    file = tmp_path / "f.csv"
    file.write_text("\ufefft, air ,room\r\n0,-18.0,19\r\n60,,19.5\r\n\r\n120,NaN,\r\n180, -17.9 ,\r\n")

    assert read_rows(file) == [Row(0, -18, 19), Row(60, None, 19.5), Row(120, None, None), Row(180, -17.9, None)]


def test_unix_seconds_begin_at_the_first_row(tmp_path: Path) -> None:
    """Seconds since 1970 count from the first row, those from the start as they stand."""
    file = tmp_path / "f.csv"
    file.write_text("t,air\n1790000000,-18\n1790000060,-18\n")
    from_start = tmp_path / "g.csv"
    from_start.write_text("t,air\n60,-18\n120,-18\n")

    assert [row.t for row in read_rows(file)] == [0, 60]
    assert [row.t for row in read_rows(from_start)] == [60, 120]


BAD_FILES = [
    ("", "is empty; its first line must be t,air or t,air,room"),
    ("t,air\n", "holds no reading of the air"),
    ("t,air\n0,\n60,nan\n", "holds no reading of the air"),
    ("time,air\n0,-18\n", "line 1: the header is 'time,air'; allowed are t,air and t,air,room"),
    ("t,room\n0,-18\n", "line 1: the header is 't,room'"),
    ("0,-18\n60,-18\n", "line 1: the header is '0,-18'"),
    ("t,air\n0,-18\n60\n", "line 3: has 1 cells where the header has 2"),
    ("t,air\n0,-18\n60,-18,20\n", "line 3: has 3 cells where the header has 2"),
    ("t,air\n0,-18\n60,cold\n", "line 3: air is 'cold'"),
    ("t,air\n0,-18\n60,inf\n", "line 3: air is 'inf'"),
    ("t,air,room\n0,-18,20\n60,-18,200\n", "line 3: room is 200; allowed are -90 to 90 °C"),
    ("t,air\n0,-18\n,-18\n", "line 3: t is ''"),
    ("t,air\n0,-18\n2026-11-25T10:00:00,-18\n", "line 3: t is '2026-11-25T10:00:00'; a number of seconds is expected"),
    ("t,air\nsoon,-18\n", "line 2: t is 'soon'; allowed are seconds from the start, or ISO 8601"),
    ("t,air\n-60,-18\n", "line 2: t is -60; it counts in seconds from the start"),
    ("t,air\n0,-18\n120,-18\n60,-18\n", "line 4: 60 is before the line above; sort the file by time"),
    (
        "t,air\n2026-11-25T10:00:00,-18\n2026-11-25T09:00:00,-18\n",
        "line 3: 2026-11-25T09:00:00 is before the line above",
    ),
    (
        "t,air\n2026-11-25T10:00:00,-18\n2026-11-25T11:00:00Z,-18\n",
        "line 3: t is '2026-11-25T11:00:00Z'; either all times have a zone or none has",
    ),
    ('t,air\n0,"-18\n', "is no CSV file in UTF-8"),
]


@pytest.mark.parametrize(("text", "said"), BAD_FILES)
def test_wrong_file(text: str, said: str, tmp_path: Path) -> None:
    """A wrong header, row or time is named with its line, nothing is answered, and the exit code is 2."""
    file = tmp_path / "f.csv"
    file.write_text(text)
    code, output = play(file, told(tmp_path))

    assert code == 2
    assert said in output
    assert str(file) in output


def test_all_wrong_rows_at_once(tmp_path: Path) -> None:
    """Every wrong row is listed, twenty of them in full."""
    file = tmp_path / "f.csv"
    file.write_text("t,air\n" + "\n".join(f"{t},warm" for t in range(25)))
    output = play(file, told(tmp_path))[1]

    assert output.count("air is 'warm'") == 20
    assert "... and 5 more" in output


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("{h},{c}", "careful: the recording lasts 12 s; is t in seconds?"),
        ("{t},{f}", "careful: half of its air is above 12.7; is air in °F? It must be in °C"),
        ("{t},{c}", ""),
    ],
)
def test_another_unit_is_asked_about(form: str, said: str, tmp_path: Path) -> None:
    """A recording that seems to be in hours or in °F is played, with a question beside the answer."""
    file = tmp_path / "f.csv"
    rows = [form.format(t=round(h * 3600), h=h, c=-10.7, f=12.74) for h in (n / 10 for n in range(121))]
    file.write_text("\n".join(["t,air", *rows]) + "\n")
    done = CliRunner().invoke(cli, ["forecast", "--replay", str(file), "--facts", str(told(tmp_path)), "--json"])

    assert done.exit_code == 0
    assert done.stderr.strip() == said
    assert json.loads(done.stdout)


def test_milliseconds_are_refused(tmp_path: Path) -> None:
    """What would last for more than 400 days is no recording of a warming."""
    file = tmp_path / "f.csv"
    file.write_text("t,air\n1790000000000,-18\n1790086400000,-18\n")
    code, output = play(file, told(tmp_path))

    assert code == 2
    assert "lasts 1000 days; allowed are 400. Is t in ms?" in output


@pytest.mark.parametrize("content", [b"t,air\n0,\xff\n", b"t,air\n0,\x00\n"])
def test_no_text(content: bytes, tmp_path: Path) -> None:
    """A file that is no text is refused, and so is one that is not there."""
    file = tmp_path / "f.csv"
    file.write_bytes(content)

    assert play(file, told(tmp_path))[0] == 2
    assert play(tmp_path / "none.csv", told(tmp_path)) == (
        2,
        f"{tmp_path / 'none.csv'} cannot be read (No such file or directory).\n",
    )


BAD_FACTS = [
    ({"kind": "fridge"}, "kind is 'fridge'; allowed are chest, upright, upright-auto-defrost"),
    ({"kind": ["chest"]}, "kind is ['chest']"),
    ({"kg": {"fish": 4}}, "kg has 'fish'; allowed are meat, vegetables-fruit, bread, meals, water"),
    ({"kg": [4]}, "kg is [4]; it must be an object of weights"),
    ({"kg": {"meat": "4"}}, "kg of meat is '4'; it must be a number"),
    ({"kg": {"meat": -4}}, "-4 kg of meat; allowed are 0 to 2000 kg"),
    ({"kg": {"meat": True}}, "kg of meat is True; it must be a number"),
    ({"volume_l": 5}, "a volume of 5 L; allowed are 20 to 2000 L"),
    ({"volume_l": None}, "volume_l is None; it must be a number"),
    ({"volume_l": float("nan")}, "volume_l is nan; it must be a number"),
    ({"room_c": 100}, "a room of 100 °C; allowed are -30 to 60 °C"),
    ({"room_c": 10**400}, "it must be a number"),
]


@pytest.mark.parametrize(("changed", "said"), BAD_FACTS, ids=[said[:30] for _, said in BAD_FACTS])
def test_wrong_facts(changed: dict[str, object], said: str, tmp_path: Path) -> None:
    """An unknown kind or group, a missing number or one beyond reason is named with what is allowed; exit code 2."""
    code, output = play(recording(tmp_path, end=1), told(tmp_path, **changed))

    assert code == 2
    assert said in output


def test_kind_is_needed(tmp_path: Path) -> None:
    """Without the kind nothing is played, and an example shows how facts are written."""
    file = tmp_path / "facts.json"
    file.write_text("{}")
    code, output = play(recording(tmp_path, end=1), file)

    assert code == 2
    assert "kind missing" in output
    assert EXAMPLE in output


def test_example_is_one(tmp_path: Path) -> None:
    """The example of the refusal can be played, and --help and README show the very same."""
    file = tmp_path / "facts.json"
    file.write_text(EXAMPLE)
    shown = CliRunner().invoke(cli, ["forecast", "--help"], env={"COLUMNS": "120"}).output

    assert read_told(file).guesses == ()
    assert EXAMPLE in shown
    assert EXAMPLE in README.read_text()


def test_what_nobody_said_is_guessed_aloud(tmp_path: Path) -> None:
    """Volume, contents and room may be left off: in words it is said how they were taken, in JSON nothing is added."""
    file = tmp_path / "facts.json"
    file.write_text('{"kind": "upright with automatic defrost", "volume": 200}')
    recorded = recording(tmp_path, end=1)
    told_of, words, plain = read_told(file), play(recorded, file)[1], play(recorded, file, "--json")[1]

    assert (told_of.facts.kind, told_of.facts.volume, told_of.facts.room) == (Kind.UPRIGHT_AUTO_DEFROST, 250.0, 20.0)
    assert not told_of.facts.told
    assert words.splitlines()[0] == (
        "Guessed: 'volume' is none of kind, volume_l, kg, room_c: left aside; volume_l is not said: taken as 250 L; kg "
        "is not said: taken as half full of mixed food, 45 kg; room_c is not said: taken as 20 °C."
    )
    assert json.loads(plain)["at_h"] == 1


def test_told_to_be_empty(tmp_path: Path) -> None:
    """No group at all is nobody's word; groups of 0 kg are the word that it is empty."""
    empty = read_told(told(tmp_path, kg={"meat": 0, "bread": 0}))

    assert empty.facts.told
    assert 0 < empty.facts.weight < 0.01
    assert empty.guesses == ("kg is 0 in all: taken as told to be empty",)


@pytest.mark.parametrize("text", ["", "{", "[]", "\xff", "[" * 100_000])
def test_facts_are_json(text: str, tmp_path: Path) -> None:
    """Facts that are no JSON object are refused with the keys that are needed, or where reading stopped."""
    file = tmp_path / "facts.json"
    file.write_bytes(text.encode("latin-1"))
    code, output = play(recording(tmp_path, end=1), file)

    assert code == 2
    assert f"{file} is no JSON" in output


def test_facts_as_they_are_meant(tmp_path: Path) -> None:
    """Kinds and groups are those of the settings; where nobody says what it holds, half a freezer full is guessed."""
    facts = read_told(told(tmp_path, kind="upright-auto-defrost")).facts
    guessed = read_told(told(tmp_path, kg={})).facts

    assert (facts.kind, facts.told) == (Kind.UPRIGHT_AUTO_DEFROST, True)
    assert facts.kg == {Group.MEAT: 30, Group.PRODUCE: 15.5}
    assert not guessed.told
    assert guessed.weight == pytest.approx(FULL * 300 / 2)


BAD_TIMES = [
    ("soon", "'soon' is no number of hours"),
    ("1,,2", "'' is no number of hours"),
    ("nan", "'nan' is no number of hours"),
    ("-1", "-1 h is before the first reading"),
    ("9", "9 h is beyond the end of the recording (2.00 h)"),
]


@pytest.mark.parametrize(("at", "said"), BAD_TIMES)
def test_wrong_times(at: str, said: str, tmp_path: Path) -> None:
    """A time that is none, or lies outside of the recording, is refused with its bounds."""
    code, output = play(recording(tmp_path, end=2), told(tmp_path), "--at", at)

    assert code == 2
    assert said in output


def test_end_is_taken_as_meant(tmp_path: Path) -> None:
    """A recording whose last row is a minute short of two hours still reaches to two hours."""
    code, output = play(recording(tmp_path, end=1.97), told(tmp_path), "--at", "2", "--json")

    assert code == 0
    assert json.loads(output)["at_h"] == 2


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (["--replay", "f.csv"], "--replay needs the facts"),
        (["--facts", "f.json"], "go with --replay"),
        (["--at", "2"], "go with --replay"),
        (["barn", "--replay", "f.csv", "--facts", "f.json"], "leave the freezer off"),
    ],
)
def test_options_go_together(args: list[str], said: str) -> None:
    """Options that make no sense alone, or together, are refused as wrong use."""
    done = CliRunner().invoke(cli, ["forecast", *args])

    assert done.exit_code == 2
    assert said in done.output


def test_error_for_programs(tmp_path: Path) -> None:
    """With --json a refusal is JSON as well."""
    done = CliRunner().invoke(
        cli, ["forecast", "--replay", str(tmp_path / "f"), "--facts", str(told(tmp_path)), "--json"]
    )

    assert done.exit_code == 2
    assert json.loads(done.stdout)["done"] is False

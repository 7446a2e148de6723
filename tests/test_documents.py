"""README.md and DEVELOPERS.md say what is true: commands, defaults, broker lines, paths and the alarm table.

`python -m tests.test_documents` draws the picture of the alarm table anew.
"""

import calendar
import os
import re
import shlex
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from gatewayd import __version__
from gatewayd.alarm import kinds
from gatewayd.alarm.table import SHELVING, TABLE, Shelf, State
from gatewayd.cli import house
from gatewayd.cli.main import COMMANDS, cli
from gatewayd.message.retry import GIVE_UP, JOIN_AFTER
from gatewayd.model.house import Person
from gatewayd.model.limits import Limits
from gatewayd.model.priority import Priority
from gatewayd.model.telling import Telling, Weekly
from gatewayd.model.units import TemperatureUnit, show_span
from gatewayd.settings import schema
from gatewayd.settings.cross import HIGHHIGH_WITH_DEFROST
from gatewayd.settings.keys import walk
from tests.rigs.broker import LOSSLESS

ROOT = Path(__file__).parent.parent
README, DEVELOPERS = ROOT / "README.md", ROOT / "DEVELOPERS.md"
DOCUMENTS = (README, DEVELOPERS)
BEGIN, END = "<!-- alarm table: begin -->", "<!-- alarm table: end -->"
# a file of this repository, as the documents name it: not below / or another folder, and with an ending of ours
PATH = re.compile(r"(?<![\w/.-])(?:config|systemd|tests|gatewayd)/[\w./-]+\.(?:py|yaml|service|csv)\b")
HIGHHIGH = f"{TemperatureUnit.C.show(Limits().highhigh)} ({TemperatureUnit.F.show(Limits().highhigh, 0)})"
LINK = re.compile(r"\]\(([^)\s]+)\)")


def fences(text: str, language: str) -> list[str]:
    """Return the code blocks of a language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


def table(text: str, first: str) -> dict[str, list[str]]:
    """Return the rows of the table whose first column is called `first`, as {first cell: other cells}."""
    body = re.search(rf"^\| {re.escape(first)} \|.*\n\|[ |:-]+\n((?:\|.*\n)+)", text, re.MULTILINE)
    assert body is not None, first
    rows = [[cell.strip() for cell in line.strip("|\n").split(" | ")] for line in body[1].splitlines()]
    return {row[0].strip("` "): row[1:] for row in rows}


def section(text: str, title: str) -> str:
    """Return what stands under a heading of the second level."""
    found = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", text, re.DOTALL | re.MULTILINE)
    assert found is not None, title
    return found[1]


def said(when: Weekly | None) -> str:
    """Return a time of the week as people say it."""
    assert when is not None
    return f"{calendar.day_name[when.day]} at {when.minute // 60}:{when.minute % 60:02}"


def flowed(text: str) -> str:
    """Return text as one line, without frames drawn round it."""
    return " ".join(re.sub(r"[│╭╮╰╯─]", " ", text).split())


def picture() -> str:
    """Draw the alarm table as a Mermaid state diagram, with its markers."""
    names = [f'    state "{state.value}" as {state.name}' for state in State]
    moves = [f"    {before.name} --> {after.name}: {what.value}" for (before, what), after in TABLE.items()]
    shelves = [f'    state "{shelf.value}" as {shelf.name}' for shelf in Shelf]
    turns = [f"    {before.name} --> {after.name}: {what.value}" for (before, what), after in SHELVING.items()]
    standing = ["```mermaid", "stateDiagram-v2", *names, f"    [*] --> {State.NORMAL.name}", *moves, "```"]
    shelving = ["```mermaid", "stateDiagram-v2", *shelves, f"    [*] --> {Shelf.NONE.name}", *turns, "```"]
    return "\n".join([BEGIN, "", *standing, "", *shelving, "", END])


def drawn() -> str:
    """Return the picture that stands in DEVELOPERS.md, with its markers."""
    text = DEVELOPERS.read_text()
    return text[text.index(BEGIN) : text.index(END) + len(END)]


def test_picture_equals_the_table() -> None:
    """The state diagram in DEVELOPERS.md shows the states and moves of the table, all and no other."""
    assert drawn() == picture(), "run: python -m tests.test_documents"


def test_first_command_refers_to_what_exists() -> None:
    """Command 1 installs Debian's venv, this very project, and starts a command that it has."""
    first, second, *_ = fences(README.read_text(), "sh")
    steps = [shlex.split(step) for step in first.strip().split(" && ")]
    packages = {word for step in steps if step[:3] == ["sudo", "apt-get", "install"] for word in step[4:]}
    scripts = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["scripts"]

    assert first.count("\n") == second.count("\n") == 1
    assert packages == {"python3-venv"}
    assert ["python3", "-m", "venv", ".venv"] in steps
    assert [".venv/bin/pip", "install", "--quiet", "--editable", "."] in steps
    assert steps[-1] == [".venv/bin/gatewayd", "demo"]
    assert "gatewayd" in scripts
    assert steps[-1][1] in COMMANDS


def test_second_command_can_be_run() -> None:
    """Command 2 is a script that may be executed, and uses the folder that command 1 made."""
    script = ROOT / fences(README.read_text(), "sh")[1].strip()

    assert os.access(script, os.X_OK)
    assert ".venv/bin/python" in script.read_text()
    assert "python3-venv" in script.read_text()


def test_every_command_is_in_the_readme() -> None:
    """README's table has a row for each command, and no other."""
    assert sorted(table(README.read_text(), "command")) == [f"gatewayd {name}" for name in sorted(COMMANDS)]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help(name: str) -> None:
    """`gatewayd NAME --help` prints what the command is for and exits with 0."""
    done = CliRunner().invoke(cli, [name, "--help"])

    assert done.exit_code == 0
    assert f"Usage: gatewayd {name}" in done.output.replace("Usage: cli ", "Usage: gatewayd ")
    assert len(done.output.splitlines()) > 5


def test_every_option_in_the_readme_exists() -> None:
    """Each `--option` that README's sections on commands name belongs to a command of ours."""
    text = section(README.read_text(), "Commands")
    known = {
        option
        for name in COMMANDS
        if (command := cli.get_command(cli.make_context("gatewayd", ["check"]), name)) is not None
        for parameter in command.params
        for option in parameter.opts
    } | {"--help"}

    assert set(re.findall(r"--[a-z]+", text)) - known == set()


def test_exit_codes_are_those_of_the_code() -> None:
    """README's exit codes are the code's, and no command claims another."""
    text = README.read_text()
    codes = table(text, "exit code")
    claimed = {code for row in table(text, "command").values() for code in row[-1].split()}

    assert {int(code) for code in codes} == {house.DONE, house.NOT_DONE, house.WRONG, house.NOT_RUNNING}
    assert codes[str(house.NOT_RUNNING)][0].startswith("gatewayd is not running")
    assert claimed <= set(codes)


@pytest.mark.parametrize(
    ("kind", "begins"),
    [
        (kinds.HIGH, f"{TemperatureUnit.C.show(Limits().high, 0)} for {show_span(Limits().high_on_delay)}"),
        (
            kinds.HIGHHIGH,
            f"{HIGHHIGH} for {show_span(Limits().highhigh_on_delay)}, {show_span(HIGHHIGH_WITH_DEFROST)} with",
        ),
        (
            kinds.RISING,
            f"{TemperatureUnit.C.show(Limits().high, 0)} within {show_span(Limits().rising_within)}",
        ),
        (kinds.LID_OPEN, f"open for {show_span(Limits().lid_open)};"),
        (
            kinds.WARM_LONG,
            f"for {show_span(Limits().warm_single)} in one go, or {show_span(Limits().warm_total)} in all within a day",
        ),
        (kinds.TOO_COLD, f"{Limits().too_cold:g} °C colder than its habit for {show_span(Limits().too_cold_on_delay)}"),
        (kinds.UNWATCHED, f"for {show_span(Limits().unwatched)}"),
        (kinds.SOURCE_DOWN, f"for {show_span(kinds.SOURCE_DOWN_AFTER)}"),
        (kinds.SILENT, f"{kinds.SILENT_INTERVALS} of its intervals, at least {show_span(kinds.SILENT_LEAST)}"),
        (kinds.STUCK, f"for {show_span(kinds.STUCK_AFTER)}"),
        (kinds.TEST, f"on the first {said(Telling().test)}"),
    ],
    ids=lambda value: value.name if isinstance(value, kinds.Kind) else "",
)
def test_defaults_in_the_readme_are_the_codes(kind: kinds.Kind, begins: str) -> None:
    """The alarms table tells when each alarm begins by default, with the code's own figures."""
    assert begins in table(README.read_text(), "kind")[kind.name][0]


def test_every_kind_is_in_the_readme_with_its_priority() -> None:
    """README's alarms table has each kind of alarm with its priority, and no other."""
    rows = table(README.read_text(), "kind")

    assert {name: row[1] for name, row in rows.items()} == {k.name: k.priority.word for k in kinds.KINDS.values()}
    assert f"**high** after {show_span(Limits().unwatched_high)}" in rows["unwatched"][2]
    assert "**high** while it is still getting warmer" in rows["high"][2]


def test_rows_of_the_alarms_table_are_whole() -> None:
    """Each kind says when it begins and why so, and each word in code type is a kind, a command or a setting."""
    for cells in table(README.read_text(), "kind").values():
        assert len(cells) == 3
        assert min(len(cells[0]), len(cells[2])) > 15
        assert set(re.findall(r"`([^`]*)`", cells[2])) <= set(kinds.KINDS)


def test_times_of_telling_in_the_readme_are_the_codes() -> None:
    """Deadband, off-delay, whom an alarm reaches, when the next route joins and when sending ends are the code's."""
    text = flowed(section(README.read_text(), "Alarms") + section(README.read_text(), "Who is told, and when"))
    joins = {p: JOIN_AFTER[p] // 60_000 for p in Priority}
    ends = {p: GIVE_UP[p] // 86_400_000 for p in Priority}

    assert f"ends {Limits().deadband:g} °C below its limit" in text
    assert f"has lasted {show_span(Limits().off_delay)}" in text
    assert f"which is {Person('ann', 'Ann').told_from.word} unless" in text
    assert (
        f"within {joins[Priority.HIGH]} min (high), {joins[Priority.MEDIUM]} min (medium) or "
        f"{joins[Priority.LOW]} min (low)" in text
    )
    assert f"tried for {ends[Priority.HIGH]} days, low alarms for {ends[Priority.LOW]}." in text
    assert ends[Priority.HIGH] == ends[Priority.MEDIUM]
    telling = Telling()
    assert (
        f"told again after {show_span(telling.again_medium)} (medium) or {show_span(telling.again_high)} (high)" in text
    )
    assert f"comes on {said(telling.note)}" in text


def test_what_needs_a_person_in_the_readme_is_the_codes() -> None:
    """What asks for no person, when the food must be looked at, and for how long a freezer is quiet are the code's."""
    text = flowed(section(README.read_text(), "Alarms"))
    of_sensor = {kinds.SILENT, kinds.STUCK, kinds.FAULT, kinds.BATTERY, kinds.WEAK_SIGNAL}
    named = re.search(r"need no person are told once: (.*?)\.", text)

    assert named is not None
    assert "those of a sensor" in named[1]
    assert set(re.findall(r"`([^`]*)`", named[1])) == {
        kind.name for kind in kinds.KINDS.values() if not kind.asks and kind not in of_sensor
    }
    assert not any(kind.asks for kind in of_sensor)
    above = TemperatureUnit.C.show(kinds.LATCH_ABOVE, 0)
    assert f"`highhigh` lasted for {show_span(kinds.LATCH_AFTER)}, or any good reading was above {above}." in text
    assert f"keeps that freezer quiet for {show_span(kinds.AT_FREEZER_FOR)}." in text


def test_broker_lines_are_those_the_tests_ran_with() -> None:
    """The lines that lose nothing are the very lines of the broker that the tests cut off and kill."""
    lines = fences(section(README.read_text(), "Broker settings that lose nothing"), "conf")[0].splitlines()

    assert lines == ["persistence true", *LOSSLESS]


def test_settings_in_the_readme_exist() -> None:
    """Each setting that README writes as `key: value` or bare in a sentence is a setting of ours, by its own name."""
    known = {path.rpartition(".")[2] for path, _ in walk(schema.ROOT)}
    text = re.sub(r"^```.*?^```$", "", README.read_text(), flags=re.DOTALL | re.MULTILINE)
    written = set(re.findall(r"`([a-z_]+): ?[^`]*`", text))

    assert written
    assert written - known == set()


@pytest.mark.slow  # plays four days through a real store
def test_message_in_the_readme_is_real() -> None:
    """The message that README shows is one that the demo tells, word for word."""
    shown = fences(section(README.read_text(), "What a message looks like"), "text")[0]
    told = CliRunner().invoke(cli, ["demo", "--once"], env={"COLUMNS": "100"})

    assert flowed(shown) in flowed(told.output)


def links() -> list[tuple[str, str]]:
    """Return (document, target) for every link that does not lead into the web."""
    found = [(document.name, target) for document in DOCUMENTS for target in LINK.findall(document.read_text())]
    return [(document, target) for document, target in found if "://" not in target]


@pytest.mark.parametrize(("document", "target"), links())
def test_every_link_leads_somewhere(document: str, target: str) -> None:
    """A relative link leads to a file of the project, or to a heading of its own page."""
    path, _, heading = target.partition("#")
    page = ROOT / (path or document)
    titles = re.findall(r"^#+ (.*)$", page.read_text(), re.MULTILINE)
    headings = {re.sub(r"[^\w -]", "", title).lower().replace(" ", "-") for title in titles}

    assert page.exists()
    assert not heading or heading in headings


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_every_path_exists(document: Path) -> None:
    """Each file of the project that a document names is there."""
    named = set(PATH.findall(document.read_text()))

    assert named
    assert [path for path in sorted(named) if not (ROOT / path).exists()] == []


def test_modules_on_the_map_exist() -> None:
    """DEVELOPERS.md's table of modules names only modules that there are."""
    rows = table(DEVELOPERS.read_text(), "package")
    gone = [
        f"{package}/{module}"
        for package, (text, *_) in rows.items()
        for module in re.findall(r"`([a-z]+)`", text)
        if not (ROOT / "gatewayd" / package / f"{module}.py").exists()
    ]

    assert gone == []


def test_changes_begin_with_this_version() -> None:
    """The newest entry under Changes is the version that the program prints."""
    newest = re.search(r"^### (\S+)$", section(README.read_text(), "Changes"), re.MULTILINE)

    assert newest is not None
    assert newest[1] == __version__


if __name__ == "__main__":
    DEVELOPERS.write_text(DEVELOPERS.read_text().replace(drawn(), picture()))

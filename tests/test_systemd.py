"""The service unit: it holds together, is as tight as promised, and what the daemon does stays possible under it.

These tests need systemd-analyze (Debian package systemd) and strace, and fail without them.
"""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

UNIT = Path(__file__).parent.parent / "systemd" / "gatewayd.service"
LOOSEST = 2.0  # the exposure promised
REASON = re.compile(r"# (?:Left off|Relaxed): (?P<name>\S+=\S*?): (?P<why>.+)")

# The kinds of system call that the daemon makes, in one small program: threads, store, sockets, clock, child, TLS.
LIKE_THE_DAEMON = """
import asyncio, os, signal, socket, sqlite3, ssl, struct, sys, tempfile
import paho.mqtt.client, yaml
from pathlib import Path
from gatewayd.clock import SystemClock

CHILD = "import apprise, smtplib; assert apprise.Apprise().add('json://localhost')"

async def main(folder):
    asyncio.get_running_loop().add_signal_handler(signal.SIGHUP, lambda: None)
    clock = SystemClock()
    clock.now(), clock.synced()
    await clock.sleep(1)

    def store():
        conn = sqlite3.connect(folder / "store.db")
        conn.execute("pragma journal_mode=wal")
        conn.execute("pragma synchronous=full")
        conn.execute("create table t (x)")
        conn.execute("insert into t values (1)")
        conn.commit()
        copy = sqlite3.connect(folder / "copy.db")
        conn.backup(copy)
        copy.close(), conn.close()
        os.replace(folder / "copy.db", folder / "newest.db")

    await asyncio.to_thread(store)

    async def answer(reader, writer):
        peer = writer.get_extra_info("socket").getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, 12)
        writer.write(str(struct.unpack("3i", peer)).encode())
        await writer.drain()
        writer.close()

    server = await asyncio.start_unix_server(answer, folder / "door")
    (folder / "door").chmod(0o660)
    reader, writer = await asyncio.open_unix_connection(folder / "door")
    assert await reader.read()
    writer.close()
    server.close()
    await asyncio.get_running_loop().getaddrinfo("localhost", 1883)
    ssl.create_default_context()
    pipe = asyncio.subprocess.PIPE
    child = await asyncio.create_subprocess_exec(
        sys.executable, "-c", CHILD, stdin=pipe, stdout=pipe, start_new_session=True
    )
    await child.communicate(b"{}")
    assert child.returncode == 0

with tempfile.TemporaryDirectory() as folder:
    asyncio.run(main(Path(folder)))
"""


def analyze(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["systemd-analyze", "--no-pager", *map(str, words)], capture_output=True, text=True, timeout=60, check=False
    )


def settings(text: str) -> Iterator[tuple[str, str]]:
    """Yield the unit's settings as (key, value), in order."""
    for line in text.splitlines():
        if "=" in line and not line.startswith(("#", "[")):
            key, _, value = line.partition("=")
            yield key, value


def reasons() -> dict[str, str]:
    """Return the reason for each line left off or relaxed, with its continuation lines."""
    found: dict[str, str] = {}
    name = ""
    for line in UNIT.read_text().splitlines():
        if match := REASON.fullmatch(line):
            name = match["name"]
            found[name] = match["why"]
        elif name and line.startswith("#   "):
            found[name] += " " + line[4:]
        else:
            name = ""
    return found


def allowed_calls() -> set[str]:
    """Work out which system calls the unit's filter lets through, from systemd's own sets."""
    sets: dict[str, list[str]] = {}
    current = ""
    for line in analyze("syscall-filter").stdout.splitlines():
        if line.startswith("@"):
            current = line.strip()
            sets[current] = []
        elif current and line.startswith(" ") and not line.strip().startswith("#"):
            sets[current].append(line.strip())

    def expand(word: str) -> set[str]:
        return set().union(*(expand(part) for part in sets[word])) if word.startswith("@") else {word}

    allowed = expand("@default")  # an allow list always holds these (systemd.exec(5))
    for key, value in settings(UNIT.read_text()):
        if key == "SystemCallFilter":
            named = set().union(*(expand(word) for word in value.removeprefix("~").split()))
            allowed = allowed - named if value.startswith("~") else allowed | named
    return allowed


def test_systemd_understands_every_line(tmp_path: Path) -> None:
    """Systemd-analyze verify has nothing to say of the unit, once its command exists."""
    copy = tmp_path / "gatewayd.service"
    copy.write_text(UNIT.read_text().replace("/opt/gatewayd/bin/gatewayd", sys.executable))
    result = analyze("verify", copy)

    assert [line for line in result.stderr.splitlines() if "gatewayd.service" in line] == []
    assert result.returncode == 0


def test_the_unit_is_as_tight_as_promised() -> None:
    """Its overall exposure is 2.0 or less."""
    result = analyze("security", "--offline=true", f"--threshold={LOOSEST * 10:.0f}", UNIT)
    overall = re.search(r"Overall exposure level for gatewayd.service: ([\d.]+)", result.stdout)

    assert overall is not None, result.stderr
    assert float(overall[1]) <= LOOSEST
    assert result.returncode == 0


def test_each_line_left_off_has_its_reason_and_no_reason_is_stale() -> None:
    """What systemd-analyze finds open is just what the unit explains, each in a sentence."""
    result = analyze("security", "--offline=true", "--json=short", UNIT)
    left_open = {row["name"] for row in json.loads(result.stdout) if row["exposure"] is not None and not row["set"]}

    assert set(reasons()) == left_open
    assert [name for name, why in reasons().items() if len(why.split()) < 6 or not why.endswith(".")] == []


def test_the_unit_is_run_watched_and_restarted() -> None:
    """It starts the command, waits for ready, restarts always, stops within 10 s and keeps its state."""
    said = dict(settings(UNIT.read_text()))

    assert said["ExecStart"] == "/opt/gatewayd/bin/gatewayd run"
    assert said["ExecReload"] == "/bin/kill -HUP $MAINPID"
    assert (said["Type"], said["Restart"], said["User"]) == ("notify", "always", "gatewayd")
    assert said["StateDirectory"] == said["RuntimeDirectory"] == "gatewayd"
    assert int(said["WatchdogSec"]) >= 30
    assert said["TimeoutStopSec"] == "10"
    assert said["StartLimitIntervalSec"] == "0"


@pytest.fixture(scope="module")
def traced(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the log of every system call of a program that does what the daemon does, its children included."""
    log = tmp_path_factory.mktemp("trace") / "calls"
    words = ["strace", "-f", "-qq", "-o", str(log), sys.executable, "-c", LIKE_THE_DAEMON]
    result = subprocess.run(words, capture_output=True, text=True, timeout=90, check=False)
    assert result.returncode == 0, result.stderr
    return log.read_text(errors="replace")


@pytest.mark.rig
def test_what_the_daemon_does_passes_the_filter(traced: str) -> None:
    """Store, sockets, clock, child and TLS need no system call that the unit forbids."""
    calls = set(re.findall(r"^\d+ +(?:<\.\.\. )?([a-z_][a-z0-9_]*)[( ]", traced, re.MULTILINE))
    only_as_root = {"fchown"}  # SQLite gives a root's new files the owner of the store; gatewayd's user is not root

    assert {"clock_adjtime", "execve", "getsockopt"} <= calls
    assert calls - only_as_root - allowed_calls() == set()


@pytest.mark.rig
def test_nothing_needs_memory_that_is_writable_and_executable(traced: str) -> None:
    """No mapping is both, and none becomes executable later: MemoryDenyWriteExecute= refuses nothing that is asked."""
    maps = re.findall(r"\bmmap\(.*", traced)
    changes = re.findall(r"\b(?:pkey_)?mprotect\(.*", traced)

    assert any("PROT_EXEC" in call for call in maps)
    assert [call for call in maps if "PROT_WRITE" in call and "PROT_EXEC" in call] == []
    assert [call for call in changes if "PROT_EXEC" in call] == []
    assert "SHM_EXEC" not in traced


@pytest.mark.rig
def test_only_families_that_the_unit_allows_are_needed(traced: str) -> None:
    """Every socket is local or of the internet; the name lookup's try at netlink may be refused."""
    said = dict(settings(UNIT.read_text()))
    families = set(re.findall(r"\bsocket\((AF_\w+)", traced))

    assert families - {"AF_NETLINK"} <= set(said["RestrictAddressFamilies"].split())

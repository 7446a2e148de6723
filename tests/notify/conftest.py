"""Certificates, a sender with the real clock, and a look at what processes are left."""

import os
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gatewayd.clock import SystemClock
from gatewayd.model.route import MailRoute, Route, Secret, UrlRoute
from gatewayd.notify.letter import Letter
from gatewayd.notify.sender import Sender
from tests.rigs.certs import Certs, make
from tests.rigs.mail import PASSWORD, USER

LETTER = Letter(
    "Shed chest is warm (no. 17)",
    "The shed chest is at −9.5 °C since 14:10.\nIt holds „trout“ & <venison>.\n.\nClose the lid.",
    "17-new-ann-1795600000000",
    datetime(2026, 11, 25, 14, 10, tzinfo=UTC),
)
MARK = "gatewayd.notify.child"


@pytest.fixture(scope="session")
def certs(tmp_path_factory: pytest.TempPathFactory) -> Certs:
    """Make the throw-away authority once."""
    return make(tmp_path_factory.mktemp("certs"))


@pytest.fixture
def sender(tmp_path: Path) -> Sender:
    """Send for Heron Lane, with chat keys below the test's own folder."""
    return Sender(SystemClock(), "Heron Lane", tmp_path)


def children() -> dict[int, str]:
    """Return our sending children that exist, zombies too, with their command lines."""
    found = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            state = (folder / "stat").read_text().rpartition(")")[2].split()
            line = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode()
        except OSError:  # it ended while we looked
            continue
        if int(state[1]) == os.getpid() and (MARK in line or state[0] == "Z"):
            found[int(folder.name)] = line
    return found


def environ(pid: int) -> str:
    """Return the environment of a process."""
    return Path(f"/proc/{pid}/environ").read_bytes().decode()


@pytest.fixture(autouse=True)
def no_child_left() -> Iterator[None]:
    """Hold that no test leaves a child behind."""
    yield
    assert children() == {}


def mail_route(port: int, ca: Path | None, security: str = "starttls", password: str = PASSWORD) -> Route:
    """Name the rig's mail server."""
    way = MailRoute(
        "localhost",
        port,
        security,
        "house@heron.test",
        "ann@heron.test",
        USER,
        Secret(password),
        str(ca) if ca else None,
    )
    return Route("mail", way)


def url_route(url: str, ca: Path | None = None, name: str = "hook") -> Route:
    """Name an address of a messenger."""
    return Route(name, UrlRoute(Secret(url), str(ca) if ca else None))

"""Places: where settings, state and the socket are, by the XDG rules and the service manager's."""

import zoneinfo
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gatewayd.settings import places


def touch(path: Path) -> Path:
    """Make a file with its folders."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("")
    return path


def test_usual_places_in_order() -> None:
    """Settings are looked for in the keeper's folder, then the computer's, then /etc/gatewayd."""
    env = {"HOME": "/home/anna", "XDG_CONFIG_DIRS": "/etc/one:/etc/two"}

    assert places.candidates(env) == (
        Path("/home/anna/.config/gatewayd/gatewayd.yaml"),
        Path("/etc/one/gatewayd/gatewayd.yaml"),
        Path("/etc/two/gatewayd/gatewayd.yaml"),
        Path("/etc/gatewayd/gatewayd.yaml"),
    )


def test_standard_folders_are_default() -> None:
    """Without XDG_CONFIG_DIRS the standard's own default counts."""
    assert places.candidates({"HOME": "/h"})[1] == Path("/etc/xdg/gatewayd/gatewayd.yaml")


def test_relative_folders_are_ignored() -> None:
    """The standard says that a relative path in its variables is invalid and ignored."""
    env = {"HOME": "/h", "XDG_CONFIG_HOME": "conf", "XDG_CONFIG_DIRS": "a:/b", "XDG_STATE_HOME": "state"}

    assert places.candidates(env)[:2] == (
        Path("/h/.config/gatewayd/gatewayd.yaml"),
        Path("/b/gatewayd/gatewayd.yaml"),
    )
    assert places.state_dir(env) == Path("/h/.local/state/gatewayd")


def test_asked_for_file_wins(tmp_path: Path) -> None:
    """The file asked for is taken, there or not, and no other."""
    env = {"XDG_CONFIG_HOME": str(tmp_path)}
    touch(tmp_path / "gatewayd/gatewayd.yaml")

    assert places.find(Path("mine.yaml"), env) == (Path("mine.yaml"),)


def test_first_file_is_found(tmp_path: Path) -> None:
    """Of several files the first place's is taken alone."""
    env = {"XDG_CONFIG_HOME": str(tmp_path / "a"), "XDG_CONFIG_DIRS": f"{tmp_path}/b:{tmp_path}/c"}
    touch(tmp_path / "c/gatewayd/gatewayd.yaml")
    second = touch(tmp_path / "b/gatewayd/gatewayd.yaml")

    assert places.find(None, env) == (second,)


def test_dangling_link_is_found(tmp_path: Path) -> None:
    """A link that leads nowhere is the keeper's file, and not passed over for another."""
    link = tmp_path / "gatewayd/gatewayd.yaml"
    link.parent.mkdir()
    link.symlink_to("gone.yaml")

    assert places.find(None, {"XDG_CONFIG_HOME": str(tmp_path)}) == (link,)


@pytest.mark.parametrize(
    ("env", "state"),
    [
        ({"STATE_DIRECTORY": "/var/lib/gatewayd", "XDG_STATE_HOME": "/s", "HOME": "/h"}, "/var/lib/gatewayd"),
        ({"STATE_DIRECTORY": "/var/lib/a:/var/lib/b", "HOME": "/h"}, "/var/lib/a"),
        ({"XDG_STATE_HOME": "/s", "HOME": "/h"}, "/s/gatewayd"),
        ({"HOME": "/h"}, "/h/.local/state/gatewayd"),
    ],
)
def test_state_folder(env: dict[str, str], state: str) -> None:
    """The state is kept in the service's folder, else in the keeper's."""
    assert places.state_dir(env) == Path(state)


@pytest.mark.parametrize(
    ("env", "door"), [({"RUNTIME_DIRECTORY": "/run/gatewayd"}, "/run/gatewayd/door.sock"), ({}, "/s/door.sock")]
)
def test_socket(env: dict[str, str], door: str) -> None:
    """The socket is in the service's run folder, else beside the state."""
    assert places.socket(env, Path("/s")) == Path(door)


def test_home_without_variable() -> None:
    """Without $HOME, as in some services, the user database knows the home folder."""
    assert places.home({}).is_absolute()


def test_linked_zone_has_its_name(tmp_path: Path) -> None:
    """A linked /etc/localtime gives the zone by its name."""
    target = touch(tmp_path / "usr/share/zoneinfo/Europe/Berlin")
    link = tmp_path / "localtime"
    link.symlink_to(target)

    assert places.local_zone(link) == (zoneinfo.ZoneInfo("Europe/Berlin"), "")


def test_copied_zone_is_read(tmp_path: Path) -> None:
    """A copied /etc/localtime gives the zone's rules, though not its name."""
    # a zone of one hour, in the form of RFC 9636: a header, one local time type, and the footer
    header = b"TZif2" + bytes(15)
    counts = b"".join(n.to_bytes(4, "big") for n in (0, 0, 0, 0, 1, 4))
    block = (3600).to_bytes(4, "big") + b"\0\0" + b"CET\0"
    copy = tmp_path / "localtime"
    copy.write_bytes((header + counts + block) * 2 + b"\nCET-1\n")

    zone, warning = places.local_zone(copy)

    assert warning == ""
    assert datetime(2026, 7, 1, 12, tzinfo=UTC).astimezone(zone).hour == 13


@pytest.mark.parametrize("raw", [None, b"", b"not a zone"])
def test_unknown_zone_is_utc_with_warning(raw: bytes | None, tmp_path: Path) -> None:
    """Where the computer does not know its zone, it is UTC, and a warning says what to set."""
    if raw is not None:
        (tmp_path / "localtime").write_bytes(raw)

    zone, warning = places.local_zone(tmp_path / "localtime")

    assert zone is UTC
    assert "set site.time_zone" in warning

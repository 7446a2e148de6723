"""Where socket and database are while the settings are half edited, and what cannot change while running."""

from pathlib import Path

import pytest

from gatewayd.settings.load import changes, paths
from tests.settings.conftest import SMALL, Load, changed

TWO = "socket: run/door.sock\nstore:\n  path: ice.db\n"


def paths_of(text: bytes, folder: Path) -> tuple[Path, Path]:
    """Write a settings file and return its socket and database."""
    path = folder / "gatewayd.yaml"
    path.write_bytes(text)
    return paths([path], env={"HOME": "/"}, state_dir=folder / "state")


@pytest.mark.parametrize(
    "more",
    [
        SMALL,
        "freezers: {shed-chest: [\n",
        "sensors:\n  shed-air:\n   broker: a\n  topic\n",
        "secrets: nowhere.env\npeople: 7\n",
        "site:\n\tid: a\n",
    ],
)
def test_half_edited_file_still_names_them(more: str, tmp_path: Path) -> None:
    """A slip elsewhere in the file does not hide where the socket and the database are."""
    expected = (tmp_path / "run/door.sock", tmp_path / "state/ice.db")

    assert paths_of((TWO + more).encode(), tmp_path) == expected
    assert paths_of((more + TWO).encode(), tmp_path) == expected


@pytest.mark.parametrize("text", [b"", b"\xff\xfe", b"socket: []\nstore: {path: [\n", b"socket:\nstore:\n"])
def test_what_cannot_be_read_has_its_default(text: bytes, tmp_path: Path) -> None:
    """Where neither can be read, both are where they are without any setting."""
    state = tmp_path / "state"

    assert paths_of(text, tmp_path) == (state / "door.sock", state / "house.db")


def test_comment_hides_nothing(tmp_path: Path) -> None:
    """A comment with letters that are not UTF-8, as an old editor saves them, does not hide the two before it."""
    text = TWO.encode() + "  # for -18 °C\n# at -18 °C\n\nsite: {name: Kühlhaus}\n".encode("latin-1")

    assert paths_of(text, tmp_path) == (tmp_path / "run/door.sock", tmp_path / "state/ice.db")


def test_socket_that_cannot_be_has_its_default(tmp_path: Path) -> None:
    """A socket's path that is longer than the system takes is no socket: the daemon cannot be there."""
    text = b"socket: " + b"x" * 200 + b"/door.sock\n"

    assert paths_of(text, tmp_path)[0] == tmp_path / "state/door.sock"


def test_missing_file_has_the_defaults(tmp_path: Path) -> None:
    """A file that is not there, and a folder in its place, raise nothing."""
    expected = (tmp_path / "door.sock", tmp_path / "house.db")

    for files in ([], [tmp_path / "none.yaml"], [tmp_path]):
        assert paths(files, env={"HOME": "/"}, state_dir=tmp_path) == expected


def test_house_file_counts(tmp_path: Path) -> None:
    """What stands in house.yaml counts as well."""
    (tmp_path / "house.yaml").write_text(TWO)

    assert paths([], env={"HOME": "/"}, state_dir=tmp_path)[1] == tmp_path / "ice.db"


def test_fixed_settings_are_told(load_text: Load) -> None:
    """A changed site, database or socket is one sentence each, and any other change is none."""
    before = load_text(SMALL)

    assert changes(before, load_text(changed("shed/air", "shed/ice"))) == []
    after = load_text("socket: other.sock\nstore: {path: ice.db}\n" + changed("heron-lane", "elm-road"))
    site, store, socket = changes(before, after)
    assert site.startswith("site.id changed from heron-lane to elm-road: all history hangs on it")
    assert "ice.db: that takes a restart" in store
    assert "other.sock: that takes a restart" in socket

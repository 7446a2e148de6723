"""The key of the links, in a real folder."""

import os
from pathlib import Path

import pytest

from gatewayd.web.key import link_key


def test_made_once_and_private(tmp_path: Path) -> None:
    """The key is made once, has 32 bytes, differs from house to house, and is for its owner's eyes alone."""
    (tmp_path / "other").mkdir()
    key, again, other = link_key(tmp_path), link_key(tmp_path), link_key(tmp_path / "other")

    assert (len(key), key == again, key == other) == (32, True, False)
    assert (tmp_path / "link.key").stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir() if path.is_file()] == ["link.key"]


def test_made_private_again(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """A key that others could read is closed to them and said so; it goes on to count."""
    key = link_key(tmp_path)
    (tmp_path / "link.key").chmod(0o644)

    assert link_key(tmp_path) == key
    assert (tmp_path / "link.key").stat().st_mode & 0o777 == 0o600
    assert "could be read by others" in caplog.text


@pytest.mark.parametrize("held", [b"", b"short", b"x" * 33])
def test_broken_key(tmp_path: Path, held: bytes, caplog: pytest.LogCaptureFixture) -> None:
    """A file that is no key is replaced by a new one, and the log says what that means for links already sent."""
    (tmp_path / "link.key").write_bytes(held)
    key = link_key(tmp_path)

    assert key == link_key(tmp_path) == (tmp_path / "link.key").read_bytes()
    assert "links sent before are void" in caplog.text


def test_no_place_to_write(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Where nothing can be written there is a key all the same, and the log says that it ends with this run."""
    (tmp_path / "link.key").mkdir()
    (tmp_path / ".link.key.part").mkdir()  # root may write everywhere else

    assert len(link_key(tmp_path)) == 32
    assert "end with the next restart" in caplog.text


def test_left_over_part(tmp_path: Path) -> None:
    """A half-written file of a run that was killed is no hindrance."""
    (tmp_path / ".link.key.part").write_bytes(b"half")
    os.chmod(tmp_path / ".link.key.part", 0o644)  # noqa: PTH101

    assert link_key(tmp_path) == (tmp_path / "link.key").read_bytes()
    assert (tmp_path / "link.key").stat().st_mode & 0o777 == 0o600

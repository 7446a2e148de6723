"""Editing house.yaml: checked whole, written in one step, undone once; the keeper's own file is never touched."""

import fcntl
import os
import stat
from collections.abc import Mapping
from pathlib import Path

import pytest

from gatewayd.settings import edit
from gatewayd.settings.document import Document, with_radio, with_sensor
from gatewayd.settings.faults import SettingsError
from gatewayd.settings.load import load
from gatewayd.settings.typed import Settings
from tests.settings.conftest import SMALL

KEY = "12" * 16
SHED: Document = {"broker": "house", "topic": "shed/trout", "freezer": "shed-chest"}
SEALED: Document = {
    "radio": "hall",
    "address": "A4:C1:38:0B:5E:21",
    "format": "bthome",
    "key": KEY,
    "freezer": "shed-chest",
}


class House:
    """A keeper's file and a state folder, and what can be done with them."""

    def __init__(self, folder: Path) -> None:
        """Write the small house."""
        self.folder, self.state = folder, folder / "state"
        self.file, self.house_file = folder / "gatewayd.yaml", self.state / "house.yaml"
        self.before = self.state / "house.yaml.before"
        self.env: Mapping[str, str] = {"HOME": str(folder)}
        self.file.write_text(SMALL)
        self.file.chmod(0o600)

    def add(self, id_: str, entry: Document) -> Settings:
        """Add a sensor, with the radio if it needs one."""

        def change(document: Document) -> Document:
            if entry.get("radio") == "hall" and "radios" not in document:
                document = with_radio(document, "hall", {"name": "Hall radio"})
            return with_sensor(document, id_, entry)

        return edit.change(change, [self.file], env=self.env, state_dir=self.state)

    def undo(self) -> Settings:
        """Take the last change back."""
        return edit.undo([self.file], env=self.env, state_dir=self.state)

    def load(self) -> Settings:
        """Load as the daemon does at its next start."""
        return load([self.file], env=self.env, state_dir=self.state)

    def mode(self, path: Path) -> int:
        """Return the mode of a file."""
        return stat.S_IMODE(path.stat().st_mode)

    @property
    def left(self) -> list[str]:
        """Return what lies in the state folder."""
        return sorted(path.name for path in self.state.iterdir())


@pytest.fixture
def house(tmp_path: Path) -> House:
    """Give the small house."""
    return House(tmp_path)


def test_sensor_is_added(house: House) -> None:
    """An added sensor is in the settings and in its freezer, now and after the next start."""
    settings = house.add("shed-trout", SHED)

    assert settings.house.freezers["shed-chest"].sensors == ("shed-air", "shed-trout")
    assert settings == house.load()
    assert settings.files == (house.file, house.house_file)
    assert settings.house_file == house.house_file
    assert house.file.read_text() == SMALL
    assert house.mode(house.house_file) == 0o640


def test_second_change_keeps_the_first(house: House) -> None:
    """A further sensor is added to those that are there, in the order of adding."""
    house.add("shed-trout", SHED)
    settings = house.add("shed-venison", SEALED)

    assert list(settings.house.sensors) == ["shed-air", "shed-trout", "shed-venison"]
    assert settings == house.load()


def test_key_makes_the_file_private(house: House) -> None:
    """With a key in it only its owner may read house.yaml, and no warning is needed; so with the version before."""
    settings = house.add("shed-venison", SEALED)
    house.add("shed-trout", SHED)

    assert settings.keys["shed-venison"].reveal() == KEY
    assert settings.warnings == ()
    assert (house.mode(house.house_file), house.mode(house.before)) == (0o600, 0o600)


def test_key_by_name_leaves_it_shared(house: House) -> None:
    """A key that is only named needs no private file."""
    house.env = {**house.env, "VENISON": KEY}
    settings = house.add("shed-venison", {**SEALED, "key": "${VENISON}"})

    assert settings.keys["shed-venison"].reveal() == KEY
    assert house.mode(house.house_file) == 0o640
    assert KEY not in house.house_file.read_text()


@pytest.mark.parametrize(
    ("entry", "key", "said"),
    [
        ({**SHED, "topic": "shed/#"}, "sensors.shed-trout.topic", "holds a wildcard"),
        ({**SHED, "topic": "shed/air"}, "sensors.shed-trout.topic", "is heard already as sensor shed-air"),
        ({**SHED, "freezer": "shed-chst"}, "sensors.shed-trout.freezer", "did you mean shed-chest"),
        ({"name": "x"}, "sensors.shed-trout", "does not say how it is heard"),
    ],
)
def test_faulty_change_is_not_made(entry: Document, key: str, said: str, house: House) -> None:
    """A change that would put the settings at fault is refused with the fault, named in house.yaml; nothing is left."""
    with pytest.raises(SettingsError, match=said) as caught:
        house.add("shed-trout", entry)

    assert [(fault.file, fault.key) for fault in caught.value.faults] == [(house.house_file, key)]
    assert house.left == []


def test_refused_change_leaves_what_was(house: House) -> None:
    """After a refused change house.yaml and the version before it are as they were."""
    house.add("shed-trout", SHED)
    house.add("shed-venison", SEALED)
    was = {name: (house.state / name).read_bytes() for name in house.left}
    with pytest.raises(SettingsError):
        house.add("shed-x", {"broker": "gone"})
    with pytest.raises(ValueError, match="there is already a sensor"):
        house.add("shed-trout", SHED)

    assert {name: (house.state / name).read_bytes() for name in house.left} == was


def test_id_of_the_keepers_file_is_refused(house: House) -> None:
    """An id that the keeper's file has is a fault that names it."""
    with pytest.raises(SettingsError, match=r"stands in two files, here and in .*gatewayd\.yaml"):
        house.add("shed-air", SHED)


def test_broken_house_file_is_not_written_over(house: House) -> None:
    """A house.yaml that cannot be read, or would lose something in writing, is a fault and stays."""
    house.state.mkdir()
    for broken in ("a: [", "sensors:\n  a: {name: x}\n  a: {name: y}\n"):
        house.house_file.write_text(broken)
        with pytest.raises(SettingsError):
            house.add("shed-trout", SHED)
        assert house.house_file.read_text() == broken


def test_undo_takes_back_one_change(house: House) -> None:
    """The last change can be taken back once; the ones before stay."""
    house.add("shed-trout", SHED)
    first = house.house_file.read_text()
    house.add("shed-venison", SEALED)
    settings = house.undo()

    assert list(settings.house.sensors) == ["shed-air", "shed-trout"]
    assert house.house_file.read_text() == first
    assert house.mode(house.house_file) == 0o640
    assert settings == house.load()
    with pytest.raises(ValueError, match="there is no change to take back"):
        house.undo()


def test_undo_of_the_first_change(house: House) -> None:
    """The first change is taken back to no house.yaml at all."""
    house.add("shed-trout", SHED)
    settings = house.undo()

    assert list(settings.house.sensors) == ["shed-air"]
    assert settings == house.load()
    assert house.left == []


def test_undo_that_would_break_is_refused(house: House) -> None:
    """Where the keeper's file has come to need what was added, it is not taken back, and the fault says why."""
    house.add("shed-trout", {"broker": "house", "topic": "shed/trout"})
    house.file.write_text(SMALL.replace("[shed-air]", "[shed-air, shed-trout]"))
    with pytest.raises(SettingsError, match="there is no sensor 'shed-trout'"):
        house.undo()

    assert list(house.load().house.sensors) == ["shed-air", "shed-trout"]
    assert house.before.exists()


def test_keepers_mistake_can_be_mended_by_adding(house: House) -> None:
    """A sensor that the keeper's file already names can be added: only the settings after the change must be right."""
    house.file.write_text(SMALL.replace("[shed-air]", "[shed-air, shed-trout]"))
    settings = house.add("shed-trout", {"broker": "house", "topic": "shed/trout"})

    assert settings.house.freezers["shed-chest"].sensors == ("shed-air", "shed-trout")


def test_left_over_of_a_power_cut(house: House) -> None:
    """What a power cut left half-written is swept away by the next change."""
    house.state.mkdir()
    (house.state / edit.NEW).write_text("sens")
    (house.state / (edit.NEW + ".before")).write_text("sens")
    house.add("shed-trout", SHED)

    assert house.left == ["house.yaml", "house.yaml.before"]


@pytest.mark.parametrize("failing", ["fsync", "fchmod"])
def test_full_disk_changes_nothing(failing: str, house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the disk refuses, the error comes out and house.yaml is as it was."""
    house.add("shed-trout", SHED)
    was = house.house_file.read_bytes()

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(edit.os, failing, refuse)
    with pytest.raises(OSError, match="No space left"):
        house.add("shed-venison", SEALED)

    assert house.house_file.read_bytes() == was
    assert edit.NEW not in house.left


def test_two_at_once(house: House) -> None:
    """While another command changes the settings, nothing is changed and the reason is said."""
    house.state.mkdir()
    folder = os.open(house.state, os.O_RDONLY)
    try:
        fcntl.flock(folder, fcntl.LOCK_EX)
        with pytest.raises(ValueError, match="another command is changing"):
            house.add("shed-trout", SHED)
    finally:
        os.close(folder)

    assert "shed-trout" in house.add("shed-trout", SHED).house.sensors


def test_file_belongs_to_whom_the_folder_belongs(house: House) -> None:
    """Changed with root's rights, the files still belong to the service, which must read them."""
    house.state.mkdir()
    if os.geteuid() == 0:  # anybody else cannot give files away, and need not
        os.chown(house.state, 12345, 12345)
    house.add("shed-venison", SEALED)
    owner = house.state.stat()

    assert {(path.stat().st_uid, path.stat().st_gid) for path in house.state.iterdir()} == {
        (owner.st_uid, owner.st_gid)
    }


def test_house_file_cannot_be_the_keepers(house: House) -> None:
    """house.yaml is not changed where it was named as the keeper's own file: comments would be lost."""
    house.state.mkdir()
    house.house_file.write_text(SMALL)
    with pytest.raises(ValueError, match="cannot be the settings file as well"):
        edit.change(lambda document: document, [house.house_file], env=house.env, state_dir=house.state)

    assert house.house_file.read_text() == SMALL


def test_folder_in_the_place_of_the_file(house: House) -> None:
    """What is no file is refused in words."""
    house.house_file.mkdir(parents=True)
    with pytest.raises(ValueError, match="is not a file; take it away"):
        house.add("shed-trout", SHED)

"""A small disk of its own for the state folder: an ext4 file system in a file, that can be filled, frozen and hurt.

Needs root. Without it only what works by other means is tried, and that is said.
"""

import os
import subprocess
import tempfile
from pathlib import Path
from typing import Self

SIZE = 24  # MB: room for a house of some minutes and for its copies


def able() -> bool:
    """Return whether this user may mount a file."""
    if os.geteuid() != 0:
        return False
    with tempfile.TemporaryDirectory(prefix="loop-") as folder:
        try:
            Loop(Path(folder) / "try").close()
        except subprocess.CalledProcessError:
            return False
    return True


class Loop:
    """An ext4 file system at `place`."""

    def __init__(self, place: Path) -> None:
        """Make and mount it."""
        self.place, self._image = place, place.with_name(f"{place.name}.img")
        place.mkdir(exist_ok=True)
        with self._image.open("wb") as raw:
            raw.truncate(SIZE << 20)
        _call("mkfs.ext4", "-q", "-F", "-m", "0", str(self._image))
        self.mount()

    def mount(self, how: str = "rw") -> None:
        """Mount it, `how` is rw or ro."""
        _call("mount", "-o", f"loop,{how},errors=remount-ro", str(self._image), str(self.place))

    def remount(self, how: str) -> None:
        """Mount it anew, rw or ro; nobody may have a file open to write for ro."""
        _call("mount", "-o", f"remount,{how}", str(self.place))

    def unmount(self) -> None:
        """Unmount it."""
        _call("umount", str(self.place))

    def fill(self, left: int = 0) -> None:
        """Take all room but `left` bytes."""
        filler = self.place / "filler"
        with filler.open("ab") as raw:
            while True:
                try:
                    os.write(raw.fileno(), bytes(4096))
                except OSError:
                    break
            os.fsync(raw.fileno())
        if left:
            os.truncate(filler, max(0, filler.stat().st_size - left))

    def free(self) -> None:
        """Give the room back."""
        (self.place / "filler").unlink(missing_ok=True)

    def freeze(self, *, on: bool) -> None:
        """Let every write hang, or go on."""
        _call("fsfreeze", "-f" if on else "-u", str(self.place))

    def break_down(self) -> None:
        """Let the file system turn read-only for good, as it does when the card fails; only mounting anew helps."""
        Path(f"/sys/fs/ext4/{self._device()}/trigger_fs_error").write_text("1")

    def written(self) -> int:
        """Return the bytes that reached the device so far, the file system's own books included."""
        subprocess.run(["sync", "-f", str(self.place)], check=False)
        return int(Path(f"/sys/block/{self._device()}/stat").read_text().split()[6]) * 512

    def _device(self) -> str:
        found = ["findmnt", "-no", "SOURCE", str(self.place)]
        return Path(subprocess.run(found, check=True, capture_output=True, text=True).stdout.strip()).name

    def close(self) -> None:
        """Unmount it and throw it away."""
        subprocess.run(["fsfreeze", "-u", str(self.place)], check=False, capture_output=True)
        subprocess.run(["umount", "-l", str(self.place)], check=True, capture_output=True)
        self._image.unlink()

    def __enter__(self) -> Self:
        """Mounted it is already."""
        return self

    def __exit__(self, *exc: object) -> None:
        """Throw it away."""
        self.close()


def _call(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True)

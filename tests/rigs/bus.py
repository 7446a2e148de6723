"""A private D-Bus in place of the system's; nothing outside its folder is touched."""

import os
import subprocess
import tempfile
from pathlib import Path

CONFIG = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>custom</type><listen>unix:path={folder}/bus</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*"/><allow receive_sender="*"/><allow own="*"/></policy>
</busconfig>"""
VARIABLE = "DBUS_SYSTEM_BUS_ADDRESS"  # where D-Bus libraries look for the system's bus


class PrivateBus:
    """Run dbus-daemon; it can go down and come up again at the same address."""

    def __init__(self) -> None:
        """Prepare the folder."""
        self._folder = tempfile.TemporaryDirectory(prefix="bus-")
        self._config = Path(self._folder.name) / "bus.conf"
        self._config.write_text(CONFIG.format(folder=self._folder.name))
        self.address = f"unix:path={self._folder.name}/bus"
        self._process: subprocess.Popen[str] | None = None
        self._before = os.environ.get(VARIABLE)

    def up(self) -> None:
        """Start, and return when it takes connections."""
        os.environ[VARIABLE] = self.address
        command = ["dbus-daemon", "--config-file", str(self._config), "--nofork", "--print-address=1"]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        assert self._process.stdout is not None
        if not self._process.stdout.readline():
            raise RuntimeError("dbus-daemon did not start; install the package dbus")

    def down(self) -> None:
        """Kill it, as a crash would."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None
            (Path(self._folder.name) / "bus").unlink(missing_ok=True)

    def __enter__(self) -> "PrivateBus":
        """Start it."""
        self.up()
        return self

    def __exit__(self, *_: object) -> None:
        """Stop it, and let the libraries look where they looked before."""
        self.down()
        if self._before is None:
            os.environ.pop(VARIABLE, None)
        else:
            os.environ[VARIABLE] = self._before
        self._folder.cleanup()

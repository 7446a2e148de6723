"""Tell the service manager that the daemon is ready, alive, reloading or stopping."""

import os
import socket
from collections.abc import Callable, Mapping

from gatewayd.clock import Clock
from gatewayd.model.moment import SECOND


class Watchdog:
    """Send the service manager's plain-text datagrams (sd_notify(3)); without a manager every call does nothing."""

    def __init__(self, env: Mapping[str, str] = os.environ) -> None:
        """Read where to send and how often from the environment that the manager gave."""
        self._where = env.get("NOTIFY_SOCKET", "")
        mine = env.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.every = int(env.get("WATCHDOG_USEC", "0")) // 1000 if mine else 0  # ms; 0 means: nobody asks

    def say(self, text: str) -> None:
        """Send one message, such as `READY=1`. A manager that does not listen is no reason to stop watching."""
        if not self._where:
            return
        address = "\0" + self._where[1:] if self._where.startswith("@") else self._where
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            try:
                out.sendto(text.encode(), address)
            except OSError:
                self._where = ""

    async def beat(self, clock: Clock, alive: Callable[[], bool]) -> None:
        """Say `still alive` at half the asked interval, and only while the daemon's parts really move."""
        if not self.every:
            return
        while True:
            await clock.sleep(max(SECOND, self.every / 2))
            if alive():
                self.say("WATCHDOG=1")

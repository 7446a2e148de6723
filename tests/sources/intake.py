"""An intake that remembers; it commits when told to, or by itself."""

import asyncio
from collections.abc import Callable

from gatewayd.model.reading import Arrival, Heard
from gatewayd.sources.mqtt import MqttSource


class RememberingIntake:
    """Stand for the daemon: keep what is heard, acknowledge after a "commit".

    With `commits` it commits in the next turn of the loop after each commit_soon; else only `commit` does.
    """

    def __init__(self, *, commits: bool = True, last_commit: int | None = None) -> None:
        """Start empty."""
        self.heard: list[Heard] = []
        self.receipts: list[object] = []
        self.ups: list[tuple[bool, str]] = []
        self.remarks: list[str] = []
        self.beats: list[tuple[str, bool]] = []
        self.asked = 0
        self.commits = commits
        self.committed = last_commit
        self.source: MqttSource | None = None

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Remember."""
        self.heard.append(heard)
        if receipt is not None:
            self.receipts.append(receipt)

    def source_up(self, source: str, up: bool, reason: str) -> None:
        """Remember."""
        self.ups.append((up, reason))

    def remark(self, source: str, text: str) -> None:
        """Remember."""
        self.remarks.append(text)

    def beat(self, neighbour: str, up: bool) -> None:
        """Remember."""
        self.beats.append((neighbour, up))

    def commit_soon(self) -> None:
        """Count, and commit if this intake does."""
        self.asked += 1
        if self.commits:
            asyncio.get_running_loop().call_soon(self.commit)

    def last_commit(self) -> int | None:
        """Return what the test says."""
        return self.committed

    def commit(self) -> None:
        """Acknowledge all that was heard so far."""
        receipts, self.receipts = self.receipts, []
        if self.source is not None:
            self.source.acknowledge(receipts)

    @property
    def up(self) -> bool:
        """Return whether the source is up now."""
        return bool(self.ups) and self.ups[-1][0]

    @property
    def payloads(self) -> list[bytes]:
        """Return the payloads in the order heard."""
        return [heard.payload for heard in self.heard]

    def arrivals(self, payload: bytes) -> list[Arrival]:
        """Return how each copy of a payload arrived."""
        return [heard.arrival for heard in self.heard if heard.payload == payload]


async def eventually(condition: Callable[[], object], what: str, seconds: float = 10.0) -> None:
    """Wait until `condition` holds; fail with `what` after `seconds`."""
    loop = asyncio.get_running_loop()
    deadline = loop.time() + seconds
    while not condition():
        assert loop.time() < deadline, f"not within {seconds} s: {what}"
        await asyncio.sleep(0.005)

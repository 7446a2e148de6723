"""Receipts of what was heard: they go back to their source when the readings are safe, or when patience ends."""

from collections.abc import Mapping, Sequence
from typing import Protocol


class Acknowledges(Protocol):
    """Take receipts back after the commit; sources do."""

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Answer for messages whose readings are safe."""
        ...


class Receipts:
    """Hold receipts: of what waits for a commit, and of what is being committed just now."""

    def __init__(self) -> None:
        """Begin with none."""
        self.sources: dict[str, Acknowledges] = {}
        self._waiting: dict[str, list[object]] = {}
        self._committing: dict[str, list[object]] = {}
        self._impatient = False  # the store has kept the brokers waiting for too long

    def take(self, source: str, receipt: object) -> None:
        """Take a receipt; without patience it goes back at once."""
        self._waiting.setdefault(source, []).append(receipt)
        if self._impatient:
            self.lose_patience()

    def hand_in(self) -> None:
        """Turn what waits into what is being committed."""
        self._committing, self._waiting = self._waiting, {}

    def stored(self) -> None:
        """Give back what was committed; the store can be waited for again."""
        self._give_back(self._committing)
        self._committing, self._impatient = {}, False

    def not_stored(self) -> None:
        """Let what was to be committed wait again, before what came since."""
        for source, those in self._committing.items():
            self._waiting[source] = those + self._waiting.get(source, [])
        self._committing = {}

    def lose_patience(self) -> None:
        """Give back what is not stored yet, and from now on at once, until the store writes again."""
        self._impatient = True
        self._give_back(self._committing)
        self._give_back(self._waiting)
        self._committing, self._waiting = {}, {}

    def _give_back(self, receipts: Mapping[str, list[object]]) -> None:
        for source, those in receipts.items():
            if source in self.sources:
                self.sources[source].acknowledge(those)

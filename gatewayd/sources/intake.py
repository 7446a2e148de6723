"""What a source needs from the house; the daemon provides it.

One reading's first step: a source hears bytes, stamps them, names the sensor, and calls `hear`. It never looks inside.
"""

from typing import Protocol

from gatewayd.model.reading import Heard


class Intake(Protocol):
    """Take what the sources hear. Every method is called in the event loop and returns at once."""

    def hear(self, heard: Heard, receipt: object | None) -> None:
        """Take the bytes of one sensor.

        `receipt` is opaque: give it back to the source's `acknowledge` after the commit that holds the reading. None
        means that nobody waits for an answer. An exception ends the source's `run`, and nothing is acknowledged.
        """
        ...

    def source_up(self, source: str, up: bool, reason: str) -> None:  # noqa: FBT001 - the contract of all sources
        """Hear that a source works, or why it does not, in the keeper's words."""
        ...

    def remark(self, source: str, text: str) -> None:
        """Hear something about a source that the keeper should be told once."""
        ...

    def beat(self, neighbour: str, up: bool) -> None:  # noqa: FBT001 - the contract of all sources
        """Hear that another household's gateway lives, or that its broker says it is gone."""
        ...

    def commit_soon(self) -> None:
        """Hear that a source will run dry unless what it handed on is committed and acknowledged."""
        ...

    def last_commit(self) -> int | None:
        """Return when something was last committed (wall ms), None if never: late readings are not older."""
        ...

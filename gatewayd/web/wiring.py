"""What the pages need to change the settings and to try a route; the daemon provides it."""

from collections.abc import Callable
from typing import Protocol

from gatewayd.settings.document import Document
from gatewayd.settings.standing import Standing
from gatewayd.settings.typed import Settings


class Wiring(Protocol):
    """Read and change how the house is wired. What is changed stands in house.yaml; the keeper's own file is left."""

    @property
    def settings(self) -> Settings:
        """Return the settings in force."""
        ...

    def document(self) -> Document:
        """Return what stands in house.yaml, empty where there is none. Raise SettingsError for one that is at fault."""
        ...

    def standing(self) -> Standing:
        """Return where each setting stands on the disk now, and what keeps those files from being read."""
        ...

    async def change(self, edit: Callable[[Document], Document], who: str) -> list[str]:
        """Let `edit` change house.yaml and put the new settings in force; return every fault in words, [] when done.

        With faults nothing was written and nothing changed. What `edit` raises as ValueError is such a fault. A fault
        of one setting is a `settings.faults.Said`, which knows of which.
        """
        ...

    def set_by(self, path: str, stands: str) -> str:
        """Return the name of who set what `stands` at a path of house.yaml, empty where that is not known."""
        ...

    async def undo(self, who: str) -> list[str]:
        """Put the version of house.yaml before the last change back in force; return every fault in words."""
        ...

    def undoable(self) -> bool:
        """Return whether there is a version before the last change."""
        ...

    def undoing(self) -> list[str]:
        """Return what `undo` would bring about, a sentence for each setting; no secrets."""
        ...

    async def try_route(self, route: str) -> str:
        """Send a test message by a route and return why it did not arrive, empty where it did."""
        ...

"""Copy at the door what was set on the pages, and put such a copy back in force."""

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

from gatewayd.daemon.household import Household
from gatewayd.door import Plain
from gatewayd.settings import edit
from gatewayd.settings.faults import SettingsError


class Keepsake:
    """Answer what the commands `backup` and `restore` ask about house.yaml, which they may not read themselves."""

    def __init__(self, household: Household, state_dir: Path) -> None:
        """Take what changes the settings, and the folder of house.yaml."""
        self._household = household
        self._state_dir = state_dir

    async def __call__(self, request: Plain, who: str) -> AsyncIterator[Plain]:
        """Answer one request of `who`: `copy` it to `path`, or put a copy from there `back`."""
        path = Path(str(request.get("path", "")))
        try:
            match request.get("do"):
                case "copy":
                    yield {"done": True, "copied": await asyncio.to_thread(edit.copy_out, self._state_dir, path)}
                case "back":
                    document = await asyncio.to_thread(edit.read_copy, path, for_others=True)
                    faults = await self._household.change(lambda _: document, who)
                    yield {"done": False, "error": "\n".join(faults)} if faults else {"done": True}
                case other:
                    yield {"done": False, "error": f"a copy of the settings knows copy and back, not {other!r}"}
        except (SettingsError, ValueError) as wrong:
            yield {"done": False, "error": str(wrong)}
        except OSError as trouble:
            yield {"done": False, "error": f"{trouble.filename or path}: {trouble.strerror or trouble}."}

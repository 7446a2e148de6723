"""Change how the house is wired while it is watched: what the pages call a Wiring."""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from gatewayd.clock import Clock
from gatewayd.model.moment import SECOND, Moment, between, from_wall
from gatewayd.model.route import Route
from gatewayd.notify.letter import Letter, Outcome, trial_letter
from gatewayd.settings import edit, places
from gatewayd.settings.differ import called, differences, touched
from gatewayd.settings.document import Document, read_document
from gatewayd.settings.faults import Fault, Said, SettingsError
from gatewayd.settings.standing import Standing, standing
from gatewayd.settings.typed import Settings

log = logging.getLogger(__name__)

TRY_EVERY = 10 * SECOND  # between two test messages: a nervous finger must not get a route locked for flooding
TRY_WITHIN = 45 * SECOND  # for one test message: somebody stands at the page and waits, mail servers may greylist
AGREE_WITHIN = 90.0  # s; the look at new routes starts a process, which has a minute (notify/inspect.py)

Edit = Callable[[Document], Document]


class Sends(Protocol):
    """Send one letter by one route."""

    async def send(self, route: Route, letter: Letter, deadline_ms: int) -> Outcome:
        """Return how it ended, within the deadline (ms) and a little."""
        ...


@dataclass(frozen=True, slots=True)
class Force:
    """Say how settings come into force: those that are, what speaks against others, and how others replace them.

    `against` returns faults in words, [] for settings that may replace those in force. `take` is called after it, with
    nothing else between: `one` is held by whoever reads settings anew.
    """

    settings: Callable[[], Settings]
    against: Callable[[Settings], Awaitable[list[str]]]
    take: Callable[[Settings, str], Awaitable[None]]
    one: asyncio.Lock


class Household:
    """Read and change house.yaml and put it in force; one change at a time."""

    def __init__(self, force: Force, env: Mapping[str, str], state_dir: Path, sender: Sends, clock: Clock) -> None:
        """Take how settings come into force, where `${NAME}` is looked up, where house.yaml lies, and who sends."""
        self._force = force
        self._env = env
        self._state_dir = state_dir
        self._sender = sender
        self._clock = clock
        self._tried: Moment | None = None
        self._set: dict[str, tuple[str, str]] = {}  # path -> what was set there since the start, and by whom

    @property
    def settings(self) -> Settings:
        """Return the settings in force."""
        return self._force.settings()

    @property
    def _files(self) -> tuple[Path, ...]:
        """Return the keeper's own files, as they were found when the settings in force were read."""
        return tuple(path for path in self.settings.files if path != self._state_dir / places.HOUSE_FILE)

    def document(self) -> Document:
        """Return what stands in house.yaml, empty where there is none. Raise SettingsError for one that is at fault."""
        return _document(self._state_dir / places.HOUSE_FILE)

    def standing(self) -> Standing:
        """Return where each setting stands on the disk now, and what keeps those files from being read."""
        return standing(self._files, self._state_dir / places.HOUSE_FILE)

    def set_by(self, path: str, stands: str) -> str:
        """Return who set what `stands` at a path of house.yaml, empty where that was before the start or by command."""
        was, who = self._set.get(path, ("", ""))
        return who if was == stands else ""

    def undoable(self) -> bool:
        """Return whether there is a version before the last change."""
        return (self._state_dir / edit.BEFORE).exists()

    def undoing(self) -> list[str]:
        """Return what taking the last change back would bring about, a sentence for each setting; no secrets."""
        before = self._state_dir / edit.BEFORE
        try:
            old = _document(before) if before.exists() and before.stat().st_size else {}
            return differences(self.document(), old, self._names())
        except (SettingsError, OSError):
            return []  # undo itself then says what is wrong

    async def change(self, edit_: Edit, who: str) -> list[str]:
        """Let `edit_` change house.yaml and put it in force; return every fault in words, [] when done."""
        said: list[str] = []
        anew: dict[str, str] = {}

        def noted(document: Document) -> Document:
            changed = edit_(document)
            said.extend(differences(document, changed, self._names()))
            anew.update(touched(document, changed))
            return changed

        def work(agree: edit.Agree) -> Settings:
            return edit.change(noted, self._files, env=self._env, state_dir=self._state_dir, agree=agree)

        faults = await self._carry_out(work, lambda: f"{who} changed the settings: {' '.join(said)}")
        if not faults:
            self._note(anew, who)
        return faults

    async def undo(self, who: str) -> list[str]:
        """Put the version of house.yaml before the last change back in force; return every fault in words."""
        said, before = self.undoing(), self._standing_document()

        def work(agree: edit.Agree) -> Settings:
            return edit.undo(self._files, env=self._env, state_dir=self._state_dir, agree=agree)

        faults = await self._carry_out(work, lambda: f"{who} took a change of the settings back: {' '.join(said)}")
        if not faults:
            self._note(touched(before, self._standing_document()), who)
        return faults

    def _note(self, anew: Mapping[str, str], who: str) -> None:
        """Remember who set what, by the name that the others know."""
        person = self.settings.house.people.get(who)
        name = person.name if person is not None else f"a {who}" if who == "guest" else who
        self._set.update((path, (stands, name)) for path, stands in anew.items())

    def _standing_document(self) -> Document:
        """Return what stands in house.yaml, nothing where it cannot be read: undo itself then says what is wrong."""
        try:
            return self.document()
        except SettingsError:
            return {}

    def _said(self, found: Fault) -> Said:
        """Say a fault: one of what was tried by what people call the setting, one of the keeper's own files by line."""
        tried = found.file == self._state_dir / places.HOUSE_FILE and found.key
        return Said.of(found, called(found.key, self._names()) if tried else "")

    def _names(self) -> dict[str, str]:
        """Return what people call what the settings in force know, by its path in them."""
        house = self.settings.house
        return {
            f"{section}.{id_}": one.name
            for section, entries in (("freezers", house.freezers), ("sensors", house.sensors), ("people", house.people))
            for id_, one in entries.items()
        }

    async def _carry_out(self, work: Callable[[edit.Agree], Settings], words: Callable[[], str]) -> list[str]:
        """Write in a thread, and take what was written; `words` say so in the log of the house."""
        async with self._force.one:
            loop = asyncio.get_running_loop()

            def agree(settings: Settings) -> None:
                asked = asyncio.run_coroutine_threadsafe(_listed(self._force.against(settings)), loop)
                if faults := asked.result(AGREE_WITHIN):
                    raise edit.Disagreed(faults)

            try:
                settings = await asyncio.to_thread(work, agree)
            except SettingsError as wrong:
                return [self._said(fault) for fault in wrong.faults]
            except edit.Disagreed as wrong:
                return wrong.faults
            except ValueError as wrong:
                return [_sentence(str(wrong))]
            except OSError as wrong:
                log.warning("%s could not be written: %s", self._state_dir / places.HOUSE_FILE, wrong)
                return [f"The disk does not take it ({wrong.strerror or wrong}). Nothing was changed."]
            await self._force.take(settings, words())
        return []

    async def try_route(self, route: str) -> str:
        """Send a test message by a route and return why it did not arrive, empty where it did."""
        found = self.settings.routes.get(route)
        if found is None:
            return f"There is no route {route!r}; load the page anew."
        now = self._clock.now()
        wait = TRY_EVERY - between(self._tried, now) if self._tried is not None else 0
        if wait > 0:
            return f"A test message went out a moment ago; try again in {-(-wait // SECOND)} s."
        self._tried = now
        made = from_wall(now.wall).astimezone(self.settings.house.zone)
        outcome = await self._sender.send(found, trial_letter(route, self.settings.house.name, made), TRY_WITHIN)
        return "" if outcome.ok else outcome.error or "It did not go out, and nobody said why."


class Fixed:
    """Show settings that nothing can change: those of a played house."""

    def __init__(self, settings: Callable[[], Settings]) -> None:
        """Take what returns the settings."""
        self._settings = settings

    @property
    def settings(self) -> Settings:
        """Return the settings in force."""
        return self._settings()

    def document(self) -> Document:
        """Return that there is no house.yaml."""
        return {}

    def standing(self) -> Standing:
        """Return that nothing stands in any file."""
        return Standing({}, (), self.settings.house_file)

    def set_by(self, path: str, stands: str) -> str:  # noqa: ARG002 - the pages' contract
        """Return that nobody set anything."""
        return ""

    def undoable(self) -> bool:
        """Return that there is nothing to take back."""
        return False

    def undoing(self) -> list[str]:
        """Return that there is nothing to take back."""
        return []

    async def change(self, edit_: Edit, who: str) -> list[str]:  # noqa: ARG002 - the pages' contract
        """Refuse."""
        return [FIXED]

    async def undo(self, who: str) -> list[str]:  # noqa: ARG002 - the pages' contract
        """Refuse."""
        return [FIXED]

    async def try_route(self, route: str) -> str:  # noqa: ARG002 - the pages' contract
        """Refuse."""
        return "This house is only played; its messages are shown where it was started."


FIXED = "This house is only played: its settings cannot be changed. Nothing was changed."


def _document(path: Path) -> Document:
    """Return what stands in a file that gatewayd wrote. Raise SettingsError for one that is at fault."""
    faults: list[Fault] = []
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise SettingsError([Fault(path, 0, "", "", f"the file cannot be read ({error.strerror})")]) from None
    document = read_document(raw, path, faults)
    if faults:
        raise SettingsError(faults)
    return document


async def _listed(asked: Awaitable[Sequence[str]]) -> list[str]:
    return list(await asked)


def _sentence(text: str) -> str:
    said = text[:1].upper() + text[1:]
    return said if said.endswith((".", "!", "?")) else f"{said}."

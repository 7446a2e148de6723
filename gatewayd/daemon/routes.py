"""Look at the routes before they are trusted, and remember which have passed.

A route that was never looked at and cannot be used is a mistake in the settings. One that has passed before and fails
now (a library was upgraded, say) must not keep the watch from starting: it is told of by the other routes.
"""

import hashlib
import json
import secrets
from collections.abc import Iterable
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.model.route import MailRoute, Route
from gatewayd.notify.inspect import fingerprint, inspect_routes

FILE = "routes.json"  # beside the store: a salt and salted hashes, nothing of a secret
Problem = tuple[str, str]  # route id, sentence


class Passed:
    """Remember which routes have passed."""

    def __init__(self, folder: Path) -> None:
        """Read what was remembered; a file that cannot be read counts as none."""
        self._path = folder / FILE
        try:
            kept = json.loads(self._path.read_text())
            self._salt, self._whole = bytes.fromhex(kept["salt"]), str(kept["whole"])
            self._each = {str(print_) for print_ in kept["each"]}
        except (OSError, ValueError, KeyError, TypeError):
            self._salt, self._whole, self._each = secrets.token_bytes(16), "", set()

    async def look(self, routes: Iterable[Route], clock: Clock) -> tuple[list[Problem], list[Problem]]:
        """Return (mistakes, troubles): problems of routes that never passed, and of those that have.

        Routes that passed together with this very library are not looked at again: the start is quicker by a process.
        """
        routes = list(routes)
        whole = fingerprint(routes, self._salt)
        if whole == self._whole:
            return [], []
        problems = await inspect_routes(routes, clock)
        bad = {route for route, _ in problems}
        known = {route.id for route in routes if self._print(route) in self._each}
        self._each = {self._print(route) for route in routes if route.id in known or route.id not in bad}
        self._keep(whole if not problems else "")
        return [p for p in problems if p[0] not in known], [p for p in problems if p[0] in known]

    def _print(self, route: Route) -> str:
        way = route.way
        if isinstance(way, MailRoute):
            place = f"{way.host} {way.port} {way.security} {way.ca}"
            words = f"{place} {way.sender} {way.to} {way.user} {way.password.reveal()}"
        else:
            words = f"{way.url.reveal()} {way.ca}"
        return hashlib.blake2b(f"{route.id} {words}".encode(), key=self._salt, digest_size=16).hexdigest()

    def _keep(self, whole: str) -> None:
        text = json.dumps({"salt": self._salt.hex(), "whole": whole, "each": sorted(self._each)})
        try:
            self._path.touch(mode=0o600)
            self._path.write_text(text)
        except OSError:
            return  # a full disk: they are looked at again at the next start

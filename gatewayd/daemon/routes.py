"""Look at the routes before they are trusted, and remember which have passed, and which fail when they are used.

A route that was never looked at and cannot be used is a mistake in the settings. One that has passed before and fails
now (a library was upgraded, say) must not keep the watch from starting: it is told of by the other routes.
"""

import hashlib
import json
import secrets
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

from gatewayd.clock import Clock
from gatewayd.model.route import MailRoute, Route
from gatewayd.notify.inspect import fingerprint, inspect_routes

FILE = "routes.json"  # beside the store: a salt, salted hashes and what was told of routes, nothing of a secret
Problem = tuple[str, str]  # route id, sentence


class Passed:
    """Remember which routes have passed, and which of them have failed since, until a letter gets out by them."""

    def __init__(self, folder: Path) -> None:
        """Read what was remembered; a file that cannot be read counts as none."""
        self._path = folder / FILE
        try:
            kept = json.loads(self._path.read_text())
            self._salt, self._whole = bytes.fromhex(kept["salt"]), str(kept["whole"])
            self._each = {str(print_) for print_ in kept["each"]}
            self._failing = {str(route): str(why) for route, why in kept.get("failing", {}).items()}
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            self._salt, self._whole, self._each, self._failing = secrets.token_bytes(16), "", set(), {}

    def failing(self, routes: Collection[str]) -> dict[str, str]:
        """Return why those of some routes fail that were told to fail and by which no letter has got out since."""
        return {route: why for route, why in self._failing.items() if route in routes}

    def fails(self, failing: Mapping[str, str]) -> None:
        """Remember which routes are told to fail, and why."""
        if failing != self._failing:
            self._failing = dict(failing)
            self._write()

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
        self._whole = whole
        self._write()

    def _write(self) -> None:
        """Write all of it, in one step: a file cut short would count as nothing remembered."""
        kept = {"salt": self._salt.hex(), "whole": self._whole, "each": sorted(self._each), "failing": self._failing}
        fresh = self._path.with_suffix(".new")
        try:
            fresh.touch(mode=0o600)
            fresh.write_text(json.dumps(kept))
            fresh.replace(self._path)
        except OSError:
            return  # a full disk: they are looked at again at the next start

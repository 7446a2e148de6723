"""The one-time code with which the first phone sets the household's password."""

import hmac
import secrets

from gatewayd.clock import Clock
from gatewayd.model.moment import MINUTE

LASTS = 30 * MINUTE
TRIES = 10  # wrong ones, then the code is void: of 10^8 codes one in ten million would have been guessed
DIGITS = 8


class Code:
    """Hold the code that counts now, if any."""

    def __init__(self, clock: Clock) -> None:
        """Take the clock for its end."""
        self._clock = clock
        self._code = ""
        self._until = 0
        self._tries = 0

    def make(self) -> str:
        """Return a new code as it is read out, `4821 7730`; the one before is void."""
        self._code = "".join(secrets.choice("0123456789") for _ in range(DIGITS))
        self._until = self._clock.now().steady + LASTS
        self._tries = 0
        return f"{self._code[:4]} {self._code[4:]}"

    @property
    def counts(self) -> bool:
        """Return whether there is a code that still counts."""
        return bool(self._code) and self._clock.now().steady < self._until and self._tries < TRIES

    def fits(self, said: str) -> bool:
        """Return whether this is the code, and count a wrong one."""
        if not self.counts:
            return False
        digits = "".join(char for char in said if char.isascii() and char.isdigit())
        if hmac.compare_digest(digits, self._code):
            return True
        self._tries += 1
        return False

    def end(self) -> None:
        """Make the code void: it was used."""
        self._code = ""

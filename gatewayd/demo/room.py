"""Make the air of a room: days and nights, and a slow drift of the weather."""

import math
import random
from dataclasses import dataclass

from gatewayd.model.moment import DAY, HOUR

WARMEST_AT = 15 * HOUR  # after local midnight; air is warmest some hours after noon (common knowledge)
DRIFT_LASTS = 36 * HOUR  # weather comes and goes in a day or two
_NEXT = 5 * 60_000  # ms; a room does not change faster than this


@dataclass(frozen=True, slots=True)
class Climate:
    """Describe a room: mean (°C), half of the daily swing (K), and how far the weather drifts (K, one sigma)."""

    mean: float
    swing: float
    drift: float


class Room:
    """Hold a room's air temperature (°C), which depends only on the climate, the seed and the time."""

    def __init__(self, climate: Climate, rng: random.Random, midnight: int) -> None:
        """Begin with some weather. `midnight` (wall ms) is any local midnight: the days count from it."""
        self._climate, self._rng, self._midnight = climate, rng, midnight
        self._drift = rng.gauss(0.0, climate.drift)
        self._next: int | None = None
        self._air = climate.mean

    def air(self, wall: int) -> float:
        """Return the temperature (°C) at `wall` (ms), which must not go back."""
        if self._next is None or wall >= self._next:
            self._next = wall + _NEXT
            keep = math.exp(-_NEXT / DRIFT_LASTS)
            self._drift = self._drift * keep + self._rng.gauss(0.0, self._climate.drift * math.sqrt(1 - keep * keep))
            turn = math.cos(2 * math.pi * ((wall - self._midnight - WARMEST_AT) % DAY) / DAY)
            self._air = self._climate.mean + self._climate.swing * turn + self._drift
        return self._air

"""Simulate a battery-fed probe: it follows the air slowly, reads with a little noise, and speaks in its own way."""

import json
import math
import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo

from gatewayd.model.moment import from_wall

NOISE = 0.1  # K, one sigma; with steps of 0.1 K what cheap probes show
JITTER = 0.03  # share of the interval; a sender's own clock and its radio
LOST = 0.01  # share of reports that never arrive; a radio misses some even in a good place

Speak = Callable[[float, int, float], bytes]  # (°C, wall ms, battery %) -> payload


def bare(celsius: float, wall: int, battery: float) -> bytes:  # noqa: ARG001 - one signature for all that speak
    """Say one bare number in °C."""
    return f"{celsius:.1f}".encode()


def nested(celsius: float, wall: int, battery: float) -> bytes:  # noqa: ARG001 - one signature for all that speak
    """Say JSON with the temperature in °C and the battery in %."""
    return json.dumps({"air": {"celsius": round(celsius, 1)}, "battery": round(battery)}).encode()


def stamped(zone: tzinfo) -> Speak:
    """Return a voice that says JSON in °F with the time of measurement (ISO 8601) in `zone`."""

    def speak(celsius: float, wall: int, battery: float) -> bytes:  # noqa: ARG001 - one signature for all that speak
        when = from_wall(wall).astimezone(zone).isoformat(timespec="seconds")
        return json.dumps({"measured": when, "fahrenheit": round(celsius * 9 / 5 + 32, 1)}).encode()

    return speak


@dataclass(frozen=True, slots=True)
class Make:
    """Describe a probe: how often it reports (ms), how slowly it follows (s), how it speaks."""

    every: int
    lag: float
    speak: Speak


class Probe:
    """Hold what one probe feels, when it reports next (wall ms), and whether its battery still carries it."""

    def __init__(self, make: Make, rng: random.Random, celsius: float, now: int) -> None:
        """Begin at the air's temperature, with the first report somewhere within the first interval."""
        self._make, self._rng = make, rng
        self._felt = celsius
        self.alive, self.battery = True, 74.0
        self.due = now + rng.randrange(1, make.every)

    def follow(self, air: float, seconds: float) -> None:
        """Feel the air (°C) for `seconds`."""
        self._felt += (air - self._felt) * (1 - math.exp(-seconds / self._make.lag))

    def report(self) -> bytes | None:
        """Return the payload that is due now, None if it got lost or the battery is flat; set when the next is due."""
        wall = self.due
        self.due += round(self._make.every * (1 + self._rng.uniform(-JITTER, JITTER)))
        reading = self._felt + self._rng.gauss(0.0, NOISE)
        lost = self._rng.random() < LOST
        if lost or not self.alive:
            return None
        return self._make.speak(reading, wall, self.battery)

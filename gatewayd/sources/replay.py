"""Play a recorded log into the house as if it were heard now."""

import asyncio
from collections.abc import Sequence

from gatewayd.clock import Clock
from gatewayd.model.reading import Heard
from gatewayd.sources.intake import Intake
from gatewayd.sources.recording import Recording

AT_ONCE = 100  # lines between two turns of the event loop: commits and orders are not kept waiting


class ReplaySource:
    """Play one recording once, in order. Every reading is stamped with the moment at which it is played."""

    def __init__(self, recording: Recording, intake: Intake, clock: Clock, *, speed: float = 1.0) -> None:
        """Play `speed` times as fast as it was recorded; 0 means as fast as it goes. Raise ValueError below 0."""
        if not 0 <= speed < float("inf"):
            raise ValueError(f"{speed} is not a speed; allowed are 0 (as fast as it goes) and above")
        self.id = "recording"
        self._recording = recording
        self._intake = intake
        self._clock = clock
        self._speed = speed

    async def run(self) -> None:
        """Play to the end and return. Raise RecordingError before anything is played if any line is wrong."""
        await asyncio.to_thread(self._recording.check)
        self._intake.source_up(self.id, True, f"plays {self._recording.path.name}")
        began = self._clock.now().steady
        first: int | None = None
        for number, line in enumerate(self._recording.lines()):
            first = line.time if first is None else first
            ahead = 0.0
            if self._speed:
                ahead = (line.time - first) / self._speed - (self._clock.now().steady - began)
            if ahead > 0 or number % AT_ONCE == 0:
                await self._clock.sleep(max(0.0, ahead))
            self._intake.hear(Heard(line.sensor.source, line.sensor.id, line.payload, self._clock.now()), None)

    def acknowledge(self, receipts: Sequence[object]) -> None:
        """Do nothing: a file needs no answer. It is here so that every source is used alike."""

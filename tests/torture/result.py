"""What a torture run yields: figures, and everything that did not hold although it must."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field

LATEST = 0.05  # s between two looks at a condition


@dataclass
class Result:
    """Collect what was seen. Begin with one, call `hold` for each promise and `round` once per round, return it."""

    name: str
    seed: int
    rounds: int
    figures: dict[str, object] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def hold(self, true: object, what: str) -> bool:
        """Note that something must hold; `what` says what is wrong if it does not."""
        if not true:
            self.faults.append(what)
            print(f"    DOES NOT HOLD: {what}", flush=True)
        return bool(true)

    def round(self, number: int, text: str) -> None:
        """Print one line for a round, counted from 1."""
        print(f"{self.name} {number}/{self.rounds}: {text}", flush=True)

    @property
    def ok(self) -> bool:
        """Return whether all held."""
        return not self.faults

    def last_line(self) -> str:
        """Return the figures in one line."""
        seen = ", ".join(f"{value} {what}" for what, value in self.figures.items())
        verdict = "held" if self.ok else f"FAILED in {len(self.faults)} ways, first: {self.faults[0]}"
        return f"{self.name}, seed {self.seed}, {self.rounds} rounds: {seen}: {verdict}"


def until(condition: Callable[[], object], what: str, seconds: float = 30.0) -> float:
    """Wait until a condition holds and return how long it took (s); raise TimeoutError if it does not in time."""
    begin = time.monotonic()
    while not condition():
        if time.monotonic() - begin > seconds:
            raise TimeoutError(f"not within {seconds:g} s: {what}")
        time.sleep(LATEST)
    return time.monotonic() - begin

"""What a measurement yields: ratios of rounds, judged by their median against a limit."""

import statistics
from collections.abc import Callable, Mapping
from dataclasses import dataclass

ROUNDS = 5


@dataclass(frozen=True)
class Row:
    """Hold one line of the table.

    `ratios` has one entry per round: ours divided by what stands beside it in the same round. `least` says that the
    limit is a floor. A `limit` of None is a figure to know, with nothing to hold it to. `absolute` says in units what
    lay behind the ratio; the machine decides those, so they prove nothing.
    """

    what: str
    limit: float | None
    ratios: tuple[float, ...]
    absolute: str
    least: bool = False
    unit: str = "x"

    @property
    def median(self) -> float:
        """Return what is judged."""
        return statistics.median(self.ratios)

    @property
    def met(self) -> bool | None:
        """Return whether the limit is met, None where there is none."""
        if self.limit is None:
            return None
        return self.median >= self.limit if self.least else self.median <= self.limit


Measured = Mapping[str, list[float]]


def alternate(cases: Mapping[str, Callable[[], float]], rounds: int = ROUNDS) -> dict[str, list[float]]:
    """Run every case once per round, in turn, so that what else the machine does falls on all of them."""
    found: dict[str, list[float]] = {name: [] for name in cases}
    for _ in range(rounds):
        for name, case in cases.items():
            found[name].append(case())
    return found


def ratio(ours: list[float], theirs: list[float]) -> tuple[float, ...]:
    """Divide round by round."""
    return tuple(a / b for a, b in zip(ours, theirs, strict=True))


def middle(found: list[float], scale: float = 1.0, unit: str = "") -> str:
    """Write a median for people."""
    return f"{statistics.median(found) * scale:.3g}{unit}"


def table(rows: list[tuple[str, Row]]) -> str:
    """Return the rows, each with the name of its measurement, as a Markdown table."""
    lines = [
        "| measured | limit | ratio: median (least to most) | met | in figures, here | command |",
        "|---|---|---|---|---|---|",
    ]
    for name, row in rows:
        sign = "≥" if row.least else "≤"
        limit = "–" if row.limit is None else f"{sign} {row.limit:g}{row.unit}"
        spread = f"{row.median:.3g}{row.unit} ({min(row.ratios):.3g} to {max(row.ratios):.3g})"
        met = {None: "–", True: "yes", False: "**no**"}[row.met]
        lines.append(f"| {row.what} | {limit} | {spread} | {met} | {row.absolute} | `python -m tests.bench {name}` |")
    return "\n".join(lines)

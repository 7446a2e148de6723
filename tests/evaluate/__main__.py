"""Try the thermal step against simulated freezers: `python -m tests.evaluate [PART ...]`, all without a part.

`plant` shows the simulated freezers themselves; the other parts print the tables of what was said against what was
true, and the goals. Simulated sets are kept below the temporary folder by seed and count, so a second run is quick.
"""

import argparse
import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from tests.evaluate import forecasts, goals, trial, watching
from tests.evaluate.batch import Batch
from tests.evaluate.goals import Goal
from tests.evaluate.scenario import CAUSES, made

T = TypeVar("T")
Part = Callable[["Run"], tuple[str, list[Goal]]]


class Run:
    """Hold what was asked for, and the outages that several parts share."""

    def __init__(self, seed: int, count: int | None, jobs: int) -> None:
        """Begin with nothing played."""
        self.seed, self.count, self.jobs = seed, count, jobs
        self._outages: list[trial.Outage] | None = None

    def made(self, name: str) -> Batch:
        """Return a set of simulated freezers."""
        return made(name, self.seed, self.count)

    def each(self, task: Callable[[Batch], T], batch: Batch, only: Sequence[int] | None = None) -> list[T]:
        """Do a task for every freezer, in processes of their own."""
        chosen = range(len(batch)) if only is None else only
        if self.jobs <= 1:
            return [task(batch.one(index)) for index in chosen]
        with multiprocessing.get_context("spawn").Pool(self.jobs) as pool:
            return list(pool.imap(task, (batch.one(index) for index in chosen), chunksize=2))

    def outages(self) -> list[trial.Outage]:
        """Return the outages, played once."""
        if self._outages is None:
            self._outages = self.each(trial.outage, self.made("outages"))
        return self._outages


def _plant(run: Run) -> tuple[str, list[Goal]]:
    return watching.plant_report(run.made("outages")), []


def _outages(run: Run) -> tuple[str, list[Goal]]:
    return forecasts.outage_report(run.outages())


def _stress(run: Run) -> tuple[str, list[Goal]]:
    return forecasts.stress_report(run.each(trial.outage, run.made("stress")))


def _learning(run: Run) -> tuple[str, list[Goal]]:
    fair, wrong = (run.each(trial.lesson, run.made(name)) for name in ("learning", "learning_stress"))
    return forecasts.learning_report(fair, wrong)


def _causes(run: Run) -> tuple[str, list[Goal]]:
    batch = run.made("causes")
    watched = _labelled(batch, run.each(trial.caused, batch))
    found = [(CAUSES[label], size, watch) for label, size, watch in watched if watch is not None]
    return watching.causes_report(found)


def _quiet(run: Run) -> tuple[str, list[Goal]]:
    return watching.quiet_report(run.each(trial.quieted, run.made("quiet")))


def _cycles(run: Run) -> tuple[str, list[Goal]]:
    return forecasts.cycles_report(run.outages())


def _labelled(batch: Batch, found: Sequence[Any]) -> list[tuple[int, float, Any]]:
    return [(int(batch.label[i]), float(batch.size[i]), one) for i, one in enumerate(found)]


def _drift(run: Run) -> tuple[str, list[Goal]]:
    batch = run.made("drift")
    return watching.drift_report(_labelled(batch, run.each(trial.drifted, batch)))


def _trend(run: Run) -> tuple[str, list[Goal]]:
    batch = run.made("trend")
    return watching.trend_report(_labelled(batch, run.each(trial.aged, batch)))


def _food(run: Run) -> tuple[str, list[Goal]]:
    batch = run.made("outages")
    return forecasts.food_report(run.each(trial.eaten, batch, range(min(60, len(batch)))))


PARTS: dict[str, Part] = {
    "plant": _plant, "outages": _outages, "stress": _stress, "learning": _learning, "causes": _causes, "quiet": _quiet,
    "cycles": _cycles, "drift": _drift, "trend": _trend, "food": _food,
}  # fmt: skip


def main() -> int:
    """Print the tables asked for and the goals; return 1 if one is missed or could not be judged."""
    parser = argparse.ArgumentParser(prog="python -m tests.evaluate", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"one of: {', '.join(PARTS)}, all")
    parser.add_argument("--count", type=int, help="freezers (quiet: freezer-days) per set; the usual number without")
    parser.add_argument("--seed", type=int, default=1, help="another seed, other freezers")
    parser.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1), help="processes to play them in")
    options = parser.parse_args()
    asked = options.parts or ["all"]
    unknown = [part for part in asked if part not in PARTS and part != "all"]
    if unknown:
        parser.error(f"there is no part {', '.join(unknown)}; there are {', '.join(PARTS)}, all")
    run = Run(options.seed, options.count, options.jobs)
    every: list[Goal] = []
    for part in PARTS if "all" in asked else asked:
        begin = time.monotonic()
        text, held = PARTS[part](run)
        print(f"## {part}\n\n{text}\n", flush=True)
        print(f"{part}: {time.monotonic() - begin:.0f} s", file=sys.stderr)
        every += held
    if every:
        met = sum(goal.verdict.startswith("met") for goal in every)
        print(f"## goals: {met} of {len(every)} met\n\n{goals.table(every)}")
    return 1 if any(not goal.verdict.startswith("met") for goal in every) else 0


if __name__ == "__main__":
    sys.exit(main())

"""The pure watch: what a reading costs with more sensors, how late a silence is found, and a day of three freezers.

Each house is measured in a process of its own, so that one's rubbish is not collected on another's account. Time is
simulated: every sensor reports each 10 s, in turn, and the watch gets its tick when it asked for one.
"""

import argparse
import json
import subprocess
import sys
import time
from collections.abc import Iterator

from gatewayd.alarm.kinds import SILENT
from gatewayd.model.effect import Effects
from gatewayd.model.event import What
from gatewayd.model.given import SourceNews, Start, Tick
from gatewayd.model.house import Freezer, House, Kind, Sensor
from gatewayd.model.moment import DAY, MINUTE, SECOND, Moment
from gatewayd.model.reading import Heard
from gatewayd.watch.watch import Watch
from tests.bench.process import python
from tests.bench.result import Row, alternate, middle, ratio

SIZES = (10, 100, 1_000, 10_000)
EVERY = 10 * SECOND
READINGS = 50_000
WARM_UP = 6  # reports of each sensor before the count: intervals learnt, everything that is made once made
BEGIN = Moment(1_795_600_800_000, 3_600_000, "bench")
LIMIT, LATE_LIMIT, DAY_LIMIT = 1.3, 1.5, 1.0
RATE = 5_000  # readings a second, of 10 000 sensors, around the deadline
SILENT_ONES, APART = 20, 25  # their deadlines lie 150 ms from one another


def house(sensors: int, told: int | None) -> House:
    """Return a house of so many sensors, each in a freezer of its own; `told` is their interval (ms) if it is known."""
    names = [f"s{number}" for number in range(sensors)]
    return House(
        id="bench",
        name="Bench",
        freezers={f"f-{name}": Freezer(f"f-{name}", name, Kind.CHEST, sensors=(name,)) for name in names},
        sensors={name: Sensor(name, name, "home", f"t/{name}", reports_every=told) for name in names},
        sources={"home": "Home"},
        people={},
    )


class Run:
    """Play one watch through simulated time."""

    def __init__(self, sensors: int, told: int | None = None) -> None:
        """Start it."""
        self.now = BEGIN
        self.watch = Watch(house(sensors, told), self.now)
        self.watch.step(Start(), self.now)
        self.watch.step(SourceNews("home", up=True, reason="it answers"), self.now)
        self.names = list(self.watch.house.sensors)

    def heard(self, count: int, every: float) -> Iterator[Heard]:
        """Yield readings, one each `every` ms of simulated time, the sensors in turn."""
        start = self.now
        for number in range(count):
            self.now = start.later(round(number * every))
            value = b"-18.%d" % (number // len(self.names) % 7)
            yield Heard("home", self.names[number % len(self.names)], value, self.now)
        self.now = start.later(round(count * every))

    def take(self, heard: Heard) -> None:
        """Hand one in, after the ticks that were due."""
        while (wake := self.watch.next_wake()) is not None and wake <= heard.at.steady:
            self.watch.step(Tick(), heard.at)
        self.watch.step(heard, heard.at)


def cost(sensors: int) -> float:
    """Return the CPU seconds of one reading in a house of so many sensors."""
    run = Run(sensors)
    for heard in run.heard(sensors * WARM_UP, EVERY / sensors):
        run.take(heard)
    given = list(run.heard(READINGS, EVERY / sensors))
    begin = time.process_time()
    for heard in given:
        run.take(heard)
    return (time.process_time() - begin) / READINGS


def a_day() -> float:
    """Return the CPU seconds for a day of three freezers."""
    run = Run(3)
    given = list(run.heard(3 * DAY // EVERY, EVERY / 3))
    begin = time.process_time()
    for heard in given:
        run.take(heard)
    return time.process_time() - begin


def lateness(told: int | None) -> float:
    """Return by how many seconds the latest of some silences was told after its deadline, at 5 000 readings a second.

    The readings come in simulated time and cost real time; one that comes while the one before is still being worked
    on waits, as it would in the daemon. So a watch that is too slow for the stream tells late here, too.
    """
    run = Run(10_000, told)
    for heard in run.heard(10_000 * WARM_UP, MINUTE / 10_000):
        run.take(heard)
    gone = {name: run.watch.posts[name].life.silent_at() for name in run.names[: SILENT_ONES * APART : APART]}
    run.names = [name for name in run.names if name not in gone]
    while (left := min(gone.values()) - SECOND - run.now.steady) > 0:  # the others go on, slowly, until then
        for heard in run.heard(len(run.names), min(5 * MINUTE, left) / len(run.names)):
            run.take(heard)
    first, late, busy = run.now.steady, {}, 0.0  # busy: simulated s since `first` at which the watch is done

    def note(effects: Effects) -> None:
        for event in effects.events:
            if event.kind == SILENT.name and event.what is What.RAISED and event.subject in gone:
                late[event.subject] = busy - (gone[event.subject] - first) / 1000

    for heard in run.heard((max(gone.values()) - first + 2 * SECOND) * RATE // 1000, 1000 / RATE):
        begin = time.perf_counter()
        effects = run.watch.step(heard, heard.at)
        busy = max(busy, (heard.at.steady - first) / 1000) + time.perf_counter() - begin
        note(effects)
    while len(late) < len(gone) and (wake := run.watch.next_wake()) is not None:  # told much too late
        run.now = run.now.later(max(0, wake - run.now.steady))
        busy = (run.now.steady - first) / 1000
        note(run.watch.step(Tick(), run.now))
    return max(late.values())


def child(what: str) -> float:
    """Run one measurement in a process of its own."""
    done = subprocess.run(python("-m", "tests.bench.scale", what), stdout=subprocess.PIPE, check=True)
    return float(json.loads(done.stdout))


def measure() -> list[Row]:
    """Compare sizes with the smallest, and take the silence and the day."""
    cases = {str(size): (lambda what=str(size): child(what)) for size in SIZES}
    found = alternate(cases)
    found |= alternate({what: (lambda what=what: child(what)) for what in ("late", "learnt", "day")}, rounds=3)
    base = found[str(SIZES[0])]
    rows = [
        Row(
            f"cost per reading with {size} sensors, against {SIZES[0]}",
            LIMIT,
            ratio(found[str(size)], base),
            f"{middle(found[str(size)], 1e6, ' µs')} against {middle(base, 1e6, ' µs')}",
        )
        for size in SIZES[1:]
    ]
    late = f"the latest of {SILENT_ONES} of 10 000 sensors, {RATE} readings/s"
    for case, words in (("late", "interval told"), ("learnt", "interval learnt since the start")):
        rows.append(Row(f"silence told after its deadline, {words}", LATE_LIMIT, tuple(found[case]), late, unit=" s"))
    day = f"{3 * DAY // EVERY} readings, CPU time of this machine"
    rows.append(Row("a day of three freezers at 10 s", DAY_LIMIT, tuple(found["day"]), day, unit=" s"))
    return rows


def main() -> None:
    """Print one figure."""
    parser = argparse.ArgumentParser(description="one figure of the scale; `python -m tests.bench scale` has them all")
    parser.add_argument("what", help="a number of sensors, `late`, `learnt` or `day`")
    what = parser.parse_args().what
    figures = {"late": lambda: lateness(EVERY), "learnt": lambda: lateness(None), "day": a_day}
    json.dump(figures.get(what, lambda: cost(int(what)))(), sys.stdout)


if __name__ == "__main__":
    main()

"""Measure how light the daemon is: `python -m tests.bench [NAME ...]`, all without a name.

Everything is a ratio to something plain measured in the same run, in alternated rounds; the table gives the median and
the span. Needs mosquitto; the card's wear is measured on a file system of its own where root allows.
"""

import argparse
import importlib
import sys
import time
import traceback

from tests.bench import machine, sources
from tests.bench.result import Row, table
from tests.bench.sources import PARTS

OWN = (
    "messages",
    "rows",
    "wear",
    "size",
    "charts",
    "first",
    "memory",
    "start",
    "idle",
    "scale",
    "stalls",
    "stock",
    "fits",
    "rehearsal",
    "pages",
)
NAMES = (*OWN, *PARTS)


def measure(name: str, minutes: float) -> list[Row]:
    """Run one measurement; a module is loaded only when it is its turn."""
    if name in PARTS:
        return sources.measure(name)
    measurement = importlib.import_module(f"tests.bench.{name}")
    found: list[Row] = measurement.measure(minutes) if name == "wear" else measurement.measure()
    return found


def main() -> int:
    """Run what is asked for, print the table, and return 1 if a limit is missed, 2 if a measurement failed."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one of: {', '.join(NAMES)}")
    parser.add_argument("--minutes", type=float, default=0, help="wear: measure in real time for so long")
    options = parser.parse_args()
    unknown = [name for name in options.names if name not in NAMES]
    if unknown:
        parser.error(f"there is no measurement {', '.join(unknown)}; there are {', '.join(NAMES)}")
    described = machine.name()
    rows: list[tuple[str, Row]] = []
    failed = []
    for name in options.names or NAMES:
        begin = time.monotonic()
        print(f"{name} ...", end=" ", flush=True, file=sys.stderr)
        try:
            found = measure(name, options.minutes)
        except Exception:  # noqa: BLE001 - one that fails must not take the others' figures along
            traceback.print_exc()
            failed.append(name)
            found = []
        print(f"{time.monotonic() - begin:.0f} s", file=sys.stderr)
        suffix = f" --minutes {options.minutes:g}" if name == "wear" and options.minutes else ""
        rows += [(name + suffix, row) for row in found]
    print(f"{described}.\n")
    print(table(rows))
    for name in failed:
        print(f"\n{name}: failed, see above")
    if failed:
        return 2
    return 1 if any(row.met is False for _, row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())

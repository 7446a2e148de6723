"""Torture gatewayd: `python -m tests.torture NAME [--seed N] [--rounds N]`.

Each torture is a module of this folder with `ROUNDS`, the rounds of a long run, and `run(seed, rounds) -> Result`,
plain or async. It prints one line per round and one with its figures; the exit code is 1 if anything did not hold.
"""

import argparse
import asyncio
import importlib
import inspect
import random
import re
import sys
import time
from pathlib import Path

from tests.torture.result import Result


def names() -> list[str]:
    """Return the tortures there are."""
    runs = re.compile(r"^(async )?def run\(", re.MULTILINE)
    return sorted(path.stem for path in Path(__file__).parent.glob("[a-z]*.py") if runs.search(path.read_text()))


def main() -> int:
    """Run one torture."""
    parser = argparse.ArgumentParser(prog="python -m tests.torture", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("name", choices=names(), metavar="NAME", help=f"one of: {', '.join(names())}")
    parser.add_argument("--seed", type=int, help="repeats a run's choices; default: a new one, which is printed")
    parser.add_argument("--rounds", type=int, help="default: those of the long run")
    options = parser.parse_args()
    torture = importlib.import_module(f"tests.torture.{options.name}")
    seed = random.SystemRandom().randrange(1_000_000) if options.seed is None else options.seed
    rounds = options.rounds or getattr(torture, "ROUNDS", 1)
    print(f"{options.name}: seed {seed}, {rounds} rounds", flush=True)
    begin = time.monotonic()
    found = torture.run(seed, rounds)
    result: Result = asyncio.run(found) if inspect.iscoroutine(found) else found
    print(f"{result.last_line()} ({time.monotonic() - begin:.0f} s)")
    return 0 if result.ok else 1


if __name__ == "__main__":
    sys.exit(main())

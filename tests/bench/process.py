"""Look at processes from outside, through /proc: CPU time, memory, wake-ups, children."""

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

PROC = Path("/proc")
_WHOLE_PROCESS = 2  # CPUCLOCK_SCHED: the scheduler's own nanoseconds (linux/posix-timers_types.h)


def cpu(pid: int) -> float:
    """Return the CPU seconds (user and system, all threads, also ended ones) of a process, in ns resolution."""
    return time.clock_gettime(~pid << 3 | _WHOLE_PROCESS)


def private(pid: int) -> int:
    """Return the bytes that belong to this process alone: what would be free again without it."""
    total = 0
    for line in (PROC / f"{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith(("Private_Clean:", "Private_Dirty:")):
            total += int(line.split()[1]) * 1024
    return total


def family(pid: int) -> list[int]:
    """Return a process and all its descendants of this moment."""
    found = [pid]
    for parent in found:
        with contextlib.suppress(OSError):
            for task in (PROC / f"{parent}/task").iterdir():
                found += [int(child) for child in (task / "children").read_text().split()]
    return found


def private_of_all(pid: int) -> int:
    """Return the private bytes of a process and its descendants; one that ends meanwhile counts as none."""
    total = 0
    for one in family(pid):
        with contextlib.suppress(OSError):
            total += private(one)
    return total


def wakeups(pid: int) -> int:
    """Return how often the threads of a process have gone to sleep of their own will: each is a wake-up."""
    total = 0
    for task in (PROC / f"{pid}/task").iterdir():
        for line in (task / "status").read_text().splitlines():
            if line.startswith("voluntary_ctxt_switches:"):
                total += int(line.split()[1])
    return total


def written(pid: int) -> int:
    """Return the bytes that a process has caused to be written to a device, as the kernel counts pages it dirtied."""
    for line in (PROC / f"{pid}/io").read_text().splitlines():
        if line.startswith("write_bytes:"):
            return int(line.split()[1])
    raise RuntimeError("this kernel does not count write_bytes")


def quiet(pid: int, still: float = 0.5, deadline: float = 120.0) -> float:
    """Wait until a process has used next to no CPU for `still` seconds and return its CPU seconds."""
    end = time.monotonic() + deadline
    before = cpu(pid)
    while time.monotonic() < end:
        time.sleep(still)
        now = cpu(pid)
        if now - before < still * 0.02:
            return before
        before = now
    raise TimeoutError(f"process {pid} did not come to rest in {deadline} s")


def until(condition: Callable[[], bool], what: str, deadline: float = 30.0) -> None:
    """Wait until a condition holds; raise TimeoutError if it does not in `deadline` seconds."""
    end = time.monotonic() + deadline
    while not condition():
        if time.monotonic() > end:
            raise TimeoutError(f"not in time: {what}")
        time.sleep(0.005)


def python(*args: str) -> list[str]:
    """Return the command for a Python process like this one."""
    return [sys.executable, *args]


def timed(command: list[str], env: dict[str, str] | None = None, code: int = 0) -> float:
    """Run a command to its end and return the seconds it took; it must exit with `code`."""
    begin = time.perf_counter()
    done = subprocess.run(command, env=env or dict(os.environ), capture_output=True, check=False)
    took = time.perf_counter() - begin
    if done.returncode != code:
        raise RuntimeError(f"{command} ended with {done.returncode}: {done.stderr.decode()[-2000:]}")
    return took

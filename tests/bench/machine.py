"""Name the machine and the programs that a measurement ran on."""

import os
import platform
import sqlite3
import subprocess
from pathlib import Path


def name() -> str:
    """Return one paragraph: processor, cores, memory, kernel, file system, versions, and how busy it was."""
    cpu = platform.machine()
    for line in Path("/proc/cpuinfo").read_text().splitlines():
        if line.startswith(("model name", "Model")):
            cpu = line.partition(":")[2].strip()
            break
    memory = int(Path("/proc/meminfo").read_text().split()[1]) / 2**20
    broker = subprocess.run(["mosquitto", "-h"], capture_output=True, text=True, check=False).stdout.splitlines()
    parts = (
        f"{cpu}, {os.cpu_count()} cores, {memory:.1f} GiB",
        f"Linux {platform.release()}",
        f"Python {platform.python_version()}",
        f"SQLite {sqlite3.sqlite_version}",
        broker[0] if broker else "no mosquitto",
        "load {:.1f} {:.1f} {:.1f} at the start".format(*os.getloadavg()),
    )
    return "; ".join(parts)

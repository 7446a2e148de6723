"""What a message costs in the sources alone: the measurements that stand beside each source's tests."""

import importlib.util
import re
import subprocess

from tests.bench.process import python
from tests.bench.result import Row

PARTS = ("mqtt_cost", "bluetooth_cost")
_RATIO = re.compile(r"^(?P<what>.*?)\s+ratio (?P<ratio>\d+\.?\d*)", re.MULTILINE)


def measure() -> list[Row]:
    """Run those that there are and take the ratios that they print."""
    rows: list[Row] = []
    for part in PARTS:
        if importlib.util.find_spec(f"tests.bench.{part}") is None:
            continue
        done = subprocess.run(python("-m", f"tests.bench.{part}"), capture_output=True, text=True, check=False)
        if done.returncode != 0:
            raise RuntimeError(f"{part} failed: {done.stderr[-2000:]}")
        print(done.stdout)
        rows += [
            Row(
                f"CPU per message in the source, {match['what']}", None, (float(match["ratio"]),), f"tests.bench.{part}"
            )
            for match in _RATIO.finditer(done.stdout)
        ]
    return rows

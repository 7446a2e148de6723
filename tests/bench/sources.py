"""What a message costs in one source alone: the measurements that stand beside the sources' tests."""

import re
import subprocess

from tests.bench.process import python
from tests.bench.result import Row

PARTS = {"mqtt": "mqtt_cost", "bluetooth": "bluetooth_cost"}
_RATIO = re.compile(r"^(?P<what>.*?)\s*\bratio (?P<ratio>\d+\.?\d*)", re.MULTILINE)


def measure(part: str) -> list[Row]:
    """Run one of them and take the ratios of medians that it prints; its own limits stand in its own output."""
    module = f"tests.bench.{PARTS[part]}"
    done = subprocess.run(python("-m", module), capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise RuntimeError(f"{module} failed: {done.stderr[-2000:]}")
    print(done.stdout)
    found = list(_RATIO.finditer(done.stdout))
    if not found:
        raise RuntimeError(f"{module} prints no line with `ratio` and a number")
    return [
        Row(
            f"CPU per message in the source alone, {match['what'] or part}",
            None,
            (float(match["ratio"]),),
            f"`{module}`",
        )
        for match in found
    ]

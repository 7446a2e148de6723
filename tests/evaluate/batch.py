"""What a set of simulated freezers leaves behind: what gatewayd may see, and the truth; kept between runs."""

import hashlib
import tempfile
from dataclasses import dataclass, field, fields
from pathlib import Path

import numpy as np

from gatewayd.model.contents import Group
from gatewayd.model.house import Kind
from gatewayd.thermal.facts import Facts
from tests.evaluate import foods

KINDS = (Kind.CHEST, Kind.UPRIGHT, Kind.UPRIGHT_AUTO_DEFROST)
KEPT = Path(tempfile.gettempdir()) / "gatewayd-evaluate"
SOURCES = ("foods.py", "freezers.py", "plant.py", "scenario.py", "batch.py")


@dataclass(slots=True)
class Batch:
    """Hold N freezers' recordings by minute [minutes, N], and per freezer [N] what was told and what happened."""

    reading: np.ndarray  # °C as the sensor says it
    room: np.ndarray  # °C as a sensor in the room says it, nan without one
    air: np.ndarray  # the truth from here on
    top: np.ndarray  # mean of the warmest layer
    bulk: np.ndarray  # mean of all food, by weight
    running: np.ndarray  # steps of 10 s in the minute
    defrost: np.ndarray
    kind: np.ndarray
    volume: np.ndarray  # as told, L
    kg: np.ndarray  # [5, N], as told by group
    told_room: np.ndarray
    fill: np.ndarray  # true
    cut: np.ndarray  # minute in which the thing happened, -1 = never
    label: np.ndarray  # which thing, index into a set's own names
    size: np.ndarray = field(default_factory=lambda: np.zeros(0))  # how big it was, in the set's own unit

    def __len__(self) -> int:
        """Return how many freezers there are."""
        return len(self.kind)

    def facts(self, index: int) -> Facts:
        """Return what the owner told of one freezer."""
        kg = {Group(name): float(self.kg[g, index]) for g, name in enumerate(foods.GROUPS) if self.kg[g, index] > 0}
        return Facts(KINDS[int(self.kind[index])], float(self.volume[index]), kg, float(self.told_room[index]))

    def one(self, index: int) -> "Batch":
        """Return one freezer, to be handed to another process."""
        return Batch(**{f.name: getattr(self, f.name)[..., index : index + 1] for f in fields(self)})


def place(name: str, seed: int, count: int) -> Path:
    """Return where a set is kept; another plant or scenario gives another place."""
    here = Path(__file__).parent
    made = hashlib.sha256(b"".join((here / source).read_bytes() for source in SOURCES)).hexdigest()[:12]
    return KEPT / f"{name}-{seed}-{count}-{made}.npz"


def keep(batch: Batch, path: Path) -> None:
    """Write a set to a file, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_suffix(".part.npz")
    np.savez(part, **{f.name: getattr(batch, f.name) for f in fields(batch)})
    part.replace(path)


def fetch(path: Path) -> Batch:
    """Read a set that was kept."""
    with np.load(path) as kept:
        return Batch(**{name: kept[name] for name in kept.files})

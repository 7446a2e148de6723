"""What a list of packages means for the freezer: what it holds by groups, and whether too much was put in unfrozen."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from gatewayd.food.table import find
from gatewayd.model.contents import Group
from gatewayd.model.moment import DAY
from gatewayd.model.stock import Box, Package, Sure

# A freezer freezes 2 to 3 lb per cubic foot of its volume in 24 h (makers' manuals, citing USDA): 32 to 48 kg/m3
FREEZES, FREEZES_MOST = 0.032, 0.048  # kg a litre
OTHER = Group.MEALS  # what an unknown food is taken for: it holds neither the most cold nor the least (our choice)
WEIGHED = 0.5  # share of a freezer's rows that must have a weight, else the list tells nothing of it (our choice)
STALE = 183 * DAY  # a list nobody looked at for half a year is a guess (our choice)


class Much(Enum):
    """Say whether a freezer can freeze what was put into it within a day."""

    FINE = "fine"
    MUCH = "more than it freezes in a day"
    FAR_TOO_MUCH = "far more than it freezes in a day"


@dataclass(frozen=True, slots=True)
class Fresh:
    """Hold the fresh food of a day (kg), the least and most a freezer freezes (kg), and how many have no weight."""

    kg: float
    least: float
    most: float
    unweighed: int

    @property
    def much(self) -> Much:
        """Return whether it is too much."""
        if self.kg > self.most:
            return Much.FAR_TOO_MUCH
        return Much.MUCH if self.kg > self.least else Much.FINE


def fresh(packages: Iterable[Package], litres: float, now: int) -> Fresh:
    """Return what was put unfrozen into a freezer of `litres` in the 24 h up to `now` (wall ms)."""
    new = [one for one in packages if one.fresh and one.since is not None and now - DAY < one.since <= now]
    kg = sum(one.weight or 0.0 for one in new)
    return Fresh(kg, FREEZES * litres, FREEZES_MOST * litres, sum(1 for one in new if one.weight is None))


def sure(box: Box, now: int) -> Sure:
    """Return how sure a box's list is at `now` (wall ms): what nobody looked at for long is a guess."""
    if box.looked is None or now - box.looked > STALE:
        return Sure.GUESSED
    return box.sure


def contents(
    boxes: Sequence[Box], packages: Iterable[Package], half_full: Mapping[str, float], now: int
) -> dict[str, dict[Group, float]]:
    """Return what each freezer holds (kg by group), of those whose list can be gone by.

    That is one whose every box with something in it was counted, or kept in writing since; of the others only where
    the list has more than a half-full freezer holds (`half_full`, kg), which is else taken. Half of its rows at least
    must have a weight; the others are taken at the mean of those.
    """
    of = {box.id: box for box in boxes}
    rows: defaultdict[str, list[Package]] = defaultdict(list)
    for one in packages:
        if one.gone is None and one.box in of:
            rows[of[one.box].freezer].append(one)
    found = {}
    for freezer, those in rows.items():
        weighed = [one.each for one in those if one.each is not None]
        if freezer not in half_full or len(weighed) < WEIGHED * len(those):
            continue
        mean = sum(weighed) / len(weighed)
        kg: defaultdict[Group, float] = defaultdict(float)
        for one in those:
            many = 1.0 if one.count is None else one.count
            kg[group(one.food)] += many * (mean if one.each is None else one.each)
        counted = all(sure(of[box], now) is not Sure.GUESSED for box in {one.box for one in those})
        if counted or sum(kg.values()) > half_full[freezer]:
            found[freezer] = dict(kg)
    return found


def group(food: str) -> Group:
    """Return the group that a food warms with, by the household's word for it."""
    known = find(food)
    return OTHER if known is None else known.group

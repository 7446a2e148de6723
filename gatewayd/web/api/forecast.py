"""JSON of what the temperatures mean: how long the food holds, as ranges."""

from dataclasses import dataclass

from gatewayd.model.pack import unpack
from gatewayd.web.api.operation import Call, Operation
from gatewayd.web.api.says import Celsius, Hours, Stamp


@dataclass(frozen=True, slots=True)
class Reaching:
    """When the air at the probe, or the warmest food, is at a level if nothing cools: hours from `at` of the freezer.

    The three are a range: early, likely, late; null means not within 9 days.
    """

    where: str
    level_c: Celsius
    early_h: Hours | None
    likely_h: Hours | None
    late_h: Hours | None


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a freezer is as it is, and how sure that is; `held` says whether it has held long enough to be told."""

    label: str
    sure: str
    held: bool
    since: Stamp | None


@dataclass(frozen=True, slots=True)
class Cycles:
    """How the cooling runs: seconds from start to start, the share of the time it runs, and starts in a day."""

    period_s: float | None
    duty: float | None
    starts_per_day: float | None


@dataclass(frozen=True, slots=True)
class FoodNow:
    """How warm the warmest food and the rest are, worked out from the air."""

    top: Celsius
    bulk: Celsius


@dataclass(frozen=True, slots=True)
class Lesson:
    """An outage or a test switch-off from which it was learnt how a freezer warms."""

    how: str
    at: Stamp


@dataclass(frozen=True, slots=True)
class TestPlan:
    """A test switch-off that runs."""

    began: Stamp
    until: Stamp


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the temperatures of one freezer mean. Every figure is a range and a guess; none says that food is safe.

    `reserve` is how long it holds if cooling stops now, `forecast` what comes while it warms. `told` says whether the
    weights (kg by group of food) are somebody's list, or half full was assumed. `emptied` says that it is being
    defrosted and its food was not put back yet: what stands here is of no food then.
    """

    id: str
    name: str
    kind: str
    volume_l: float | None
    kg: dict[str, float]
    told: bool
    room_c: Celsius | None
    air_c: Celsius | None
    state: str
    since: Stamp | None
    reserve: tuple[Reaching, ...]
    forecast: tuple[Reaching, ...]
    at: Stamp | None
    cause: Cause | None
    cycles: Cycles | None
    food_c: FoodNow | None
    calibrated: bool
    learnt: tuple[Lesson, ...]
    ageing: tuple[str, ...]
    test: TestPlan | None
    emptied: bool


@dataclass(frozen=True, slots=True)
class Outlooks:
    """What the temperatures of the freezers mean."""

    freezers: tuple[Outlook, ...]


async def outlooks(call: Call) -> Outlooks:
    """Return what the temperatures mean."""
    found: Outlooks = unpack(Outlooks, call.home.forecast())
    return found


OPERATIONS = (
    Operation("The house", "forecast", "/forecast", "How long the food holds, as ranges.", Outlooks, outlooks),
)

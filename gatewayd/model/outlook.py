"""What the temperatures of one freezer mean: how long the food holds, why it warms, how its compressor cycles."""

from dataclasses import dataclass
from enum import Enum

from gatewayd.model.moment import Moment

# °C: the keeper's line of good keeping and the exposure levels; 15 °F; 20 °F; ice melts; 40 °F, where the published
# outage chart of the USDA draws its line.
LEVELS = (-12.0, -9.4, -6.7, 0.0, 4.4)


class Where(Enum):
    """Say what reaches a level: the air at the warmest probe, or the warmest layer of food."""

    PROBE = "probe"
    FOOD = "food"


@dataclass(frozen=True, slots=True)
class Span:
    """Hold in how many hours without cooling `where` reaches `level` (°C).

    0 means that it is beyond already, None that it is not reached within 9 days. `early` is what advice goes by.
    """

    where: Where
    level: float
    early: float | None
    likely: float | None
    late: float | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """Hold one forecast of one freezer, made `at` a moment.

    `reserve` counts from the moment at which cooling stops, in ordinary running; `forecast` counts from `at` under the
    condition that nothing cools from then on. `since` is when it last cooled (None while it cools). `calibrated` says
    that this freezer has learnt from an outage or a test switch-off; without, every number is a guess from its kind.
    `full` is how full it is by weight, 0 to 1, None where nobody said what it holds.
    """

    at: Moment
    reserve: tuple[Span, ...]
    forecast: tuple[Span, ...]
    since: Moment | None = None
    calibrated: bool = False
    full: float | None = None


class Label(Enum):
    """Name what makes a freezer warm, or that it is as always."""

    NORMAL = "normal"
    OPENED = "opened"  # and came back
    LID_OR_LOAD = "lid-or-load"  # a lid ajar, or warm food put in
    POWER = "power"  # no power, or the compressor stopped
    ROOM_AIR = "room-air"  # the probe is out of the freezer, or the whole freezer is defrosted
    AUTO_DEFROST = "auto-defrost"
    DRIFT = "drift"  # the thermostat moved, over hours or days
    CANNOT_TELL = "cannot-tell"


class Sure(Enum):
    """Say how sure a cause is, in three words."""

    HINT = "hint"
    LIKELY = "likely"
    SURE = "sure"


@dataclass(frozen=True, slots=True)
class Cause:
    """Hold what a warming looks like. Only what is `held` may be said: its group came out three times in 10 min.

    `held_20` is the stricter hold of 20 min, which a cause needs that sharpens an alarm. `since` is when it began.
    """

    label: Label = Label.CANNOT_TELL
    sure: Sure = Sure.HINT
    held: bool = False
    held_20: bool = False
    since: Moment | None = None


@dataclass(frozen=True, slots=True)
class Cycles:
    """Hold a day of a compressor: period (s), duty (0 to 1, relative to itself only), starts in a day."""

    period: float
    duty: float
    starts: float

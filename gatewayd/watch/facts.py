"""What the settings say of a freezer, as the thermal step wants it, with honest guesses for what nobody said."""

from math import isnan

from gatewayd.model.contents import Contents, Group
from gatewayd.model.house import Freezer, House, Kind
from gatewayd.model.moment import DAY, MINUTE
from gatewayd.thermal.course import Course
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.prior import FULL

# Litres, where nobody said: the middle of household freezers on sale. From memory; the forecast is called a guess.
VOLUMES = {Kind.CHEST: 300.0, Kind.UPRIGHT: 250.0, Kind.UPRIGHT_AUTO_DEFROST: 250.0}
LEAST, MOST = 20.0, 2000.0  # L; what Facts takes
HEAVIEST = 2000.0  # kg of a group; what Facts takes
GUESS = {
    Group.MEAT: 0.4,
    Group.PRODUCE: 0.3,
    Group.BREAD: 0.15,
    Group.MEALS: 0.15,
}  # shares of a mixed load; our choice
ROOM = 20.0  # °C, where nobody said
COLDEST, WARMEST = -30.0, 60.0  # °C; what Facts takes


def facts(freezer: Freezer, house: House, course: Course | None = None, listed: Contents | None = None) -> Facts:
    """Return the facts of a freezer; `course` tells how warm its room was in the last day.

    `listed` is what the stock's list has of it (kg by group); what the settings say goes before it.
    """
    # in whole kg, for each change of the facts costs a fit
    told = freezer.contents or {
        group: min(HEAVIEST, weight) for group, kg in (listed or {}).items() if (weight := round(kg, 0))
    }
    kg = dict(told) or {group: share * half_full(freezer) for group, share in GUESS.items()}
    # in steps of half a degree, for each change of the facts costs a fit
    room = ROOM if freezer.room_about is None else freezer.room_about
    if course is not None and len(course) and freezer.room in house.sensors:
        measured = course.room_mean(course.end - DAY // MINUTE, course.end)
        room = room if isnan(measured) else measured
    return Facts(freezer.kind, _volume(freezer), kg, min(WARMEST, max(COLDEST, round(room * 2) / 2)), told=bool(told))


def half_full(freezer: Freezer) -> float:
    """Return the weight (kg) of a half-full freezer of its size."""
    return FULL * _volume(freezer) / 2


def _volume(freezer: Freezer) -> float:
    return min(MOST, max(LEAST, freezer.volume or VOLUMES[freezer.kind]))

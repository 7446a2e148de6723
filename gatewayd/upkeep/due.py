"""List what is to be done for the freezers and sensors, the worst first.

An alarm that stands asks for itself and is not listed here; a weak battery is, for its alarm asks nobody.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from gatewayd.model.chore import Chore, Due, Kind
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import DAY
from gatewayd.model.reading import Quantity

YEAR = 365 * DAY
SOON = 28 * DAY  # our choice: early enough to choose a day, late enough not to be read over every week
COPY_OLD = 7 * DAY  # our choice: copies are made every night, so a week without one is no single bad night

OF_FOOD = "look at the food of "  # how the work begins that comes before all other; the freezer's name follows

# Sensors drift by tenths of a degree a year; once a year is common practice for thermometers that guard food.
_ICE = "once a year; a thermometer drifts"
_NEVER = "it was never checked; how far it is off is not known"
# Common practice (makers' booklets, from memory): clean the gasket and, where they are outside, the coils once a year.
_GASKET = "a gasket that leaks lets damp air in, and frost grows"
_COILS = "dust on the coils makes it run longer"


@dataclass(frozen=True, slots=True)
class Known:
    """Hold what the list is made of; what is left out is not known, and then nothing is said of it.

    `done` is the last of each kind of work for each subject. `began` is since when the house is known, `copied` when
    its data was last copied (wall ms). `weak` maps a sensor whose battery is low to (why, whether it is urgent).
    `missed` says that nobody answered the last test message; `untaught` are freezers whose forecast is a guess.
    `more` is what others found.
    """

    done: Iterable[Chore] = ()
    began: int | None = None
    copied: int | None = None
    weak: Mapping[str, tuple[str, bool]] = field(default_factory=dict)
    missed: bool = False
    untaught: Iterable[str] = ()
    more: Iterable[Due] = ()


def due(house: House, now: int, known: Known, ahead: int = SOON) -> list[Due]:
    """Return what is due at `now` (wall ms) or within `ahead` ms, the overdue first, then by day."""
    last = {(chore.subject, chore.kind): chore.at for chore in known.done}
    found = [*known.more, *_batteries(house, known)]
    if known.missed:
        what = "answer the monthly test message"
        found.append(
            Due(house.id, what, None, "nobody answered the last one; see whether messages arrive", overdue=True)
        )
    if known.copied is not None and now - known.copied > COPY_OLD:
        what, reason = "see to the nightly copy of the data", "the newest copy is older than a week"
        found.append(Due(house.id, what, known.copied + COPY_OLD, reason, overdue=True))
    for freezer in house.freezers.values():
        found += _checks(freezer, house, last, now)
        found += _looks(freezer, last, known.began, now, ahead)
    uneasy = {one.subject for one in known.more if one.what.startswith(OF_FOOD)}  # no test on top of a bad day
    found += [_test(house.freezers[who]) for who in known.untaught if who in house.freezers and who not in uneasy]
    return sorted((one for one in found if one.by is None or one.by <= now + ahead), key=_rank)


def _rank(one: Due) -> tuple[bool, bool, bool, int]:
    """Put food first, then the overdue, and offers last; in each what has no day comes before the oldest day."""
    return not one.what.startswith(OF_FOOD), not one.overdue, one.once, one.by or 0


def _batteries(house: House, known: Known) -> list[Due]:
    return [
        Due(who, f"change the battery of {house.sensors[who].name}", None, why or "it is nearly empty", overdue=urgent)
        for who, (why, urgent) in known.weak.items()
        if who in house.sensors
    ]


def _checks(freezer: Freezer, house: House, last: Mapping[tuple[str, Kind], int], now: int) -> list[Due]:
    """Return the checks in ice of a freezer's thermometers; those of rooms guard no food."""
    found = []
    for who in freezer.sensors:
        sensor = house.sensors.get(who)
        if sensor is None or sensor.measures is not Quantity.TEMPERATURE:
            continue
        what, before = f"check {sensor.name} in ice", last.get((who, Kind.ICE_POINT))
        if before is None:
            found.append(Due(who, what, None, _NEVER, once=True))
        else:
            found.append(Due(who, what, before + YEAR, _ICE, overdue=before + YEAR < now))
    return found


def _looks(
    freezer: Freezer, last: Mapping[tuple[str, Kind], int], began: int | None, now: int, ahead: int
) -> list[Due]:
    """Return the yearly look at gasket and coils, as one thing where both are due; counted from the begin at first."""
    days = {kind: last.get((freezer.id, kind), began) for kind in (Kind.GASKET, Kind.CONDENSER)}
    wanted = {kind: day + YEAR for kind, day in days.items() if day is not None and day + YEAR <= now + ahead}
    if not wanted:
        return []
    names = {Kind.GASKET: ("gasket", _GASKET), Kind.CONDENSER: ("coils", _COILS)}
    parts = " and ".join(names[kind][0] for kind in wanted)
    reason = "; ".join(names[kind][1] for kind in wanted)
    by = min(wanted.values())
    return [Due(freezer.id, f"look at the {parts} of {freezer.name}", by, reason, overdue=by < now)]


def _test(freezer: Freezer) -> Due:
    reason = "how long its food holds is a guess; three hours off would make that half as wrong"
    return Due(freezer.id, f"a test switch-off of {freezer.name}", None, reason, once=True)

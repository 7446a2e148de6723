"""Gather the note of the week from what the watch knows."""

from gatewayd.message.ageing import leak
from gatewayd.message.weekly import FreezerWeek, Reserve, Week, write_note
from gatewayd.message.words import called, clock, lid, name
from gatewayd.model.house import House
from gatewayd.model.moment import Moment
from gatewayd.model.outlook import Where
from gatewayd.model.reading import Quantity
from gatewayd.thermal.ageing import WEEKS, ageing
from gatewayd.thermal.picture import Picture, row
from gatewayd.watch.dues import due_lines
from gatewayd.watch.known import Known

KEPT_BELOW = -9.4  # °C, 15 °F: the level that messages of a warming speak of first
OWN = ("test",)  # the month's test says for itself how it went


def note(watch: Known, now: Moment) -> tuple[str, str]:
    """Return title and body of the note of the week."""
    freezers = []
    for who, judge in watch.judges.items():
        span = watch.weeks.spans.get(who)
        low, high = (span.lowest, span.highest) if span else (None, None)
        freezers.append(
            FreezerWeek(
                judge.freezer.name,
                low,
                high,
                judge.value,
                watched=bool(judge.freezer.sensors),
                reserve=_reserve(watch.pictures.get(who)),
                ageing=_ageing(who, watch.pictures.get(who), watch.house),
            )
        )
    alarms = [
        f"{name(alarm.subject, watch.house)}: {called(alarm.kind)}, since "
        f"{clock((alarm.began or now).wall, now.wall, watch.house.zone)}"
        for alarm in watch.alarms.listed()
        if alarm.kind not in OWN and (alarm.standing or alarm.latched) and not alarm.suppressed
    ]
    return write_note(Week(tuple(freezers), tuple(alarms), _sensors(watch), tuple(due_lines(watch, now))), watch.house)


def _reserve(picture: Picture | None) -> Reserve | None:
    """Return how long the warmest food stays good without power, None where nothing is known yet."""
    outlook = None if picture is None else picture.outlook
    span = None if outlook is None else row(outlook.reserve, Where.FOOD, KEPT_BELOW)
    if outlook is None or span is None:
        return None
    return Reserve(KEPT_BELOW, span.early, span.late, guess=not outlook.calibrated)


def _ageing(who: str, picture: Picture | None, house: House) -> str:
    found = None if picture is None else ageing(picture.kept.days)
    if found is None or not found.words:
        return ""
    return leak(name(who, house), lid(who, house), found.run, WEEKS)


def _sensors(watch: Known) -> tuple[str, ...]:
    """Return a line for each battery, the weakest first, and how many sensors were heard."""
    levels = []
    for post in watch.posts.values():
        for quantity in (Quantity.BATTERY, Quantity.VOLTAGE):
            reading = post.newest.get(quantity)
            if reading is not None and reading.good:
                shown = f"{reading.value:.0f} %" if quantity is Quantity.BATTERY else f"{reading.value:.2f} V"
                levels.append((reading.value, f"{post.sensor.name}: battery {shown}"))
                break
    heard = sum(post.health.last_heard is not None for post in watch.posts.values())
    return (f"{heard} of {len(watch.posts)} heard since the start", *(line for _, line in sorted(levels)))

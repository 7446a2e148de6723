"""Carry out what people order; every order gets an answer, and one that cannot be done changes nothing."""

from collections.abc import Callable

from gatewayd.alarm.engine import Alarm, Alarms
from gatewayd.alarm.kinds import AT_FREEZER, AT_FREEZER_FOR, HIGH, HIGHHIGH, MAINS_OUT
from gatewayd.alarm.table import LONGEST_SHELF, Move, Refused, Shelf, Stand, move
from gatewayd.message.words import called, clock, name
from gatewayd.model.effect import Answer
from gatewayd.model.given import Order
from gatewayd.model.house import Freezer, House
from gatewayd.model.moment import Moment
from gatewayd.model.reading import Quantity
from gatewayd.model.units import show_span

# The watch itself carries these out, see switchoff.py and defrosting.py
OF_TESTS = ("test switch-off", "end the test")
OF_DEFROSTS = ("begin defrost", "defrost step", "end defrost")


def carry_out(given: Order, alarms: Alarms, house: House, now: Moment) -> Answer:
    """Carry one order out and return its answer."""
    doing = _VERBS.get(given.verb)
    if doing is None:
        known = ", ".join(sorted([*_VERBS, *OF_TESTS, *OF_DEFROSTS]))
        return Answer(done=False, text=f"There is no order {given.verb!r}; there are {known}.", key=given.key)
    done, text = doing(given, alarms, house, now)
    return Answer(done=done, text=text, key=given.key)


Done = tuple[bool, str]


def _acknowledge(given: Order, alarms: Alarms, house: House, now: Moment) -> Done:
    if given.alarm:
        wanted = [alarm for alarm in alarms.all.values() if given.alarm in (alarm.first, *alarm.numbers)]
    else:
        wanted = [alarm for alarm in alarms.listed() if alarms.unseen(alarm)]
    if wanted:
        return True, "\n".join([_acknowledge_one(alarm, given, alarms, house, now) for alarm in wanted])
    if given.alarm:
        return False, f"There is no alarm {given.alarm}. See them with: gatewayd status"
    return True, "There is nothing to acknowledge."


def _acknowledge_one(alarm: Alarm, given: Order, alarms: Alarms, house: House, now: Moment) -> str:
    title = _title(alarm, house)
    try:
        alarms.acknowledge(alarm, now, given.who, given.why)
    except Refused as refused:
        if alarm.acknowledged_at is None:
            return f"{title}: {refused}."
        ago = show_span(now.wall - alarm.acknowledged_at.wall)
        return f"{title}: already acknowledged by {alarm.acknowledged_by} {ago} ago."
    if alarm.latched:
        then = f"gatewayd checked {alarm.subject}"
        return f"{title}: acknowledged. It stays listed until the food was checked. Then: {then}"
    return f"{title}: acknowledged."


def _title(alarm: Alarm, house: House) -> str:
    return f"{name(alarm.subject, house)}: {called(alarm.kind)} ({alarm.first})"


def _freezers(given: Order, house: House) -> list[str] | str:
    """Return the ids of the freezers an order is about, or what is wrong with it."""
    if given.subject in house.freezers:
        return [given.subject]
    known = ", ".join(house.freezers) or "none"
    return f"There is no freezer {given.subject!r}; there are: {known}."


def _at_freezer(given: Order, alarms: Alarms, house: House, now: Moment) -> Done:
    """Shelve what a person at a freezer causes; all of it or nothing."""
    found = _freezers(given, house)
    if isinstance(found, str):
        return False, found
    span = given.span or AT_FREEZER_FOR
    try:
        move(Stand(), Move.SHELVE, span=span)
    except Refused:
        return False, f"A freezer is kept quiet for more than nothing and at most {show_span(LONGEST_SHELF)}."
    freezer = house.freezers[found[0]]
    theirs = [alarms.get(freezer.id, kind) for kind in AT_FREEZER]
    theirs += [alarms.get(sensor, MAINS_OUT) for sensor in _plugs(freezer, house)]
    for alarm in theirs:
        alarms.shelve(alarm, now, span, given.who, given.why or "at the freezer")
    ends = max((a.shelved_until.wall for a in theirs if a.shelved_until), default=now.wall)
    until = clock(ends, now.wall, house.zone)
    return True, (
        f"{name(found[0], house)} is quiet until {until}. What is still wrong then is told at once. "
        f"If you are done earlier: gatewayd at {found[0]} --done"
    )


def _plugs(freezer: Freezer, house: House) -> list[str]:
    """Return the sensors that see this freezer's own mains."""
    mains = (Quantity.MAINS, Quantity.POWER)
    return [who for who in freezer.others if who in house.sensors and house.sensors[who].measures in mains]


def _shelved(freezer: Freezer, alarms: Alarms, house: House) -> list[Alarm]:
    subjects = (freezer.id, *_plugs(freezer, house))
    return [a for a in alarms.all.values() if a.subject in subjects and a.shelf is not Shelf.NONE]


def _left_freezer(given: Order, alarms: Alarms, house: House, now: Moment) -> Done:
    found = _freezers(given, house)
    if isinstance(found, str):
        return False, found
    shelved = _shelved(house.freezers[found[0]], alarms, house)
    for alarm in shelved:
        alarms.unshelve(alarm, now, given.who, given.why)
    who = name(found[0], house)
    return True, f"{who} is watched again as always." if shelved else f"{who} was not kept quiet; nothing changed."


def _checked(given: Order, alarms: Alarms, house: House, now: Moment) -> Done:
    """Take the decision about the food: acknowledge, and end what is latched."""
    found = _freezers(given, house)
    if isinstance(found, str):
        return False, found
    who = name(found[0], house)
    if not given.why.strip():
        return False, f"Say what was decided about the food in {who}, for instance: kept all, still hard."
    done = []
    for kind in (HIGHHIGH, HIGH):
        alarm = alarms.get(found[0], kind)
        if alarm.standing:
            continue
        if alarms.unseen(alarm):
            alarms.acknowledge(alarm, now, given.who, given.why)
            done.append(alarm)
        if alarm.latched:
            alarms.reset(alarm, now, given.who, given.why)
            done.append(alarm)
    if done:
        return True, f"{who}: the food was checked, {given.why}. It is written down."
    if any(alarms.get(found[0], kind).standing for kind in (HIGHHIGH, HIGH)):
        return False, f"{who} is still too warm; check the food when it is cold again. Nothing changed."
    return False, f"{who} has nothing that waits for a check. Nothing changed."


_VERBS: dict[str, Callable[[Order, Alarms, House, Moment], Done]] = {
    "acknowledge": _acknowledge,
    "at the freezer": _at_freezer,
    "left the freezer": _left_freezer,
    "food checked": _checked,
}

"""Carry out what people order; every order gets an answer, and one that cannot be done changes nothing."""

from gatewayd.alarm.engine import Alarm, Alarms
from gatewayd.alarm.table import Refused
from gatewayd.message.words import called, name
from gatewayd.model.effect import Answer
from gatewayd.model.given import Order
from gatewayd.model.house import House
from gatewayd.model.moment import Moment
from gatewayd.model.units import show_span


def carry_out(given: Order, alarms: Alarms, house: House, now: Moment) -> Answer:
    """Carry one order out and return its answer."""
    if given.verb != "acknowledge":
        return Answer(done=False, text=f"There is no order {given.verb!r}.", key=given.key)
    if given.alarm:
        wanted = [alarm for alarm in alarms.all.values() if given.alarm in (alarm.first, *alarm.numbers)]
    else:
        wanted = [alarm for alarm in alarms.listed() if alarms.unseen(alarm)]
    texts = [_acknowledge(alarm, given, alarms, house, now) for alarm in wanted]
    if not texts:
        texts = [
            f"There is no alarm {given.alarm}. See them with: gatewayd status"
            if given.alarm
            else "There is nothing to acknowledge."
        ]
    return Answer(done=bool(wanted) or not given.alarm, text="\n".join(texts), key=given.key)


def _acknowledge(alarm: Alarm, given: Order, alarms: Alarms, house: House, now: Moment) -> str:
    title = f"{name(alarm.subject, house)}: {called(alarm.kind)} ({alarm.first})"
    try:
        alarms.acknowledge(alarm, now, given.who, given.why)
    except Refused as refused:
        if alarm.acknowledged_at is None:
            return f"{title}: {refused}."
        ago = show_span(now.wall - alarm.acknowledged_at.wall)
        return f"{title}: already acknowledged by {alarm.acknowledged_by} {ago} ago."
    return f"{title}: acknowledged."

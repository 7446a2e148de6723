"""Show what the watch knows, as plain values for the commands and the pages."""

from typing import Any

from gatewayd.alarm.engine import Alarm
from gatewayd.alarm.freezer import Judge
from gatewayd.alarm.kinds import GAP_LEAST, UNKNOWN_INTERVAL
from gatewayd.alarm.table import Shelf
from gatewayd.message.words import called, name
from gatewayd.model.moment import Moment, between, iso
from gatewayd.model.reading import Quantity
from gatewayd.model.units import show_span
from gatewayd.upkeep.defrost import next_step
from gatewayd.upkeep.signal import advice
from gatewayd.watch.hindrance import hindrance, in_ice
from gatewayd.watch.post import Post
from gatewayd.watch.switchoff import GRACE
from gatewayd.watch.watch import Watch

Plain = dict[str, Any]


def status(watch: Watch, now: Moment) -> Plain:
    """Return the house at a glance: freezers, alarms, sources. Temperatures in °C, spans in ms, stamps ISO 8601."""
    return {
        "house": watch.house.name,
        "at": iso(now.wall, watch.house.zone),
        "units": watch.house.units.value,
        "freezers": [_freezer(watch, judge, now) for judge in watch.judges.values()],
        "alarms": [_alarm(watch, alarm, now) for alarm in watch.alarms.listed()],
        "shelved": [_alarm(watch, alarm, now) for alarm in _hidden(watch) if not alarm.suppressed],
        "suppressed": [_alarm(watch, alarm, now) for alarm in _hidden(watch) if alarm.suppressed and alarm.listed],
        "neighbours": [
            {
                "id": pulse.neighbour,
                "name": name(pulse.neighbour, watch.house),
                "heard": pulse.heard,
                "heard_ago": _ago(pulse.last, now) if pulse.heard else None,
                "gone": pulse.gone is not None,
            }
            for pulse in watch.pulses.values()
        ],
        "sources": [
            {
                "id": link.source,
                "name": name(link.source, watch.house),
                "up": link.up,
                "since": iso(link.since.wall, watch.house.zone),
                "reason": link.reason,
            }
            for link in watch.links.values()
        ],
    }


def _hidden(watch: Watch) -> list[Alarm]:
    return [alarm for alarm in watch.alarms.all.values() if alarm.hidden]


def _freezer(watch: Watch, judge: Judge, now: Moment) -> Plain:
    last = judge.last
    standing = [
        called(kind)
        for (subject, kind), alarm in watch.alarms.all.items()
        if subject == judge.freezer.id and alarm.standing
    ]
    shown = [post.retained for s in judge.freezer.sensors if (post := watch.posts.get(s)) and post.retained]
    return {
        "id": judge.freezer.id,
        "name": judge.freezer.name,
        "place": judge.freezer.place,
        "celsius": judge.value if last else None,
        "heard_ago": _ago(last.heard, now) if last else None,
        "speed": judge.trend.speed(),
        "state": _state_of(watch, judge, standing, now),
        "left_alone": hindrance(watch, judge.freezer.id, now) or None,
        "quiet_until": _quiet_until(watch, judge),
        "defrost": defrosting(watch, judge.freezer.id, now),
        "test": _testing(watch, judge.freezer.id),
        "retained_celsius": shown[0].value if shown and last is None else None,
    }


def _state_of(watch: Watch, judge: Judge, standing: list[str], now: Moment) -> str:
    """Say how a freezer is: what somebody began with it, what stands, that nobody watches it, or how calm it is."""
    who = judge.freezer.id
    parts = [part for part in (", ".join(standing), in_ice(watch, who, now)) if part]
    return _busy(watch, who) or "; ".join(parts) or _calm(judge, now)


def _busy(watch: Watch, freezer: str) -> str:
    """Say what somebody has begun with a freezer that keeps it from cooling, nothing if nobody has."""
    if freezer in watch.defrosts:
        return "being defrosted"
    test = watch.tests.get(freezer)
    return "switched off for a test" if test is not None and test.ended is None else ""


def _testing(watch: Watch, freezer: str) -> Plain | None:
    """Return the test switch-off of a freezer, None where none runs or is watched; stamps ISO 8601.

    `quiet_until` is until when its alarms are held at the latest, None where they are not any more.
    """
    test, zone = watch.tests.get(freezer), watch.house.zone
    if test is None:
        return None
    end = test.until if test.ended is None else test.ended.later(GRACE)
    return {
        "who": _who(test.who, watch),
        "began": iso(test.began.wall, zone),
        "until": iso(test.until.wall, zone),
        "ended": iso(test.ended.wall, zone) if test.ended else None,
        "quiet_until": iso(end.wall, zone) if test.held else None,
    }


def defrosting(watch: Watch, freezer: str, now: Moment) -> Plain | None:
    """Return how far the defrost of a freezer is, None where none runs. Stamps ISO 8601, spans in ms."""
    session, zone = watch.defrosts.get(freezer), watch.house.zone
    if session is None:
        return None
    following, out = next_step(session.steps), session.out or session.began
    return {
        "who": _who(session.who, watch),
        "began": iso(session.began.wall, zone),
        "until": iso(session.until.wall, zone),
        "quiet_until": iso(session.limit.wall, zone) if session.held else None,
        "steps": {key: iso(at, zone) for key, at in session.steps.items()},
        "next": following.key if following else None,
        "food_out": None if session.back or session.ended else _ago(out, now),
        "ended": iso(session.ended.wall, zone) if session.ended else None,
        "warmest": session.warmest,
        "asked": iso(session.asked.wall, zone) if session.asked else None,
        "falls": session.falls,
    }


def _quiet_until(watch: Watch, judge: Judge) -> str | None:
    """Return until when somebody at the freezer keeps its alarms quiet, None if nobody does."""
    ends = [
        alarm.shelved_until.wall
        for alarm in watch.alarms.all.values()
        if alarm.subject == judge.freezer.id and alarm.shelf is not Shelf.NONE and alarm.shelved_until is not None
    ]
    return iso(max(ends), watch.house.zone) if ends else None


def _calm(judge: Judge, now: Moment) -> str:
    if not judge.freezer.sensors:
        return "no sensor"
    if not judge.since_start:
        return "not heard since the start"
    limits = judge.freezer.limits
    if judge.value is not None and judge.value > limits.high:
        return f"warm; alarm after {show_span(limits.high_on_delay)}"
    return "cold enough" if now.steady - judge.good_at < GAP_LEAST * 2 else "cold enough when last heard"


def _ago(then: Moment, now: Moment) -> int:
    return max(0, between(then, now))


def _alarm(watch: Watch, alarm: Alarm, now: Moment) -> Plain:
    return {
        "number": alarm.first,
        "subject": alarm.subject,
        "name": name(alarm.subject, watch.house),
        "kind": alarm.kind,
        "words": called(alarm.kind),
        "state": alarm.state.value,
        "priority": alarm.priority.word,
        "since": iso((alarm.began or now).wall, watch.house.zone),
        "lasted": _ago(alarm.began or now, alarm.over or now),
        "acknowledged_by": _who(alarm.acknowledged_by, watch),
        "suppressed_by": alarm.suppressed_by,
        "until": iso(alarm.shelved_until.wall, watch.house.zone) if alarm.shelved_until else None,
        "by": _who(alarm.shelved_by, watch) or _speaks(alarm, watch),
        "hidden": alarm.hidden and not alarm.latched,  # a food check is not hidden by working at the freezer
        "facts": dict(alarm.facts),
    }


def _speaks(alarm: Alarm, watch: Watch) -> str:
    """Say what speaks in an alarm's place; no freezer speaks for itself, but what somebody has begun with it."""
    if alarm.suppressed_by != alarm.subject:
        return name(alarm.suppressed_by, watch.house)
    return "the defrost" if alarm.subject in watch.defrosts else "its test" if alarm.subject in watch.tests else ""


def _who(person: str, watch: Watch) -> str:
    """Return the name of who gave an order; somebody at the socket goes by the name of the computer's user."""
    return watch.house.people[person].name if person in watch.house.people else person


def health(watch: Watch, now: Moment) -> list[Plain]:
    """Return one entry per sensor: how it reports, what it could not say, and its battery."""
    return [_sensor(watch, post, now) for post in watch.posts.values()]


def _state(post: Post) -> str | None:
    """Return in a word how a lid or the mains is, None for other sensors and where it has not been heard."""
    words = {Quantity.LID: ("shut", "open"), Quantity.MAINS: ("off", "on")}.get(post.measures)
    reading = post.newest.get(post.measures)
    return words[reading.value > 0] if words and reading is not None and reading.good else None


def _sensor(watch: Watch, post: Post, now: Moment) -> Plain:
    kept, newest = post.health, post.newest.get(Quantity.TEMPERATURE)
    interval = post.life.told or post.life.learnt
    missed = kept.missed(interval, now, watch.since.steady)
    return {
        "id": post.sensor.id,
        "name": post.sensor.name,
        "source": post.sensor.source,
        "channel": post.sensor.channel,
        "freezer": post.owner.freezer.id if post.owner else None,
        "room_of": [f.id for f in watch.house.freezers.values() if f.room == post.sensor.id],
        "measures": post.measures.value,
        "state": _state(post),
        "celsius": newest.value if newest else None,
        "quality": newest.quality.value if newest else None,
        "heard_ago": _ago(kept.last_heard, now) if kept.last_heard else None,
        "heard": kept.heard,
        "interval_told": post.life.told,
        "interval_learnt": post.life.learnt,
        "interval_seen": post.life.gaps[-1] if post.life.gaps else None,
        "silent_after": post.life.silent_at() - post.life.last,
        "missed": missed,
        "battery": kept.battery,
        "battery_trend": post.battery.trend(),
        "battery_unit": "%" if Quantity.BATTERY in post.newest else "V",
        "voltage": volts.value if (volts := post.newest.get(Quantity.VOLTAGE)) else None,
        "signal": kept.signal,
        "signal_mean": kept.signals.mean(),
        "signal_weakest": kept.signals.weakest(),
        "signal_lately": kept.signals.lately(now.steady),
        "advice": advice(kept.signals.mean(), missed),
        "reboots": kept.reboots,
        "notes": dict(kept.notes),
        "late": kept.late,
        "retained": kept.retained,
        "retained_celsius": post.retained.value if post.retained else None,
        "repeats": kept.repeats,
        "bad": dict(kept.bad),
        "unreadable": dict(kept.unread),
        "offset": post.offsets.get(Quantity.TEMPERATURE, 0.0),
        "assumed_interval": None if interval else UNKNOWN_INTERVAL,
    }

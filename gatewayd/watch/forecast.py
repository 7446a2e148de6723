"""Show what the temperatures of each freezer mean, as plain values for the commands and the pages."""

from collections.abc import Sequence
from typing import Any

from gatewayd.alarm.freezer import Judge
from gatewayd.model.moment import MINUTE, Moment, iso
from gatewayd.model.outlook import Span
from gatewayd.thermal.ageing import ageing
from gatewayd.thermal.picture import Picture
from gatewayd.watch.facts import facts
from gatewayd.watch.watch import Watch

Plain = dict[str, Any]


def forecast(watch: Watch, now: Moment) -> Plain:
    """Return one entry a freezer. Temperatures in °C, spans in hours from `at`, None: not within 9 days; ISO stamps."""
    return {"freezers": [_freezer(watch, judge, now) for judge in watch.judges.values()]}


def _freezer(watch: Watch, judge: Judge, now: Moment) -> Plain:
    freezer, zone = judge.freezer, watch.house.zone
    picture, test = watch.pictures.get(freezer.id), watch.tests.get(freezer.id)
    session = watch.defrosts.get(freezer.id)
    said = facts(freezer, watch.house, listed=watch.stocked.get(freezer.id)) if picture is None else picture.facts
    return {
        "id": freezer.id,
        "name": freezer.name,
        "kind": freezer.kind.value,
        "volume_l": freezer.volume,
        "kg": {group.value: round(weight, 2) for group, weight in said.kg.items()},
        "told": said.told,
        "room_c": said.room,
        "air_c": judge.value if judge.last is not None else None,
        **_thermal(watch, picture, now),
        "test": {"began": iso(test.began.wall, zone), "until": iso(test.until.wall, zone)}
        if test is not None and test.ended is None
        else None,
        "emptied": session is not None and session.back is None and session.ended is None,
    }


def _thermal(watch: Watch, picture: Picture | None, now: Moment) -> Plain:
    if picture is None:
        return {
            "state": "no sensor", "since": None, "reserve": [], "forecast": [], "at": None, "cause": None,
            "cycles": None, "food_c": None, "calibrated": False, "learnt": [], "ageing": [],
        }  # fmt: skip
    zone, minute = watch.house.zone, now.steady // MINUTE
    outlook, cause, cycles, food = picture.outlook, picture.cause, picture.cycles, picture.food
    warms = picture.warm if picture.beyond else None
    aged = ageing(picture.kept.days)
    return {
        "state": picture.state(minute),
        "since": None if warms is None else iso(now.wall - (minute - warms) * MINUTE, zone),
        "reserve": _rows(outlook.reserve) if outlook else [],
        "forecast": _rows(outlook.forecast) if outlook else [],
        "at": iso(outlook.at.wall, zone) if outlook else None,
        "cause": {
            "label": cause.label.value,
            "sure": cause.sure.value,
            "held": cause.held,
            "since": iso(cause.since.wall, zone) if cause.since else None,
        },
        "cycles": {
            "period_s": round(cycles.period, 1),
            "duty": round(cycles.duty, 4),
            "starts_per_day": round(cycles.starts, 2),
        }
        if cycles
        else None,
        "food_c": {"top": round(food[0], 2), "bulk": round(food[1], 2)} if food else None,
        "calibrated": picture.kept.belief.lessons > 0,
        "learnt": [{"how": lesson.how, "at": iso(lesson.at, zone)} for lesson in picture.kept.lessons],
        "ageing": list(aged.words) if aged else [],
    }


def _rows(spans: Sequence[Span]) -> list[Plain]:
    return [
        {"where": s.where.value, "level_c": s.level, "early_h": s.early, "likely_h": s.likely, "late_h": s.late}
        for s in spans
    ]

"""Gather what is to be done from what the watch knows and what it was given."""

from gatewayd.alarm.kinds import BATTERY
from gatewayd.message.due import due_line
from gatewayd.message.words import clock, name
from gatewayd.model.chore import Due
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.upkeep import due
from gatewayd.watch.hindrance import undecided, uneasy, warm
from gatewayd.watch.known import Known

FEW = 4  # lines in the note of the week; our choice: more is a list, and that is a command away


def dues(watch: Known, now: Moment) -> list[Due]:
    """Return what is due, the worst first; nothing as long as nobody has said what was done."""
    given = watch.chored
    if given is None:
        return []
    weak = {
        who: (str(alarm.facts.get("why") or ""), alarm.priority >= Priority.MEDIUM)
        for who in watch.posts
        if (alarm := watch.alarms.all.get((who, BATTERY.name))) is not None and alarm.standing
    }
    left_out = uneasy(watch)  # a test would hide what is wrong
    untaught = [
        who for who, picture in watch.pictures.items() if not picture.kept.belief.lessons and who not in left_out
    ]
    more = [*given.more, *(_food(watch, who, now) for who in watch.judges if _waits(watch, who))]
    known = due.Known(given.newest, given.began, given.copied, weak, watch.weeks.missed, untaught, more)
    return due.due(watch.house, now.wall, known)


def _waits(watch: Known, who: str) -> bool:
    """Return whether the watch alone knows that food must be looked at; what the store knows has a line already."""
    alarm = warm(watch, who)
    return alarm is not None and alarm.latched and not undecided(watch, who)


def _food(watch: Known, who: str, now: Moment) -> Due:
    alarm = warm(watch, who)
    since = (
        "" if alarm is None or alarm.began is None else f" since {clock(alarm.began.wall, now.wall, watch.house.zone)}"
    )
    reason = f"it was too warm{since}, and nobody has decided yet. Then: gatewayd checked {who}"
    return Due(who, due.OF_FOOD + name(who, watch.house), None, reason, overdue=True)


def due_lines(watch: Known, now: Moment) -> list[str]:
    """Return a few lines for the note of the week; an offer that was made in one is not made again."""
    new = [one for one in dues(watch, now) if not one.once or _offer(one) not in watch.remarked]
    shown, left = new[:FEW], len(new) - FEW
    watch.remarked |= {_offer(one): now.wall for one in shown if one.once}
    lines = [due_line(one, now.wall, watch.house.zone) for one in shown]
    return [*lines, f"and {left} more. See: gatewayd due"] if left > 0 else lines


def _offer(one: Due) -> str:
    return f"due {one.subject} {one.what}"

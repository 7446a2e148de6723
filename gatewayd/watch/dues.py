"""Gather what is to be done from what the watch knows and what it was given."""

from gatewayd.alarm.kinds import BATTERY
from gatewayd.message.due import due_line
from gatewayd.model.chore import Due
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.upkeep import due
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
    untaught = [who for who, picture in watch.pictures.items() if not picture.kept.belief.lessons]
    known = due.Known(given.newest, given.began, given.copied, weak, watch.weeks.missed, untaught, given.more)
    return due.due(watch.house, now.wall, known)


def due_lines(watch: Known, now: Moment) -> list[str]:
    """Return a few lines for the note of the week; an offer that was made in one is not made again."""
    new = [one for one in dues(watch, now) if not one.once or _offer(one) not in watch.remarked]
    shown, left = new[:FEW], len(new) - FEW
    watch.remarked |= {_offer(one): now.wall for one in shown if one.once}
    lines = [due_line(one, now.wall, watch.house.zone) for one in shown]
    return [*lines, f"and {left} more, see: gatewayd due"] if left > 0 else lines


def _offer(one: Due) -> str:
    return f"due {one.subject} {one.what}"

"""Say what speaks against opening or switching off a freezer on purpose now."""

from gatewayd.alarm.engine import Alarm
from gatewayd.alarm.kinds import HIGH, HIGHHIGH, MAINS_OUT, NOT_COOLING, OF_FREEZER, RISING
from gatewayd.message.words import clock, name
from gatewayd.model.moment import Moment
from gatewayd.upkeep.due import OF_FOOD
from gatewayd.watch.known import Known

ANYWAY = "anyway"  # the `why` of an order that knows what speaks against it

_UNEASY = {kind.name for kind in (*OF_FREEZER, NOT_COOLING)}


def warm(watch: Known, who: str) -> Alarm | None:
    """Return the alarm that says a freezer is too warm, or was and its food has not been looked at; the worst first."""
    found = [watch.alarms.all.get((who, kind.name)) for kind in (HIGHHIGH, HIGH)]
    return next((alarm for alarm in found if alarm is not None and (alarm.standing or alarm.latched)), None)


def warming(watch: Known, who: str) -> Alarm | None:
    """Return the alarm that says that a freezer is too warm or becomes warmer, seen or not, the first first."""
    found = [watch.alarms.all.get((who, kind.name)) for kind in (HIGH, HIGHHIGH, RISING)]
    return next((alarm for alarm in found if alarm is not None and alarm.standing), None)


def shut(alarm: Alarm, watch: Known, now: Moment) -> str:
    """Say that a freezer is to be kept shut while such an alarm stands, and what comes first."""
    since = clock((alarm.began or now).wall, now.wall, watch.house.zone)
    how = "getting warmer" if alarm.kind == RISING.name else "too warm"
    return f"Keep {name(alarm.subject, watch.house)} shut: it has been {how} since {since}; mend the cooling first."


def uneasy(watch: Known) -> set[str]:
    """Return the freezers that are not in order now: an alarm of them stands, or their food is to be decided on."""
    stands = {subject for (subject, kind), alarm in watch.alarms.all.items() if kind in _UNEASY and alarm.standing}
    return {
        who
        for who in watch.judges
        if who in stands or warm(watch, who) is not None or powerless(watch, who) is not None or undecided(watch, who)
    }


def powerless(watch: Known, who: str) -> Alarm | None:
    """Return the alarm that says that the power of a freezer is out, none where nobody says so or it is a test."""
    cuts = (alarm for (_, kind), alarm in watch.alarms.all.items() if kind == MAINS_OUT.name)
    found = (cut for cut in cuts if cut.standing and not cut.hidden)
    return next((cut for cut in found if who in str(cut.facts.get("covers") or "").split(",")), None)


def undecided(watch: Known, who: str) -> str:
    """Return why the food of a freezer is still to be decided on, nothing where it is not."""
    more = watch.chored.more if watch.chored is not None else ()
    return next((one.reason for one in more if one.subject == who and one.what.startswith(OF_FOOD)), "")


def in_ice(watch: Known, who: str, now: Moment) -> str:
    """Say since when and until when nobody watches a freezer since its probe lies in ice, nothing where one watches."""
    judge = watch.judges.get(who)
    posts = [] if judge is None else [post for s in judge.freezer.sensors if (post := watch.posts.get(s)) is not None]
    out = [post.aside for post in posts if post.aside is not None and post.aside.runs(now.steady)]
    if not out or len(out) < len(posts):
        return ""
    zone = watch.house.zone
    since = clock(min(aside.since.wall for aside in out), now.wall, zone)
    until = clock(now.wall + min(aside.until for aside in out) - now.steady, now.wall, zone)
    if all(aside.returning for aside in out):
        return f"its probe is on its way back from the ice since {since}, nobody watches it until {until}"
    return f"its probe is in ice since {since}, nobody watches it until {until}"


def hindrance(watch: Known, who: str, now: Moment) -> str:
    """Say for people why a freezer should not be defrosted now, nothing where it may be."""
    called, stands, alarm = name(who, watch.house), warming(watch, who), warm(watch, who)
    if stands is not None:  # that somebody has seen it does not make it cold
        see = "" if stands.kind == RISING.name else f" See it with: gatewayd excursion show {stands.first}."
        return f"{shut(stands, watch, now)}{see} To defrost all the same add --anyway. Nothing changed."
    if alarm is not None:
        since = clock((alarm.began or now).wall, now.wall, watch.house.zone)
        return (
            f"Look at the food of {called} first: it was too warm from {since} on, and nobody has looked at it. See it "
            f"with: gatewayd excursion show {alarm.first}. Then: gatewayd checked {who}, or decide with: gatewayd "
            f"excursion decide {alarm.first}. To defrost all the same add --anyway. Nothing changed."
        )
    ice = in_ice(watch, who, now)
    if ice:
        return f"{called} is not defrosted now: {ice}. To defrost all the same add --anyway. Nothing changed."
    judge = watch.judges.get(who)
    began = None if judge is None else judge.highhigh.began or judge.high.began
    if began is not None:  # its alarm is still delayed
        since = clock(began.wall, now.wall, watch.house.zone)
        return (
            f"Look at the food of {called} first: it has been too warm since {since}. To defrost all "
            "the same add --anyway. Nothing changed."
        )
    cut = powerless(watch, who)
    if cut is not None:
        since = clock((cut.began or now).wall, now.wall, watch.house.zone)
        return (
            f"Keep {called} shut: its power has been out since {since}. To defrost all the same add --anyway. "
            "Nothing changed."
        )
    why = undecided(watch, who)
    if why:
        return f"Decide on the food of {called} first: {why}. To defrost all the same add --anyway. Nothing changed."
    return ""

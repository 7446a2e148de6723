"""Save what the watch knows into one line of JSON, and restore it after a restart.

A restart in the same boot goes on counting where it stopped. After another boot steady times cannot be compared:
waiting starts anew, the time already seen beyond a limit stays seen.
"""

import json
from collections import deque
from dataclasses import dataclass, field

from gatewayd.alarm.engine import Alarm
from gatewayd.alarm.limit import Limit
from gatewayd.alarm.mains import Mains
from gatewayd.alarm.neighbour import Pulse
from gatewayd.alarm.signs import Signs
from gatewayd.alarm.trend import Trend
from gatewayd.message.teller import Calls
from gatewayd.model.moment import Moment
from gatewayd.model.outlook import Outlook
from gatewayd.model.pack import pack, unpack
from gatewayd.model.reading import Reading
from gatewayd.thermal.picture import Kept
from gatewayd.upkeep.battery import Battery
from gatewayd.watch.aside import SetAside
from gatewayd.watch.session import Session
from gatewayd.watch.trial import SwitchOff
from gatewayd.watch.watch import Watch
from gatewayd.watch.weeks import Weeks

FORM = 1  # raised when a snapshot of an older form could not be read by the code below


@dataclass(slots=True)
class SavedJudge:
    """Hold one freezer's part of a snapshot."""

    high: Limit
    highhigh: Limit
    trend: Trend
    good_at: int
    last: Reading | None = None
    peak: Reading | None = None
    value: float | None = None
    signs: Signs = field(default_factory=Signs)


@dataclass(slots=True)
class SavedPost:
    """Hold one sensor's part of a snapshot."""

    learnt: int | None = None
    signs: int = 0
    gaps: list[int] = field(default_factory=list)
    last: int = 0
    value: float | None = None
    changed: int = 0
    stamp: int | None = None
    battery: float | None = None
    battery_days: Battery = field(default_factory=Battery)
    irregular: bool = False
    aside: SetAside | None = None


@dataclass(slots=True)
class Saved:
    """Hold a whole snapshot. `orderly` says that it is the last one of a run that was stopped by order."""

    form: int
    at: Moment
    number: int
    alarms: list[Alarm]
    judges: dict[str, SavedJudge]
    posts: dict[str, SavedPost]
    orderly: bool = False
    pulses: dict[str, Pulse] = field(default_factory=dict)
    mains: Mains | None = None
    weeks: Weeks | None = None
    calls: Calls | None = None
    pictures: dict[str, Kept] = field(default_factory=dict)
    tests: dict[str, SwitchOff] = field(default_factory=dict)
    defrosts: dict[str, Session] = field(default_factory=dict)
    thawed: dict[str, tuple[int, int]] = field(default_factory=dict)
    remarked: dict[str, int] = field(default_factory=dict)
    outlooks: dict[str, Outlook] = field(default_factory=dict)


def save(watch: Watch, now: Moment) -> str:
    """Return the snapshot as one line of JSON."""
    judges = {
        key: SavedJudge(j.high, j.highhigh, j.trend, j.good_at, j.last, j.peak, j.value, j.signs)
        for key, j in watch.judges.items()
    }
    posts = {
        key: SavedPost(
            p.life.learnt,
            p.life.signs,
            list(p.life.gaps),
            p.life.last,
            p.value,
            p.changed,
            p.stamp,
            p.health.battery,
            p.battery,
            p.life.irregular,
            p.aside,
        )
        for key, p in watch.posts.items()
    }
    whole = Saved(
        FORM,
        now,
        watch.alarms.number,
        list(watch.alarms.all.values()),
        judges,
        posts,
        orderly=watch.leaving,
        pulses=watch.pulses,
        mains=watch.mains,
        weeks=watch.weeks,
        calls=watch.teller.calls,
        pictures={who: picture.kept for who, picture in watch.pictures.items()},
        tests=watch.tests,
        defrosts=watch.defrosts,
        thawed=watch.thawed,
        remarked=watch.remarked,
        outlooks=watch.outlooks(),
    )
    return json.dumps(pack(whole), separators=(",", ":"), ensure_ascii=False)


def restore(watch: Watch, text: str, now: Moment) -> None:
    """Put a snapshot back. Raise ValueError if it is not one; the watch is then as it was."""
    try:
        saved: Saved = unpack(Saved, json.loads(text))
    except (TypeError, KeyError, AttributeError) as wrong:
        raise ValueError(f"this is no snapshot: {wrong!r}") from wrong
    if saved.form != FORM:
        raise ValueError(f"the snapshot has form {saved.form}; this version reads form {FORM}")
    same_boot = saved.at.boot == now.boot
    watch.alarms.number = max(watch.alarms.number, saved.number)
    for alarm in saved.alarms:
        watch.alarms.all[alarm.subject, alarm.kind] = alarm
    for key, judge in watch.judges.items():
        if key in saved.judges:
            _restore_judge(watch, key, saved.judges[key], same_boot=same_boot)
            if not same_boot:
                judge.good_at = now.steady
    for key, post in watch.posts.items():
        found = saved.posts.get(key)
        if found is None:
            continue
        post.life.learnt, post.life.signs = found.learnt, found.signs
        post.life.irregular = post.life.irregular or found.irregular
        post.health.battery, post.stamp, post.battery = found.battery, found.stamp, found.battery_days
        post.life.gaps = deque(found.gaps, maxlen=post.life.gaps.maxlen)
        if same_boot:
            post.life.last, post.value, post.changed = found.last, found.value, found.changed
            post.aside = found.aside
        post.ailing = any(a.standing and a.subject == key for a in saved.alarms)
    _restore_rest(watch, saved, same_boot=same_boot)
    watch.arm_all()


def _restore_rest(watch: Watch, saved: Saved, *, same_boot: bool) -> None:
    watch.orderly = saved.orderly
    if saved.weeks is not None:
        watch.weeks = saved.weeks
    for who, kept in saved.pictures.items():
        watch.recollect(who, kept)
    watch.tests = {who: test for who, test in saved.tests.items() if who in watch.judges}
    watch.defrosts = {who: session for who, session in saved.defrosts.items() if who in watch.judges}
    watch.thawed = {who: spell for who, spell in saved.thawed.items() if who in watch.judges}
    watch.remarked = saved.remarked
    watch.carried = {who: outlook for who, outlook in saved.outlooks.items() if who in watch.pictures}
    if saved.calls is not None:
        watch.teller.calls = saved.calls
    if saved.mains is not None:
        fit = watch.mains.freezers
        watch.mains = saved.mains
        watch.mains.fit(fit, watch.posts)
        if not same_boot:
            watch.mains.forget_steady()
    if not same_boot:
        return
    for key, pulse in saved.pulses.items():
        if key in watch.pulses:
            pulse.silent_after = watch.pulses[key].silent_after
            watch.pulses[key] = pulse


def _restore_judge(watch: Watch, key: str, found: SavedJudge, *, same_boot: bool) -> None:
    judge = watch.judges[key]
    judge.high, judge.highhigh, judge.last, judge.peak = found.high, found.highhigh, found.last, found.peak
    judge.value, judge.signs = found.value, found.signs
    if same_boot:
        judge.good_at, judge.trend = found.good_at, found.trend
    else:
        judge.high.last, judge.highhigh.last = None, None
        judge.signs.forget_steady()

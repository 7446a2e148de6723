"""Restart and kill the broker under load, let it hold much for us, and let the commits be slow."""

import json
import random
import signal
import time
from collections import Counter

from tests.rigs.broker import LOSSLESS, Mosquitto
from tests.rigs.publisher import Publisher
from tests.torture.house import (
    OTHERS,
    SWINGING,
    WARM,
    Feed,
    Household,
    check_readings,
    check_told,
    household,
    last_alarm,
    settle,
    stored,
)
from tests.torture.result import Result

ROUNDS = 50  # every second one a kill
KEEPS = 20  # how many of its latest messages a sensor sends again after a lost link; see tests/rigs/publisher.py
BACKLOG = 2_000  # messages per round that wait at the broker at the end: 100 000 in the long run
DAY = 86_400_000  # ms
DELAY = 400  # ms, of the swinging freezer's alarm
JUDGED_WITHIN, TOLD_WITHIN = 2_000, 15_000  # ms: two samples and a busy computer; a child process under full load
GROWTH = 15.0  # MB that a backlog of any length may cost: 10 000 unanswered messages are 11, see sources/link.py


def run(seed: int, rounds: int) -> Result:
    """Run all three parts."""
    result = Result("broker", seed, rounds)
    falls(result)
    for every, turn in ((0.1, (1.5, 2.5)), (1.0, (3.0, 5.0))):
        slow_commits(result, every, turn, min(60, 8 * rounds))
    away(result, BACKLOG * rounds)
    return result


def falls(result: Result) -> None:
    """Stop and kill the broker under load."""
    rng = random.Random(result.seed)
    with household() as (broker, post, house), house:
        with Feed(broker, random.Random(result.seed + 1), keeps=KEEPS) as feed:
            for number in range(1, result.rounds + 1):
                how = signal.SIGKILL if number % 2 == 0 else signal.SIGTERM
                lived, away = rng.uniform(0.5, 2.5), rng.uniform(0.0, 1.0)
                time.sleep(lived)
                broker.down(how)
                time.sleep(away)
                broker.up()
                back = 0.0
                if rng.random() < 0.8:  # else it falls again, maybe before anybody is back
                    back = house.until(lambda: house.status()["sources"][0]["up"], "the broker is connected")
                result.round(
                    number,
                    f"{how.name} after {lived:.2f} s, away {away:.2f} s, back after {back:.2f} s, "
                    f"{feed.total} published",
                )
            house.up_again()
            settle(house, feed)
        check_readings(result, house, feed)
        check_told(result, house, post, {})


MARGIN = 700  # ms by which a warm spell must outlast the delay to raise for sure on a busy machine


def slow_commits(result: Result, every: float, turn: tuple[float, float], seconds: float) -> None:
    """With a window of 20 and a minute between commits, alarms are judged and told as soon as ever."""
    part = Result(result.name, result.seed, result.rounds)
    with household(commit_every="60 s", window=20) as (broker, post, house), house:
        with Feed(broker, random.Random(result.seed + 2), every=every, turn=turn) as feed:
            time.sleep(seconds)
            settle(house, feed, hurry=True)
        check_readings(part, house, feed)
        check_told(part, house, post, {})
        judged, told = _latencies(part, house, feed)
    result.faults += part.faults
    result.hold(judged, "no alarm was raised with slow commits")
    result.hold(max(judged, default=0) <= JUDGED_WITHIN, f"an alarm was judged {max(judged, default=0)} ms late")
    result.hold(max(told, default=0) <= TOLD_WITHIN, f"an alarm was told {max(told, default=0)} ms late")
    load = f"commits every 60 s, {len(OTHERS) + 1} sensors every {every:g} s"
    result.figures[f"ms ({load}: longest from the deciding reading to the alarm)"] = max(judged, default=0)
    result.figures[f"ms ({load}: longest to its mail)"] = max(told, default=0)


def _latencies(result: Result, house: Household, feed: Feed) -> tuple[list[int], list[int]]:
    """Return, for each warm spell, how long (ms) after its deciding reading was sent the alarm and its mail came."""
    raised = house.look(
        "SELECT e.at, d.changed FROM event e JOIN notice n ON n.event = e.number JOIN delivery d ON d.notice = n.id "
        "WHERE e.kind = 'high' AND e.what = 'raised' AND d.progress = 'sent' ORDER BY e.number"
    )
    deciding, sure, begun = [], 0, 0
    for stamp, value in feed.sent[SWINGING].items():
        warm = value > -12_000
        begun = (begun or stamp) if warm else 0
        if warm and stamp >= begun + DELAY and begun not in (d[0] for d in deciding):
            deciding.append((begun, stamp))
        # readings that are held up arrive bunched, so a spell that just outlasts the delay may or may not raise
        sure += warm and stamp - every_before(feed, stamp) < begun + DELAY + MARGIN <= stamp
    counts = f"{len(deciding)} warm spells ({sure} surely long enough), {len(raised)} alarms with a mail"
    result.hold(sure <= len(raised) <= len(deciding), counts)
    pairs = [(max((s for _, s in deciding if s <= at), default=at), at, mailed) for at, mailed in raised]
    return [at - sent for sent, at, _ in pairs], [mailed - sent for sent, _, mailed in pairs]


def every_before(feed: Feed, stamp: int) -> int:
    """Return the distance (ms) of a reading from the one before it."""
    earlier = [other for other in feed.sent[SWINGING] if other < stamp]
    return stamp - max(earlier) if earlier else 0


def away(result: Result, many: int) -> None:
    """Leave for a day while the broker keeps what comes, then take it all: everything late, nothing lost."""
    # NOT the interval of the README: with 1 mosquitto writes all it keeps after each change: 2.2 GB for 8 000 messages
    # (measured), growing with the square. It does not fall here, so nothing of what is held depends on it.
    kept = [line if "interval" not in line else "autosave_interval 1000" for line in LOSSLESS]
    with household(kept) as (broker, _, house):
        house.up()
        before = house.memory()
        house.down()
        wanted = _fill(broker, many)
        begin = time.monotonic()
        house.up()
        with Publisher(broker, "live") as live:
            _take_all(result, house, wanted)
            took = time.monotonic() - begin
            memory = house.memory()
            back = _live_again(house, live)
        early = _not_late(house)
        alarms = house.look("SELECT count(*) FROM event WHERE kind = 'high' AND subject = 'cellar-upright'")[0][0]
    result.hold(not early, f"{early} readings that waited a day are not marked late")
    result.hold(not alarms, "readings that waited a day raised an alarm")
    result.hold(memory - before <= GROWTH, f"a backlog of {many} cost {memory - before:.0f} MB")
    result.figures |= {
        "readings that waited at the broker": many, "of them not marked late": early,
        "s to take them in": round(took), "s after it to a live alarm": round(back, 1),
        "MB at most": round(memory, 1), "MB before": round(before, 1),
    }  # fmt: skip


def _fill(broker: Mosquitto, many: int) -> Counter[tuple[str, int]]:
    """Publish for a daemon that is away: half with stamps over the last day, half without; return (sensor, value)."""
    now = time.time_ns() // 1_000_000
    half = many // 2
    stamped, bare = OTHERS[0], OTHERS[1]
    wanted: Counter[tuple[str, int]] = Counter()
    with Publisher(broker, "sensor-a") as first, Publisher(broker, "sensor-b") as second:
        for n in range(half):
            value = -40_000 + n  # thousandths; up to +10 °C, which must raise nothing
            stamp = now - DAY + (DAY - 20 * 60_000) // half * n
            first.send(f"house/{stamped}", json.dumps({"c": value / 1000, "t": stamp}))
            second.send(f"house/{bare}", json.dumps({"c": value / 1000}))
            wanted[stamped, value] = wanted[bare, value] = 1
            if n % 5_000 == 4_999:
                first.wait(120)
                second.wait(120)
        first.wait(120)
        second.wait(120)
    return wanted


def _take_all(result: Result, house: Household, wanted: Counter[tuple[str, int]]) -> None:
    found: Counter[tuple[str, int]] = Counter()

    def complete() -> bool:
        count = "SELECT (SELECT count(*) FROM log WHERE series > 0), (SELECT count(*) FROM reading), count(*) FROM late"
        return sum(house.look(count)[0]) >= wanted.total()

    house.until(complete, f"{wanted.total()} readings are stored", 60 + wanted.total() / 100)
    for (sensor, _, value), n in stored(house).items():
        found[sensor, value] += n
    result.hold(found == wanted, f"{(wanted - found).total()} are lost and {(found - wanted).total()} too many")
    result.round(result.rounds, f"{wanted.total()} readings that waited are stored")


def _not_late(house: Household) -> int:
    those = "SELECT count(*) FROM {} r JOIN how h ON h.id = (r.how & 65535) JOIN series s ON s.id = r.series "
    names = f"({', '.join(repr(name) for name in OTHERS[:2])})"
    where = f"WHERE h.arrival <> 'late' AND s.sensor IN {names}"
    return sum(house.look(those.format(table) + where)[0][0] for table in ("log", "reading", "late"))


def _live_again(house: Household, live: Publisher) -> float:
    """Warm the shed chest until its alarm is raised; return how long (s) that took."""

    def warm() -> bool:
        stamp = time.time_ns() // 1_000_000
        live.send(f"house/{SWINGING}", json.dumps({"c": WARM, "t": stamp}))
        return last_alarm(house) == "raised"

    return house.until(warm, "a live reading raises an alarm", 60)

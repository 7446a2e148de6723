"""What is measured of the alarms. The rows of metrics_checks.csv carry their source in the file."""

import csv
import json
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.model.event import Event, Notice, Stage, What
from gatewayd.model.moment import DAY, HOUR, MINUTE, SECOND, Moment
from gatewayd.model.pack import pack
from gatewayd.model.priority import Priority
from gatewayd.upkeep import metrics
from gatewayd.upkeep.metrics import Metrics, chatters, figures, floods, measure

TABLE = Path(__file__).parent.parent / "data/metrics_checks.csv"
CHECKS = {row["name"]: row for row in csv.DictReader(TABLE.read_text().splitlines())}
T0 = 1_795_600_800_000


class Log:
    """Write a log of events: one line a turn, at a time after T0 (ms)."""

    def __init__(self) -> None:
        """Begin empty."""
        self.events: list[Event] = []
        self.notices: list[Notice] = []
        self._first: dict[tuple[str, str], int] = {}
        self._numbers = count(1)

    def turn(self, what: What, at: int, subject: str = "shed-chest", kind: str = "high", **other: object) -> Event:
        """Write one turn."""
        number = next(self._numbers)
        if what is What.RAISED and not other.pop("again", False):
            self._first[subject, kind] = number
        first = self._first.get((subject, kind), number)
        fields = {"priority": Priority.MEDIUM, "first": first} | other
        event = Event(number, Moment(T0 + at, at), subject, kind, what, **fields)  # type: ignore[arg-type]
        self.events.append(event)
        return event

    def spell(self, at: int, lasted: int, subject: str = "shed-chest", kind: str = "high", **other: object) -> None:
        """Write a raise and its end."""
        self.turn(What.RAISED, at, subject, kind, **other)
        self.turn(What.OVER, at + lasted, subject, kind, **other)

    def tell(self, at: int, person: str = "ann", kind: str = "high") -> None:
        """Write that a person was told."""
        made = Moment(T0 + at, at)
        self.notices.append(
            Notice(1, person, Stage.NEW, Priority.MEDIUM, "Too warm", "…", made, ("mail",), "shed-chest", kind)
        )

    def measured(self, until: int = 7 * DAY, since: int = 0) -> Metrics:
        """Measure the log of a week."""
        return measure(self.events, self.notices, lambda kind: kind != "silent", T0 + since, T0 + until)


@pytest.mark.parametrize("row", ["chatter_3_in_60", "chatter_3_in_61"])
def test_chattering_rows(row: str) -> None:
    """Three activations within 60 s chatter, within 61 s they do not (an alarm consultant's article series)."""
    times = [at * SECOND for at in json.loads(CHECKS[row]["input"])["activation_ts_s"]]

    assert chatters(times) is json.loads(CHECKS[row]["expected"])


def test_criteria_rows() -> None:
    """The criteria are those of the rows: chattering, floods, stale, priorities, rates."""
    chatter = CHECKS["chatter_criterion"]
    flood = json.loads(CHECKS["flood_start_end"]["expected"])
    split = json.loads(CHECKS["priority_split"]["expected"])
    by_day = json.loads(CHECKS["rate_per_day"]["input"])

    assert json.loads(chatter["input"])["window_s"] * SECOND == metrics.CHATTER_WITHIN
    assert int(chatter["expected"]) == metrics.CHATTER_COUNT
    assert (flood["start_ge"], flood["end_lt"]) == (metrics.FLOOD_FROM, metrics.FLOOD_BELOW)
    assert json.loads(CHECKS["flood_start_end"]["input"])["window_min"] * MINUTE == metrics.TEN
    assert int(CHECKS["stale_hours"]["expected"]) * HOUR == metrics.STALE_AFTER
    assert {p.word: share for p, share in metrics.PRIORITIES.items()} == split
    assert by_day["IEC 62682:2014"] == metrics.MOST_A_DAY
    assert by_day["ISA-18.2-2016"] is None
    assert CHECKS["rate_average_target"]["expected"].startswith("<= 1 per 10 min")
    assert DAY // metrics.MOST_A_DAY == 10 * MINUTE
    assert CHECKS["rate_after_upset"]["expected"] == f"<= {metrics.MOST_AFTER_UPSET}"


def test_flood_begins_and_ends() -> None:
    """A flood runs from the first of ten alarms within ten minutes until fewer than five are that fresh."""
    ten = [n * MINUTE for n in range(10)]
    nine_and_a_gap = [n * MINUTE for n in range(9)] + [10 * MINUTE]

    assert floods(ten) == [(0, 15 * MINUTE)]  # at 15 min the first six have gone
    assert floods(nine_and_a_gap) == []
    assert floods(ten + [HOUR + at for at in ten]) == [(0, 15 * MINUTE), (HOUR, HOUR + 15 * MINUTE)]


@given(st.lists(st.integers(0, 3 * HOUR), max_size=60))
def test_floods_against_counting(times: list[int]) -> None:
    """Floods are disjoint and in order, and one exists exactly where ten alarms lie within ten minutes."""
    times.sort()
    found = floods(times)

    assert bool(found) == (metrics.busiest(times, metrics.TEN).count >= 10)
    assert all(start < end for start, end in found)
    assert all(sum(start <= t < start + metrics.TEN for t in times) >= 10 for start, _ in found)
    assert [at for span in found for at in span] == sorted(at for span in found for at in span)


@given(st.lists(st.integers(0, 3 * HOUR), min_size=1, max_size=40), st.integers(1, HOUR))
def test_busiest_against_counting(times: list[int], within: int) -> None:
    """The busiest window is the best of all windows that begin with an alarm."""
    times.sort()

    assert metrics.busiest(times, within).count == max(sum(a <= t < a + within for t in times) for a in times)


def test_averages_and_worst() -> None:
    """Alarms are counted by day and week, and the worst ten minutes and hour stand beside the averages."""
    log = Log()
    for n in range(12):
        log.spell(DAY + n * 30 * SECOND, HOUR, f"freezer-{n}")
    log.spell(3 * DAY, HOUR)
    found = log.measured(14 * DAY)

    assert (found.alarms, found.per_week) == (13, 6.5)
    assert (found.worst_ten.count, found.worst_ten.at) == (12, T0 + DAY)
    assert found.worst_hour.count == 12
    assert found.busy_tens == pytest.approx(1 / (14 * 144))
    assert found.flood == (5 * MINUTE + 30 * SECOND) + 10 * MINUTE - 3 * 30 * SECOND - 30 * SECOND


def test_only_what_people_saw_counts() -> None:
    """An alarm behind another one, or shelved, is no alarm of the count; shown afterwards it is."""
    log = Log()
    log.turn(What.RAISED, 0, "a", facts={"suppressed_by": "the house"})
    log.turn(What.RAISED, 0, "b", facts={"hidden": "shelved for a time"})
    log.turn(What.RAISED, HOUR, "b", again=True)

    assert log.measured().alarms == 1


def test_bad_actors() -> None:
    """The worst ten are listed with their share, the chattering ones beside them."""
    log = Log()
    for at in (0, 20 * SECOND, 50 * SECOND):
        log.spell(at, 10 * SECOND, kind="lid-open")
    for at in (DAY, DAY + 25 * MINUTE, DAY + 50 * MINUTE):
        log.spell(at, 10 * MINUTE)
    log.spell(2 * DAY, HOUR, "porch-chest")
    log.spell(3 * DAY, HOUR, "cellar-upright")
    found = log.measured()

    assert [(s.subject, s.kind, s.count) for s in found.top[:2]] == [
        ("shed-chest", "high", 3),
        ("shed-chest", "lid-open", 3),
    ]
    assert found.top[0].share == pytest.approx(3 / 8)
    assert [s.kind for s in found.chattering] == ["lid-open"]
    assert sorted(s.kind for s in found.chattering_slowly) == ["high", "lid-open"]


def test_fleeting() -> None:
    """Fleeting is what was over before a second look, unless somebody did something about it."""
    log = Log()
    log.spell(0, 4 * MINUTE)
    log.spell(HOUR, 5 * MINUTE)
    log.turn(What.RAISED, 2 * HOUR)
    log.turn(What.ACKNOWLEDGED, 2 * HOUR + MINUTE, who="ann")
    log.turn(What.OVER, 2 * HOUR + 2 * MINUTE)

    assert [s.count for s in log.measured().fleeting] == [1]


def test_stale() -> None:
    """Stale is what stood for more than 24 h, from before the window too, and what still stands."""
    log = Log()
    log.turn(What.RAISED, 0, "old")
    log.spell(DAY, DAY, "just-a-day")
    log.turn(What.RAISED, 5 * DAY, "since-two-days")
    log.turn(What.OVER, 6 * DAY, "old")
    found = log.measured(since=3 * DAY)

    assert [(s.subject, s.lasted) for s in found.stale] == [("old", 6 * DAY), ("since-two-days", 2 * DAY)]
    assert found.alarms == 1


def test_priorities() -> None:
    """The split of priorities is by alarms that came."""
    log = Log()
    for n in range(3):
        log.spell(n * HOUR, MINUTE, kind="silent", priority=Priority.LOW)
    log.spell(5 * HOUR, HOUR, priority=Priority.HIGH)

    assert log.measured().priorities == {"low": 0.75, "medium": 0.0, "high": 0.25}


def test_acknowledging() -> None:
    """How long nobody acknowledged counts from each telling; what needs nobody is left out; the end ends the wait."""
    log = Log()
    log.turn(What.RAISED, 0)
    log.turn(What.ACKNOWLEDGED, 10 * MINUTE)
    log.turn(What.REPEATED, 4 * HOUR)
    log.turn(What.ACKNOWLEDGED, 5 * HOUR)
    log.turn(What.OVER, 9 * HOUR)
    log.spell(DAY, 30 * MINUTE)
    log.spell(DAY, 3 * DAY, kind="silent")
    found = log.measured()

    assert found.answered == 10 * MINUTE
    assert found.unseen is not None
    assert (found.unseen.first, found.unseen.lasted) == (1, HOUR)


def test_still_unseen() -> None:
    """An alarm that nobody has acknowledged yet counts up to now."""
    log = Log()
    log.turn(What.RAISED, 6 * DAY)
    found = log.measured()

    assert found.unseen is not None
    assert found.unseen.lasted == DAY


def test_messages() -> None:
    """Messages are counted by person and week, several notices of one moment once, and those nobody needed beside."""
    log = Log()
    log.spell(0, 10 * MINUTE)
    log.turn(What.RAISED, DAY)
    log.turn(What.ACKNOWLEDGED, DAY + MINUTE, who="ann")
    log.turn(What.OVER, DAY + HOUR)
    log.tell(0)
    log.tell(0)
    log.tell(10 * MINUTE)
    log.tell(DAY)
    log.tell(DAY, "ben")
    log.tell(8 * DAY)
    found = log.measured()

    assert found.messages == {"ann": 3.0, "ben": 1.0}
    assert found.unneeded == {"ann": 2.0, "ben": 0.0}


def test_hidden() -> None:
    """What was shelved, suppressed or out of service is listed with who and how long, also while it is."""
    log = Log()
    log.turn(What.SHELVED, 0, who="ann", facts={"until": T0 + HOUR})
    log.turn(What.SHELVED, 10 * MINUTE, who="ann", facts={"until": T0 + 2 * HOUR})
    log.turn(What.UNSHELVED, 2 * HOUR, who="the house")
    log.turn(What.SUPPRESSED, DAY, facts={"suppressed_by": "heron-lane"}, who="the house")
    found = log.measured().hidden

    assert [(h.how, h.by, h.lasted) for h in found] == [
        ("shelved", "ann", 2 * HOUR),
        ("suppressed", "heron-lane", 6 * DAY),
    ]
    assert [h.ends for h in found] == [T0 + 2 * HOUR, None]


def test_nothing_at_all() -> None:
    """A house without any alarm meets every target, and divides nothing by zero."""
    found = Log().measured()

    assert all(figure.met is not False for figure in figures(found, str))
    assert json.dumps(pack(found))


def test_figures_judge() -> None:
    """Each figure stands beside its target and whose it is; a noisy week misses them."""
    log = Log()
    for n in range(40):
        log.spell(n * 15 * SECOND, 10 * SECOND)
    log.tell(0)
    log.tell(15 * SECOND)
    found = {figure.what: figure for figure in figures(log.measured(DAY), lambda who: who.capitalize())}

    missed = {what for what, figure in found.items() if figure.met is False}
    assert missed >= {"most in 10 min", "chattering (3 in 60 s)", "fleeting (over in 5 min, nobody acted)"}
    assert found["most in 10 min"].source == "HSE Chemicals Sheet 6"
    assert found["of these over before anybody acted, Ann"].source == "ours"
    assert all(figure.source for figure in found.values() if figure.target)

"""Limits: deadband, delays, gaps. The rows of limit_checks.csv carry their source in the file."""

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.alarm.limit import Limit, Rule, Turn
from gatewayd.model.limits import Limits
from gatewayd.model.moment import MINUTE, SECOND, Moment

TABLE = Path(__file__).parent.parent / "data/limit_checks.csv"
CHECKS = {row["name"]: row for row in csv.DictReader(TABLE.read_text().splitlines())}
ROWS = [name for name, row in CHECKS.items() if "samples_c" in row["input"]]
RULE = Rule(-12.0, 1.0, 45 * MINUTE, 10 * MINUTE)


def at(ms: int) -> Moment:
    """Return a moment `ms` after some start."""
    return Moment(1_795_600_000_000 + ms, ms)


def play(
    samples: list[tuple[int, float]], rule: Rule, gap: int = 5 * MINUTE, limit: Limit | None = None
) -> list[list[object]]:
    """Return the ons and offs, each with its second."""
    limit, found = limit or Limit(), []
    for ms, value in samples:
        turn = limit.step(value, at(ms), rule, gap)
        if turn in (Turn.ON, Turn.OFF):
            found.append([turn.value, ms // SECOND])
        if turn is Turn.OFF:
            limit.close()
    return found


@pytest.mark.parametrize("name", ROWS)
def test_published_rule_rows(name: str) -> None:
    """Each row of the check table gives exactly its ons and offs."""
    row = json.loads(CHECKS[name]["input"])
    period = row["period_s"] * SECOND
    rule = Rule(row["high_limit_c"], row["deadband_c"], row["on_delay_s"] * SECOND, row["off_delay_s"] * SECOND)

    assert json.loads(CHECKS[name]["expected"]) == play(
        [(n * period, value) for n, value in enumerate(row["samples_c"])], rule, 3 * period
    )


def test_deadband_default_covers_guideline() -> None:
    """The default deadband is not below the guideline's 1 % of a range of 65 K (EEMUA 191, via a secondary source)."""
    assert float(CHECKS["deadband_freezer_k"]["expected"]) <= Limits().deadband


def test_off_delay_restarts_on_one_bad_sample() -> None:
    """A sample inside the deadband starts the off-delay anew (OPC 10000-9 B.1.5)."""
    warm = [(m * MINUTE, -10.0) for m in range(46)]
    mixed = [((46 + m) * MINUTE, -14.0 if m != 8 else -12.5) for m in range(30)]

    assert play(warm + mixed, RULE) == [["on", 45 * 60], ["off", (46 + 19) * 60]]


def test_gap_adds_nothing_and_loses_nothing() -> None:
    """Two hours without a reading satisfy no delay, and what was seen before them still counts."""
    before = [(m * MINUTE, -10.0) for m in range(31)]  # 30 min seen
    after = [((150 + m) * MINUTE, -10.0) for m in range(20)]

    assert play(before + after, RULE) == [["on", (150 + 15) * 60]]


def test_gap_clears_nothing() -> None:
    """A standing alarm does not end because nobody reported."""
    on = [(m * MINUTE, -10.0) for m in range(46)]

    assert play([*on, (50 * MINUTE, -18.0), (120 * MINUTE, -18.0)], RULE) == [["on", 45 * 60]]


def test_two_readings_raise_after_dark() -> None:
    """After a dark spell the second good reading beyond the limit raises at once; one alone does not."""
    limit = Limit()
    limit.dark()

    assert play([(0, -5.0)], RULE, limit=limit) == []
    assert play([(30 * SECOND, -5.0)], RULE, limit=limit) == [["on", 30]]


def test_cold_reading_after_dark_ends_the_haste() -> None:
    """A freezer that is cold on return is judged by its delays again."""
    limit = Limit()
    limit.dark()

    assert play([(0, -18.0), (30_000, -5.0), (60_000, -5.0)], RULE, limit=limit) == []


def test_peak_is_the_warmest_of_the_spell() -> None:
    """The peak is the warmest sample between the first crossing and the end, with its moment."""
    limit = Limit()
    for m, value in enumerate([-18.0, -11.0, -8.0, -10.0]):
        limit.step(value, at(m * MINUTE), RULE, 5 * MINUTE)

    assert (limit.warmest, limit.warmest_at, limit.began) == (-8.0, at(2 * MINUTE), at(MINUTE))


@given(st.lists(st.tuples(st.integers(1, 600), st.floats(-25, 5)), max_size=60), st.integers(0, 60))
def test_alternation_and_delay_hold(steps: list[tuple[int, float]], on_minutes: int) -> None:
    """Ons and offs alternate, and no on comes before the delay was seen beyond the limit."""
    rule = Rule(-12.0, 1.0, on_minutes * MINUTE, 10 * MINUTE)
    ms, samples = 0, []
    for step, value in steps:
        ms += step * SECOND
        samples.append((ms, value))
    turns = play(samples, rule)

    assert [t for t, _ in turns] == ["on", "off"] * (len(turns) // 2) + ["on"] * (len(turns) % 2)
    for turn, second in turns:
        if turn == "on":
            last_cold = max((t for t, v in samples if v <= -12.0 and t <= second * SECOND), default=None)
            assert last_cold is None or second * SECOND - last_cold >= rule.on_delay

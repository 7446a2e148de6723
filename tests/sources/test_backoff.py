"""How long to wait before the next try."""

import random

from gatewayd.model.moment import MINUTE, SECOND
from gatewayd.sources.backoff import Backoff


def backoff() -> Backoff:
    """Return one with a seeded generator."""
    return Backoff(random.Random(1))


def test_between_one_and_sixty() -> None:
    """Waits grow, begin at a second and never pass a minute."""
    rule = backoff()

    waits = [rule.failed() for _ in range(50)]

    assert SECOND <= waits[0] <= 1_500
    assert max(waits) <= 60 * SECOND
    assert min(waits[10:]) >= 40 * SECOND


def test_jitter() -> None:
    """Two clients do not come back in step."""
    one, other = Backoff(random.Random(1)), Backoff(random.Random(2))

    assert [one.failed() for _ in range(5)] != [other.failed() for _ in range(5)]


def test_anew_after_success() -> None:
    """After a working connection the waits begin at a second again."""
    rule = backoff()
    for _ in range(20):
        rule.failed()

    assert rule.ended(MINUTE) <= 1_500


def test_taken_over_waits_long() -> None:
    """Another program in our place is left in peace for a minute, then longer, for fifteen minutes at most."""
    rule = backoff()

    waits = [rule.taken_over(MINUTE) for _ in range(10)]

    assert 60 * SECOND <= waits[0] <= 90 * SECOND
    assert waits[1] > waits[0]
    assert max(waits) <= 15 * MINUTE


def test_taken_over_forgotten() -> None:
    """Once a connection has held for a quarter of an hour, the quarrel is forgotten."""
    rule = backoff()
    for _ in range(10):
        rule.taken_over(MINUTE)

    assert rule.taken_over(20 * MINUTE) <= 90 * SECOND


def test_suspicious() -> None:
    """Connections that end at once, five in a row with the broker there each time, look like another program."""
    rule = backoff()

    for _ in range(5):
        before = rule.suspicious
        rule.ended(SECOND)

    assert (before, rule.suspicious) == (False, True)


def test_alone_is_not_suspicious() -> None:
    """Short connections with nobody else in between are the broker's own trouble."""
    rule = backoff()

    for _ in range(10):
        rule.ended(SECOND, alone=True)

    assert not rule.suspicious


def test_restarts_are_not_suspicious() -> None:
    """A broker that is gone between short connections is restarting, not taken."""
    rule = backoff()

    for _ in range(10):
        rule.ended(SECOND)
        rule.failed()

    assert not rule.suspicious

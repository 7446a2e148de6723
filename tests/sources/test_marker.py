"""The pure rule of lateness."""

from gatewayd.model.moment import HOUR, MINUTE, SECOND, Moment
from gatewayd.sources.marker import FIRST_LOOK, LAST_LOOK, RATE, Lateness

START = Moment(1_700_000_000_000, 5 * HOUR)
DETECT = 60 * SECOND


def play(lateness: Lateness, rates: list[int]) -> None:
    """Let each second pass with so many messages in it, looking once a second."""
    total = 0
    for second, rate in enumerate(rates, start=1):
        total += rate
        lateness.look(START.later(second * SECOND), total)


def resumed() -> Lateness:
    """Return the rule at the start of a resumed session."""
    lateness = Lateness(None, DETECT)
    lateness.opened(START, resumed=True)
    return lateness


def test_fresh_is_live() -> None:
    """A session that the broker did not know has no backlog, so nothing is late."""
    lateness = Lateness(None, DETECT)

    lateness.opened(START, resumed=False)

    assert not lateness.late


def test_late_until_marker() -> None:
    """On a resumed session everything is late until the marker is back, and live from then on."""
    lateness = resumed()
    before = lateness.late

    lateness.marker_back()

    assert (before, lateness.late) == (True, False)


def test_late_half_minute_without_marker() -> None:
    """Without the marker the first 30 s are late, not less and not more."""
    lateness = resumed()

    play(lateness, [1] * 29)
    at_29 = lateness.late
    lateness.look(START.later(FIRST_LOOK), 30)

    assert (at_29, lateness.late) == (True, False)


def test_late_to_its_end() -> None:
    """A backlog that still flows after 30 s stays late until it has flowed off."""
    lateness = resumed()

    play(lateness, [500] * 100)
    flowing = lateness.late
    play(lateness, [500] * 100 + [2] * 11)

    assert (flowing, lateness.late) == (True, False)


def test_rate_at_the_line() -> None:
    """Exactly 20 messages a second are a house, one more is a backlog."""
    house, backlog = resumed(), resumed()

    play(house, [RATE] * 31)
    play(backlog, [RATE + 1] * 31)

    assert (house.late, backlog.late) == (False, True)


def test_last_look() -> None:
    """A house with more than 20 messages a second is believed after a quarter of an hour even without the marker."""
    lateness = resumed()

    play(lateness, [100] * (LAST_LOOK // SECOND - 5))
    before = lateness.late
    play(lateness, [100] * (LAST_LOOK // SECOND + 6))

    assert (before, lateness.late) == (True, False)


def test_marker_ends_flow() -> None:
    """The marker is believed at once, however fast messages still come."""
    lateness = resumed()

    play(lateness, [500] * 40)
    lateness.marker_back()
    play(lateness, [500] * 40)

    assert not lateness.late


def test_silently_forbidden() -> None:
    """A marker that nobody refused and that never comes is told of, on a fresh session too."""
    lateness = Lateness(None, DETECT)
    lateness.opened(START, resumed=False)

    play(lateness, [1] * 31)

    assert lateness.silent


def test_refused_is_not_silent() -> None:
    """A refusal is told when it comes, not a second time after half a minute."""
    lateness = resumed()

    lateness.refused()
    play(lateness, [1] * 31)

    assert (lateness.silent, lateness.late) == (False, False)


def test_resend() -> None:
    """The marker is sent again every 5 s, since a full queue may have dropped it, and no more once it is back."""
    lateness = resumed()

    due = [lateness.resend(START.later(ms)) for ms in (4_999, 5_000, 5_001, 9_999, 10_000)]
    lateness.marker_back()

    assert due == [False, True, False, False, True]
    assert not lateness.resend(START.later(MINUTE))


def test_refused_is_not_resent() -> None:
    """A marker that the broker refuses is not tried again on this connection."""
    lateness = resumed()

    lateness.refused()

    assert not lateness.resend(START.later(MINUTE))


def test_bound_at_start() -> None:
    """After a start, late messages are not older than the last commit of the life before."""
    lateness = Lateness(START.wall - 9 * HOUR, DETECT)

    lateness.opened(START, resumed=True)

    assert lateness.not_before(START.later(MINUTE)) == START.wall - 9 * HOUR


def test_bound_after_loss() -> None:
    """After a lost link the bound is the last commit before the loss, whatever was committed since."""
    lateness = Lateness(None, DETECT)
    lateness.opened(START, resumed=False)
    loss = START.later(HOUR)

    lateness.closed(loss, loss.wall - 90 * SECOND)
    lateness.opened(loss.later(2 * HOUR), resumed=True)

    assert lateness.not_before(loss.later(2 * HOUR)) == loss.wall - 90 * SECOND


def test_bound_covers_detection() -> None:
    """A dead link goes unnoticed for a while; what was kept back in that time lies within the bound."""
    lateness = Lateness(None, DETECT)
    lateness.opened(START, resumed=False)

    lateness.closed(START, START.wall - SECOND)

    assert lateness.not_before(START.later(HOUR)) == START.wall - DETECT


def test_bound_survives_second_loss() -> None:
    """A link that breaks within the backlog leaves the rest as old as it was."""
    lateness = Lateness(START.wall - 9 * HOUR, DETECT)
    lateness.opened(START, resumed=True)

    lateness.closed(START.later(SECOND), START.wall)
    lateness.opened(START.later(2 * SECOND), resumed=True)

    assert lateness.not_before(START.later(2 * SECOND)) == START.wall - 9 * HOUR


def test_bound_moves_with_clock() -> None:
    """When the wall clock is set while the link is away, the bound of this boot moves with it."""
    lateness = Lateness(None, DETECT)
    lateness.opened(START, resumed=False)
    lateness.closed(START, None)

    stepped = Moment(START.wall + 24 * HOUR + MINUTE, START.steady + MINUTE)

    assert lateness.not_before(stepped) == START.wall + 24 * HOUR - DETECT

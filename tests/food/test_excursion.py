"""What makes a warm spell: what opens it, what joins it, what ends it, and what is none."""

from gatewayd.food.excursion import excursions
from gatewayd.model.event import Event, What
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.priority import Priority

T0 = 1_795_600_800_000
WATCHED = {"shed-chest": True, "porch-chest": True, "old-chest": False}


def event(number, hours, kind="high", what=What.RAISED, subject="shed-chest", first=None, **facts):
    """Return an event so many hours after T0."""
    at = T0 + round(hours * HOUR)
    return Event(
        number, Moment(at, at - T0 + HOUR, "boot"), subject, kind, what, Priority.HIGH, 1,
        number if first is None else first, facts=facts,
    )  # fmt: skip


def of(*events, freezer="shed-chest"):
    """Return the spells of one freezer as (number, hours from, hours to, why, dark)."""
    return [
        (s.number, (s.began - T0) / HOUR, None if s.ended is None else (s.ended - T0) / HOUR, s.why, s.dark)
        for s in excursions(events, WATCHED)
        if s.freezer == freezer
    ]


def test_high():
    """A High opens a spell when it began to be too warm, not when it was told, and its end ends it."""
    raised = event(1, 1, lasted=45 * MINUTE)
    assert of(raised) == [(1, 0.25, None, ("high",), False)]
    assert of(raised, event(2, 5, what=What.OVER, first=1)) == [(1, 0.25, 5, ("high",), False)]


def test_joined():
    """High and High High, and what begins within an hour of the end of the last, are one spell; later is another."""
    first = (event(1, 1), event(2, 2, "highhigh"), event(3, 3, "highhigh", What.OVER, first=2))
    over = event(4, 4, what=What.OVER, first=1)
    assert of(*first, over) == [(1, 1, 4, ("high", "highhigh"), False)]
    assert of(*first, over, event(5, 5)) == [(1, 1, None, ("high", "highhigh"), False)]
    assert [each[0] for each in of(*first, over, event(5, 5.1))] == [1, 5]


def test_power():
    """A power cut opens a spell in each freezer that it covers, also one without a sensor if all the house is dark."""
    cut = event(7, 1, "mains-out", subject="heron-lane", covers="shed-chest,porch-chest", how="host", lasted=0)
    back = event(8, 9, "mains-out", What.OVER, "heron-lane", first=7)
    for freezer in WATCHED:
        assert of(cut, back, freezer=freezer) == [(7, 1, 9, ("mains-out",), False)]
    plug = event(7, 1, "mains-out", subject="plug", covers="porch-chest", how="sensor", lasted=0)
    assert of(plug) == of(plug, freezer="old-chest") == []
    assert len(of(plug, freezer="porch-chest")) == 1


def test_grown_cut():
    """A freezer that a power cut takes later belongs to it from the cut's beginning, for nobody knows better."""
    cut = event(7, 1, "mains-out", subject="heron-lane", covers="porch-chest", lasted=0)
    grown = event(8, 2, "mains-out", What.REPEATED, "heron-lane", 7, covers="porch-chest,shed-chest", lasted=HOUR)
    assert of(cut, grown) == [(8, 1, None, ("mains-out",), False)]


def test_dark():
    """A dark spell of the gateway opens one in each freezer that has a sensor, in all if the power may have failed."""
    stopped = event(3, 10, "dark", What.NOTED, "heron-lane", since=T0, until=T0 + 9 * HOUR, ended="stop")
    failed = event(3, 10, "dark", What.NOTED, "heron-lane", since=T0, until=T0 + 9 * HOUR, ended="power")
    assert of(stopped) == of(failed) == of(failed, freezer="old-chest") == [(3, 0, 9, ("dark",), True)]
    assert of(stopped, freezer="old-chest") == []


def test_unheard():
    """A freezer that is only not heard has no warm spell; but if it touches one, the spell begins with the silence."""
    silent = event(1, 8, "unwatched", lasted=4 * HOUR)
    heard = event(2, 12, "unwatched", What.OVER, first=1)
    assert of(silent, heard) == []
    assert of(silent, heard, event(3, 12.5)) == [(3, 4, None, ("unwatched", "high"), False)]


def test_planned():
    """What is planned at a freezer opens nothing; what is hidden behind a power cut does."""
    assert of(event(1, 1, suppressed_by="shed-chest")) == []
    assert len(of(event(1, 1, suppressed_by="heron-lane"))) == 1


def test_end_never_written():
    """A spell whose end was never written goes on to where the next of its kind begins, and not for ever."""
    found = of(event(1, 1), event(2, 50), event(3, 51, what=What.OVER, first=2))
    assert found == [(1, 1, 51, ("high",), False)]


def test_number():
    """The number stays the lowest that opened it, whatever joins later, and every event leads to it."""
    dark = event(9, 4, "dark", What.NOTED, "heron-lane", since=T0, until=T0 + HOUR, ended="power")
    spell = next(s for s in excursions([event(5, 2), dark], WATCHED) if s.freezer == "shed-chest")
    assert (spell.number, spell.events, spell.began) == (5, (5, 9), T0)

"""The snapshot: what is saved comes back, whole or not at all."""

import json

import pytest

from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.watch.memory import restore, save
from gatewayd.watch.watch import Watch
from tests.days.player import Player, house


def lively() -> Player:
    """Return a watch in the middle of things: a warm freezer, a silent one, learnt intervals."""
    day = Player()
    day.report(MINUTE, [-18.0 + n / 10 for n in range(60)])
    day.report(MINUTE, [-9.0] * 100, "shed-chest")
    return day


def test_snapshot_comes_back_whole() -> None:
    """In the same boot a restored watch saves to the very same snapshot."""
    day = lively()
    kept = save(day.watch, day.now)
    other = Watch(day.house, day.now)
    restore(other, kept, day.now)

    assert json.loads(save(other, day.now)) == json.loads(kept)


def test_numbers_go_on() -> None:
    """Events of the restored watch are numbered above those of the former."""
    day = lively()
    last = day.events[-1].number
    day.restart(MINUTE)

    assert day.events[-1].number > last


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"form": 1}', "null", '{"form": 99, "at": [1, 2, "x"]}'])
def test_broken_snapshot_is_refused(text: str) -> None:
    """A snapshot that is none raises and leaves the watch usable."""
    watch = Watch(house(), Moment(0, HOUR))
    with pytest.raises(ValueError, match=r"\w+"):
        restore(watch, text, Moment(0, HOUR))

    assert watch.alarms.all == {} or not any(a.listed for a in watch.alarms.all.values())


def test_other_house_keeps_what_fits() -> None:
    """A snapshot of a larger house restores what the smaller one still has."""
    day = lively()
    watch = Watch(house(1), day.now)
    restore(watch, save(day.watch, day.now), day.now)

    assert set(watch.judges) == {"shed-chest"}
    assert watch.judges["shed-chest"].high.active

"""Dataclasses go into plain values and come back as they were."""

from collections import deque

import pytest

from gatewayd.alarm.chatter import Chatter
from gatewayd.alarm.trend import Trend
from gatewayd.model.moment import Moment
from gatewayd.model.pack import pack, unpack
from gatewayd.model.stock import Box, Move, Package, Sure, Turn


def test_nested_values_come_back() -> None:
    """Enums, nested and missing values come back as they were."""
    move = Move(
        3, 7, "ann", Turn.MOVED, 1, Box("top", "Top basket", sure=Sure.COUNTED), before=Package(1, "top", "plums")
    )
    assert unpack(Move, pack(move)) == move


def test_field_that_is_lacking_takes_its_default() -> None:
    """What an older snapshot did not know takes its default; what is no field any more is left out."""
    assert unpack(Box, {"id": "top", "name": "Top basket", "colour": "red"}) == Box("top", "Top basket")


@pytest.mark.parametrize("bounded", [Chatter, Trend])
def test_bounded_queue_keeps_its_bound(bounded: type) -> None:
    """A queue that holds so many and no more does so after a restart too."""
    before, after = bounded(), unpack(bounded, pack(bounded()))
    bounds = {
        name: value.maxlen for name in bounded.__dataclass_fields__ if isinstance(value := getattr(before, name), deque)
    }
    assert bounds
    assert {name: getattr(after, name).maxlen for name in bounds} == bounds
    assert None not in bounds.values()


def test_what_cannot_be_packed_is_refused() -> None:
    """Only plain values and dataclasses go into a snapshot."""
    with pytest.raises(TypeError, match="set"):
        pack({1, 2})
    assert pack(Moment(1, 2, "b")) == {"wall": 1, "steady": 2, "boot": "b"}

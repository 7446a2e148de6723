"""The house's nouns check themselves: what contradicts itself cannot be built."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.model.house import Freezer, Person, Sensor, check_id
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.units import Celsius, Kelvin


def test_limits_have_stated_defaults() -> None:
    """The defaults are -12 °C for 45 min, 20 °F for 30 min, a deadband of 1 K, 10 min to be over, 1 h and 4 h dark."""
    limits = Limits()

    assert (limits.high, round(limits.highhigh, 2), limits.deadband) == (-12.0, -6.67, 1.0)
    assert (limits.high_on_delay, limits.highhigh_on_delay, limits.off_delay) == (45 * MINUTE, 30 * MINUTE, 10 * MINUTE)
    assert (limits.unwatched, limits.unwatched_high) == (HOUR, 4 * HOUR)


CONTRADICTIONS: list[tuple[Callable[[], Limits], str]] = [
    (lambda: Limits(high=Celsius(-6.0)), "must be colder than highhigh"),
    (lambda: Limits(high=Celsius(-8.0), highhigh=Celsius(-8.0)), "must be colder than highhigh"),
    (lambda: Limits(high=Celsius(float("nan"))), "must be colder than highhigh"),
    (lambda: Limits(deadband=Kelvin(-0.1)), "deadband"),
    (lambda: Limits(deadband=Kelvin(float("nan"))), "deadband"),
    (lambda: Limits(deadband=Kelvin(float("inf"))), "deadband"),
    (lambda: Limits(high_on_delay=-1), "delay"),
    (lambda: Limits(highhigh_on_delay=-1), "delay"),
    (lambda: Limits(off_delay=-1), "delay"),
    (lambda: Limits(unwatched=0), "unwatched"),
    (lambda: Limits(unwatched=5 * HOUR), "not longer than unwatched_high"),
]


@pytest.mark.parametrize(("make", "said"), CONTRADICTIONS)
def test_limits_refuse_contradictions(make: Callable[[], Limits], said: str) -> None:
    """Limits that contradict each other cannot be built, and say which."""
    with pytest.raises(ValueError, match=said):
        make()


def test_limits_may_touch() -> None:
    """No deadband, no delays and two equal dark spans are allowed."""
    limits = Limits(deadband=Kelvin(0.0), high_on_delay=0, off_delay=0, unwatched=HOUR, unwatched_high=HOUR)

    assert limits.unwatched == limits.unwatched_high


@given(st.from_regex(r"[a-z0-9][a-z0-9-]{0,39}", fullmatch=True))
def test_slug_is_an_id(text: str) -> None:
    """Small letters, digits and hyphens, 40 at most, are an id and come back unchanged."""
    assert check_id(text) == text


@pytest.mark.parametrize(
    "text", ["", "-shed", "Shed", "shed_chest", "shed chest", "shed/chest", "kühl", "a" * 41, "a\n"]
)
def test_other_text_is_no_id(text: str) -> None:
    """Anything else is refused, so that an id can stand in a topic, a path and an address."""
    with pytest.raises(ValueError, match="is not an id"):
        check_id(text)


@pytest.mark.parametrize(
    "make", [lambda id_: Freezer(id_, "x"), lambda id_: Sensor(id_, "x", "b", "t"), lambda id_: Person(id_, "x")]
)
def test_nouns_check_their_ids(make: Callable[[str], object]) -> None:
    """A freezer, a sensor and a person cannot be built with what is no id."""
    with pytest.raises(ValueError, match="is not an id"):
        make("Shed Chest")

"""One plain line for each event."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.message.line import event_line
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import HOUR, MINUTE
from tests.message.scene import BEGINNINGS, BROKER, HOUSE, ago, event, every_turn, turn


def done(what: What, who: str = "ann", why: str = "", kind: str = "high") -> Event:
    """Return an event that a person caused."""
    return replace(event(kind, what), who=who, why=why)


@pytest.mark.parametrize(
    ("happened", "line"),
    [
        (turn("high", What.RAISED), "Shed chest, too warm: raised, −9.4 °C"),
        (turn("unwatched", What.WORSE, value=None), "Shed chest, not watched: worse, now high"),
        (turn("high", What.REPEATED), "Shed chest, too warm: told again, it has lasted for 3 h 48 min"),
        (turn("high", What.OVER), "Shed chest, too warm: over after 48 min"),
        (
            turn("highhigh", What.OVER),
            "Shed chest, much too warm: over after 48 min, the food must be looked at",
        ),
        (done(What.ACKNOWLEDGED, why="on my way"), "Shed chest, too warm: acknowledged by Ann (on my way)"),
        (done(What.ACKNOWLEDGED, "root"), "Shed chest, too warm: acknowledged by root"),
        (
            done(What.RESET, why="kept all; still hard", kind="highhigh"),
            "Shed chest, much too warm: the food was looked at by Ann, decided: kept all; still hard",
        ),
        (
            replace(
                event("high", What.SHELVED, until=ago(-HOUR), hidden="shelved for a time"), who="ann", why="venison"
            ),
            "Shed chest, too warm: shelved until 04:12 by Ann (venison)",
        ),
        (
            done(What.UNSHELVED, "the house", "its time is over"),
            "Shed chest, too warm: no longer shelved (its time is over)",
        ),
        (
            event("silent", What.SUPPRESSED, "shed-air", suppressed_by=BROKER),
            "Shed chest probe, silent: suppressed, since Home broker speaks for it",
        ),
        (
            event("silent", What.RAISED, "shed-air", suppressed_by="shed-chest"),
            "Shed chest probe, silent: raised; Shed chest speaks for it",
        ),
        (
            event("high", What.RAISED, hidden="shelved for a time"),
            "Shed chest, too warm: raised; not told, it is shelved for a time",
        ),
        (
            done(What.OUT_OF_SERVICE, why="new battery"),
            "Shed chest, too warm: taken out of service by Ann (new battery)",
        ),
        (done(What.CLOSED, "", "removed"), "Shed chest, too warm: ended, it is no longer in the settings"),
        (event("start", What.NOTED, "heron-lane", text="gatewayd started watching"), "gatewayd started watching."),
        (event("dark", What.NOTED, "heron-lane", lasted=20 * MINUTE), "nothing was watched for 20 min"),
        (event("week", What.NOTED, "heron-lane", title="all is well", text="a\nb"), "all is well"),
    ],
    ids=lambda value: value.what.value if isinstance(value, Event) else "",
)
def test_lines(happened: Event, line: str) -> None:
    """Each turn has its line: what it is about, what happened, by whom and why."""
    assert event_line(happened, HOUSE) == line


@given(
    st.sampled_from(sorted(BEGINNINGS)),
    st.sampled_from(What),
    st.dictionaries(
        st.sampled_from(["value", "lasted", "until", "suppressed_by", "hidden", "text", "latched", "title"]),
        st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats() | st.text(max_size=20),
    ),
)
def test_any_event_is_one_line(kind: str, what: What, facts: dict[str, Fact]) -> None:
    """Whatever the facts, an event is one line that says what it is about."""
    line = event_line(event(kind, what, "shed-chest", **facts), HOUSE)

    assert len(line.splitlines()) == 1


def test_every_turn_is_one_line() -> None:
    """No event breaks into two lines, and none of them is empty."""
    others = [done(what, why="a\nb") for what in What]
    lines = [event_line(happened, HOUSE) for happened in [*every_turn(), *others]]

    assert all(line and "\n" not in line and "None" not in line for line in lines)

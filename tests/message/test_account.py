"""An account of what happened: the steps of a job, and what was known then."""

import re
from pathlib import Path

import pytest

from gatewayd.message import account
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.moment import HOUR
from gatewayd.model.priority import Priority
from gatewayd.upkeep.defrost import KEYS
from gatewayd.watch import defrosting, switchoff
from gatewayd.watch.hindrance import ANYWAY
from tests.days.player import BEGIN, house


def event(kind: str, what: What = What.NOTED, **facts: Fact) -> Event:
    """Return an event of the shed chest."""
    return Event(7, BEGIN, "shed-chest", kind, what, Priority.LOW, facts=facts)


def test_steps_are_named() -> None:
    """Each stage and each step of a defrost and of a test switch-off has words of its own."""
    sources = [Path(module.__file__ or "").read_text() for module in (defrosting, switchoff)]
    stages = {
        found
        for text in sources
        for found in re.findall(r'_note_(?:defrost|test)\(who, (?:session, )?"([a-z-]+)"', text)
    }

    assert "food-soon" in stages
    assert set(KEYS) | {ANYWAY, defrosting.CANCEL} | (stages - {"step"}) <= set(account.STAGES)
    lines = {account.turn(event("defrost", stage="step", step=key), house()) for key in KEYS}
    assert len(lines) == len(KEYS)
    assert account.turn(event("defrost", stage="step", step="on"), house()) == "defrost: switched on"
    assert account.turn(event("defrost", stage="begun", step=None), house()) == "defrost: begun"


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"limit": BEGIN.wall + HOUR, "until": BEGIN.wall}, {"Until"}),  # the end of a defrost is no temperature
        ({"limit": -12.0, "value": -9.5, "speed": 0.466118}, {"Its limit", "It was at", "How fast"}),
        ({"left_where": "food", "cause_since": 1, "calibrated": False, "hours_off": 5.1}, set()),
        (
            {"since": BEGIN.wall - HOUR, "lasted": HOUR, "reason": "it does not answer"},
            {"Since", "It lasted", "The reason"},
        ),
        ({"value": float("nan"), "since": "x", "lasted": -1, "speed": None}, set()),
    ],
)
def test_what_was_known(facts: dict[str, Fact], words: set[str]) -> None:
    """What was known is said under a name that people use, in their units; what only programs need is left out."""
    known = dict(account.known(event("high", What.RAISED, **facts), house()))

    assert set(known) == words
    assert not any(re.search(r"\d{6}", text) for text in known.values())


def test_how_fast_is_said_in_degrees_an_hour() -> None:
    """A speed is degrees an hour, and a limit a temperature."""
    known = dict(account.known(event("high", What.RAISED, limit=-12.0, speed=0.466118), house()))

    assert known == {"Its limit": "−12.0 °C", "How fast": "rising by 0.5 °C an hour"}

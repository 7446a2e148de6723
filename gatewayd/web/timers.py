"""The timers of a defrost that runs: what ends when, and what to do then."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gatewayd.message.script import JUDGE
from gatewayd.message.thaw import FOOD_NOW as BACK_NOW
from gatewayd.message.thaw import FOOD_SOON as BACK_SOON
from gatewayd.message.thaw import OVER
from gatewayd.model.moment import MINUTE, to_wall
from gatewayd.upkeep.defrost import FOOD_OUT, ICE, ICE_LATE, ICE_SOON, KEYS, LID, SWITCHED_ON
from gatewayd.watch.defrosting import FOOD_NOW, FOOD_SOON
from gatewayd.watch.switchoff import GRACE

# How long the ice's timer is still shown when it is over: it asks for no haste. Our choice: as long again as it runs.
ICE_SHOWN = 2 * ICE_LATE


@dataclass(frozen=True, slots=True)
class Timer:
    """Hold one timer: `end` (wall ms), what is said `soon` ms before it, and what to do when it is over.

    `by` begins the sentence that ends with the time; `past` the one that says for how long it is over; `more` follows
    on what to do. `urgent` marks the one that must not be missed.
    """

    name: str
    by: str
    end: int
    over: str
    soon: int = 0
    warning: str = ""
    urgent: bool = False
    more: str = ""
    past: str = "over for"


def wall(stamp: str) -> int:
    """Return the wall ms of a stamp as the watch's plain values have it (ISO 8601)."""
    return to_wall(datetime.fromisoformat(stamp))


def timers(running: dict[str, Any], now: int) -> list[Timer]:
    """Return the timers of a defrost (as `watch.view.defrosting` says it) at `now` (wall ms), the food's first."""
    found, steps = [], running["steps"]
    if running["food_out"] is not None:
        out = now - running["food_out"]
        name = "Food outside" if FOOD_OUT in steps else "Food outside, counted from the begin"
        found.append(
            Timer(
                name,
                "Back in the cold by",
                out + FOOD_NOW,
                BACK_NOW,
                FOOD_NOW - FOOD_SOON,
                BACK_SOON,
                urgent=True,
                more=JUDGE,
            )
        )
    since = _ice_since(steps)
    if since is not None and now < since + ICE_SHOWN:
        late = "Lift off what is loose. With a fan ice takes 10 to 15 minutes (common practice)."
        found.append(Timer("Ice loosens", "Look at it from", since + ICE_SOON, late, past="ready for"))
    if running["ended"] is None and SWITCHED_ON not in steps:
        found.append(Timer("Planned end", "Planned until", wall(running["until"]), OVER))
    cools = running["ended"] or steps.get(SWITCHED_ON)
    if cools is not None and now < wall(cools) + GRACE + MINUTE:
        late = "You are told if it does not cool."
        found.append(Timer("It has to cool", "You are told if it does not by", wall(cools) + GRACE, late))
    if running["quiet_until"] is not None:
        late = "Its alarms are told as always again."
        found.append(Timer("Its alarms are held", "At the latest until", wall(running["quiet_until"]), late))
    return found


def _ice_since(steps: dict[str, str]) -> int | None:
    """Return since when (wall ms) the ice thaws, None where it does not yet or not any more."""
    later = KEYS[KEYS.index(ICE) : KEYS.index(SWITCHED_ON) + 1]
    if LID not in steps or any(key in later for key in steps):
        return None
    return wall(steps[LID])

"""Say how long is left: one range, the early end first, rounded to the safe side, with the published rule beside it.

The rule is that of the USDA and FDA on power outages: shut, a full freezer holds about 48 h and a half-full one about
24. It speaks of food that spoils, not of food that softens, and stays what to go by wherever a forecast is longer.
"""

import math

from gatewayd.message.cause import firm
from gatewayd.message.words import capital, level
from gatewayd.model.event import Event, Fact
from gatewayd.model.house import House
from gatewayd.model.moment import MINUTE
from gatewayd.model.outlook import Label, Where
from gatewayd.model.units import show_span

_RULE = "a full freezer stays cold for about 48 hours, a half-full one for about 24"
HOLDS = f"Kept shut, {_RULE} (government rule)."
_GO_BY = f"Go by the government's rule: shut, {_RULE}."
# Beside a forecast in a message whose advice does not hold the rule: much of the rule's time may be gone already.
_BESIDE = "The government's 48 hours, 24 if half full, count from when cooling stopped."
_GO_BY_THEM = "Go by them."
_GUESS = " (a guess until a test switch-off)"
_NOUNS = {Where.FOOD.value: "the warmest food", Where.PROBE.value: "the air at its probe"}
_ALREADY = "already"
_DAYS = 72.0  # h; from here on people count in days. Our choice
LONGEST = 9 * 24.0  # h; a forecast looks no further (method: measured on simulated freezers)


def told(event: Event) -> bool:
    """Return whether a forecast is known that may be said.

    A probe that hangs in the room's air tells nothing of the food.
    """
    facts = event.facts
    known = _hours(facts.get("left_early")) is not None and facts.get("left_where") in _NOUNS
    return known and _finite(facts.get("left_level")) is not None and firm(event) is not Label.ROOM_AIR


def left(event: Event, house: House, *, inside: str = "", unheard: bool = False) -> str:
    """Say how long is left if nothing cools it, counted from now, nothing where it is not known.

    `inside` names the freezer in a message of several, the first of them to get warm. `unheard` says that nothing has
    been heard of it since the forecast was made.
    """
    early, late = _hours(event.facts.get("left_early")), _hours(event.facts.get("left_late"))
    if not told(event) or early is None:
        return ""
    noun = _NOUNS[str(event.facts.get("left_where"))] + (f" in {inside}" if inside else "")
    unless = "if nothing has cooled it since it was last heard" if unheard else "if nothing cools it"
    shown, begin = level(event.facts.get("left_level"), house), rounded(early)
    end = "" if late is None else rounded(max(early, late), up=True) or _ALREADY
    if begin:
        until = f"perhaps only in {end}" if end else "or much later" if early > _DAYS else "or not for days"
        when = f"about {begin}" if begin == end else f"{begin}, {until}"
        text = f"{capital(unless)}, {noun} may reach {shown} in {when}"
    elif end == _ALREADY:
        text = f"{capital(noun)} is most likely past {shown} already"
    else:
        until = f"; {unless}, perhaps only in {end}" if end else ", or not for days"
        text = f"{capital(noun)} may be at {shown} already{until}"
    return f"{text}{'' if event.facts.get('calibrated') is True else _GUESS}."


def holds(event: Event) -> str:
    """Return the published rule, as what to go by where a forecast in the same message is longer."""
    return _GO_BY if told(event) and event.facts.get("beyond_rule") is True else HOLDS


def beside(event: Event) -> str:
    """Return the rule in short for a message whose advice does not hold it, nothing without a forecast."""
    if not told(event):
        return ""
    return f"{_BESIDE} {_GO_BY_THEM}" if event.facts.get("beyond_rule") is True else _BESIDE


def span_of(early: float, late: float | None) -> str:
    """Return a range of hours as people say it: `14 to 40 h`, `20 h to 4 days`, `14 h or much longer`."""
    begin, end = rounded(early) or "0 h", rounded(late, up=True) if late is not None else None
    if end is None:
        return f"{begin} or much longer"
    if begin == end:
        return begin
    number, _, unit = begin.partition(" ")
    return f"{number if end.endswith(f' {unit}') and end.count(' ') == 1 else begin} to {end}"


def rounded(hours: float, *, up: bool = False) -> str:
    """Write hours in steps a forecast can be trusted to, down (or `up`): 5 min, 30 min, 1 h, beyond 3 days whole days.

    Nothing where nothing is left after rounding.
    """
    minutes = hours * 60
    step = 5 if hours < 1 else 30 if hours < 4 else 60 if hours <= _DAYS else 24 * 60
    # a millionth of a step off: 0.7 h are 42.000000000000004 min
    steps = math.ceil(minutes / step - 1e-6) if up else math.floor(minutes / step + 1e-6)
    if step > 60:
        return f"{steps} days"
    whole = steps * step
    return f"{whole // 60} h" if whole >= 4 * 60 else show_span(whole * MINUTE) if whole else ""


def _finite(value: Fact) -> float | None:
    if not isinstance(value, float | int) or isinstance(value, bool) or not math.isfinite(value):
        return None
    return float(value)


def _hours(value: Fact) -> float | None:
    """Return hours within the forecast's reach, None for what lies beyond or is none."""
    if not isinstance(value, float | int) or isinstance(value, bool) or not 0 <= value <= LONGEST:
        return None
    return float(value)

"""Say how long is left: one range, the early end first, rounded to the safe side.

The published rule that stands beside it, and what to go by, is in `rule`.
"""

import math

from gatewayd.message.cause import firm, powerless
from gatewayd.message.words import STEADY, capital, level, lid
from gatewayd.model.event import Event, Fact, What
from gatewayd.model.house import House
from gatewayd.model.moment import MINUTE
from gatewayd.model.outlook import Label, Where
from gatewayd.model.units import show_span

# °C: what a range may speak of, the first that is not likely passed: 15 °F, where quality begins to go; ice melts;
# 40 °F, where the published outage chart of the USDA draws its line.
STEPS = (-9.4, 0.0, 4.4)
_GUESS, _GUESS_AGAIN = " (a guess until a test switch-off)", " (a guess)"
_NOUNS = {Where.FOOD.value: "the warmest food", Where.PROBE.value: "the air at its probe"}
_ALREADY = "already"
_DAYS = 72.0  # h; from here on people count in days. Our choice
LONGEST = 9 * 24.0  # h; a forecast looks no further (method: measured on simulated freezers)


def told(event: Event) -> bool:
    """Return whether a forecast is known that may be said.

    A probe that hangs in the room's air tells nothing of the food. Where a lid was ajar and it gets colder again, it is
    being cooled, and a range without cooling would only frighten.
    """
    facts = event.facts
    known = hours_of(facts.get("left_early")) is not None and facts.get("left_where") in _NOUNS
    if _finite(facts.get("left_level")) is None or firm(event) is Label.ROOM_AIR:
        return False
    return known and not (firm(event) is Label.LID_OR_LOAD and falls(event))


def falls(event: Event) -> bool:
    """Return whether it is known to get colder."""
    speed = _finite(event.facts.get("speed"))
    return speed is not None and speed < -STEADY


def left(event: Event, house: House, *, inside: str = "", unheard: bool = False) -> str:
    """Say how long is left if nothing cools it, counted from now, nothing where it is not known.

    `inside` names the freezer in a message of several, the first of them to get warm. `unheard` says that nothing has
    been heard of it since the forecast was made.
    """
    early, late = hours_of(event.facts.get("left_early")), hours_of(event.facts.get("left_late"))
    if not told(event) or early is None:
        return ""
    noun = warmed(event, inside)
    unless = "if nothing has cooled it since it was last heard" if unheard else _unless(event, house)
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
    first = event.what not in (What.REPEATED, What.NOTED)
    guess = "" if event.facts.get("calibrated") is True else _GUESS if first else _GUESS_AGAIN
    return f"{text}{guess}.{_step(event, house) if end != _ALREADY else ''}"


def warmed(event: Event, inside: str = "") -> str:
    """Return what the range is of; `inside` names the freezer in a message of several."""
    return _NOUNS[str(event.facts.get("left_where"))] + (f" in {inside}" if inside else "")


def _unless(event: Event, house: House) -> str:
    """Return what must go on for the range to come true: its compressor runs where the lid is to blame."""
    ajar = firm(event) is Label.LID_OR_LOAD or (event.kind == "lid-open" and not powerless(event))
    return f"if the {lid(event.subject, house)} stays open" if ajar else "if nothing cools it"


def _step(event: Event, house: House) -> str:
    """Say why another level counts than in an earlier message, nothing at the first level and in a reminder."""
    reached, now = event.facts.get("left_level"), level(event.facts.get("left_level"), house)
    if reached not in STEPS[1:] or event.what is What.REPEATED or event.facts.get("left_where") != Where.FOOD.value:
        return ""
    return f" {now} counts now: it is most likely past {level(STEPS[STEPS.index(reached) - 1], house)}."


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


def hours_of(value: Fact) -> float | None:
    """Return hours within the forecast's reach, None for what lies beyond or is none."""
    if not isinstance(value, float | int) or isinstance(value, bool) or not 0 <= value <= LONGEST:
        return None
    return float(value)

"""Word what weeks show of a freezer: a gasket that may leak, and air that has become warmer or colder than it was."""

import math

from gatewayd.message.script import Text, joined, of
from gatewayd.message.words import capital, lid, place, stamp
from gatewayd.model.event import Event, Fact
from gatewayd.model.house import House
from gatewayd.model.units import MINUS


def leak(who: str, what: str, change: Fact, weeks: Fact) -> str:
    """Say in one line that the gasket or the lid (or door: `what`) of `who` may leak, for the week's note too.

    `change` is how much more it works (0.18 = 18 %), `weeks` since when.
    """
    more = _share(change)
    number = round(weeks) if isinstance(weeks, int | float) and math.isfinite(weeks) and 1 <= weeks <= 104 else 0
    than = f"{number} weeks ago" if number > 1 else "before"
    works = f": it works {more} more than {than} in the same room" if more else ""
    return f"the gasket or the {what} of {who} may leak{works}"


def leaking(event: Event, house: House) -> Text:
    """Return the words for a freezer that works ever more in the same room."""
    who, what = of(event, house), lid(event.subject, house)
    line = leak(who, what, event.facts.get("change"), event.facts.get("weeks"))
    # a strip of paper shut in the gasket: common practice
    body = (
        f"{capital(line)}.\n\n"
        f"What to do, by day: wipe the gasket and take off ice. Then shut a strip of paper in the {what} here and "
        "there: where it slides out, the gasket does not close."
    )
    return f"the gasket or the {what} of {who} may leak", body


def drifted(event: Event, house: House) -> Text:
    """Return the words for a freezer whose air is warmer (or colder) than it was for days."""
    who, where = of(event, house), place(event.subject, house)
    change, since = _difference(event.facts.get("change"), house), stamp(event.facts.get("since"), event, house)
    begun = f" since {since}" if since else ""
    colder, by = change.startswith(MINUS), f"{change.lstrip(MINUS)} " if change else ""
    how = f"{by}{'colder' if colder else 'warmer'} than usual"
    reason = (
        "Somebody may have set it colder."
        if colder
        else "It may be set warmer, or be failing slowly; much warm food put in looks the same for a day."
    )
    advice = (
        "look at its dial and its fast-freeze switch."
        if colder
        else "look at its dial. If nobody has turned it, see whether it is iced up, and look at it daily."
    )
    body = joined(f"{who}{where} has been {how}{begun}.", reason) + f"\n\nWhat to do: {advice}"
    return f"{who} is {how}", body


def _share(change: Fact) -> str:
    if not isinstance(change, float | int) or isinstance(change, bool) or not 0 < change < 10:
        return ""
    return f"{change * 100:.0f} %"


def _difference(change: Fact, house: House) -> str:
    if not isinstance(change, float | int) or isinstance(change, bool) or not abs(change) < 100:
        return ""
    return house.units.show_difference(change)

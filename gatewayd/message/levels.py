"""Say what the levels of a forecast mean, when each is reached, and how a compressor cycles."""

from collections.abc import Mapping

from gatewayd.message.left import rounded
from gatewayd.model.moment import SECOND
from gatewayd.model.outlook import Span, Where
from gatewayd.model.units import show_span

# What it means that food is at a level (°C): the keeper's line; 15 °F and 20 °F; ice melts; 40 °F, the line of the
# published outage chart of the USDA
MEANING = {
    -12.0: "well kept up to here",
    -9.4: "still hard frozen, quality begins to go",
    -6.7: "much too warm, it softens",
    0.0: "thawed through",
    4.4: "limit of the outage chart for food that may be kept",
}
PLACES = {Where.PROBE: "sensor", Where.FOOD: "warmest food"}


BEYOND = "longer than the government's hours: go by those"
USED_UP = "the government's hours are over: look at the food"


def reached(span: Span, rule: float | None = None) -> str:
    """Say when a level is reached: early, likely and late.

    `rule` is how many hours the government's rule still gives, None where it does not speak. Where even the early end
    comes later, no time is told: nobody is to wait for it.
    """
    if rule is not None and span.where is Where.FOOD and (span.early is None or span.early > rule):
        return BEYOND if rule > 0 else USED_UP
    if span.early is None:
        return "not within 9 days"
    if span.late is not None and not rounded(span.late, up=True):
        return "there already"
    early, likely = rounded(span.early), rounded(span.likely) if span.likely is not None else None
    parts = [f"perhaps in {early}" if early else "perhaps there already"]
    if likely is not None:
        parts.append(f"likely in {likely}" if likely else "likely there already")
    late = "perhaps much later" if span.late is None else f"perhaps only in {rounded(span.late, up=True)}"
    return ", ".join([*parts, late])


def cycling(cycles: Mapping[str, float | None] | None) -> str:
    """Say how a compressor cycles, from `period_s`, `duty` (0 to 1) and `starts_per_day`."""
    period, starts, duty = (
        (cycles or {}).get("period_s"),
        (cycles or {}).get("starts_per_day"),
        (cycles or {}).get("duty"),
    )
    if period is None or starts is None or duty is None:
        return "its cycles cannot be seen yet"
    every = show_span(round(period * SECOND))
    return (
        f"starts every {every}, {starts:.0f} times a day, seems to run {duty:.0%} of the time (compare it with itself "
        "only)"
    )

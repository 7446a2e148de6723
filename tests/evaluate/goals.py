"""Judge what the forecasts are held to: a goal is missed only where the one-sided 95 % interval excludes it."""

from collections.abc import Sequence
from dataclasses import dataclass

from tests.evaluate import score


@dataclass(frozen=True, slots=True)
class Goal:
    """Hold one goal: what is measured, the figure found, what it is held to, and whether the interval excludes it."""

    what: str
    found: str
    held_to: str
    missed: bool
    reached: bool  # by the figure itself

    @property
    def verdict(self) -> str:
        """Say in a word or two whether it is met; of nothing measured nothing is claimed."""
        if "nan" in self.found:
            return "NOT JUDGED"
        if self.missed:
            return "MISSED"
        return "met" if self.reached else "met (within chance)"


def table(goals: Sequence[Goal]) -> str:
    """Return the goals as a table."""
    rows = [f"| {g.what} | {g.found} | {g.held_to} | {g.verdict} |" for g in goals]
    return "\n".join(("| goal | found | held to | verdict |", "|---|---|---|---|", *rows))


def no_share_below(what: str, hits: int, n: int, least: float) -> Goal:
    """Hold a share to at least `least`."""
    share = hits / n if n else float("nan")
    missed = bool(n) and score.at_most(hits, n) < least
    return Goal(what, f"{hits} of {n} = {share:.3f}", f">= {least:g}", missed, share >= least)


def no_share_above(what: str, hits: int, n: int, most: float) -> Goal:
    """Hold a share to at most `most`."""
    share = hits / n if n else float("nan")
    missed = bool(n) and score.at_least(hits, n) > most
    return Goal(what, f"{hits} of {n} = {share:.3f}", f"<= {most:g}", missed, share <= most)


def no_quantile_above(what: str, values: Sequence[float], share: float, most: float, unit: str = "") -> Goal:
    """Hold a quantile to at most `most`."""
    found = score.quantile(values, share)
    missed = score.quantile_at_least(values, share) > most
    return Goal(what, f"{found:.3g}{unit}", f"<= {most:g}{unit}", missed, found <= most)


def no_quantile_below(what: str, values: Sequence[float], share: float, least: float) -> Goal:
    """Hold a quantile to at least `least`."""
    found = score.quantile(values, share)
    missed = -score.quantile_at_least([-v for v in values], 1.0 - share) < least
    return Goal(what, f"{found:.3g}", f">= {least:g}", missed, found >= least)


def no_ratio_above(what: str, before: Sequence[float], after: Sequence[float], most: float) -> Goal:
    """Hold the median of `after` to at most `most` times that of `before`, in pairs."""
    found, low, high = score.ratio_span(before, after)
    return Goal(what, f"{found:.2f} ({low:.2f} to {high:.2f})", f"<= {most:g}", low > most, found <= most)


def no_rate_above(what: str, events: int, over: float, most: float, unit: str) -> Goal:
    """Hold a rate per 100 to at most `most`."""
    rate = 100.0 * events / over if over else float("nan")
    missed = bool(over) and 100.0 * score.rate_at_least(events, over) > most
    return Goal(what, f"{rate:.2f} {unit}", f"<= {most:g}", missed, rate <= most)

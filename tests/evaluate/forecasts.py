"""Report on forecasts: the table by level and time, the stress set, what a test switch-off teaches, food from air."""

from collections.abc import Callable, Sequence

from tests.evaluate import goals
from tests.evaluate.goals import Goal
from tests.evaluate.score import cell, covered, hours, quantile, too_late
from tests.evaluate.trial import HOURS, LEVELS, Eaten, Outage, Said

TIMES = (0.0, *HOURS)
HEAD = "| target (median true) | no data | " + " | ".join(f"{h:g} h" for h in HOURS) + " |"
KINDS = ("chest", "upright", "automatic defrost")
Lesson = tuple[list[Said], list[Said]]


def _pick(said: Sequence[Said], where: str, level: float | None = None, at: float | None = None) -> list[Said]:
    return [s for s in said if s.where == where and level in (None, s.level) and at in (None, s.at)]


def all_said(found: Sequence[Outage]) -> list[Said]:
    """Return everything said in all outages."""
    return [said for outage in found for said in outage.said]


def forecast_table(said: Sequence[Said]) -> str:
    """Return the table of forecasts: median error / p90 / covered / early too late, in h; under it late over early."""
    lines = [HEAD, "|---" * (len(TIMES) + 1) + "|"]
    for where in LEVELS:
        for level in LEVELS[where]:
            cells = [cell(_pick(said, where, level, at)) for at in TIMES]
            known = [s.true for s in _pick(said, where, level, 0.0) if s.true is not None]
            texts = [
                f"{c.median:.1f} / {c.p90:.1f} / {c.covered / max(1, c.n):.2f} / {c.too_late / max(1, c.n):.2f}"
                f" (x{c.width:.1f}, {c.n})"
                for c in cells
            ]
            name = "top" if where == "food" else where
            lines.append(f"| {name} {level:g} ({quantile(known, 0.5):.0f} h) | " + " | ".join(texts) + " |")
            if where == "probe":
                alone = ["-", *(f"{c.single:.1f} / {c.single_p90:.1f}" for c in cells[1:])]
                lines.append("| single exponential, same | " + " | ".join(alone) + " |")
    for where in LEVELS:
        parts = [_pick(said, where, at=at) for at in TIMES]
        shares = [f"{_share(p, covered):.2f} / {_share(p, too_late):.2f}" for p in parts]
        lines.append(f"| all levels of {where}: covered / too late | " + " | ".join(shares) + " |")
    return "\n".join(lines)


def _share(rows: Sequence[Said], test: Callable[[Said], bool]) -> float:
    return sum(map(test, rows)) / len(rows) if rows else float("nan")


def outage_report(found: Sequence[Outage]) -> tuple[str, list[Goal]]:
    """Return the table over all outages and what it is held to."""
    said = all_said(found)
    held = []
    for at, most in ((0.5, 0.25), (2.0, 0.20), (6.0, 0.15)):
        relative = cell(_pick(said, "food", -9.4, at)).relative
        held.append(goals.no_quantile_above(f"top -9.4, relative error at {at:g} h, median", relative, 0.5, most))
    held.append(goals.no_quantile_above("same at 2 h, p90", cell(_pick(said, "food", -9.4, 2.0)).relative, 0.9, 0.60))
    rows = [s for s in _pick(said, "probe", -9.4, 2.0) if s.true is not None and s.single is not None]
    ours = [abs(hours(s.likely) - (s.true or 0.0)) for s in rows]
    theirs = [abs((s.single or 0.0) - (s.true or 0.0)) for s in rows]
    held.append(goals.no_ratio_above("probe -9.4 at 2 h, error over a single exponential's", theirs, ours, 0.5))
    for where, least in (("food", 0.85), ("probe", 0.80)):
        for level in LEVELS[where]:
            for at in TIMES:
                rows = _pick(said, where, level, at)
                name = f"{where} {level:g} at {at:g} h"
                held.append(goals.no_share_below(f"covered, {name}", sum(map(covered, rows)), len(rows), least))
                if where == "food":
                    most = 0.12 if level == 0.0 else 0.08
                    held.append(goals.no_share_above(f"too late, {name}", sum(map(too_late, rows)), len(rows), most))
    for at, most in ((0.0, 0.25), (6.0, 0.20)):
        relative = cell(_pick(said, "food", 0.0, at)).relative
        held.append(goals.no_quantile_above(f"top 0, relative error at {at:g} h, median", relative, 0.5, most))
    return forecast_table(said), held


def stress_report(found: Sequence[Outage]) -> tuple[str, list[Goal]]:
    """Return how far facts that are wrong mislead; only without data and at 0.5 h nothing has been learnt."""
    said = all_said(found)
    lines = ["| stress | no data | " + " | ".join(f"{h:g} h" for h in HOURS) + " |", "|---" * 6 + "|"]
    for level in (-9.4, 0.0):
        lates = []
        for at in TIMES:
            rows = _pick(said, "food", level, at)
            bias = [hours(s.likely) / s.true - 1.0 for s in rows if s.true]
            lates.append(f"{100 * quantile(bias, 0.5):+.0f} % / {_share(rows, too_late):.2f}")
        lines.append(f"| top {level:g}: likely late by / early too late | " + " | ".join(lates) + " |")
    held = []
    for level in (-9.4, 0.0):
        rows = [s for at in (0.0, 0.5) for s in _pick(said, "food", level, at)]
        name = f"stress, top {level:g}, uncalibrated (no data, 0.5 h), early too late"
        held.append(goals.no_share_above(name, sum(map(too_late, rows)), len(rows), 0.10))
    return "\n".join(lines), held


def learning_report(found: Sequence[Lesson], wrong: Sequence[Lesson]) -> tuple[str, list[Goal]]:
    """Return what one planned switch-off of 3 h teaches the standing reserve."""
    lines = ["| reserve: error / p90 / late over early | top -9.4 | probe -9.4 | top 0 |", "|---|---|---|---|"]
    wanted = (("food", -9.4), ("probe", -9.4), ("food", 0.0))
    for name, index in (("facts only", 0), ("+ one switch-off of 3 h", 1)):
        texts = []
        for where, level in wanted:
            c = cell(_pick([s for pair in found for s in pair[index]], where, level))
            texts.append(f"{c.median:.1f} h / {c.p90:.1f} / x{c.width:.1f}")
        lines.append(f"| {name} | " + " | ".join(texts) + " |")
    for name, index in (("stress, facts only: likely late by / early too late", 0), ("stress, + switch-off", 1)):
        texts = []
        for where, level in wanted:
            rows = _pick([s for pair in wrong for s in pair[index]], where, level)
            bias = [hours(s.likely) / s.true - 1.0 for s in rows if s.true]
            texts.append(f"{100 * quantile(bias, 0.5):+.0f} % / {_share(rows, too_late):.2f}")
        lines.append(f"| {name} | " + " | ".join(texts) + " |")
    before, after = [], []
    for fresh, taught in found:
        for a, b in zip(_pick(fresh, "food", -9.4), _pick(taught, "food", -9.4), strict=True):
            if a.true is not None:
                before.append(abs(hours(a.likely) - a.true))
                after.append(abs(hours(b.likely) - a.true))
    goal = goals.no_ratio_above("switch-off: no-data error of top -9.4, after over before", before, after, 0.70)
    return "\n".join(lines), [goal]


def food_report(found: Sequence[Eaten]) -> tuple[str, list[Goal]]:
    """Return how well food is known from air."""
    lines = ["| RMSE, K | median | p90 |", "|---|---|---|"]
    for name in found[0].rmse:
        values = [one.rmse[name] for one in found]
        lines.append(f"| {name} | {quantile(values, 0.5):.2f} | {quantile(values, 0.9):.2f} |")
    lines += ["", "| degree-hours over the truth's, 48 h | median | p10 | p90 | n |", "|---|---|---|---|---|"]
    for name in ("-12", "-12, air", "-9.4", "-9.4, air"):
        values = [one.sums[name] for one in found if name in one.sums]
        off = [f"{100 * (quantile(values, q) - 1):+.0f} %" for q in (0.5, 0.1, 0.9)]
        lines.append(f"| above {name} | {off[0]} | {off[1]} | {off[2]} | {len(values)} |")
    held = [
        goals.no_quantile_above("top in normal running, RMSE, median", [f.rmse["normal top"] for f in found], 0.5, 0.8),
        goals.no_quantile_above("top in an outage, RMSE, median", [f.rmse["outage top"] for f in found], 0.5, 1.2),
    ]
    for name in ("-12", "-9.4"):
        values = [one.sums[name] for one in found if name in one.sums]
        held.append(goals.no_quantile_below(f"degree-hours above {name} over the truth's, p10", values, 0.1, 0.9))
    return "\n".join(lines), held


def cycles_report(found: Sequence[Outage]) -> tuple[str, list[Goal]]:
    """Return how well period and duty are read."""
    lines = ["| | " + " | ".join(KINDS) + " |", "|---|---|---|---|"]
    period: dict[int, list[float]] = {k: [] for k in range(3)}
    duty: dict[int, list[float]] = {k: [] for k in range(3)}
    change = []
    unseen = 0
    for one in found:
        for said_period, said_duty, true_period, true_duty in one.cycles:
            unseen += said_period is None
            if said_period is not None and true_period == true_period:  # noqa: PLR0124 - nan
                period[one.kind].append(abs(said_period / true_period - 1.0))
            if said_duty is not None:
                duty[one.kind].append(said_duty - true_duty)
        first, second = one.cycles
        if first[1] is not None and second[1] is not None:
            change.append(abs((second[1] - first[1]) - (second[3] - first[3])))
    p = [f"{100 * quantile(period[k], 0.5):.1f} / {100 * quantile(period[k], 0.9):.1f} %" for k in range(3)]
    d = [
        f"{sum(duty[k]) / max(1, len(duty[k])):+.3f} / {quantile([abs(v) for v in duty[k]], 0.9):.3f}" for k in range(3)
    ]
    lines += ["| period, median / p90 error of a day | " + " | ".join(p) + " |"]
    lines += ["| duty, bias / p90 error | " + " | ".join(d) + " |"]
    lines += [f"\nDay-to-day change of duty: error {quantile(change, 0.5):.3f}, p90 {quantile(change, 0.9):.3f}."]
    lines += [f"No cycles seen on {unseen} of {2 * len(found)} days."]
    everything = [v for k in range(3) for v in duty[k]]
    held = [
        goals.no_quantile_above("period of a day, median error", [v for k in range(3) for v in period[k]], 0.5, 0.02),
        goals.no_quantile_above("duty minus 0.05, error, p90", [abs(v - 0.05) for v in everything], 0.9, 0.08),
        goals.no_quantile_above("its day-to-day change, error, p90", change, 0.9, 0.025),
    ]
    return "\n".join(lines), held

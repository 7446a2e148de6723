"""Report on causes, quiet days, drift, ageing, and on the plant itself."""

from collections.abc import Sequence

import numpy as np

from tests.evaluate import goals, scenario
from tests.evaluate.batch import Batch
from tests.evaluate.goals import Goal
from tests.evaluate.score import quantile
from tests.evaluate.trial import Aged, Watch

GROUP = {
    "none": "normal", "opened": "opened", "ajar": "lid-or-load", "load": "lid-or-load", "power": "power",
    "out": "room-air", "defrost": "room-air", "auto-defrost": "auto-defrost",
}  # fmt: skip
SAID = ("normal", "opened", "lid-or-load", "power", "room-air", "auto-defrost", "drift", "cannot-tell")
UNKNOWN = "cannot-tell"
ALARMING = ("power", "lid-or-load", "room-air")
Caused = tuple[str, float, Watch]


def published(watch: Watch, minute: int) -> str:
    """Return the group that may be said so many minutes after the event."""
    at = minute // 5 - 1
    return watch.label[at] if watch.held[at] else UNKNOWN


def causes_report(found: Sequence[Caused]) -> tuple[str, list[Goal]]:
    """Return what was said of things that happened."""
    lines = ["| instant label | right | not seen or cannot tell | wrong |", "|---|---|---|---|"]
    for minute in (10, 20, 40, 90):
        said = [(GROUP[name], watch.label[minute // 5 - 1]) for name, _, watch in found]
        right = sum(true == got for true, got in said)
        unseen = sum(true != got and got in {"normal", UNKNOWN} for true, got in said)
        shares = " | ".join(f"{n / len(found):.2f}" for n in (right, unseen, len(found) - right - unseen))
        lines.append(f"| {minute} min | {shares} |")
    lines += ["", "| true, held at 20 / 40 / 90 min | " + " | ".join(SAID) + " |", "|---" * (len(SAID) + 1) + "|"]
    held: dict[tuple[str, int, str], int] = {}
    for row in ("none", "opened", "ajar", "load", "power", "out", "defrost", "auto-defrost"):
        mine = [watch for name, _, watch in found if name == row]
        for minute in (20, 40, 90):
            for label in SAID:
                held[row, minute, label] = sum(published(watch, minute) == label for watch in mine)
        cells = [" ".join(str(held[row, minute, label]) for minute in (20, 40, 90)) for label in SAID]
        lines.append(f"| {row} ({len(mine)}) | " + " | ".join(cells) + " |")
    lines += ["", "| true | min to the right group held, median | p75 | never in 6 h |", "|---|---|---|---|"]
    for row in list(GROUP)[1:]:
        delays = [_delay(watch.label, watch.held, GROUP[row]) for name, _, watch in found if name == row]
        never = sum(d == float("inf") for d in delays)
        half, most = (float(np.quantile(delays, q, method="lower")) for q in (0.5, 0.75))
        lines.append(f"| {row} | {half:.0f} | {most:.0f} | {never} of {len(delays)} |")
    lines += ["", _ajar(found)]
    return "\n".join(lines), _cause_goals(found, held)


def _cause_goals(found: Sequence[Caused], held: dict[tuple[str, int, str], int]) -> list[Goal]:
    count = {row: sum(name == row for name, _, _ in found) for row in GROUP}

    def both(rows: Sequence[str], minute: int, label: str) -> tuple[int, int]:
        return sum(held[row, minute, label] for row in rows), sum(count[row] for row in rows)

    quiet = [watch for name, _, watch in found if name == "none"]
    wrong = sum(any(s == "room-air" and h for s, h in zip(w.label, w.held, strict=True)) for w in quiet)
    return [
        goals.no_share_below("room air held at 20 min", *both(("out", "defrost"), 20, "room-air"), 0.95),
        goals.no_share_below("power held at 90 min", *both(("power",), 90, "power"), 0.80),
        goals.no_share_below("lid or load held at 90 min", *both(("ajar", "load"), 90, "lid-or-load"), 0.55),
        Goal("quiet rows called room air", f"{wrong} of {len(quiet)}", "0", wrong > 0, wrong == 0),
    ]


def _delay(label: Sequence[str], held: Sequence[bool], wanted: str) -> float:
    for at, (said, is_held) in enumerate(zip(label, held, strict=True)):
        if said == wanted and is_held:
            return 5.0 * (at + 1)
    return float("inf")


def _ajar(found: Sequence[Caused]) -> str:
    parts = []
    for low, high in ((-9.0, 0.5), (0.5, 1.5), (1.5, 3.0), (3.0, 99.0)):
        mine = [watch for name, size, watch in found if name == "ajar" and low <= size < high]
        seen = sum(_delay(watch.label, watch.held, "lid-or-load") < float("inf") for watch in mine)
        parts.append(f"{max(low, 0):g} to {high:g} K {seen} of {len(mine)}")
    return "Ajar seen in 6 h, by the mean air 2 to 4 h later: " + ", ".join(parts) + "."


def episodes(on: Sequence[bool]) -> int:
    """Return how often something came on; within 30 min of the last it is the same time."""
    count, since = 0, 99
    for now in on:
        if now:
            count += since > 6
            since = 0
        else:
            since += 1
    return count


def quiet_report(found: Sequence[Watch]) -> tuple[str, list[Goal]]:
    """Return how often something was said on days on which only lids were opened."""
    days = sum(len(watch.label) for watch in found) / 288.0
    lines = [f"False labels per 100 days, of {days:.0f} freezer-days:", ""]
    lines += ["| | at once | held 10 min | held 20 min |", "|---|---|---|---|"]
    total = 0
    for label in (*ALARMING, "auto-defrost", "drift"):
        counts = []
        for name in ("", "held", "held_20"):
            flags = [getattr(w, name) if name else [True] * len(w.label) for w in found]
            counts.append(
                sum(
                    episodes([s == label and f for s, f in zip(w.label, flag, strict=True)])
                    for w, flag in zip(found, flags, strict=True)
                )
            )
        total += counts[2] if label in ALARMING else 0
        drifts = counts[1]
        lines.append(f"| {label} | " + " | ".join(f"{100 * c / days:.1f}" for c in counts) + " |")
    return "\n".join(lines), [
        goals.no_rate_above("wrong alarm labels held 20 min", total, days, 0.5, "per 100 days"),
        goals.no_rate_above("false drift", drifts, days, 0.5, "per 100 days"),
    ]


def drift_report(found: Sequence[tuple[int, float, Watch]]) -> tuple[str, list[Goal]]:
    """Return how soon a turned or creeping thermostat was seen."""
    lines = ["| drift | seen in 4 days | h till seen, median | p90 |", "|---|---|---|---|"]
    delays = {}
    for index, name in enumerate(scenario.DRIFTS):
        mine = [_delay(w.label, w.held, "drift") / 60 for label, _, w in found if label == index]
        seen = [d for d in mine if d < float("inf")]
        lines.append(f"| {name} | {len(seen)} of {len(mine)} | {quantile(seen, 0.5):.1f} | {quantile(seen, 0.9):.1f} |")
        delays[name] = mine
    quick = [_delay(w.label, w.held, "drift") / 60 for label, size, w in found if label == 1 and size >= 0.9]
    step, ramp = sum(d <= 8 for d in delays["step"]), sum(d <= 48 for d in quick)
    return "\n".join(lines), [
        goals.no_share_below("drift step seen in 8 h (our reading: of 90 %)", step, len(delays["step"]), 0.90),
        goals.no_share_below("ramp of 0.9 K/day or more seen in 48 h (of 90 %)", ramp, len(quick), 0.90),
    ]


def trend_report(found: Sequence[tuple[int, float, Aged]]) -> tuple[str, list[Goal]]:
    """Return what seven weeks of ageing looked like."""
    lines = ["| seven weeks | n | running for the same room | without the room | period | told |", "|---" * 6 + "|"]
    told = {}
    for index, name in enumerate(scenario.WEAR):
        mine = [aged for label, _, aged in found if label == index]
        spans = []
        for values in ([a.run for a in mine], [a.plain for a in mine], [a.period for a in mine]):
            known = [v for v in values if v is not None]
            spans.append(
                " / ".join(f"{100 * quantile(known, q):+.0f}" for q in (0.1, 0.5, 0.9)) + " %" if known else "-"
            )
        told[name] = sum(a.flagged for a in mine)
        lines.append(f"| {name} | {len(mine)} | " + " | ".join(spans) + f" | {told[name]} |")
    many = {name: sum(label == i for label, _, _ in found) for i, name in enumerate(scenario.WEAR)}
    strong = [aged.flagged for label, size, aged in found if label == 2 and size >= 0.3]
    return "\n".join(lines), [
        goals.no_share_below("gasket of +30 % or more told in seven weeks", sum(strong), len(strong), 0.85),
        goals.no_share_above("told though nothing ages", told["none"], many["none"], 0.10),
    ]


def plant_report(batch: Batch) -> str:
    """Return the plant beside the published marks."""
    cut = int(batch.cut[0])
    running = batch.running[:cut]
    duty = running.mean(axis=0) / 6.0
    on = running > 0
    starts = (on[1:] & ~on[:-1]).sum(axis=0) / (cut / 60.0)
    ripple = np.quantile(batch.reading[cut - 1440 : cut], 0.95, axis=0)
    ripple -= np.quantile(batch.reading[cut - 1440 : cut], 0.05, axis=0)
    lines = ["| check | published | chest | upright | automatic defrost |", "|---|---|---|---|---|"]
    for what, mark, values in (
        ("duty, p10 / median / p90", "about 0.4", duty),
        ("starts per hour", "1 to 2 (upright)", starts),
        ("ripple of the reading, K", "2 to 5 (from memory)", ripple),
        ("warmest food against air, K", "-", (batch.top[:cut] - batch.air[:cut]).mean(axis=0)),
    ):
        cells = []
        for kind in range(3):
            chosen = values[batch.kind == kind].tolist()
            cells.append(" / ".join(f"{quantile(chosen, q):.2f}" for q in (0.1, 0.5, 0.9)))
        lines.append(f"| {what} | {mark} | " + " | ".join(cells) + " |")
    top = at_rule(batch)
    above = ", ".join(f"{(top > level).mean():.0%} above {level:g}" for level in (4.4, 0.0, -5.0, -9.4))
    lines += ["", f"Warmest layer when the 48 h (full) or 24 h rule ends, of {len(batch)}: {above} °C."]
    return "\n".join(lines)


def at_rule(batch: Batch) -> np.ndarray:
    """Return °C of each warmest layer when the rule ends: 48 h from three quarters full on, else 24 h."""
    hours = np.where(batch.fill >= 0.75, 48, 24)
    out: np.ndarray = batch.top[batch.cut + hours * 60, np.arange(len(batch))]
    return out

"""The picture of a recorded freezer: what `gatewayd forecast --replay` and the evaluation ask."""

from collections.abc import Sequence

from gatewayd.model.moment import MINUTE, Moment
from gatewayd.model.outlook import Cause, Span
from gatewayd.thermal.computing import compute
from gatewayd.thermal.facts import Facts
from gatewayd.thermal.habit import learn
from gatewayd.thermal.picture import HABIT_EVERY, Kept, Picture

FIT_EVERY = 60  # min between fits of a recording that warms, where only the food is asked for: enough to follow it


class Played:
    """Play readings of one freezer, the oldest first, and answer at any time in between."""

    def __init__(self, facts: Facts, seed: int = 1, kept: Kept | None = None) -> None:
        """Begin with the facts that the owner gave."""
        self.picture = Picture(facts, seed, kept)
        self._minute: int | None = None
        self._t = 0.0
        self._fitted = -FIT_EVERY

    def take(self, t: float, air: float | None, room: float | None = None) -> None:
        """Take a reading (°C) at `t` seconds from the start; raise ValueError if time goes backwards."""
        if t < self._t:
            raise ValueError(f"a reading at {t:g} s comes after one at {self._t:g} s; they must be in order of time")
        minute = int(t // 60)
        if self._minute is None:
            self._minute = minute
        for passed in range(self._minute + 1, minute + 1):
            self._pass(passed)
        self._minute, self._t = max(self._minute, minute), t
        self.picture.take(minute, air, room)

    def pass_to(self, t: float) -> None:
        """Let time pass without a reading, up to `t` seconds."""
        self.take(t, None)

    def _pass(self, minute: int) -> None:
        """Do what the watch does each minute, with the costly part as seldom as it does no harm."""
        now = self._moment(minute)
        self.picture.look(now)
        picture, kept = self.picture, self.picture.kept
        if minute % 60 == 0 and not picture.beyond and minute - kept.habit_at >= HABIT_EVERY:
            kept.habit_at = minute
            picture.know(learn(picture.course, minute, picture.facts.kind))
        lesson = picture.lesson()
        if lesson is not None:
            picture.fitted(compute(lesson), now)

    def _moment(self, minute: int) -> Moment:
        return Moment(minute * MINUTE, minute * MINUTE, "played")

    def look(self) -> Cause:
        """Return the cause as of now."""
        return self.picture.cause

    @property
    def food(self) -> tuple[float, float] | None:
        """Return °C of the warmest layer and of the bulk, by a fit of the last hour while it warms."""
        minute = (self._minute or 0) + 1
        if self.picture.beyond and minute - self._fitted >= FIT_EVERY:
            self._fitted = minute
            self.picture.fitted(compute(self.picture.ask(minute)), self._moment(minute))
        return self.picture.food

    def answer(self) -> dict[str, object]:
        """Return state, reserve, forecast, cause, cycles and food as of now, as plain values."""
        minute = (self._minute or 0) + 1
        now = self._moment(minute)
        self.picture.look(now)
        result = compute(self.picture.ask(minute, whole=True))
        self.picture.fitted(result, now)
        cause, food = self.picture.cause, self.picture.food
        outlook, cycled = self.picture.outlook, result.cycles
        return {
            "at_h": round(self._t / 3600, 3),
            "state": self.picture.state(minute),
            "reserve": rows(result.reserve),
            "forecast": rows(outlook.forecast if outlook else ()),
            "cause": {"label": cause.label.value, "sure": cause.sure.value, "held": cause.held},
            "cycles": {
                "period_s": round(cycled.period, 1) if cycled else None,
                "duty": round(cycled.duty, 4) if cycled else None,
                "starts_per_day": round(cycled.starts, 2) if cycled else None,
            },
            "food_c": {"top": round(food[0], 2) if food else None, "bulk": round(food[1], 2) if food else None},
        }


def rows(spans: Sequence[Span]) -> list[dict[str, object]]:
    """Return spans as plain rows: hours, 0 = beyond already, None = not within 9 days."""
    return [
        {
            "where": s.where.value,
            "level_c": s.level,
            "early_h": s.early,
            "likely_h": s.likely,
            "late_h": s.late,
        }
        for s in spans
    ]

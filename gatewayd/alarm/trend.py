"""Say how fast a freezer's air warms, and whether it was on its way up when last seen."""

import math
from collections import deque
from dataclasses import dataclass, field

from gatewayd.alarm.kinds import TREND_STEP
from gatewayd.model.moment import HOUR, MINUTE

POINTS = 31  # one hour of points two minutes apart
SPEED_OVER = 30 * MINUTE  # long enough to outlast a look under the lid, short against a thaw of hours
SPEED_LEAST = 8 * MINUTE  # five points; a slope over less is noise of the sensor's 0.1 K steps
DAY_HOURS = 24
ABOVE_HABIT = 1.0  # K above the day's own warmest: more than the step and noise of a probe, less than a fault shows


@dataclass(slots=True)
class Trend:
    """Hold the last hour in points of (steady ms, °C), and the warmest reading of each hour of the last day."""

    points: deque[tuple[int, float]] = field(default_factory=lambda: deque(maxlen=POINTS))
    hours: deque[tuple[int, float]] = field(default_factory=lambda: deque(maxlen=DAY_HOURS + 1))

    def add(self, steady: int, value: float) -> bool:
        """Take one reading (°C); return whether it became a point."""
        point = not self.points or steady - self.points[-1][0] >= TREND_STEP
        if point:
            self.points.append((steady, value))
        hour = steady // HOUR
        if self.hours and self.hours[-1][0] == hour:
            if value > self.hours[-1][1]:
                self.hours[-1] = (hour, value)
        else:
            self.hours.append((hour, value))
        return point

    def speed(self) -> float | None:
        """Return the slope of the last 30 min in K per hour by least squares, None from less than 8 min."""
        if not self.points:
            return None
        end = self.points[-1][0]
        begin = end - SPEED_OVER
        points = [(t - end, v) for t, v in self.points if t >= begin]
        if points[-1][0] - points[0][0] < SPEED_LEAST:
            return None
        sum_t, sum_v = 0, 0.0
        for t, v in points:
            sum_t += t
            sum_v += v
        middle_t, middle_v = sum_t / len(points), sum_v / len(points)
        spread = slope = 0.0
        for t, v in points:
            off = t - middle_t
            spread += off * off
            slope += off * (v - middle_v)
        return slope / spread * HOUR

    def least(self, since: int) -> float:
        """Return the lowest point (°C) from `since` (steady ms) on, infinite if there is none."""
        found = math.inf
        for steady, value in reversed(self.points):
            if steady < since:
                break
            found = min(found, value)
        return found

    def rising(self) -> bool:
        """Return whether the last reading lay above everything in the day before and was going up.

        A cooling cycle goes up by 2-5 K every hour, so the slope alone says nothing.
        """
        speed = self.speed()
        if speed is None or speed <= 0:
            return False
        now, value = self.points[-1]
        before = [warmest for hour, warmest in self.hours if hour < now // HOUR - 1]
        return bool(before) and value > max(before) + ABOVE_HABIT

    def begin_anew(self) -> None:
        """Drop the last hour: what comes is said by another probe. The hours before it still tell what is usual."""
        self.points.clear()
        if self.hours:
            self.hours.pop()

    def forget_steady(self) -> None:
        """Drop what is counted in the steady time of another boot."""
        self.points.clear()
        self.hours.clear()

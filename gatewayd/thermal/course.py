"""The course of one freezer's temperatures, a slot a minute: what all of thermal/ looks at.

A slot holds the mean of what was heard within that minute, nan where nothing was. The room's temperature stands beside
the air's, nan where no sensor is in the room.
"""

from array import array
from math import isnan, nan

MINUTES = 11 * 24 * 60  # kept: the longest forecast of 9 days, and the two days before it that a fit begins from


class Course:
    """Hold the minutes of one freezer, the newest last.

    `first` is the number of the first slot; a slot's number is its minute on the caller's clock (steady, or s of a
    recording divided by 60). `air` and `room` are in °C.
    """

    def __init__(self) -> None:
        """Begin with nothing."""
        self.first = 0
        self.air: array[float] = array("d")
        self.room: array[float] = array("d")
        self._n = 0
        self._n_room = 0

    def __len__(self) -> int:
        """Return the number of slots."""
        return len(self.air)

    @property
    def end(self) -> int:
        """Return the number of the slot after the newest."""
        return self.first + len(self.air)

    def take(self, minute: int, air: float | None, room: float | None = None) -> None:
        """Take a reading (°C) heard in the slot `minute`. One of an earlier slot than the newest is left out."""
        if not len(self.air):
            self.first = minute
        if minute >= self.end:
            gap = minute + 1 - self.end
            if gap >= MINUTES:
                self.first, self.air, self.room, gap = minute, array("d"), array("d"), 1
            self.air.extend([nan] * gap)
            self.room.extend([nan] * gap)
            self._n = self._n_room = 0
            self._trim()
        elif minute < self.end - 1:
            return
        if air is not None:
            self.air[-1] = air if not self._n else (self.air[-1] * self._n + air) / (self._n + 1)
            self._n += 1
        if room is not None:
            self.room[-1] = room if not self._n_room else (self.room[-1] * self._n_room + room) / (self._n_room + 1)
            self._n_room += 1

    def _trim(self) -> None:
        over = len(self.air) - MINUTES
        if over > 360:  # in lumps of some hours: moving all of it each minute would cost more than it saves
            del self.air[:over], self.room[:over]
            self.first += over

    def copy(self) -> "Course":
        """Return a copy, for a fit in another thread."""
        other = Course()
        other.first, other.air, other.room = self.first, self.air[:], self.room[:]
        return other

    def means(self, begin: int, end: int, step: int = 5) -> list[float]:
        """Return means of the air (°C) over `step` slots each from slot `begin` to `end`, nan where nothing was."""
        return _means(self.air, begin - self.first, end - self.first, step)

    def room_means(self, begin: int, end: int, step: int = 5) -> list[float]:
        """Return the same of the room."""
        return _means(self.room, begin - self.first, end - self.first, step)

    def mean(self, begin: int, end: int) -> float:
        """Return the mean of the air (°C) over the slots `begin` to `end`, nan where nothing was."""
        return (_means(self.air, begin - self.first, end - self.first, max(1, end - begin)) or [nan])[0]

    def room_mean(self, begin: int, end: int) -> float:
        """Return the same of the room."""
        return (_means(self.room, begin - self.first, end - self.first, max(1, end - begin)) or [nan])[0]


def _means(values: "array[float]", begin: int, end: int, step: int) -> list[float]:
    out = []
    for left in range(begin, end, step):
        part = [v for v in values[max(0, left) : max(0, min(left + step, end))] if not isnan(v)]
        out.append(sum(part) / len(part) if part else nan)
    return out

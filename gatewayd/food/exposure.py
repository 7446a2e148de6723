"""What warmth has cost: the temperatures of a freezer since a time, and the sum of ageing over them.

Time, temperature, tolerance: what each span uses up of the storage life at its temperature is added, in whatever order
(Van Arsdel, Copley & Olson, "Quality and Stability of Frozen Foods", 1969; Jul, "The Quality of Frozen Foods", 1984).
A span in which nothing was heard counts as the warmer of what was heard before and after it, one with late readings as
the warmest of those too. How warm it was before it was watched nobody knows: it counts as it runs ordinarily, warm
spells left out, and no colder than -18 °C.
"""

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, compress

from gatewayd.food.life import BASE, COLDEST, FREEZING, GAS, HOT_MOST, MELTING, WARM
from gatewayd.model.moment import DAY, HOUR, MINUTE

SLOT = 15 * MINUTE  # ms; one temperature each, as the store sums them up
ORDINARY = 2 * DAY // SLOT  # slots that must be heard before an ordinary running is known (our choice)
SAID = HOUR // SLOT  # slots; shorter silences are a sensor's ordinary pace (our choice)
LEAST_SPELL = HOUR // SLOT  # slots above -12 °C; shorter ones are a lid or a load (our choice)
SAME_SPELL = 6 * HOUR // SLOT  # slots; warm again so soon is the same trouble (our choice)

# For values within a span from low to high, the mean of an exponential of slope a is at most that of the mean plus
# a (high - low)²/8 (W. Hoeffding, J. Amer. Statist. Assoc. 58 (1963) 13-30, lemma 1). With the steepest food's slope
# that is the temperature to take for a slot whose course within is not known.
SPREAD = math.log(HOT_MOST) / 10 / 8  # 1/K

Slots = Sequence[tuple[int, int]]  # (slot, thousandths of a °C), in order


def spent(stages: Iterable[tuple[float, float]]) -> float:
    """Return the share of its storage life that a food has used: the sum of (time, life at that temperature)."""
    return math.fsum(time / life for time, life in stages)


def effective(rate: float, worths: Sequence[float]) -> float:
    """Return the steady temperature (°C) that ages food `rate` times as fast as -18 °C, -5 °C at most.

    `worths` are what `table` made of the food's pace. It lies between the coldest and the warmest of what was summed.
    """
    return COLDEST + min(bisect_left(worths, rate), TOP - 1) / 100


def kinetic_mean(celsius: Sequence[float], energy: float) -> float:
    """Return the mean kinetic temperature (°C) of equal times, at an activation energy (kJ/mol); USP <1079.2>."""
    kelvin = energy / GAS
    mean = math.fsum(math.exp(-kelvin / (one + FREEZING)) for one in celsius) / len(celsius)
    return kelvin / -math.log(mean) - FREEZING


def upper(low: int, high: int, mean: int) -> int:
    """Return the temperature to take for a slot with this low, high and mean, all in thousandths of a °C."""
    return min(high, mean + math.ceil(SPREAD * (high - low) ** 2 / 1000))


@dataclass(frozen=True, slots=True)
class Probe:
    """Hold what one probe told: `heard` once a slot at most, and `late`, measured somewhere from slot to slot."""

    heard: Slots
    late: Sequence[tuple[int, int, int]] = ()  # (first slot, last slot, thousandths of a °C)


# Ageing is taken from a table of hundredths of a °C over the range in which it changes at all. A hundredth is 0.3 % of
# the steepest ageing, and rounds up as often as down (our choice; it makes years of quarters a matter of milliseconds).
COLD_END = round(COLDEST * 1000)
TOP = round((MELTING - COLDEST) * 100) + 1  # the step above -5 °C stands for all that is thawed


def step(milli: int) -> int:
    """Return the step of the table for a temperature (thousandths of a °C)."""
    return min(max((milli - COLD_END + 5) // 10, 0), TOP)


def table(worth: Callable[[float], float]) -> list[float]:
    """Return what a day at each step's temperature (°C) is worth."""
    return [worth(COLDEST + number / 100) for number in range(TOP + 1)]


@dataclass(frozen=True, slots=True)
class Course:
    """Hold a freezer's temperature by its warmest probe, a step of the table for every slot from `begin` on.

    `guessed` has 1 where it was not heard for an hour or more, or only late. `before` is what counts before `begin`.
    """

    begin: int
    steps: Sequence[int]
    guessed: bytearray
    before: int

    def sums(self, worths: Sequence[float]) -> "Sums":
        """Return the running sum of days, each worth what a table made by `table` says of its temperature."""
        running = list(accumulate(map(worths.__getitem__, self.steps), initial=0.0))
        return Sums(self.begin * SLOT, running, worths[self.before])

    def heard(self, worths: Sequence[float]) -> "Sums":
        """Return as `sums` does, where it was heard alone; what was guessed and what is before `begin` is worth 0."""
        known = (0.0 if guess else worths[at] for at, guess in zip(self.steps, self.guessed, strict=True))
        running = list(accumulate(known, initial=0.0))
        return Sums(self.begin * SLOT, running, 0.0)

    def guesses(self) -> "Sums":
        """Return the running sum of the days that were guessed; what is before `begin` is not among them."""
        return Sums(self.begin * SLOT, list(accumulate(map(float, self.guessed), initial=0.0)), 0.0)

    def spells(self) -> list[int]:
        """Return when (wall ms) it was warm for an hour or more: above -12 °C, the keeper's line of good keeping."""
        limit = step(round(WARM * 1000))
        found: list[int] = []
        last = -SAME_SPELL - 1
        for begin, end in _runs(bytes(map(limit.__lt__, self.steps))):
            if end - begin >= LEAST_SPELL:
                if begin - last > SAME_SPELL:
                    found.append((self.begin + begin) * SLOT)
                last = end
        return found


@dataclass(frozen=True, slots=True)
class Sums:
    """Hold a running sum by slots, which never falls.

    It begins at `since` (wall ms); a day before that is worth `before`.
    """

    since: int
    running: Sequence[float]
    before: float

    def between(self, begin: int, end: int) -> float:
        """Return the sum from one wall stamp to another, in days; 0 where the end is not after the begin."""
        return max(0.0, self._upto(end) - self._upto(begin)) * SLOT / DAY

    def _upto(self, wall: int) -> float:
        offset = wall - self.since
        if offset <= 0:
            return offset / SLOT * self.before
        slot, rest = divmod(offset, SLOT)
        if slot >= len(self.running) - 1:
            return self.running[-1]
        return self.running[slot] + rest / SLOT * (self.running[slot + 1] - self.running[slot])


def course(probes: Iterable[Probe], now: int) -> Course | None:
    """Return the course of a freezer until `now` (wall ms) by its warmest probe, None if none was ever heard.

    What is stamped later than now is left out.
    """
    end = now // SLOT
    filled = [found for probe in probes if (found := _fill(probe, end)) is not None]
    if not filled:
        return None
    begin = min(one.begin for one in filled)
    milli: list[int | None] = [None] * (end + 1 - begin)
    guessed = bytearray(len(milli))
    for number, one in enumerate(filled):
        _lay(milli, guessed, one, one.begin - begin, alone=number == 0)
    _bridge(milli, guessed)
    whole = [one for one in milli if one is not None]  # all of them: the first and what was bridged
    steps = [(one - COLD_END + 5) // 10 for one in whole]
    if min(steps) < 0 or max(steps) > TOP:
        steps = list(map(step, whole))
    return Course(begin, steps, guessed, _ordinary(steps, guessed))


def _ordinary(steps: Sequence[int], guessed: bytearray) -> int:
    """Return the step at which a freezer runs ordinarily: the median of what was heard outside warm spells.

    That of -18 °C where it is colder, or where less than two days of it are known.
    """
    cold, counts = step(round(WARM * 1000)), Counter(compress(steps, map((1).__sub__, guessed)))
    known = sorted((at, many) for at, many in counts.items() if at <= cold)
    half, base = sum(many for _, many in known) / 2, step(round(BASE * 1000))
    if half * 2 < ORDINARY:
        return base
    upto = accumulate(many for _, many in known)
    return max(base, next(at for (at, _), many in zip(known, upto, strict=True) if many >= half))


@dataclass(frozen=True, slots=True)
class _Filled:
    begin: int
    milli: list[int]
    guessed: bytearray


def _fill(probe: Probe, end: int) -> _Filled | None:
    """Return the course of one probe from its first to its last slot, late readings over it."""
    heard = (
        probe.heard if not probe.heard or probe.heard[-1][0] <= end else [one for one in probe.heard if one[0] <= end]
    )
    late = [(first, min(last, end), one) for first, last, one in probe.late if first <= end]
    slots = [*(slot for slot, _ in heard[:1]), *(slot for slot, _ in heard[-1:])]
    slots += [slot for first, last, _ in late for slot in (first, last)]
    if not slots:
        return None
    begin = min(slots)
    milli: list[int | None] = [None] * (max(slots) + 1 - begin)
    for slot, one in heard:
        milli[slot - begin] = one
    guessed = bytearray(len(milli))
    _bridge(milli, guessed)
    for first, last, one in late:
        for index in range(first - begin, last + 1 - begin):
            before = milli[index]
            milli[index] = one if before is None else max(before, one)
            guessed[index] = 1
    _bridge(milli, guessed)  # between late readings, where nothing else was heard
    return _Filled(begin, [one for one in milli if one is not None], guessed)


def _lay(milli: list[int | None], guessed: bytearray, one: _Filled, offset: int, *, alone: bool) -> None:
    """Lay one probe's course over the freezer's: the warmest counts, and it is guessed where that one is."""
    if alone:
        milli[offset : offset + len(one.milli)] = one.milli
        guessed[offset : offset + len(one.milli)] = one.guessed
        return
    for index, (mine, guess) in enumerate(zip(one.milli, one.guessed, strict=True), offset):
        there = milli[index]
        if there is None or mine > there:
            milli[index], guessed[index] = mine, guess


def _bridge(milli: list[int | None], guessed: bytearray) -> None:
    """Fill what was not heard with the warmer of its neighbours, or the only one; long silences are marked."""
    if None not in milli:
        return
    for begin, end in _runs(bytes(one is None for one in milli)):
        sides = [milli[begin - 1] if begin else None, milli[end] if end < len(milli) else None]
        known = [one for one in sides if one is not None]
        if known:
            milli[begin:end] = [max(known)] * (end - begin)
            if end - begin >= SAID:
                guessed[begin:end] = b"\1" * (end - begin)


def _runs(flags: bytes) -> Iterator[tuple[int, int]]:
    """Yield from where to before where the flags are 1."""
    end = 0
    while (begin := flags.find(1, end)) >= 0:
        end = flags.find(0, begin)
        if end < 0:
            end = len(flags)
        yield begin, end

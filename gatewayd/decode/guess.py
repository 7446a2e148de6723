"""Find which bytes of an unknown advertisement look like a temperature.

Nothing here is certain. It ranks the layouts that could be a freezer's temperature, each with a ready rule, for a
person who knows what the sensor shows just now and picks one.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from gatewayd.decode.bytesrule import DECIMALS
from gatewayd.model.format import ByteRule

COLDEST, WARMEST = -30.0, 30.0  # °C; from a freezer turned right down to a summer garage
# What a freezer shows when it works; without a word of the keeper's this is where the value is looked for.
USUAL = (-26.0, -12.0)
STEP = 3.0  # K between two advertisements of some seconds; more is no air in a box of metal
LONGEST = 255  # bytes; longer is no advertisement
NEWEST = 500  # frames; more would only cost time
KEPT = 20  # candidates; nobody reads on
# Factors in use, the likeliest first: hundredths and tenths (SIG, BTHome), 8.8 fixed point (Eddystone), sixteenths
# (1-wire), 1/128 (common temperature chips), thousandths; for one byte whole and half degrees (SIG Temperature 8).
FACTORS = {2: (0.01, 0.1, 1 / 256, 1 / 16, 1 / 128, 0.001), 1: (1.0, 0.5)}

# Weights of the rank, in K: how far off a value may be before another sign outweighs it. By judgement, tried on the
# open formats: there the true bytes come first when the keeper says what the sensor shows.
_NEVER_MOVES = 1.5  # a constant is rather a model number than air, but a good freezer does hold still for minutes
_ZERO = 20.0  # bytes that are always 0 are empty
_ONE_BYTE = 2.0  # any byte is a small number
_COARSE_ONLY = 3.0  # the coarse byte moves and the fine one never does: then one byte is the whole value
_RARER = 0.2  # for each place further down in FACTORS
_ROUGH = 4.0  # for each K of the middle step


class Candidate(NamedTuple):
    """Hold one layout that could be a temperature.

    `newest`, `lowest` and `highest` (°C) are what it makes of the frames, `moves` how many times the value changed;
    `rank` is smaller for the likelier.
    """

    rule: ByteRule
    newest: float
    lowest: float
    highest: float
    moves: int
    rank: float


def candidates(
    history: Sequence[bytes], around: float | None = None, *, service: str | None = None, maker: int | None = None
) -> list[Candidate]:
    """Return the likeliest layouts, best first.

    `history` are the data of one element (service data of `service`, or manufacturer data of `maker`), oldest first;
    `around` (°C) is what the sensor shows now. Only frames of the commonest length count: one of another length has
    another layout.
    """
    frames = [f for f in history[-NEWEST:] if 0 < len(f) <= LONGEST]
    if not frames:
        return []
    length = Counter(map(len, frames)).most_common(1)[0][0]
    frames = [f for f in frames if len(f) == length]
    found: list[Candidate] = []
    for width, factors in FACTORS.items():
        for offset in range(length - width + 1):
            for order in ("little", "big") if width > 1 else ("little",):
                raws = _raws(frames, offset, width, order)
                for place, factor in enumerate(factors):
                    rank = _rank(raws, factor, around, width, place)
                    if rank is not None:
                        rule = ByteRule(service, maker, length, offset, width, True, order, factor)
                        found.append(_candidate(rule, raws, rank))
    found.sort(key=lambda c: (c.rank, c.rule.offset, c.rule.order != "little"))
    return found[:KEPT]


def _raws(frames: Sequence[bytes], offset: int, width: int, order: str) -> list[int]:
    step = 1 if order == "little" else -1
    return [int.from_bytes(f[offset : offset + width][::step], "little", signed=True) for f in frames]


def _rank(raws: Sequence[int], factor: float, around: float | None, width: int, place: int) -> float | None:
    """Return how unlikely the values are, in K; None for what no freezer shows."""
    if not COLDEST <= min(raws) * factor <= max(raws) * factor <= WARMEST:
        return None
    steps = sorted(abs(b - a) * factor for a, b in pairwise(raws) if a != b)
    if steps and steps[-1] > STEP:
        return None
    newest = raws[-1] * factor
    low, high = (around, around) if around is not None else USUAL
    rank = max(low - newest, newest - high, 0.0) + place * _RARER
    if width == 1:
        rank += _ONE_BYTE
    elif steps and all((raw - raws[0]) % 256 == 0 for raw in raws):
        rank += _COARSE_ONLY
    if steps:
        rank += steps[len(steps) // 2] * _ROUGH
    else:
        rank += _NEVER_MOVES if newest else _ZERO
    return rank


def _candidate(rule: ByteRule, raws: Sequence[int], rank: float) -> Candidate:
    newest, lowest, highest = (round(raw * rule.factor, DECIMALS) for raw in (raws[-1], min(raws), max(raws)))
    moves = sum(a != b for a, b in pairwise(raws))
    return Candidate(rule, newest, lowest, highest, moves, rank)

"""Guesses: the true bytes of known layouts come first."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode.bytesrule import decode
from gatewayd.decode.guess import KEPT, candidates
from gatewayd.model.reading import Decoded

# Layouts as a stranger's sensor might have them: where the temperature lies, its order and factor.
LAYOUTS = [
    (2, "little", 0.01),
    (3, "big", 0.01),
    (6, "big", 0.1),
    (4, "little", 0.1),
    (5, "big", 1 / 256),
    (1, "little", 1 / 16),
]


def history(rng: random.Random, offset: int, order: str, factor: float, frames: int = 60) -> tuple[list[bytes], float]:
    """Return frames of a sensor at about -18.6 °C, with a counter, a battery and a name, and the newest value."""
    celsius, made = -18.6, []
    fixed = rng.randbytes(12)
    for number in range(frames):
        celsius += rng.choice((-1, 0, 0, 1)) * max(factor, 0.03)
        raw = round(celsius / factor)
        frame = bytearray(fixed)
        frame[9], frame[11] = number % 256, 88
        two = raw.to_bytes(2, "big" if order == "big" else "little", signed=True)
        frame[offset : offset + 2] = two
        made.append(bytes(frame))
    return made, raw * factor


@pytest.mark.parametrize(("offset", "order", "factor"), LAYOUTS)
@pytest.mark.parametrize("seed", range(5))
def test_true_bytes_come_first(offset: int, order: str, factor: float, seed: int) -> None:
    """With what the sensor shows, the true bytes are the first candidate."""
    frames, newest = history(random.Random(seed), offset, order, factor)
    first = candidates(frames, around=round(newest, 1), service="181a")[0]

    assert (first.rule.offset, first.rule.order, first.rule.factor) == (offset, order, factor)
    assert first.newest == pytest.approx(newest, abs=1e-6)


@pytest.mark.parametrize(("offset", "order", "factor"), LAYOUTS[:4])
def test_true_bytes_are_near_the_top_untold(offset: int, order: str, factor: float) -> None:
    """Without what the sensor shows, the true bytes of the usual factors are among the first three."""
    frames, _ = history(random.Random(7), offset, order, factor)
    best = [(c.rule.offset, c.rule.order, c.rule.factor) for c in candidates(frames, maker=0x1234)[:3]]

    assert (offset, order, factor) in best


def test_rule_is_ready() -> None:
    """The rule of a candidate names the element and reads the newest frame as the candidate says."""
    frames, newest = history(random.Random(1), 2, "little", 0.01)
    for found in candidates(frames, newest, maker=0x1234):
        read = decode(found.rule, frames[-1])
        assert isinstance(read, Decoded)
        assert (read.values[0].value, found.rule.maker, found.rule.service) == (found.newest, 0x1234, None)


def test_empty_bytes_are_no_temperature() -> None:
    """Bytes that are always zero rank behind those that move."""
    frames = [bytes.fromhex("00000000") + raw.to_bytes(2, "little", signed=True) for raw in (-1850, -1852, -1851)]

    assert candidates(frames, service="181a")[0].rule.offset == 4


def test_one_byte_sensor_is_found() -> None:
    """Whole degrees in one byte are found where two bytes give nothing."""
    frames = [bytes((0xFF, 0x7F, raw & 0xFF, 0x7F)) for raw in (-18, -18, -17, -18)]
    first = candidates(frames, -18.0, service="181a")[0]

    assert (first.rule.offset, first.rule.width, first.newest, first.moves) == (2, 1, -18.0, 2)


def test_other_length_is_another_layout() -> None:
    """Frames of a rarer length do not disturb those of the commonest."""
    frames, newest = history(random.Random(3), 2, "little", 0.01)
    mixed = [f for pair in zip(frames, [b"\xff\xff\xff"] * 20, strict=False) for f in pair] + frames[20:]
    first = candidates(mixed, newest, service="181a")[0]

    assert (first.rule.offset, first.rule.least) == (2, 12)


def test_nothing_heard_is_no_guess() -> None:
    """Without frames, or with empty ones only, there is no candidate."""
    assert candidates([], service="181a") == []
    assert candidates([b"", b""], -18.0, service="181a") == []


@given(st.lists(st.binary(max_size=30), max_size=8), st.none() | st.floats(-50, 50))
def test_any_bytes_never_raise(frames: list[bytes], around: float | None) -> None:
    """Any frames give a bounded list, best first."""
    found = candidates(frames, around, service="181a")

    assert len(found) <= KEPT
    assert [c.rank for c in found] == sorted(c.rank for c in found)

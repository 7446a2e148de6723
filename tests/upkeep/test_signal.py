"""When a sensor counts as hard to hear."""

import pytest

from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.pack import pack, unpack
from gatewayd.upkeep.ailing import Turn
from gatewayd.upkeep.signal import Signal, advice


def heard(*means: int | None) -> tuple[Signal, Moment]:
    """Return a signal heard every 5 min with these means (dBm), hour by hour, and the moment after; None: not heard."""
    signal = Signal()
    for hour, mean in enumerate(means):
        if mean is not None:
            for minute in range(0, 60, 5):
                signal.add(hour * HOUR + minute * MINUTE, mean)
    return signal, Moment(0, len(means) * HOUR)


@pytest.mark.parametrize(
    ("mean", "missed", "weak"),
    [
        (-60, 0.0, False),
        (-60, 0.5, False),
        (-60, 0.51, True),
        (-84, 0.4, False),
        (-85, 0.2, False),
        (-85, 0.21, True),
        (-95, 0.1, False),
    ],
)
def test_weak_is_low_and_lossy_or_very_lossy(mean: int, missed: float, weak: bool) -> None:
    """A weak signal is told if a fifth of the reports is lost, any signal if half of them are."""
    signal, now = heard(*[mean] * 12)

    assert (signal.judge(now, missed, standing=False) is not None) is weak


def test_finding_says_what_to_do() -> None:
    """What begins is told with the mean, the share that is lost, and advice."""
    signal, now = heard(*[-94] * 12)
    found = signal.judge(now, 0.6, standing=False)

    assert found is not None
    assert found.turn is Turn.BEGINS
    assert (found.facts["signal"], found.facts["missed"]) == (-94.0, 0.6)
    assert "very weak" in str(found.facts["advice"])


@pytest.mark.parametrize(
    ("mean", "missed", "over"),
    [(-80, 0.3, False), (-79, 0.3, True), (-90, 0.11, False), (-90, 0.09, True), (-60, 0.41, False), (-60, 0.39, True)],
)
def test_end_needs_a_margin(mean: int, missed: float, over: bool) -> None:
    """It ends when the signal is better by 5 dB or the loss by a tenth than what began it."""
    signal, now = heard(*[mean] * 12)
    found = signal.judge(now, missed, standing=True)

    assert (found is not None) is over
    assert found is None or found.turn is Turn.ENDS


def test_six_hours_are_needed() -> None:
    """Nothing is said of fewer than six hours, or without a share of what is lost, or without a signal."""
    five, after_five = heard(*[-95] * 5)
    six, after_six = heard(*[-95] * 6)

    assert five.judge(after_five, 0.9, standing=False) is None
    assert six.judge(after_six, 0.9, standing=False) is not None
    assert six.judge(after_six, None, standing=False) is None
    assert Signal().judge(after_six, 0.9, standing=False) is None


def test_one_long_hole_is_silence_and_not_weakness() -> None:
    """A sensor whose battery was empty for 14 h has lost more than half, and not by its signal."""
    signal, now = heard(*[-70] * 4, *[None] * 14, *[-70] * 6)

    assert signal.judge(now, 14 / 24, standing=False) is None


def test_silent_sensor_is_not_judged() -> None:
    """A sensor that is silent now is told as that."""
    signal, now = heard(*[-90] * 20, None, None)

    assert signal.judge(now, 0.3, standing=False) is None


def test_moved_gateway_counts_within_the_day() -> None:
    """Half a day after the gateway was moved the old signal no longer counts, though the mean of two days knows it."""
    signal, now = heard(*[-95] * 30, *[-70] * 12)

    assert signal.recent(now.steady) == pytest.approx(-70, abs=3)
    found = signal.judge(now, 0.3, standing=True)
    assert found is not None
    assert found.turn is Turn.ENDS
    assert (signal.mean() or 0) < -85
    assert signal.weakest() == -95


def test_advice_only_where_something_is_to_do() -> None:
    """A good signal with its reports gets no advice; a good one with losses another than a weak one."""
    assert advice(-70.0, 0.1) == ""
    assert advice(None, None) == ""
    assert "other radios" in advice(-70.0, 0.6)
    assert "is weak" in advice(-86.0, 0.1)
    assert "very weak" in advice(-94.0, None)


def test_signal_can_be_packed() -> None:
    """What is known of a signal survives being packed."""
    signal, _ = heard(-80, -81)

    assert unpack(Signal, pack(signal)) == signal

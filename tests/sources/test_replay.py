"""Play a recording into the house."""

from pathlib import Path

import pytest

from gatewayd.model.moment import HOUR, Moment
from gatewayd.model.reading import Arrival
from gatewayd.sources.recording import Recording, RecordingError
from gatewayd.sources.replay import ReplaySource
from tests.sources.conftest import PORCH
from tests.sources.intake import RememberingIntake


class LeapingClock:
    """A clock whose sleep leaps ahead at once."""

    def __init__(self) -> None:
        """Begin at an arbitrary moment."""
        self.moment = Moment(1_800_000_000_000, 7 * HOUR)
        self.naps = 0

    def now(self) -> Moment:
        """Return the moment reached."""
        return self.moment

    async def sleep(self, ms: float) -> None:
        """Leap."""
        self.naps += 1
        self.moment = self.moment.later(round(ms))

    def synced(self) -> bool:
        """Say yes."""
        return True


def recorded(folder: Path, count: int) -> Recording:
    """Write a log with a reading every 10 s."""
    path = folder / "log.csv"
    path.write_text(
        "time,sensor,payload\n" + "".join(f"{1_770_000_000 + 10 * n},porch-air,{n}\n" for n in range(count))
    )
    return Recording(path, [PORCH])


async def played(folder: Path, speed: float, count: int = 5) -> tuple[list[int], LeapingClock]:
    """Play and return when each reading came, in ms since the first."""
    clock, intake = LeapingClock(), RememberingIntake()
    await ReplaySource(recorded(folder, count), intake, clock, speed=speed).run()
    assert intake.payloads == [str(n).encode() for n in range(count)]
    assert {heard.arrival for heard in intake.heard} == {Arrival.LIVE}
    assert intake.up
    return [heard.at.steady - intake.heard[0].at.steady for heard in intake.heard], clock


async def test_real_speed(tmp_path: Path) -> None:
    """At speed 1 readings keep their distance, stamped with the present."""
    at, clock = await played(tmp_path, 1)

    assert at == [0, 10_000, 20_000, 30_000, 40_000]
    assert clock.now().wall == 1_800_000_000_000 + 40_000


async def test_faster(tmp_path: Path) -> None:
    """At speed 20 ten seconds pass in half a second."""
    at, _ = await played(tmp_path, 20)

    assert at == [0, 500, 1_000, 1_500, 2_000]


async def test_as_fast_as_it_goes(tmp_path: Path) -> None:
    """At speed 0 nothing waits, but others have their turn every hundred lines."""
    at, clock = await played(tmp_path, 0, 1_000)

    assert set(at) == {0}
    assert clock.naps == 10


async def test_nothing_half_played(tmp_path: Path) -> None:
    """One bad line at the end keeps the whole recording from being played."""
    recording = recorded(tmp_path, 100)
    with recording.path.open("a") as file:
        file.write("1770900000,porch-lid,0\n")
    intake = RememberingIntake()

    with pytest.raises(RecordingError, match="line 102"):
        await ReplaySource(recording, intake, LeapingClock(), speed=0).run()

    assert (intake.heard, intake.ups) == ([], [])


def test_wrong_speed(tmp_path: Path) -> None:
    """A speed below zero is refused."""
    with pytest.raises(ValueError, match="is not a speed"):
        ReplaySource(recorded(tmp_path, 1), RememberingIntake(), LeapingClock(), speed=-1)

"""The simulated freezers obey physics and the published marks, and a seed gives the same ones again."""

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from tests.evaluate import batch, foods, goals, score, trial
from tests.evaluate.freezers import draw
from tests.evaluate.plant import A_MINUTE, LOADED, OFF, OPEN, Course, Plant, Trace
from tests.evaluate.watching import episodes


def _run(seed: int, count: int, hours: int, bits: int = 0) -> tuple[Plant, Trace, np.ndarray]:
    plant = Plant(draw(np.random.default_rng(seed), count))
    room = np.tile(plant.fleet.room.astype(np.float32), (hours * 60, 1))
    before = plant.stored()
    state = np.full((hours * 60 * A_MINUTE, count), bits, dtype=np.uint8)
    if not bits:
        state[3000:3012] = OPEN  # a lid open for two minutes
        state[4000:] |= LOADED
    trace = plant.run(Course(state, room, leak=0.5, damp=np.full(count, 1e-6)))
    return plant, trace, before


@pytest.mark.parametrize("bits", [0, OFF, OFF | OPEN])
def test_no_heat_is_made(bits: int) -> None:
    """What went in through walls, lid and heater less what was cooled away is what is there more, within 1 %."""
    plant, _, before = _run(3, 20, 12, bits)

    off = np.abs(plant.stored() - before - plant.ledger.sum())

    assert (off / (np.abs(plant.ledger.walls) + plant.ledger.cooled)).max() < 0.01


def test_a_seed_gives_the_same() -> None:
    """The same seed gives the same readings, another seed others."""
    one, same, other = (_run(seed, 5, 3)[1].reading for seed in (1, 1, 2))

    assert np.array_equal(one, same)
    assert not np.array_equal(one, other)


@pytest.mark.slow  # two days of thirty freezers, for the published marks
def test_published_marks_hold() -> None:
    """Duty is about 0.4, and no food is above 4.4 °C when the 48 h or 24 h rule of the USDA ends."""
    plant = Plant(draw(np.random.default_rng(5), 30))
    room = np.tile(plant.fleet.room.astype(np.float32), (48 * 60, 1))
    plant.settle(room, rounds=1, hours=8)
    running = plant.run(Course(np.zeros((12 * 360, 30), dtype=np.uint8), room[: 12 * 60])).running
    outage = plant.run(Course(np.full((48 * 360, 30), OFF, dtype=np.uint8), room))
    top = outage.top[np.where(plant.fleet.fill >= 0.75, 48, 24) * 60 - 1, np.arange(30)]

    assert 0.28 < np.median(running.mean(axis=0) / A_MINUTE) < 0.48
    assert (top > 4.4).sum() == 0
    assert (top > -9.4).mean() > 0.5  # safe, but no longer as good as it was


@pytest.mark.parametrize("index", range(len(foods.FOODS)))
def test_curves_turn_back(index: int) -> None:
    """Temperature to enthalpy and back is within 0.02 K for every food."""
    t = np.linspace(-40.0, 60.0, 301)
    food = np.full(301, index)

    assert np.abs(foods.temperature(food, foods.enthalpy(food, t))[0] - t).max() < 0.02


def test_ice_of_beef_is_as_printed() -> None:
    """Beef of 58 % water holds about 0.52 of ice at -20 °C (ASHRAE Refrigeration 2006, chapter 9, example 1).

    The example uses Chen's form; Tchigeov's lies within 0.03 of it.
    """
    beef = foods.Food("beef", "meat", 0.58, 0.17, 0.22, 0.0, -1.7)

    assert foods.ice(beef, np.array([-20.0]))[0] == pytest.approx(0.52, abs=0.03)


def test_a_level_is_crossed_when_the_reading_stays() -> None:
    """A look under the lid is no crossing; the last rise is, counted from the minute asked about."""
    values = np.full(300, -18.0)
    values[50:60] = -5.0
    values[200:] = -8.0

    assert trial.crossed(values, -9.4, 0, stays=20) == pytest.approx(200 / 60)
    assert trial.crossed(values, -9.4, 0) == pytest.approx(50 / 60)
    assert trial.crossed(values, 0.0, 0) is None


def test_intervals_are_exact() -> None:
    """None of 12 leaves up to 22 % possible, 57 of 60 at least 87.6 % (Clopper & Pearson 1934)."""
    assert score.at_most(0, 12) == pytest.approx(1 - 0.05 ** (1 / 12))
    assert score.at_least(57, 60) == pytest.approx(0.8759, abs=0.001)
    assert score.rate_at_least(1, 100.0) == pytest.approx(-np.log(0.95) / 100, rel=1e-6)
    assert score.quantile_at_least([float(v) for v in range(100)], 0.5) == pytest.approx(41.0)


def test_a_goal_is_missed_only_beyond_chance() -> None:
    """Three points short in 20 are chance, in 2000 they are not; of nothing measured nothing is claimed."""
    assert goals.no_share_below("a", 16, 20, 0.83).verdict == "met (within chance)"
    assert goals.no_share_below("a", 1600, 2000, 0.83).verdict == "MISSED"
    assert goals.no_share_below("a", 0, 0, 0.83).verdict == "NOT JUDGED"
    assert goals.no_quantile_above("a", [], 0.5, 1.0).verdict == "NOT JUDGED"
    assert goals.no_rate_above("a", 1, 1000.0, 0.05, "").verdict == "met (within chance)"


def test_episodes_are_counted_once() -> None:
    """What comes back within half an hour is the same time, what comes back later is another."""
    assert episodes([True, True, False, True] + [False] * 10 + [True]) == 2


def test_a_kept_set_is_the_same(tmp_path: Path) -> None:
    """A set that was kept and fetched is what was simulated."""
    made = batch.Batch(*(np.random.default_rng(i).random((3, 2)) for i in range(15)))
    batch.keep(made, tmp_path / "set.npz")
    kept = batch.fetch(tmp_path / "set.npz")

    assert all(np.array_equal(getattr(kept, f.name), getattr(made, f.name)) for f in fields(made))

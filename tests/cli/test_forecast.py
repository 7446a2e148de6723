"""The command `forecast`: how long the food of each freezer holds, in words and for programs."""

import json
from math import exp
from pathlib import Path
from typing import Any

import pytest

from gatewayd.message.rule import HOLDS as RULE
from gatewayd.model.moment import HOUR, MINUTE, iso
from gatewayd.thermal.computing import compute
from gatewayd.watch.forecast import forecast
from tests.cli.answering import CALM, TEST, WARM, Answering, rows
from tests.cli.household import asked, call, settle
from tests.cli.lived import Lived, cycling, read_house

README = Path(__file__).parent.parent.parent / "README.md"


def said(door: Answering, folder: Path, *args: str, **changed: Any) -> str:
    """Return what the command says of one freezer that is like this."""
    door.freezers = [CALM | changed]
    code, output = call(settle(folder), "forecast", *args)
    assert code == 0, output
    return output.strip()


def test_calm(door: Answering, tmp_path: Path) -> None:
    """A freezer that cools has its reserve: one range, the early end first, as a guess, with the rule beside it."""
    assert said(door, tmp_path) == (
        "Shed chest is at −18.4 °C. Without power it takes 14 to 40 h until the warmest food is at −9.4 °C (a guess "
        f"until a test switch-off). {RULE}"
    )


def test_readme_shows_it(door: Answering, tmp_path: Path) -> None:
    """What README shows of this command is what it prints, word for word."""
    assert said(door, tmp_path) in " ".join(README.read_text().split())


def test_rule_is_the_published_one() -> None:
    """The rule beside the forecast is that of USDA and FDA on power outages: 48 h for a full freezer, 24 for a half."""
    assert "about 48 hours" in RULE
    assert "half-full one for about 24" in RULE


def test_fahrenheit(door: Answering, tmp_path: Path) -> None:
    """A household that reads °F is told so, and the level is the round 15 °F."""
    door.units = "°F"

    assert said(door, tmp_path).startswith("Shed chest is at −1.1 °F. Without power it takes 14 to 40 h until")
    assert "the warmest food is at 15 °F (a guess" in said(door, tmp_path)


def test_calibrated_is_no_guess(door: Answering, tmp_path: Path) -> None:
    """Once an outage or a test has shown how it warms, nothing is called a guess."""
    assert "guess" not in said(door, tmp_path, calibrated=True)


def test_warming(door: Answering, tmp_path: Path) -> None:
    """A freezer that warms has since when, why, how long is left from now, the rule, and what to do."""
    text = said(door, tmp_path, **WARM)

    assert text.startswith("Shed chest has not cooled for 3 h and is at −10.2 °C. Most likely cooling has stopped")
    assert "If nothing cools it, the warmest food may reach −9.4 °C in 6 h, perhaps only in 14 h (a guess" in text
    assert RULE in text
    assert text.endswith("Check plug and breaker. Keep it shut.")


def test_forecast_grows_old(door: Answering, tmp_path: Path) -> None:
    """What was left ten minutes ago is ten minutes less now; what was left an hour and more ago is not said."""
    assert "in 6 h, perhaps only" in said(door, tmp_path, **WARM | {"at": "2026-11-25T14:00:00.000+00:00"})
    assert "in 5 h, perhaps only" in said(door, tmp_path, **WARM | {"at": "2026-11-25T13:40:00.000+00:00"})
    assert "no forecast of it now" in said(door, tmp_path, **WARM | {"at": "2026-11-25T12:00:00.000+00:00"})


def test_probe_wins(door: Answering, tmp_path: Path) -> None:
    """Where the sensor is warmer than the level already, that is said to count for more than the forecast."""
    assert "warmer than that already, which counts for more" in said(door, tmp_path, **WARM | {"air_c": -9.0})
    assert "counts for more" not in said(door, tmp_path, **WARM)


def test_sensor_in_the_room_tells_nothing(door: Answering, tmp_path: Path) -> None:
    """A sensor that hangs in the room's air gives no forecast of the food."""
    cause = {"label": "room-air", "sure": "sure", "held": True, "since": None}
    text = said(door, tmp_path, **WARM | {"cause": cause})

    assert "tells nothing of the food" in text
    assert "may reach" not in text


def test_what_has_not_held_is_not_said(door: Answering, tmp_path: Path) -> None:
    """A cause that has not held for its ten minutes is not said."""
    cause = {"label": "power", "sure": "likely", "held": False, "since": None}

    assert "cooling has stopped" not in said(door, tmp_path, **WARM | {"cause": cause})


@pytest.mark.parametrize(
    ("early", "share", "beyond"), [(30, 48, True), (20, 48, False), (40, 140, False), (50, 140, True)]
)
def test_rule_comes_first_where_it_is_shorter(
    early: float, share: float, beyond: bool, door: Answering, tmp_path: Path
) -> None:
    """A forecast longer than 48 h of a full, or 24 h of a half-full freezer sends the reader back to the rule."""
    reserve = rows((1, 2, 3), (early, 60, 90), (early, 60, 90), (early, 60, 90), (early, 60, 90))
    calm = said(door, tmp_path, reserve=reserve, kg={"meat": share}, volume_l=400.0)
    warm = said(door, tmp_path, **WARM | {"forecast": reserve, "kg": {"meat": share}, "since": CALM["at"]})

    assert ("Go by that rule, which is shorter." in calm) is beyond
    assert ("Go by the government" in warm) is beyond


@pytest.mark.parametrize(
    ("row", "text"),
    [
        ((None, None, None), "would not reach −9.4 °C within 9 days"),
        ((0, 4, 9), "may be at −9.4 °C already"),
        ((30, 100, None), "takes 30 h or much longer until"),
    ],
)
def test_ends_of_a_range(row: tuple[float | None, ...], text: str, door: Answering, tmp_path: Path) -> None:
    """Not within nine days, there already, and a range without end are said as such."""
    found: Any = row

    assert text in said(door, tmp_path, reserve=rows(found, found, found, found, found))


def test_test_switch_off(door: Answering, tmp_path: Path) -> None:
    """A freezer in a test says so, until when, and what is left."""
    text = said(door, tmp_path, **WARM | {"test": TEST, "cause": CALM["cause"]})

    assert text.startswith(
        "Shed chest is switched off for a test until 16:00, and is at −10.2 °C now. If nothing cools"
    )


def test_nothing_known_yet(door: Answering, tmp_path: Path) -> None:
    """Without a forecast there is the rule, and no number of ours."""
    text = said(door, tmp_path, reserve=[], forecast=[], at=None, air_c=None, cause=None)

    assert text == (
        "Shed chest: how warm it is now is not known. "
        f"There is no forecast of it now: that takes some hours of readings. {RULE}"
    )


def test_not_heard(door: Answering, tmp_path: Path) -> None:
    """Of a freezer that is not heard the last temperature is no present one; one without a sensor says so."""
    silent = said(door, tmp_path, state="not heard")
    warmed = said(door, tmp_path, **WARM | {"state": "not heard"})
    blind = said(door, tmp_path, state="no sensor", air_c=None, reserve=[], forecast=[], at=None, cause=None)

    assert silent.startswith(
        "Shed chest is not heard; it was at −18.4 °C when it was heard last. Without power it takes"
    )
    assert "If nothing cools it, the warmest food may reach" in warmed
    assert blind == f"Shed chest has no sensor, so nothing is known of it. {RULE}"


def test_what_a_real_watch_answers(door: Answering, tmp_path: Path) -> None:
    """The answer of a watch that has lived through a stop of cooling can be said, shown, and is told as warming."""
    life = Lived(read_house(tmp_path))
    life.until(24 * HOUR)
    life.until(30 * HOUR, lambda sensor, now: stopping(now) if sensor == "shed-chest-air" else cycling(sensor, now))
    for picture in life.watch.pictures.values():
        picture.fitted(compute(picture.ask(life.now.steady // MINUTE, whole=True)), life.now)
    door.freezers = json.loads(json.dumps(forecast(life.watch, life.now)["freezers"]))
    door.now = iso(life.now.wall, life.house.zone)
    file = settle(tmp_path)
    warm, calm = call(file, "forecast")[1].split("\n\n")

    assert warm.startswith("Shed chest has not cooled for 5 h 55 min and is at −13.8 °C")
    assert "If nothing cools it, the warmest food" in warm
    assert calm.startswith("Cellar upright is at −1")
    assert "Without power it takes" in calm
    for who in ("shed-chest", "cellar-upright"):
        assert call(file, "freezer", "show", who)[0] == 0


def stopping(now: int) -> float:
    """Return the air of a freezer that has not cooled since 24 h after the start."""
    hours = now / HOUR - 24
    return 5.0 - 23.0 * exp(-hours / 30)


@pytest.mark.parametrize("changed", [{}, WARM, WARM | {"calibrated": True}, {"calibrated": True}, {"test": TEST}])
def test_never_called_safe(changed: dict[str, Any], door: Answering, tmp_path: Path) -> None:
    """No forecast calls anything safe, with or without anything learnt."""
    assert "safe" not in said(door, tmp_path, **changed).lower()


def test_one_or_all(door: Answering, tmp_path: Path) -> None:
    """Without a name every freezer has its paragraph; with one it is that one; a name of none lists those there are."""
    file = settle(tmp_path)
    door.freezers = [CALM, CALM | {"id": "porch-chest", "name": "Porch chest"}]

    assert len(call(file, "forecast")[1].split("\n\n")) == 2
    assert call(file, "forecast", "porch-chest")[1].startswith("Porch chest is at")
    assert call(file, "forecast", "barn") == (
        1, "There is no freezer 'barn'; there are: shed-chest, porch-chest.\n"
    )  # fmt: skip


def test_for_programs(door: Answering, tmp_path: Path) -> None:
    """In JSON it is the door's own answer, of all freezers or of one."""
    file = settle(tmp_path)

    assert asked(file, "forecast") == {"freezers": [CALM]} == asked(file, "forecast", "shed-chest")


def test_not_running(tmp_path: Path) -> None:
    """Without the daemon there is no forecast, and the exit code says so."""
    code, output = call(settle(tmp_path), "forecast")

    assert code == 3
    assert "gatewayd is not running" in output

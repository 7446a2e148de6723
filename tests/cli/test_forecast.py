"""The command `forecast`: how long the food of each freezer holds, in words and for programs."""

import json
from math import exp
from pathlib import Path
from typing import Any

import pytest

from gatewayd.cli import known
from gatewayd.clock import PlayedClock
from gatewayd.message.rule import HOLDS as RULE
from gatewayd.model.moment import HOUR, MINUTE, Moment, iso
from gatewayd.store.batch import Batch
from gatewayd.thermal.computing import compute
from gatewayd.thermal.picture import WARMED_UNHEARD
from gatewayd.watch.forecast import forecast
from gatewayd.watch.memory import save
from tests.cli.answering import CALM, TEST, WARM, Answering, rows
from tests.cli.household import asked, call, settle
from tests.cli.lived import Lived, cycling, read_house

RULED = f"{RULE} It counts from when cooling stopped."
TEACH = (
    "A range is a guess until the freezer has been through an outage or a test switch-off. Teach it with: gatewayd "
    "freezer test-off shed-chest"
)
BELOW = f"\n\n{RULED}\n{TEACH}"
README = Path(__file__).parent.parent.parent / "README.md"


def said(door: Answering, folder: Path, *args: str, **changed: Any) -> str:
    """Return what the command says of one freezer that is like this."""
    door.freezers = [CALM | changed]
    code, output = call(settle(folder), "forecast", *args)
    assert code == 0, output
    return output.strip()


def test_calm(door: Answering, tmp_path: Path) -> None:
    """A freezer that cools has its reserve: one range, the early end first, as a guess; the rule stands below."""
    assert said(door, tmp_path) == (
        "Shed chest is at −18.4 °C. Without power it takes 14 to 40 h until the warmest food is at −9.4 °C (a guess). "
        f"Go by the early end, which comes before the government's hours are over.{BELOW}"
    )


def test_readme_shows_it(door: Answering, tmp_path: Path) -> None:
    """What README shows of this command is what it prints, word for word."""
    assert " ".join(said(door, tmp_path).split()) in " ".join(README.read_text().split())


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
    assert said(door, tmp_path, calibrated=True).endswith(RULED)


def test_warming(door: Answering, tmp_path: Path) -> None:
    """A freezer that warms has since when, why, how long is left from now, the rule, and what to do."""
    text = said(door, tmp_path, **WARM)

    assert text.startswith("Shed chest has not cooled for 3 h and is at −10.2 °C. Most likely cooling has stopped")
    assert "If nothing cools it, the warmest food may reach −9.4 °C in 6 h, perhaps only in 14 h (a guess" in text
    assert "3 of the government's hours are gone. Go by the early end, which comes before" in text
    assert text.endswith(f"Check plug and breaker. Keep it shut.{BELOW}")


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
    ("early", "share", "beyond"), [(30, 72, True), (20, 72, False), (40, 140, False), (50, 140, True)]
)
def test_rule_comes_first_where_it_is_shorter(
    early: float, share: float, beyond: bool, door: Answering, tmp_path: Path
) -> None:
    """A forecast longer than 48 h of a full, or 24 h of a half-full freezer sends the reader back to the rule."""
    reserve = rows((1, 2, 3), (early, 60, 90), (early, 60, 90), (early, 60, 90), (early, 60, 90))
    calm = said(door, tmp_path, reserve=reserve, kg={"meat": share}, volume_l=400.0)
    warm = said(door, tmp_path, **WARM | {"forecast": reserve, "kg": {"meat": share}, "since": CALM["at"]})

    for text in (calm, warm):
        assert ("Go by the government's rule, which is shorter." in text) is beyond
        assert ("Go by the early end, which comes before the government's hours are over." in text) is not beyond


def test_far_below_half_full_no_rule(door: Answering, tmp_path: Path) -> None:
    """The rule does not speak of a freezer that is far below half full, cold or warm, nor of one told to be empty."""
    for kg in ({"meat": 20.0}, {"meat": 0.0}):
        for state in (CALM, WARM):
            text = said(door, tmp_path, **state | {"kg": kg})
            assert "well below half full, which the government's rule does not cover: go by the early end." in text


def test_a_guessed_load_is_not_held_against_the_rule(door: Answering, tmp_path: Path) -> None:
    """Where nobody said what it holds, it is not called too empty for the rule."""
    assert "well below half full" not in said(door, tmp_path, kg={"meat": 20.0}, told=False)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"since": "2026-11-24T06:10:00.000+00:00"}, "The government's 24 hours for a half-full freezer are over."),
        ({"since": "2026-11-23T06:10:00.000+00:00"}, "The government's 48 hours, 24 if half full, are over."),
        ({"told": False, "since": "2026-11-24T06:10:00.000+00:00"}, "are over (a full one has 48)."),
        ({"air_c": 2.0}, "3 of the government's hours are gone."),
        ({"air_c": -6.0, "cause": CALM["cause"]}, "Its sensor is warmer than that already"),
        ({"forecast": rows(*[(0, 0, 0)] * 4, (0, 3, 9))}, "The warmest food may be at 4.4 °C already"),
    ],
)
def test_thawed(changed: dict[str, Any], words: str, door: Answering, tmp_path: Path) -> None:
    """Where the rule is over or the food may be soft, nothing says to keep it shut: its food is to be looked at."""
    text = said(door, tmp_path, **WARM | changed)

    assert words in text
    assert "Keep it shut" not in text
    assert "Look at the food now." in text
    assert text.count("Never taste food to find out. When in doubt, throw it out.") == 1


def test_a_lid_is_to_blame(door: Answering, tmp_path: Path) -> None:
    """A lid that is likely ajar lets a compressor run: the range is for one that stays so, and none while it cools."""
    ajar = {"cause": {"label": "lid-or-load", "sure": "likely", "held": True, "since": None}}
    cools = said(door, tmp_path, **WARM | ajar | {"state": "cooling down"})

    assert "If the lid stays open, the warmest food may reach" in said(door, tmp_path, **WARM | ajar)
    assert "It gets colder again." in cools
    assert "may reach" not in cools


def test_times_are_the_houses(door: Answering, tmp_path: Path) -> None:
    """Times of day are told in the house's zone, also in summer."""
    door.now = "2026-07-25T13:30:00.000+01:00"
    stamps = {"at": door.now, "since": "2026-07-25T13:00:00.000+01:00"}
    cause = WARM["cause"] | {"since": "2026-07-25T13:22:00.000+01:00"}

    assert "cooling has stopped since 13:22." in said(door, tmp_path, **WARM | stamps | {"cause": cause})


def test_times_while_the_settings_are_half_edited(door: Answering, tmp_path: Path) -> None:
    """While the settings cannot be read, the offset of the daemon's own answer does."""
    door.now = "2026-07-25T13:30:00.000+01:00"
    cause = WARM["cause"] | {"since": "2026-07-25T13:22:00.000+01:00"}
    door.freezers = [WARM | {"at": door.now, "since": "2026-07-25T13:00:00.000+01:00", "cause": cause}]
    file = settle(tmp_path)
    file.write_text(file.read_text().replace("freezers:", "fridges:"))

    assert "since 13:22." in call(file, "forecast")[1]


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
    nothing: dict[str, Any] = {"reserve": [], "forecast": [], "at": None, "cause": None}
    unheard = said(door, tmp_path, **nothing, air_c=None)
    none = said(door, tmp_path, **nothing | {"at": CALM["at"]})

    assert unheard == (
        "Shed chest: how warm it is now is not known. The forecast comes with its first readings." + BELOW
    )
    assert none.startswith("Shed chest is at −18.4 °C. There is no forecast of it now.\n\n")


def test_right_after_a_start(door: Answering, tmp_path: Path) -> None:
    """Right after a start a freezer that is heard is called heard, and the forecast is said to come."""
    door.heard = 40_000
    young = {"state": "not heard", "reserve": [], "forecast": [], "at": None, "cause": None}
    text = said(door, tmp_path, **young)

    assert text.startswith("Shed chest is at −18.4 °C. gatewayd has just started; the forecast comes in a minute.\n\n")
    door.heard = HOUR
    assert "is not heard; it was at −18.4 °C" in said(door, tmp_path, **young)


def test_not_heard(door: Answering, tmp_path: Path) -> None:
    """Of a freezer that is not heard the last temperature is no present one; one without a sensor says so."""
    silent = said(door, tmp_path, state="not heard")
    warmed = said(door, tmp_path, **WARM | {"state": "not heard"})
    blind = said(door, tmp_path, state="no sensor", air_c=None, reserve=[], forecast=[], at=None, cause=None)

    assert silent.startswith(
        "Shed chest is not heard; it was at −18.4 °C when it was heard last. Without power it takes"
    )
    assert "If nothing has cooled it since it was last heard, the warmest food may reach" in warmed
    assert blind == f"Shed chest has no sensor, so nothing is known of it.\n\n{RULED}"


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
    warm, calm, _ = call(file, "forecast")[1].split("\n\n")

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

    assert len(call(file, "forecast")[1].split("\n\n")) == 3
    assert call(file, "forecast")[1].count(RULE) == 1
    assert call(file, "forecast", "porch-chest")[1].startswith("Porch chest is at")
    assert call(file, "forecast", "barn") == (
        1, "There is no freezer 'barn'; there are: shed-chest, porch-chest.\n"
    )  # fmt: skip


def test_for_programs(door: Answering, tmp_path: Path) -> None:
    """In JSON it is the door's own answer, of all freezers or of one."""
    file = settle(tmp_path)

    assert asked(file, "forecast") == {"freezers": [CALM]} == asked(file, "forecast", "shed-chest")


def test_not_running(tmp_path: Path) -> None:
    """Without the daemon and without anything watched there is no forecast, and the exit code says so."""
    code, output = call(settle(tmp_path), "forecast")

    assert code == 3
    assert "gatewayd is not running, and has not watched anything yet; start it with" in output


def test_what_it_knew_last(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the daemon what it knew last is told with its age, hours counted off, and nothing is called present."""
    life = Lived(read_house(tmp_path))
    life.until(24 * HOUR)
    life.until(30 * HOUR, lambda sensor, now: stopping(now) if sensor == "shed-chest-air" else cycling(sensor, now))
    for picture in life.watch.pictures.values():
        picture.fitted(compute(picture.ask(life.now.steady // MINUTE, whole=True)), life.now)
    file = settle(tmp_path, [Batch(life.now, snapshot=save(life.watch, life.now))])
    monkeypatch.setattr(known, "SystemClock", lambda: PlayedClock(Moment(life.now.wall + 2 * HOUR, HOUR, "boot-2")))
    code, output = call(file, "forecast")
    head, warm, calm, _ = output.split("\n\n")

    assert code == 3
    assert head.startswith("gatewayd is not running; start it with")
    assert "2 h ago)" in head
    assert warm.startswith("Shed chest is not heard; it was at −13.8 °C when it was heard last.")
    assert "If nothing has cooled it since it was last heard, the warmest food" in warm
    assert "8 of the government's hours are gone." in warm
    assert "Without power it takes" in calm
    for args in (("forecast",), ("freezer", "show", "shed-chest")):
        code, output = call(file, *args, "--json")
        assert code == 3
        assert json.loads(output)["running"] is False


def test_silence_in_a_warming_is_no_fresh_reserve(door: Answering, tmp_path: Path) -> None:
    """A freezer that warmed when it was heard last has what was left then, not what a cold one has."""
    text = said(door, tmp_path, **WARM | {"state": WARMED_UNHEARD, "since": None})

    assert "is not heard; it was at" in text
    assert "If nothing has cooled it since it was last heard, the warmest food may reach" in text
    assert "Without power it takes" not in text

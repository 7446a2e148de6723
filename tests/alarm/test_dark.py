"""What is told after a time in which the watcher itself was not awake."""

import pytest

from gatewayd.alarm.dark import Dark, ended
from gatewayd.alarm.freezer import Judge
from gatewayd.model.house import Freezer
from gatewayd.model.moment import HOUR, MINUTE, Moment
from gatewayd.model.pack import pack, unpack
from gatewayd.model.reading import Quantity, Reading
from tests.alarm.scene import START, Log, at

CHEST = Freezer("shed-chest", "Shed chest", sensors=("shed-air",))
UPRIGHT = Freezer("cellar-upright", "Cellar upright", sensors=("cellar-air",))
PORCH = Freezer("porch-chest", "Porch chest")


def read(judge: Judge, value: float, now: Moment) -> None:
    """Let a judge take one reading."""
    judge.take(
        Reading(judge.freezer.sensors[0], Quantity.TEMPERATURE, value, now, now.wall, now.wall),
        5 * MINUTE,
        Log().alarms,
    )


@pytest.mark.parametrize(
    ("boot", "orderly", "word"),
    [
        ("later", False, "power"),
        ("later", True, "shutdown"),
        ("boot", True, "stop"),
        ("boot", False, "crash"),
        ("boot", None, ""),
        ("later", None, ""),
    ],
)
def test_why_follows_from_boot_and_order(boot: str, orderly: bool | None, word: str) -> None:
    """Boot and order say together why it was dark, and where the order is not known nothing is said."""
    assert ended(START, at(HOUR, boot), orderly) == word
    assert Dark(START, at(HOUR, boot), orderly).facts([], trusted=True)["ended"] == word


def test_before_is_kept_although_the_judges_forget() -> None:
    """What a freezer was when last seen is told beside what it is now."""
    chest, upright = Judge(CHEST, START.steady), Judge(UPRIGHT, START.steady)
    read(chest, -18.2, at(MINUTE))
    spell = Dark.begin(at(2 * MINUTE), at(9 * HOUR, "later"), False, [chest, upright])
    for judge in (chest, upright):
        judge.dark(spell.back)
    read(chest, -11.5, at(9 * HOUR + MINUTE, "later"))
    facts = spell.facts([chest, upright], trusted=True)

    assert (facts["before:shed-chest"], facts["freezer:shed-chest"]) == (-18.2, -11.5)
    assert facts["before_at:shed-chest"] == at(MINUTE).wall
    assert facts["lasted"] == 9 * HOUR - 2 * MINUTE


def test_never_seen_is_not_known() -> None:
    """A freezer that was never heard has neither a before nor a now, one without a sensor has no line."""
    upright, porch = Judge(UPRIGHT, START.steady), Judge(PORCH, START.steady)
    facts = Dark.begin(START, at(HOUR), None, [upright, porch]).facts([upright, porch], trusted=True)

    assert (facts["before:cellar-upright"], facts["before_at:cellar-upright"]) == (None, None)
    assert facts["freezer:cellar-upright"] is None
    assert not any("porch" in fact for fact in facts)


def test_not_heard_since_has_a_before_only() -> None:
    """A freezer not heard since the return is told with what it was, and no present."""
    chest = Judge(CHEST, START.steady)
    read(chest, -20.0, at(0))
    spell = Dark.begin(at(MINUTE), at(HOUR), False, [chest])
    chest.dark(spell.back)
    facts = spell.facts([chest], trusted=True)

    assert (facts["before:shed-chest"], facts["freezer:shed-chest"]) == (-20.0, None)


def test_length_over_two_boots_needs_a_clock() -> None:
    """Two boots are compared by the wall clock, if that is trusted or so far ahead that something set it."""
    power = Dark(START, at(HOUR, "later"))
    night = Dark(START, at(9 * HOUR, "later"))

    assert power.lasted(trusted=True) == HOUR
    assert power.lasted(trusted=False) is None
    assert night.lasted(trusted=False) == 9 * HOUR
    assert Dark(START, at(HOUR)).lasted(trusted=False) == HOUR


def test_restart_is_short() -> None:
    """A few minutes are a restart; what cannot be compared is never short."""
    assert Dark(START, at(9 * MINUTE)).short(trusted=True)
    assert not Dark(START, at(10 * MINUTE)).short(trusted=True)
    assert not Dark(START, at(9 * MINUTE, "later")).short(trusted=False)


def test_telling_waits_for_every_freezer() -> None:
    """It is told once every freezer was heard twice, after ten minutes at the latest."""
    chest, upright = Judge(CHEST, START.steady), Judge(UPRIGHT, START.steady)
    spell = Dark(START, at(HOUR))
    for minute in (1, 2):
        read(chest, -18.0, at(HOUR + minute * MINUTE))
    assert not spell.ready([chest, upright], at(HOUR + 3 * MINUTE), trusted=True)
    assert spell.ready([chest, upright], at(HOUR + 10 * MINUTE), trusted=True)
    for minute in (3, 4):
        read(upright, -18.0, at(HOUR + minute * MINUTE))
    assert spell.ready([chest, upright], at(HOUR + 4 * MINUTE), trusted=True)


def test_telling_waits_for_the_clock() -> None:
    """After another boot with a clock that nothing keeps it waits up to an hour for one that is right."""
    spell = Dark(START, at(9 * HOUR, "later"))
    back = spell.back

    assert not spell.ready([], back.later(59 * MINUTE), trusted=False)
    assert spell.ready([], back.later(HOUR), trusted=False)
    assert spell.ready([], back.later(10 * MINUTE), trusted=True)


def test_dark_can_be_packed() -> None:
    """A dark spell that is not told yet survives being packed."""
    chest = Judge(CHEST, START.steady)
    read(chest, -18.2, at(MINUTE))
    spell = Dark.begin(at(2 * MINUTE), at(9 * HOUR, "later"), True, [chest])

    assert unpack(Dark, pack(spell)) == spell

"""What is to be done: each thing in its time, the worst first, and nothing that is not known."""

from gatewayd.model.chore import Chore, Due, Kind
from gatewayd.model.house import Freezer, House, Sensor
from gatewayd.model.moment import DAY
from gatewayd.upkeep.due import COPY_OLD, SOON, YEAR, Known, due

NOW = 1_795_600_000_000
HOUSE = House(
    "heron-lane",
    "Heron Lane",
    freezers={
        "shed-chest": Freezer("shed-chest", "Shed chest", sensors=("shed-air",), room="shed-room"),
        "porch-chest": Freezer("porch-chest", "Porch chest"),
    },
    sensors={
        "shed-air": Sensor("shed-air", "Shed air", "home", "air/shed"),
        "shed-room": Sensor("shed-room", "Shed room", "home", "air/room"),
    },
)


def done(subject: str, kind: Kind, ago: int) -> Chore:
    """Return a chore of some ms ago."""
    return Chore(1, subject, kind, NOW - ago)


def checked(ago: int = 0) -> Chore:
    """Return the check of the one probe."""
    return done("shed-air", Kind.ICE_POINT, ago)


def whats(known: Known) -> list[str]:
    """Return what is due, the worst first."""
    return [one.what for one in due(HOUSE, NOW, known)]


def test_never_checked_probe() -> None:
    """A freezer's probe that was never in ice is listed, but as nothing overdue; a room's thermometer is not."""
    found = due(HOUSE, NOW, Known())

    assert [(one.subject, one.what, one.by, one.overdue) for one in found] == [
        ("shed-air", "check Shed air in ice", None, False)
    ]


def test_check_is_due_after_a_year() -> None:
    """A check is listed from four weeks before its year is over, and overdue from the day after."""
    early = due(HOUSE, NOW, Known([checked(YEAR - SOON - 1)]))
    soon = due(HOUSE, NOW, Known([checked(YEAR - SOON)]))
    on_the_day = due(HOUSE, NOW, Known([checked(YEAR)]))
    late = due(HOUSE, NOW, Known([checked(YEAR + 1)]))

    assert early == []
    assert [(one.by, one.overdue) for one in soon] == [(NOW + SOON, False)]
    assert [(one.by, one.overdue) for one in on_the_day] == [(NOW, False)]
    assert [(one.by, one.overdue) for one in late] == [(NOW - 1, True)]


def test_gasket_and_coils_of_every_freezer() -> None:
    """Both are looked at once a year, counted from the begin; what was done is left out, also without a sensor."""
    told = [checked(), done("shed-chest", Kind.GASKET, DAY)]

    assert whats(Known(told, began=NOW - YEAR + SOON + 1)) == []
    assert whats(Known(told, began=NOW - YEAR)) == [
        "look at the coils of Shed chest",
        "look at the gasket and coils of Porch chest",
    ]
    assert whats(Known(told)) == []


def test_battery_copy_and_test_message() -> None:
    """A weak battery, a copy of more than a week ago and an unanswered test message are listed, each with why."""
    known = Known(
        [checked()],
        copied=NOW - COPY_OLD - 1,
        weak={"shed-air": ("that is little", False), "gone": ("", True)},
        missed=True,
    )

    assert [(one.what, one.reason, one.overdue) for one in due(HOUSE, NOW, known)] == [
        ("answer the monthly test message", "nobody answered the last one; see whether messages arrive", True),
        ("see to the nightly copy of the data", "the newest copy is older than a week", True),
        ("change the battery of Shed air", "that is little", False),
    ]
    assert whats(Known([checked()], copied=NOW - COPY_OLD)) == []


def test_untaught_freezer() -> None:
    """A freezer whose forecast is a guess is offered a test switch-off, last of all."""
    assert whats(Known([checked(YEAR - DAY)], untaught=["shed-chest", "gone"])) == [
        "check Shed air in ice",
        "a test switch-off of Shed chest",
    ]


def test_worst_first() -> None:
    """The overdue come first, the oldest day of them on top; what others found is sorted among it."""
    defrost = Due("shed-chest", "defrost Shed chest", NOW - 90 * DAY, "the frost is 8 mm thick", overdue=True)
    later = Due("porch-chest", "defrost Porch chest", NOW + SOON, "a year has passed")
    far = Due("porch-chest", "defrost Porch chest", NOW + SOON + 1, "a year has passed")
    known = Known([checked(YEAR + DAY)], weak={"shed-air": ("", True)}, more=[far, later, defrost])

    assert whats(known) == [
        "change the battery of Shed air",
        "defrost Shed chest",
        "check Shed air in ice",
        "defrost Porch chest",
    ]

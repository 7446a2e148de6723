"""How a contact at the lid is judged."""

from dataclasses import replace

from gatewayd.alarm.lid import Lid
from gatewayd.model.event import What
from gatewayd.model.limits import Limits
from gatewayd.model.moment import HOUR, MINUTE, SECOND
from gatewayd.model.pack import pack, unpack
from gatewayd.model.priority import Priority
from tests.alarm.scene import START, Log, at

LIMITS = Limits()


def due(lid: Lid, log: Log, limits: Limits = LIMITS) -> int | None:
    """Return the next turn in ms after the start."""
    found = lid.due(limits, log.alarms)
    return None if found is None else found - START.steady


def opened(log: Log) -> Lid:
    """Return a lid that was opened at the start and told of after five minutes."""
    lid = Lid("shed-chest")
    lid.news(True, at(0))
    lid.turn(at(5 * MINUTE), log.alarms)
    return lid


def test_lid_open_for_five_minutes_is_told() -> None:
    """An opened lid is due after the limit, and told with since when and for how long."""
    log, lid = Log(), Lid("shed-chest")
    lid.news(True, at(0))

    assert due(lid, log) == 5 * MINUTE
    lid.turn(at(5 * MINUTE), log.alarms)
    assert log.turns("lid-open", of="shed-chest") == ["raised"]
    assert log.told("lid-open") == {"since": START.wall, "lasted": 5 * MINUTE, "contact": True}
    assert due(lid, log) is None


def test_repeated_open_does_not_begin_anew() -> None:
    """A contact that says every minute that it is open is due when the first said so."""
    log, lid = Log(), Lid("shed-chest")
    for minute in range(5):
        lid.news(True, at(minute * MINUTE))

    assert due(lid, log) == 5 * MINUTE


def test_lid_is_over_after_half_a_minute_shut() -> None:
    """A shut lid ends the alarm after 30 s, and it lasted until it was shut."""
    log = Log()
    lid = opened(log)
    lid.news(False, at(9 * MINUTE))
    lid.news(False, at(9 * MINUTE + 10 * SECOND))

    assert due(lid, log) == 9 * MINUTE + 30 * SECOND
    lid.turn(at(9 * MINUTE + 30 * SECOND), log.alarms)
    assert log.told("lid-open", What.OVER) == {
        "since": START.wall, "lasted": 9 * MINUTE, "contact": True, "latched": False,
    }  # fmt: skip
    assert due(lid, log) is None


def test_moment_shut_is_a_bounce() -> None:
    """A lid shut for less than 30 s neither ends a standing alarm nor begins the wait anew."""
    log = Log()
    lid = opened(log)
    lid.news(False, at(6 * MINUTE))
    lid.news(True, at(6 * MINUTE + 29 * SECOND))
    assert due(lid, log) is None
    assert log.alarms.listed()

    other = Lid("porch-chest")
    other.news(True, at(0))
    other.news(False, at(MINUTE))
    other.news(True, at(MINUTE + 29 * SECOND))
    assert due(other, log) == 5 * MINUTE


def test_lid_shut_for_long_begins_anew() -> None:
    """After half a minute shut the next opening has its own five minutes."""
    log, lid = Log(), Lid("shed-chest")
    lid.news(True, at(0))
    lid.news(False, at(4 * MINUTE))
    assert due(lid, log) is None
    lid.news(True, at(4 * MINUTE + 30 * SECOND))

    assert due(lid, log) == 9 * MINUTE + 30 * SECOND


def test_second_opening_is_told_again() -> None:
    """An opening after the alarm ended is an alarm of its own."""
    log = Log()
    lid = opened(log)
    lid.news(False, at(6 * MINUTE))
    lid.turn(at(6 * MINUTE + 30 * SECOND), log.alarms)
    lid.news(True, at(HOUR))

    assert due(lid, log) == HOUR + 5 * MINUTE
    lid.turn(at(HOUR + 5 * MINUTE), log.alarms)
    assert log.turns("lid-open").count("raised") == 2


def test_lid_switched_off_is_never_due() -> None:
    """A limit of nothing, or a priority of nothing, tells of no lid, and asks for no turn that has been."""
    log, lid = Log(), Lid("shed-chest")
    lid.news(True, at(0))
    assert due(lid, log, replace(LIMITS, lid_open=0)) is None

    log.alarms.priorities = {("shed-chest", "lid-open"): None}
    lid.turn(at(5 * MINUTE), log.alarms)
    lid.news(True, at(6 * MINUTE))
    assert due(lid, log) is None
    assert log.events == []


def test_lid_without_a_contact_leaves_no_trace() -> None:
    """A freezer whose lid nothing looks at has no alarm of it."""
    log, lid = Log(), Lid("shed-chest")

    assert due(lid, log) is None
    assert log.alarms.all == {}


def test_lid_has_the_keepers_priority() -> None:
    """The keeper's own priority is that of the alarm."""
    log = Log()
    log.alarms.priorities = {("shed-chest", "lid-open"): Priority.HIGH}
    opened(log)

    assert log.events[0].priority is Priority.HIGH


def test_lid_after_a_dark_spell_is_what_it_says_next() -> None:
    """After a dark spell nothing is due until the contact speaks; an opening counts from then."""
    log, lid = Log(), Lid("shed-chest")
    lid.news(True, at(0))
    lid.dark(at(3 * HOUR))
    assert due(lid, log) is None
    lid.news(True, at(3 * HOUR + MINUTE))

    assert due(lid, log) == 3 * HOUR + 6 * MINUTE


def test_standing_lid_ends_after_a_restart_in_another_boot() -> None:
    """An alarm that outlived a restart goes on while the contact says open, and ends once it says shut."""
    log = Log()
    opened(log)
    lid = Lid("shed-chest")
    lid.news(True, at(HOUR, "later"))
    assert lid.due(LIMITS, log.alarms) is None
    shut = at(HOUR + MINUTE, "later")
    lid.news(False, shut)
    assert lid.due(LIMITS, log.alarms) == shut.steady + 30 * SECOND
    lid.turn(shut.later(30 * SECOND), log.alarms)

    assert log.told("lid-open", What.OVER)["lasted"] == HOUR + MINUTE


def test_lid_can_be_packed() -> None:
    """What is known of a lid survives being packed."""
    lid = opened(Log())

    assert unpack(Lid, pack(lid)) == lid

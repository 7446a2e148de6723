"""When a sensor that is heard counts as faulty."""

from gatewayd.alarm.fault import REASONS, Fault
from gatewayd.model.event import What
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.pack import pack, unpack
from tests.alarm.scene import START, Log, at

GONE = "probe disconnected"


def bad(fault: Fault, log: Log, *minutes: float, why: str = GONE) -> None:
    """Let bad messages come at these minutes after the start."""
    for minute in minutes:
        fault.bad(at(round(minute * MINUTE)), why, log.alarms)


def test_twenty_minutes_of_bad_values_are_a_fault() -> None:
    """Three bad messages over 20 min are told with why, how many, and since when."""
    log, fault = Log(), Fault("shed-air")
    bad(fault, log, 0, 10, 19.9)
    assert log.events == []
    bad(fault, log, 20)

    assert log.turns("sensor-fault", of="shed-air") == ["raised"]
    assert log.told("sensor-fault") == {"why": GONE, "since": START.wall, "lasted": 20 * MINUTE, "count": 4}


def test_two_bad_messages_are_none() -> None:
    """Two bad messages, however far apart, could be one mishap."""
    log, fault = Log(), Fault("shed-air")
    bad(fault, log, 0, 60)
    assert log.events == []
    bad(fault, log, 61)

    assert log.turns("sensor-fault") == ["raised"]


def test_one_good_value_begins_the_row_anew() -> None:
    """Bad messages with a good one between them are not all bad."""
    log, fault = Log(), Fault("shed-air")
    bad(fault, log, 0, 5, 10, 15)
    fault.good(at(16 * MINUTE), log.alarms)
    bad(fault, log, 20, 25, 30, 35)
    assert log.events == []
    bad(fault, log, 40)

    assert log.told("sensor-fault")["lasted"] == 20 * MINUTE


def test_fault_ends_with_two_good_values() -> None:
    """The second good value in a row ends it; it lasted until the first."""
    log, fault = Log(), Fault("shed-air")
    bad(fault, log, 0, 10, 20, 30)
    fault.good(at(31 * MINUTE), log.alarms)
    bad(fault, log, 32)
    fault.good(at(33 * MINUTE), log.alarms)
    assert log.turns("sensor-fault") == ["raised"]
    fault.good(at(34 * MINUTE), log.alarms)

    assert log.turns("sensor-fault") == ["raised", "over"]
    assert log.told("sensor-fault", What.OVER) == {"since": START.wall, "lasted": 33 * MINUTE, "latched": False}


def test_most_frequent_reason_is_told() -> None:
    """Of several reasons the one that came most often is told."""
    log, fault = Log(), Fault("shed-air")
    bad(fault, log, 0, 5, why="power-on value")
    bad(fault, log, 10, 15, 20, why=GONE)

    assert log.told("sensor-fault")["why"] == GONE


def test_reasons_cannot_fill_the_memory() -> None:
    """A sender that invents a reason with each message is counted, and only some of its reasons kept."""
    log, fault = Log(), Fault("shed-air")
    for minute in range(100):
        bad(fault, log, minute, why=f"nonsense {minute}")

    assert len(fault.whys) == REASONS
    assert fault.count == 100


def test_fault_that_outlived_a_restart_ends() -> None:
    """A restart forgets the row but not the alarm: it ends with two good values, and stays with bad ones."""
    log = Log()
    bad(Fault("shed-air"), log, 0)
    before = Fault("shed-air")
    bad(before, log, 0, 10, 20)
    after = Fault("shed-air")
    after.bad(at(HOUR, "later"), GONE, log.alarms)
    after.good(at(HOUR + MINUTE, "later"), log.alarms)
    after.good(at(HOUR + 2 * MINUTE, "later"), log.alarms)

    assert log.turns("sensor-fault") == ["raised", "over"]
    assert log.told("sensor-fault", What.OVER)["lasted"] == HOUR + MINUTE


def test_good_values_leave_no_trace() -> None:
    """A sensor that is well makes no alarm, not even one that does not stand."""
    log, fault = Log(), Fault("shed-air")
    for minute in range(10):
        fault.good(at(minute * MINUTE), log.alarms)

    assert log.alarms.all == {}


def test_fault_can_be_packed() -> None:
    """What is known survives being packed."""
    fault = Fault("shed-air")
    bad(fault, Log(), 0, 10)

    assert unpack(Fault, pack(fault)) == fault

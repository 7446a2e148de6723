"""A line for each thing that is to be done."""

from datetime import UTC, datetime

import pytest

from gatewayd.message.due import due_line
from gatewayd.model.chore import Due
from gatewayd.model.moment import to_wall

NOW = to_wall(datetime(2026, 11, 25, 12, tzinfo=UTC))
SOON = to_wall(datetime(2026, 12, 3, 12, tzinfo=UTC))
LATER = to_wall(datetime(2027, 1, 3, 12, tzinfo=UTC))


@pytest.mark.parametrize(
    ("by", "overdue", "line"),
    [
        (SOON, False, "Check Shed air in ice, by 3 December: once a year"),
        (LATER, False, "Check Shed air in ice, by 3 January 2027: once a year"),
        (SOON, True, "Check Shed air in ice, overdue since 3 December: once a year"),
        (None, True, "Check Shed air in ice, soon: once a year"),
        (None, False, "Check Shed air in ice: once a year"),
    ],
)
def test_line(by: int | None, overdue: bool, line: str) -> None:
    """It says what to do, by when, with the year where it is another, and why."""
    assert due_line(Due("shed-air", "check Shed air in ice", by, "once a year.", overdue=overdue), NOW, UTC) == line

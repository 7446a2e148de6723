"""What the tests of the commands share."""

import pytest

from gatewayd.cli import house
from tests.cli.answering import Answering


@pytest.fixture
def door(monkeypatch: pytest.MonkeyPatch) -> Answering:
    """Let a daemon answer that has a forecast of each freezer."""
    answering = Answering()
    monkeypatch.setattr(house, "ask", answering)
    return answering

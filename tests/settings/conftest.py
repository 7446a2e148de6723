"""A small right house to go wrong from, and loading from text."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from gatewayd.settings.faults import Fault, SettingsError
from gatewayd.settings.load import load
from gatewayd.settings.typed import Settings

Load = Callable[..., Settings]
Faults = Callable[..., tuple[Fault, ...]]

SMALL = """\
site:
  id: heron-lane
freezers:
  shed-chest:
    sensors: [shed-air]
sensors:
  shed-air:
    broker: house
    topic: shed/air
brokers:
  house:
    host: localhost
people:
  anna:
    told_by: [anna-mail]
routes:
  anna-mail:
    mail: {host: mail.example.org, from: a@example.org, to: anna@example.org}
"""


def changed(before: str, after: str) -> str:
    """Return the small house with one piece of its text changed; the piece must be there."""
    assert before in SMALL
    return SMALL.replace(before, after, 1)


@pytest.fixture
def settings_file(tmp_path: Path) -> Path:
    """Give the place of the keeper's file."""
    return tmp_path / "gatewayd.yaml"


@pytest.fixture
def load_text(tmp_path: Path, settings_file: Path) -> Load:
    """Write a text (or bytes) to the keeper's file, closed to others, and load it."""

    def load_it(text: str | bytes, *, env: Mapping[str, str] | None = None, mode: int = 0o600) -> Settings:
        settings_file.write_bytes(text if isinstance(text, bytes) else text.encode())
        settings_file.chmod(mode)
        state = tmp_path / "state"
        state.mkdir(exist_ok=True)
        return load([settings_file], env={"HOME": str(tmp_path), **(env or {})}, state_dir=state)

    return load_it


@pytest.fixture
def faults_of(load_text: Load) -> Faults:
    """Load a text that is at fault and return its faults."""

    def faults(text: str | bytes, **more: object) -> tuple[Fault, ...]:
        with pytest.raises(SettingsError) as caught:
            load_text(text, **more)
        return caught.value.faults

    return faults

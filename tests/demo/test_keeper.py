"""The settings of Heron Lane as its keeper would have written them."""

from dataclasses import replace
from pathlib import Path

from gatewayd.demo.house import house
from gatewayd.demo.keeper import written
from gatewayd.settings.load import load


def test_settings_are_those_of_the_played_house(tmp_path: Path) -> None:
    """Loading what was written gives the very house that is played, with nothing to warn of."""
    file = tmp_path / "gatewayd.yaml"
    file.write_text(written(house(), "127.0.0.1:8470", "http://127.0.0.1:8470"))
    found = load([file], env={}, state_dir=tmp_path)

    assert replace(found.house, version="demo") == house()
    assert found.warnings == ()
    assert found.pages is not None
    assert (found.pages.host, found.pages.port, found.pages.address) == ("127.0.0.1", 8470, "http://127.0.0.1:8470")

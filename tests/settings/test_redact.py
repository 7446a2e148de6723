"""The settings as JSON that is kept with the events, and the version that names them."""

import json
import re

import pytest

from gatewayd.settings.redact import redacted, version
from tests.settings.conftest import SMALL, Load, changed

USER = "host: localhost\n    user: gatewayd\n    password: trout"


def test_equal_settings_have_equal_versions(load_text: Load) -> None:
    """Comments, order and quotes change nothing of the version."""
    first = load_text(SMALL)
    second = load_text("# mine\n" + changed("id: heron-lane", "'id': \"heron-lane\""))

    assert redacted(first) == redacted(second)
    assert first.house.version == second.house.version


@pytest.mark.parametrize(
    ("before", "after"),
    [("shed/air", "shed/air2"), ("[shed-air]", "[shed-air]\n    limits: {high: -15 °C}"), ("localhost", "127.0.0.1")],
)
def test_each_change_has_its_version(before: str, after: str, load_text: Load) -> None:
    """A change of what is watched, by what limits or how, makes a new version."""
    assert load_text(SMALL).house.version != load_text(changed(before, after)).house.version


def test_new_password_is_no_new_version(load_text: Load) -> None:
    """A changed password makes no new version, so no version can be used to guess one."""
    first, second = (load_text(changed("host: localhost", USER + end)) for end in ("1", "2"))

    assert first.house.version == second.house.version


def test_redacted_is_json(load_text: Load) -> None:
    """The redacted settings are JSON whose secrets are the sign for one, and an empty one is empty."""
    kept = json.loads(redacted(load_text(changed("host: localhost", USER))))

    assert kept["brokers"]["house"]["password"] == "…"
    assert kept["routes"]["anna-mail"]["way"]["password"] == ""
    assert kept["house"]["freezers"]["shed-chest"]["limits"]["high"] == -12.0


def test_version_names_the_whole(load_text: Load) -> None:
    """The version in the house is that of the settings, twelve hexadecimal digits."""
    settings = load_text(SMALL)

    assert settings.house.version == version(settings)
    assert re.fullmatch("[0-9a-f]{12}", settings.house.version)

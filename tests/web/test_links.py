"""The line at the end of a message."""

import ipaddress

import pytest

from gatewayd.alarm.kinds import KINDS
from gatewayd.message.token import LASTS, Claim, Wrong, read
from gatewayd.model.event import Notice, Stage
from gatewayd.model.moment import Moment
from gatewayd.model.priority import Priority
from gatewayd.settings.typed import Pages
from gatewayd.web import links as module
from gatewayd.web.links import Links, home_address
from tests.fakes.clock import START, FakeClock

KEY = bytes(range(32))


def notice(stage: Stage = Stage.NEW, kind: str = "high") -> Notice:
    """Tell Ann of alarm 17."""
    made = Moment(START, 0)
    return Notice(17, "ann", stage, Priority.MEDIUM, "Shed chest", "It is warm.", made, ("mail",), "shed-chest", kind)


def line(pages: Pages, told: Notice | None = None) -> str:
    """Write the line of a notice."""
    return Links(KEY, pages, FakeClock(), "gate").line(told or notice())


@pytest.mark.parametrize("address", ["https://heron.example:8470", "https://heron.example:8470/"])
def test_leads_to_the_address_of_the_keeper(address: str) -> None:
    """With an address of the keeper's the link begins with it, and says who has seen what for a week."""
    start, _, token = line(Pages("0.0.0.0", 8470, address)).rpartition("/")

    assert start == "Seen it? Tap: https://heron.example:8470/seen"
    assert read(KEY, token, START + LASTS - 1) == Claim(17, "ann")
    assert isinstance(read(KEY, token, START + LASTS), Wrong)


@pytest.mark.parametrize(
    ("host", "found", "shown"),
    [
        ("0.0.0.0", "192.168.1.20", "http://192.168.1.20:8470/seen/"),
        ("", "", "http://gate:8470/seen/"),
        ("::", "fd00::7", "http://[fd00::7]:8470/seen/"),
        ("192.168.7.7", "192.168.1.20", "http://192.168.7.7:8470/seen/"),
    ],
)
def test_works_at_home_only(host: str, found: str, shown: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without one it leads to this computer at home, by its name where it has no address, and says so."""
    monkeypatch.setattr(module, "home_address", lambda: found)
    text = line(Pages(host, 8470))

    assert text.startswith(f"Seen it? Tap: {shown}")
    assert text.endswith(" (works at home only)")


@pytest.mark.parametrize("stage", list(Stage))
def test_only_where_an_answer_is_wanted(stage: Stage) -> None:
    """News of an alarm, that it is worse, and a reminder ask for a tap; the end and another's answer do not."""
    asks = stage in (Stage.NEW, Stage.WORSE, Stage.REPEAT)

    assert bool(line(Pages("", 1), notice(stage))) is asks


def test_only_alarms_that_ask() -> None:
    """What needs no person, and what is a note and no alarm, has no link."""
    asked = {kind for kind in [*KINDS, "week", "dark", "mended"] if line(Pages("", 1), notice(kind=kind))}

    assert asked == {name for name, kind in KINDS.items() if kind.asks}


def test_address_of_this_computer() -> None:
    """The computer's own address, if it has one, is one of its own."""
    found = home_address()

    assert not found or not ipaddress.ip_address(found).is_multicast


def test_encrypted_pages_have_encrypted_links() -> None:
    """With a certificate every address begins so that a browser finds the pages."""
    links = Links(KEY, Pages("192.168.1.7", 8470, certificate="house.pem"), FakeClock())

    assert links.begins() == "https://192.168.1.7:8470"

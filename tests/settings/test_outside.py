"""The pages, the sign of life, the neighbours, and ids that must differ."""

import json
from pathlib import Path

import pytest

from gatewayd.model.house import Neighbour
from gatewayd.model.moment import HOUR, MINUTE
from gatewayd.model.route import Secret
from gatewayd.settings.load import load
from gatewayd.settings.redact import redacted
from gatewayd.settings.typed import Pages, SignOfLife
from tests.settings.conftest import SMALL, Faults, Load

WORD = "trout-venison-plums"
PAGES = "pages: {listen: 8470}\n"
SIGN = f"sign_of_life:\n  url: https://life.example.org/{WORD}\n"
NEIGHBOUR = f"neighbours:\n  elm-road:\n    token: {WORD}\n"


def test_nothing_reaches_out_unasked(load_text: Load) -> None:
    """Without their sections there are no pages, no sign of life and no neighbours."""
    settings = load_text(SMALL)

    assert (settings.pages, settings.sign_of_life) == (None, None)
    assert (settings.tokens, settings.house.neighbours) == ({}, {})


@pytest.mark.parametrize(
    ("written", "pages"),
    [
        ("listen: 8470", Pages("", 8470)),
        ("listen: '0.0.0.0:8470'", Pages("0.0.0.0", 8470)),
        ("listen: '[::1]:80'", Pages("::1", 80)),
        (
            "listen: 'garage.lan:8470', address: 'https://house.example.org/ice/'",
            Pages("garage.lan", 8470, "https://house.example.org/ice"),
        ),
    ],
)
def test_pages_are_read(written: str, pages: Pages, load_text: Load) -> None:
    """The pages answer at a host and port, or at a port of all addresses."""
    assert load_text(SMALL + f"pages: {{{written}}}\n").pages == pages


def test_sign_of_life_is_read(load_text: Load) -> None:
    """The sign of life has defaults for all but its URL, and takes what is written instead."""
    url = Secret(f"https://life.example.org/{WORD}")
    more = "  method: post\n  every: 1 h\n  codes: [204]\n  text: thank you\n"

    assert load_text(SMALL + SIGN).sign_of_life == SignOfLife(url)
    assert load_text(SMALL + SIGN + more).sign_of_life == SignOfLife(url, "POST", HOUR, (204,), "thank you")


def test_neighbour_is_read(load_text: Load) -> None:
    """A neighbour has a name made of its id, half an hour, and its word stands apart from the house."""
    plain = load_text(SMALL + PAGES + NEIGHBOUR)
    more = load_text(SMALL + NEIGHBOUR + "    silent_after: 1 h\n    broker: house\n    topic: gatewayd/elm-road\n")

    assert plain.house.neighbours == {"elm-road": Neighbour("elm-road", "Elm road", 30 * MINUTE)}
    assert plain.tokens == {"elm-road": Secret(WORD)}
    assert (plain.warnings, more.warnings) == ((), ())
    assert more.house.neighbours["elm-road"] == Neighbour("elm-road", "Elm road", HOUR, "house", "gatewayd/elm-road")


def test_deaf_neighbour_warns(load_text: Load) -> None:
    """A neighbour that can be heard neither at the pages nor at a broker is allowed with a warning."""
    (warning,) = load_text(SMALL + NEIGHBOUR).warnings

    assert warning == "neighbour elm-road cannot be heard: there are no pages, and no broker is named"


@pytest.mark.parametrize(
    ("more", "key", "words"),
    [
        ("pages: {address: 'http://a.example'}\n", "pages.listen", "is missing"),
        ("pages: {listen: '8470:'}\n", "pages.listen", "host:port"),
        ("pages: {listen: ':8470'}\n", "pages.listen", "host:port"),
        ("pages: {listen: 70000}\n", "pages.listen", "is not such a number"),
        ("pages: {listen: 80, address: garage}\n", "pages.address", "http://"),
        ("pages: {listen: 80, address: 'http://a.example/?x'}\n", "pages.address", "holds more"),
        ("pages: {listen: 80, address: 'http://a.example?'}\n", "pages.address", "holds more"),
        ("pages: {listen: 80, address: 'http://a.example/#'}\n", "pages.address", "holds more"),
        ("pages: {listen: 80, private_key: a.pem}\n", "pages.private_key", "without a certificate"),
        ("pages: {listen: 80, proxy: garage}\n", "pages.proxy", "an IP address like 127.0.0.1"),
        ("sign_of_life: {every: 5 min}\n", "sign_of_life.url", "is missing"),
        ("sign_of_life: {url: 'ftp://a.example/'}\n", "sign_of_life.url", "does not have the right form"),
        (SIGN + "  every: 2 h\n", "sign_of_life.every", "out of range"),
        (SIGN + "  codes: []\n", "sign_of_life.codes", "no answer would do"),
        (SIGN + "  codes: [99]\n", "sign_of_life.codes", "from 200 to 599"),
        (SIGN + "  method: PUT\n", "sign_of_life.method", "GET or POST"),
        (PAGES + "neighbours: {elm-road: {name: Elm}}\n", "neighbours.elm-road.token", "is missing"),
        (PAGES + "neighbours: {elm-road: {token: venison}}\n", "neighbours.elm-road.token", "16 characters"),
        (PAGES + NEIGHBOUR + "    silent_after: 9 min\n", "neighbours.elm-road.silent_after", "out of range"),
        (NEIGHBOUR + "    broker: house\n", "neighbours.elm-road.broker", "without a topic"),
        (NEIGHBOUR + "    topic: a\n", "neighbours.elm-road.topic", "without a broker"),
        (NEIGHBOUR + "    broker: hall\n    topic: a\n", "neighbours.elm-road.broker", "no broker 'hall'"),
        (NEIGHBOUR + "    broker: house\n    topic: gatewayd/heron-lane\n", "neighbours.elm-road.topic", "own topic"),
        (
            NEIGHBOUR + "    broker: house\n    topic: a\n  mill: {token: 0123456789abcdef, broker: house, topic: a}\n",
            "neighbours.mill.topic",
            "that of neighbour elm-road",
        ),
    ],
)
def test_what_cannot_be_used(more: str, key: str, words: str, faults_of: Faults) -> None:
    """Each mistake in the pages, the sign of life and the neighbours is one fault at its key, without the secret."""
    (found,) = faults_of(SMALL + more)

    assert found.key == key
    assert words in str(found)
    assert WORD not in str(found)
    assert "venison" not in str(found)


def test_secrets_are_redacted(load_text: Load) -> None:
    """Neither the URL of the sign of life nor a neighbour's word is in the redacted settings or a repr."""
    settings = load_text(SMALL + PAGES + SIGN + NEIGHBOUR)
    kept = json.loads(redacted(settings))

    assert kept["sign_of_life"]["url"] == kept["tokens"]["elm-road"] == "…"
    assert WORD not in redacted(settings) + repr(settings)


def test_commands_need_no_secrets(tmp_path: Path) -> None:
    """Who may not know the secrets can still read the settings: stand-ins have the right form."""
    text = SMALL + PAGES + SIGN.replace(f"https://life.example.org/{WORD}", "${LIFE}") + NEIGHBOUR.replace(WORD, "${W}")
    path = tmp_path / "gatewayd.yaml"
    path.write_text(text)
    settings = load([path], env={"HOME": "/"}, state_dir=tmp_path, secrets=False)

    assert settings.sign_of_life is not None
    assert set(settings.tokens) == {"elm-road"}


@pytest.mark.parametrize(
    ("before", "after", "key", "other"),
    [
        ("shed-air", "shed-chest", "sensors.shed-chest", "a freezer in gatewayd.yaml, line 4"),
        ("house", "shed-air", "brokers.shed-air", "a sensor in"),
        ("shed-chest", "heron-lane", "freezers.heron-lane", "the site"),
        ("house", "wired", "brokers.wired", "the probes wired"),
    ],
)
def test_ids_differ(before: str, after: str, key: str, other: str, faults_of: Faults) -> None:
    """Two things with one id are one fault that names both."""
    (found,) = faults_of(SMALL.replace(before, after))

    assert found.key == key
    assert f"is also the id of {other}" in str(found)


def test_neighbours_share_no_id(faults_of: Faults) -> None:
    """A neighbour may not have the id of a radio."""
    (found,) = faults_of(SMALL + PAGES + "radios: {elm-road: {}}\n" + NEIGHBOUR)

    assert found.key == "neighbours.elm-road"
    assert "a radio in" in str(found)


def test_encrypted_pages(load_text: Load, tmp_path: Path) -> None:
    """The files of the pages' certificate count from the settings file, and the proxy is an address."""
    written = "pages: {listen: 8470, certificate: house.pem, private_key: key.pem, proxy: '::1'}\n"
    pages = load_text(SMALL + written).pages

    assert pages is not None
    assert (pages.certificate, pages.private_key) == (str(tmp_path / "house.pem"), str(tmp_path / "key.pem"))
    assert pages.proxy == "::1"


def test_pages_that_no_phone_can_open(load_text: Load) -> None:
    """Pages at this computer alone are warned of, unless the settings say how phones come to them."""
    (warning,) = load_text(SMALL + "pages: {listen: 127.0.0.1:8470}\n").warnings
    shown = load_text(SMALL + "pages: {listen: 127.0.0.1:8470, address: 'https://house.example'}\n").warnings

    assert "which no phone can open" in warning
    assert shown == ()

"""Why a broker refuses, in household words."""

import re
import socket
import ssl

import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from gatewayd.model.route import Secret
from gatewayd.settings.typed import Broker
from gatewayd.sources import refusal

BROKER = Broker(
    "shed", "Shed broker", "broker.lan", "gatewayd-heron", "gatewayd/heron", user="keeper", password=Secret("plum-jam")
)
UNSAID = "without saying why"


def codes_of(packet: int) -> list[int]:
    """Return the refusal codes that MQTT 5 allows in a packet, from paho's own table."""
    return [
        code
        for code, names in ReasonCode.names.items()
        if code > refusal.REFUSED and any(packet in packets for packets in names.values())
    ]


@pytest.mark.parametrize("code", codes_of(PacketTypes.CONNACK))
def test_every_greeting(code: int) -> None:
    """Every refusal of a connection has words of its own, without a number or a secret in them."""
    text = refusal.refused(code, BROKER)

    assert (UNSAID in text) == (code == 0x83)
    assert not re.search(r"0x|\b1[2-6]\d\b|plum-jam|keeper", text)


@pytest.mark.parametrize("code", codes_of(PacketTypes.DISCONNECT))
def test_every_ending(code: int) -> None:
    """Every way to end a working connection reads as a sentence, without a number in it."""
    text = refusal.ended(code, BROKER)

    assert text.startswith(("the broker", "another program", "somebody"))
    assert not re.search(r"0x|\{", text)


@pytest.mark.parametrize("code", codes_of(PacketTypes.SUBACK))
def test_every_subscription(code: int) -> None:
    """Every refused subscription names topic and sensors and says what to do."""
    text = refusal.unheard(code, "house/porch", ("porch-air", "porch-lid"))

    assert '"house/porch"' in text
    assert "the sensors porch-air, porch-lid cannot be heard; " in text


def test_many_sensors() -> None:
    """Of many sensors on one topic three are named."""
    text = refusal.unheard(0x87, "house/all", tuple(f"probe-{n}" for n in range(10)))

    assert "probe-0, probe-1, probe-2 and 7 more cannot" in text


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        (socket.gaierror(-2, "Name or service not known"), "broker.lan cannot be found"),
        (ConnectionRefusedError(), "nothing answers at broker.lan, port 1883"),
        (TimeoutError(), "does not answer"),
        (ConnectionResetError(), "does the broker want TLS"),
        (OSError(113, "No route to host"), "no way leads to broker.lan, port 1883 (No route to host)"),
        (ssl.SSLError(1, "WRONG_VERSION_NUMBER"), "is this the broker's port for TLS?"),
        (ValueError("odd"), "failed: odd"),
    ],
)
def test_unreachable(fault: Exception, said: str) -> None:
    """Each way not to get there says what it is and where to look."""
    assert said in refusal.unreachable(fault, BROKER)


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (9, "not valid yet"),
        (10, "has expired"),
        (18, "name its authority's file as `ca`"),
        (62, "not made out to broker.lan"),
        (64, "not made out to broker.lan"),
    ],
)
def test_certificate(code: int, said: str) -> None:
    """What is wrong with a certificate is told apart: its time, its name, its authority."""
    fault = ssl.SSLCertVerificationError(1, "certificate verify failed")
    fault.verify_code = code

    assert said in refusal.unreachable(fault, BROKER)

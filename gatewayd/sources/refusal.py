"""Say in household words why a broker cannot be reached or refuses, and what to do about it. Pure.

The reason codes are those of MQTT 5.0, section 2.4; paho turns the return codes of 3.1.1 into them. They stay in here.
"""

import socket
import ssl

from gatewayd.settings.typed import Broker

UNSUPPORTED_VERSION = 0x84
TAKEN_OVER = 0x8E
REFUSED = 0x80  # from here on a code says no
MOST_SENSORS_NAMED = 3

_SIGN_IN = (
    "the broker refuses the user name or the password, or lets this user in no more; compare `user` and `password` in "
    "the settings with the broker's password file, and see whether this user may use the topic {own}"
)
_LATER = "the broker says that it is too busy; gatewayd tries again by itself, look at the broker if this lasts"
_MOVED = "the broker says that it has moved; put its new address into `host` in the settings"
_FORM = "the broker did not understand what gatewayd sent; look at its log, and update it if it is old"
_CONNECT = {
    0x81: _FORM,
    0x82: _FORM,
    UNSUPPORTED_VERSION: "the broker speaks neither MQTT 5 nor MQTT 3.1.1; update it",
    0x85: "the broker does not accept the client id {client}; choose another `client_id` in the settings",
    0x86: _SIGN_IN,
    0x87: _SIGN_IN,
    0x88: "the broker says that it is not available; gatewayd tries again by itself, look at the broker if this lasts",
    0x89: _LATER,
    0x8A: "the broker has banned gatewayd; lift the ban in the broker's settings",
    0x8C: "the broker wants another way of signing in than user name and password; allow these for gatewayd",
    0x90: "the broker does not allow the topic {own}/status; allow it, or choose another `own_topic` in the settings",
    0x95: "the broker finds gatewayd's greeting too large; raise its limit for the size of a packet",
    0x97: "the broker says that its limit is used up; raise the limit or remove old sessions there",
    0x9A: "the broker keeps no messages for later readers (retained messages); allow them there",
    0x9B: "the broker does not confirm messages (quality of service 1); allow that, or readings would be lost",
    0x9C: _MOVED,
    0x9D: _MOVED,
    0x9F: "the broker limits how often one may connect; gatewayd tries again by itself, more slowly",
}
_END = {
    0x00: "the broker ended the connection",
    0x87: "the broker withdrew gatewayd's rights; look at the user's rights there",
    0x89: _LATER,
    0x8B: "the broker is shutting down; gatewayd tries again by itself",
    0x8D: "the broker heard nothing from gatewayd for too long; the network may be weak",
    TAKEN_OVER: (
        "another program signs in with the client id {client} and takes gatewayd's place; is a second gatewayd "
        "running? Stop it, or give each its own `client_id` in the settings"
    ),
    0x93: "the broker says that too much is under way at once; look at its log",
    0x95: "the broker ended the connection over a message that is too large",
    0x96: "the broker says that gatewayd sends too often; raise its limit",
    0x97: "the broker says that its limit is used up; raise the limit there",
    0x98: "somebody ended the connection at the broker",
    0x9A: _CONNECT[0x9A],
    0x9B: _CONNECT[0x9B],
    0x9C: _MOVED,
    0x9D: _MOVED,
    0x9F: _CONNECT[0x9F],
    0xA0: "the broker allows a connection only for a while; gatewayd connects again by itself",
}


def refused(code: int, broker: Broker) -> str:
    """Say why the broker did not let us in; `code` is the reason code of the CONNACK."""
    text = _CONNECT.get(code, "the broker refuses the connection without saying why; look at its log")
    return text.format(client=broker.client_id, own=broker.own_topic)


def ended(code: int, broker: Broker) -> str:
    """Say why the broker ended the connection; `code` is the reason code of its DISCONNECT."""
    text = _END.get(code, "the broker ended the connection without saying why; look at its log")
    return text.format(client=broker.client_id, own=broker.own_topic)


def unheard(code: int, topic: str, sensors: tuple[str, ...]) -> str:
    """Say that a subscription was refused; `code` is the reason code of the SUBACK."""
    named = ", ".join(sensors[:MOST_SENSORS_NAMED])
    if len(sensors) > MOST_SENSORS_NAMED:
        named += f" and {len(sensors) - MOST_SENSORS_NAMED} more"
    whom = f"the sensor {named}" if len(sensors) == 1 else f"the sensors {named}"
    match code:
        case 0x87:
            why, do = "its rights forbid it", "allow gatewayd's user to read this topic there"
        case 0x8F:
            why, do = "it is not a valid topic for it", "correct the topic in the settings"
        case 0x97:
            why, do = "its limit of subscriptions is used up", "raise that limit"
        case _:
            why, do = "it does not say why", "look at the user's rights and at the broker's log"
    return f'the broker does not let gatewayd read the topic "{topic}": {why}. So {whom} cannot be heard; {do}'


def unsafe(topic: str) -> str:
    """Say that a subscription was granted without safe delivery."""
    return (
        f'the broker hands on the topic "{topic}" without keeping anything back for gatewayd (quality of service 0): '
        "what is sent while gatewayd is away is lost; allow quality of service 1 there"
    )


def no_marker(broker: Broker) -> str:
    """Say what follows when the marker message is forbidden or does not come back."""
    return (
        f'the broker\'s rights do not let gatewayd write and read its own topic "{broker.own_topic}/marker". gatewayd '
        "needs it to tell fresh readings from those that waited at the broker; without it the first half minute after "
        "each connection counts as late. Allow gatewayd's user to write and read this topic"
    )


def no_status(broker: Broker) -> str:
    """Say what follows when our own status message is forbidden."""
    return (
        f'the broker does not let gatewayd write "{broker.own_topic}/status", where others can see whether gatewayd is '
        "up. Allow gatewayd's user to write this topic"
    )


def unreachable(fault: Exception, broker: Broker) -> str:
    """Say why a connection could not be made."""
    at = f"{broker.host}, port {broker.port}"
    match fault:
        case ssl.SSLCertVerificationError():
            return _certificate(fault, broker)
        case ssl.SSLError():
            if broker.ca and (fault.reason or "").startswith(("NO_CERTIFICATE", "NO_START_LINE", "PEM_LIB")):
                return f"the file {broker.ca} holds no certificate; `ca` must name the file of the authority to trust"
            return f"no encrypted connection came about with {at}; is this the broker's port for TLS?"
        case socket.gaierror():
            return f"the name {broker.host} cannot be found; correct `host`, or see whether the name service works"
        case ConnectionRefusedError():
            return f"nothing answers at {at}; is the broker running, and is the port right?"
        case TimeoutError():
            return f"{at} does not answer; is that computer on, and is the address right?"
        case FileNotFoundError() | PermissionError() | IsADirectoryError() if broker.ca:
            return f"the file {broker.ca} cannot be read; `ca` must name the file of the authority to trust"
        case ConnectionError():
            return f"{at} ended the connection at once; does the broker want TLS on this port?"
        case OSError():
            return f"no way leads to {at} ({fault.strerror or fault}); look at the network"
        case _:
            return f"the connection to {at} failed: {fault}"


def _certificate(fault: ssl.SSLCertVerificationError, broker: Broker) -> str:
    # The numbers are X509_V_ERR_* of OpenSSL's x509_vfy.h.
    match fault.verify_code:
        case 9:
            return "the broker's certificate is not valid yet; is the clock of one of the two computers wrong?"
        case 10:
            return "the broker's certificate has expired; renew it there (or is this computer's clock wrong?)"
        case 62 | 64:
            return f"the broker's certificate is not made out to {broker.host}; use the name that it carries as `host`"
        case _:
            hint = f"the file {broker.ca} does not vouch for it" if broker.ca else "name its authority's file as `ca`"
            return f"the broker's certificate is not signed by an authority that gatewayd trusts; {hint}"

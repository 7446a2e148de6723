"""An advertisement as it was heard, and which part of it a sensor speaks in. Nothing here interprets the part."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

from gatewayd.model.format import Format, Saying
from gatewayd.model.moment import Moment

# Bluetooth Core Specification, Vol 3 Part B 2.5.1: a 16-bit UUID stands for this one with the 16 bits put in front.
BASE = "-0000-1000-8000-00805f9b34fb"
BTHOME, EDDYSTONE = f"0000fcd2{BASE}", f"0000feaa{BASE}"
NO_SIGNAL = -127  # dBm; what bleak says when BlueZ took the signal back: the callback is no advertisement

Services: TypeAlias = Mapping[str, bytes]
Makers: TypeAlias = Mapping[int, bytes]
Pick: TypeAlias = Callable[[Services, Makers], bytes | None]


@dataclass(frozen=True, slots=True)
class Advert:
    """Hold one callback of the radio.

    `services` is keyed by full UUID in lower case, `makers` by company id; `name` is "" where none was sent; `signal`
    is in dBm. Parts that an earlier advertisement of the device brought may still be among them.
    """

    address: str
    name: str
    signal: int
    services: Services
    makers: Makers
    at: Moment


def full_uuid(text: str) -> str:
    """Return a UUID of 4, 8 or 32 hex digits in full, in lower case."""
    text = text.lower().removeprefix("0x")
    return f"{text:0>8}{BASE}" if len(text) <= 8 else text


def picker(saying: Saying) -> Pick | None:
    """Return what takes from an advertisement the bytes that `saying` reads, None if it reads no advertisement."""
    if saying.format is Format.BTHOME:
        return lambda services, _makers: services.get(BTHOME)
    if saying.format is Format.TLM:
        return lambda services, _makers: services.get(EDDYSTONE)
    rule = saying.rule
    if rule is None:
        return None
    if rule.service is not None:
        uuid = full_uuid(rule.service)
        return lambda services, _makers: services.get(uuid)
    maker = rule.maker if rule.maker is not None else -1
    return lambda _services, makers: makers.get(maker)

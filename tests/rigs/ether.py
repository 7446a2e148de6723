"""The hardware under the stand-in for bluetoothd: adapters, chips, what is on the air, and what BlueZ lets through."""

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dbus_fast import Variant

BASE = "-0000-1000-8000-00805f9b34fb"

Pattern = tuple[int, int, bytes]
Gatt = Mapping[int, Mapping[int, bytes]]  # service -> characteristic -> value


def uuid16(number: int) -> str:
    """Return a 16-bit UUID in full."""
    return f"0000{number:04x}{BASE}"


@dataclass
class Adapter:
    """Hold one adapter. `chip` says what its own duplicate filter lets through once per `period` (s) in an active scan.

    None: everything; "address": one report of each device; "data": one of each device and content.
    """

    address: str
    powered: bool = True
    low_energy_only: bool = True
    chip: str | None = None
    period: float = 10.4  # how long the kernel lets one scan run (measured)
    passed: dict[object, float] = field(default_factory=dict)
    filters: dict[str, dict[str, Any]] = field(default_factory=dict)  # client -> its discovery filter
    pending: dict[str, dict[str, Any]] = field(default_factory=dict)
    monitors: dict[tuple[str, str], list[Pattern]] = field(default_factory=dict)
    connecting: int = 0
    odd: bool = False  # in passive mode the chip listens half of the time: every second packet


@dataclass
class Device:
    """Hold what bluetoothd knows of a device."""

    properties: dict[str, Variant]
    last: float
    connectable: bool = False


class Ether:
    """Hold what outlives the service: the adapters by name, what can be connected to, a scan left running."""

    def __init__(self) -> None:
        """Start with nothing plugged in."""
        self.adapters: dict[str, Adapter] = {}
        self.gatt: dict[str, Gatt] = {}
        self.deaf: set[str] = set()  # addresses that never answer a connection
        self.busy_until = 0.0  # loop time; until then a new service is told "in progress"


@dataclass(frozen=True)
class Packet:
    """Hold one advertisement. `lists` are 16-bit services named without data."""

    address: str
    services: Mapping[int, bytes]
    makers: Mapping[int, bytes]
    signal: int = -60
    flags: int = 0x06
    lists: tuple[int, ...] = ()
    connectable: bool = False

    @property
    def fields(self) -> list[tuple[int, bytes, bytes]]:
        """Return the elements in the air: type, UUID if it has one, the rest."""
        return [
            (0x01, b"", bytes([self.flags])),
            *((0x16, struct.pack("<H", number), data) for number, data in self.services.items()),
            *((0x03, struct.pack("<H", number), b"") for number in self.lists),
            *((0xFF, b"", struct.pack("<H", number) + data) for number, data in self.makers.items()),
        ]

    @property
    def data(self) -> dict[str, tuple[str, dict[Any, Variant]]]:
        """Return what becomes properties of the device: signature and content."""
        return {
            "ServiceData": ("a{sv}", {uuid16(number): Variant("ay", body) for number, body in self.services.items()}),
            "ManufacturerData": ("a{qv}", {number: Variant("ay", body) for number, body in self.makers.items()}),
        }

    def first(self, adapter: str) -> dict[str, Variant]:
        """Return the properties of a device that was not known."""
        return {
            "Address": Variant("s", self.address),
            "Alias": Variant("s", self.address.replace(":", "-")),
            "Adapter": Variant("o", adapter),
            "Paired": Variant("b", False),
            "Connected": Variant("b", False),
            "ServicesResolved": Variant("b", False),
            "UUIDs": Variant("as", [uuid16(number) for number in (*self.services, *self.lists)]),
            "RSSI": Variant("n", self.signal),
            **{key: Variant(kind, body) for key, (kind, body) in self.data.items() if body},
        }


def passes_chip(adapter: Adapter, packet: Packet, now: float) -> bool:
    """Return whether the chip's own filter of duplicates lets a packet through in an active scan."""
    if adapter.chip is None:
        return True
    key: object = packet.address if adapter.chip == "address" else (packet.address, *packet.fields)
    if now - adapter.passed.get(key, -1e9) < adapter.period:
        return False
    adapter.passed[key] = now
    return True


def fits(pattern: Pattern, packet: Packet, version: tuple[int, int]) -> bool:
    """Return whether a monitor's pattern lets a packet through."""
    start, wanted, content = pattern
    for kind, head, body in packet.fields:
        if kind != wanted:
            continue
        data = head + body
        if version >= (5, 69) and kind in (0x03, 0x09, 0x16):
            data = body if kind == 0x16 else b""
        if data[start : start + len(content)] == content:
            return True
    return False


def threshold(adapter: Adapter, version: tuple[int, int]) -> int:
    """Return by how much (dB) the signal must move to be told."""
    filters = adapter.filters.values()
    if any("RSSI" in f or "Pathloss" in f for f in filters):
        return 0
    regular = adapter.low_energy_only and not any(f.get("DuplicateData") for f in filters)
    if not filters or version >= (5, 88) or (version >= (5, 67) and regular):
        return 8
    return 0

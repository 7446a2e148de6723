"""Formats: how a sensor that is not heard by MQTT writes what it says."""

from dataclasses import dataclass
from enum import Enum

from gatewayd.model.reading import Quantity


class Format(Enum):
    """Name an open format, or the keeper's own rule for one that is not open; the text stands in the settings."""

    BTHOME = "bthome"  # BTHome v2, service data 0xFCD2
    TLM = "eddystone-tlm"  # service data 0xFEAA, frame type 0x20
    BYTES = "bytes"  # any other advertisement, by the keeper's rule
    READ = "characteristics"  # connected to and read: Environmental Sensing 0x181A, Battery 0x180F
    ONE_WIRE = "1-wire"  # the kernel's file of a 1-wire thermometer
    HWMON = "hwmon"  # the kernel's file of a sensor chip


@dataclass(frozen=True, slots=True)
class ByteRule:
    """Say where in an advertisement a value lies, for a device whose format is not open.

    `service` (a 16-bit or full UUID in lower case) or `maker` (a company id) names the element; the other is None. The
    value is `factor` * raw + `addend`, raw being `width` (1 to 4) bytes from `offset`, in `order` "little" or "big".
    Raw values in `unknown` mean that the sensor knows no value; one outside `lowest` .. `highest` cannot be true.
    `least` is the shortest length (bytes) of an element that the rule may read.
    """

    service: str | None = None
    maker: int | None = None
    least: int = 1
    offset: int = 0
    width: int = 2
    signed: bool = True
    order: str = "little"
    factor: float = 1.0
    addend: float = 0.0
    unknown: tuple[int, ...] = ()
    lowest: float = -50.0
    highest: float = 60.0
    quantity: Quantity = Quantity.TEMPERATURE

    def __post_init__(self) -> None:
        """Refuse a rule that could read nothing."""
        if (self.service is None) == (self.maker is None):
            raise ValueError("name either a service or a maker, not both and not none")
        if not 1 <= self.width <= 4 or self.offset < 0 or self.order not in ("little", "big"):
            raise ValueError("width must be 1 to 4, offset not below 0, order little or big")
        if self.least < self.offset + self.width:
            raise ValueError(f"least must be at least offset + width = {self.offset + self.width}")
        if not self.lowest < self.highest:
            raise ValueError("lowest must be below highest")


@dataclass(frozen=True, slots=True)
class Saying:
    """Say how a sensor without MQTT writes.

    `which` chooses among several temperatures of one device, 1 being the first. `encrypted` says that there is a key,
    so that a plain frame is refused. `read_every` (ms) is how often a connectable sensor is read. `measures` is what
    it is there for, whatever else it says.
    """

    format: Format
    which: int = 1
    encrypted: bool = False
    rule: ByteRule | None = None
    read_every: int = 600_000
    measures: Quantity = Quantity.TEMPERATURE

    def __post_init__(self) -> None:
        """Refuse what contradicts itself."""
        if self.which < 1:
            raise ValueError("which counts from 1")
        if (self.rule is not None) != (self.format is Format.BYTES):
            raise ValueError("the format bytes needs a rule, and no other format takes one")

"""What is heard, and what it turns into: bytes, values, readings, rows."""

from dataclasses import dataclass
from enum import Enum

from gatewayd.model.moment import Moment


class Quantity(Enum):
    """Name what a value measures; the text is the name in files and exports, the unit stands beside it."""

    TEMPERATURE = "temperature"  # °C
    HUMIDITY = "humidity"  # % relative
    BATTERY = "battery"  # %
    VOLTAGE = "voltage"  # V
    LID = "lid"  # 0 shut, 1 open
    POWER = "power"  # W
    MAINS = "mains"  # 0 off, 1 on

    __hash__ = object.__hash__  # by identity: the text of Enum costs a tenth of what a reading costs in all

    @property
    def unit(self) -> str:
        """Return the unit in which this quantity is counted and exported."""
        return UNITS[self]


UNITS = {
    Quantity.TEMPERATURE: "°C",
    Quantity.HUMIDITY: "%",
    Quantity.BATTERY: "%",
    Quantity.VOLTAGE: "V",
    Quantity.LID: "",
    Quantity.POWER: "W",
    Quantity.MAINS: "",
}


class Arrival(Enum):
    """Say how fresh a heard message is; only a live one is life and may move an alarm."""

    LIVE = "live"
    LATE = "late"  # queued somewhere on the way; measured between the last commit and now
    RETAINED = "retained"  # kept by the broker; age unknown


@dataclass(frozen=True, slots=True)
class Heard:
    """Hold the bytes that arrived for one sensor.

    `signal` is the radio signal in dBm where there is one. `not_before` bounds from below when a late
    message may have been measured (wall ms).
    """

    source: str
    sensor: str
    payload: bytes
    at: Moment
    arrival: Arrival = Arrival.LIVE
    not_before: int | None = None
    signal: int | None = None


@dataclass(frozen=True, slots=True)
class Value:
    """Hold one decoded value in the unit of its quantity, before plausibility and calibration.

    `measured` is the sensor's own stamp (wall ms) if the payload carries one.
    """

    quantity: Quantity
    value: float
    measured: int | None = None


@dataclass(frozen=True, slots=True)
class Decoded:
    """Hold what a frame says.

    `counter` is the frame's own number where its format has one: only a new one is life. `secured` says that it is the
    counter of an encrypted frame, which must rise and is kept. `irregular` says that the device sends when something
    happens and not by the clock. `rebooted` says that its counters began anew. `note` is what the keeper should know
    although the frame could be read.
    """

    values: tuple[Value, ...]
    counter: int | None = None
    secured: bool = False
    irregular: bool = False
    rebooted: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Undecodable:
    """Say in the owner's words why bytes could not be read; counted for sensor health, never raised."""

    reason: str


class Quality(Enum):
    """Say whether a value may be judged. A bad one neither starts nor clears an alarm."""

    GOOD = "good"
    POWER_ON = "power-on value"
    DISCONNECTED = "probe disconnected"
    UNKNOWN = "sensor says: not known"
    OUT_OF_RANGE = "out of range"
    JUMP = "impossible jump"
    ASIDE = "set aside"  # the probe is out of its place on purpose, as in ice for a check


@dataclass(frozen=True, slots=True)
class Reading:
    """Hold one calibrated reading and where in time it belongs.

    `measured_from` .. `measured_to` (wall ms) is the span in which it was measured: one instant for a live
    reading, a whole gap for a late one. `offset` is the calibration already added, in the unit of the quantity.
    """

    sensor: str
    quantity: Quantity
    value: float
    heard: Moment
    measured_from: int
    measured_to: int
    arrival: Arrival = Arrival.LIVE
    quality: Quality = Quality.GOOD
    offset: float = 0.0

    @property
    def good(self) -> bool:
        """Return whether the value may be judged."""
        return self.quality is Quality.GOOD

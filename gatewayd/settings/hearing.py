"""Check how each sensor is heard: through a broker, by radio, or on a wire. Each way has settings of its own."""

import re
from dataclasses import dataclass, field
from typing import Any

from gatewayd.decode.payload import parts
from gatewayd.model.format import ByteRule, Format
from gatewayd.model.house import PayloadForm
from gatewayd.model.reading import Quantity
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import HIDDEN, Fault, Spot, fault
from gatewayd.settings.keys import Group, Key
from gatewayd.settings.refer import entries, measured, refer, written

# The settings that go with each way of hearing, beside those that go with all (name, freezer, measures, ...)
WAYS: dict[str, tuple[Key[Any] | Group, ...]] = {
    schema.SENSOR_BROKER.name: (
        schema.TOPIC,
        schema.PAYLOAD,
        schema.VALUE,
        schema.BATTERY,
        schema.TIME,
        schema.UNIT,
    ),
    schema.SENSOR_RADIO.name: (
        schema.ADDRESS,
        schema.FORMAT,
        schema.KEY,
        schema.WHICH,
        schema.READ_EVERY,
        schema.BYTES,
    ),
    schema.FILE.name: (schema.FORMAT,),
}
ON_AIR = (Format.BTHOME, Format.TLM, Format.BYTES, Format.READ)
ON_WIRE = (Format.ONE_WIRE, Format.HWMON)
# The settings that go with some formats only
OF_FORMAT: tuple[tuple[Key[Any] | Group, tuple[Format, ...]], ...] = (
    (schema.KEY, (Format.BTHOME,)),
    (schema.WHICH, (Format.BTHOME, Format.READ)),
    (schema.READ_EVERY, (Format.READ,)),
    (schema.BYTES, (Format.BYTES,)),
)
# The formats that can say something else than a temperature
OF_OTHERS = (Format.BTHOME, Format.BYTES)
# Between what a value can lie that is no temperature; decode/plausible.py judges it again
RANGES = {Quantity.LID: (0.0, 1.0), Quantity.MAINS: (0.0, 1.0), Quantity.POWER: (0.0, 5000.0)}
ONE_WIRE_FILE = "w1_slave"  # Linux Documentation/w1/slaves/w1_therm.rst
_NUMBERED = re.compile(r"/(hwmon\d+)/")  # numbered in the order in which the drivers came up


def way_of(sensor: Checked) -> str | None:
    """Return which of broker, radio and file a sensor names, None unless it is exactly one."""
    named = [name for name in WAYS if written(sensor, name)]
    return named[0] if len(named) == 1 else None


def format_of(sensor: Checked) -> Format | None:
    """Return the format of a sensor that is heard by radio or on a wire, None if it is not known."""
    if schema.FORMAT.name in sensor.broken:
        return None
    file = sensor.maybe(schema.FILE)
    if schema.FORMAT.name not in sensor.found and file is not None:
        return Format.ONE_WIRE if file.endswith("/" + ONE_WIRE_FILE) else Format.HWMON
    return sensor.maybe(schema.FORMAT)


def pace(sensor: Checked) -> int | None:
    """Return how often a sensor reports (ms) as far as the settings say, else None."""
    told = sensor.maybe(schema.REPORTS_EVERY)
    reads = format_of(sensor) is Format.READ and schema.READ_EVERY.name not in sensor.broken
    return sensor.take(schema.READ_EVERY) if told is None and reads else told


def rule_of(sensor: Checked) -> ByteRule:
    """Build the rule for the bytes of a sensor; raise ValueError if it contradicts itself."""
    found = sensor.group(schema.BYTES)
    offset, width, signed = found.take(schema.OFFSET), found.take(schema.WIDTH), found.take(schema.SIGNED)
    quantity = measured(sensor)
    lowest, highest = RANGES.get(quantity, (found.take(schema.LOWEST), found.take(schema.HIGHEST)))
    return ByteRule(
        service=found.maybe(schema.SERVICE),
        maker=found.maybe(schema.MAKER),
        least=found.maybe(schema.LEAST) or offset + width,
        offset=offset,
        width=width,
        signed=signed,
        order=found.take(schema.ORDER),
        factor=found.take(schema.FACTOR),
        addend=found.take(schema.ADDEND),
        unknown=tuple(_raw(int(text), width, signed=signed) for text in found.ids(schema.UNKNOWN)),
        lowest=lowest,
        highest=highest,
        quantity=quantity,
    )


def _raw(number: int, width: int, *, signed: bool) -> int:
    """Return a raw value as the rule reads it: 0x8000 in two signed bytes is -32768."""
    if not -(1 << 8 * width - 1 if signed else 0) <= number < 1 << 8 * width:
        raise ValueError(f"unknown holds {number}, which {width} byte{'s' * (width > 1)} cannot hold")
    return number - (1 << 8 * width) if signed and number >> 8 * width - 1 == 1 else number


def hearing(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    """Add what is wrong with the way in which the sensors are heard."""
    check = _Hearing(root, faults, warnings)
    for id_, sensor in entries(root, schema.SENSORS).items():
        if not set(WAYS) <= sensor.broken:  # where no group stands at all, that one fault is enough
            check.sensor(id_, sensor)


@dataclass(slots=True)
class _Hearing:
    """The checks of all sensors; what must not be there twice is kept with the id of the sensor that has it."""

    root: Checked
    faults: list[Fault]
    warnings: list[str]
    topics: dict[tuple[str, str, tuple[str, ...]], str] = field(default_factory=dict)
    devices: dict[tuple[str, Format, Quantity, int, ByteRule | None], str] = field(default_factory=dict)
    keys: dict[str, tuple[str, str | None]] = field(default_factory=dict, repr=False)
    files: dict[str, str] = field(default_factory=dict)

    def sensor(self, id_: str, sensor: Checked) -> None:
        """Check one sensor."""
        way = way_of(sensor)
        if way is None:
            named = " and ".join(name for name in WAYS if written(sensor, name))
            problem = f"names {named}" if named else "does not say how it is heard"
            self.faults.append(fault(sensor.spot, problem, "exactly one of " + ", ".join(WAYS)))
            return
        own = WAYS[way]
        for key in dict.fromkeys(key for keys in WAYS.values() for key in keys):
            if key not in own and written(sensor, key.name):
                goes = f"with {way} go " + ", ".join(key.name for key in own)
                self.faults.append(fault(_spot(sensor, key), f"does not go with {way}", goes))
        self._measures(sensor)
        if way == schema.SENSOR_BROKER.name:
            self._topic(id_, sensor)
        elif way == schema.SENSOR_RADIO.name:
            self._device(id_, sensor)
        else:
            self._wire(id_, sensor)

    def _measures(self, sensor: Checked) -> None:
        """Find what speaks of temperatures at a sensor that measures something else."""
        quantity, form, lines = measured(sensor), format_of(sensor), sensor.group(schema.BYTES)
        if quantity is Quantity.TEMPERATURE:
            return
        of_degrees: list[tuple[Checked, Key[Any]]] = [(sensor, schema.UNIT), (sensor, schema.WHICH)]
        of_degrees += [(lines, schema.LOWEST), (lines, schema.HIGHEST)]
        for entry, key in of_degrees:
            if written(entry, key.name):
                problem = f"speaks of a temperature, and the sensor measures: {quantity.value}"
                self.faults.append(fault(entry.at(key), problem, "measures: temperature, or leave it off"))
        if form is not None and form not in OF_OTHERS:
            problem = f"cannot be heard with format {form.value}, which says temperatures alone"
            allowed = f"a sensor behind a broker, or the format {_listed(OF_OTHERS)}"
            self.faults.append(fault(sensor.at(schema.MEASURES), problem, allowed, quantity.value))

    def _missing(self, sensor: Checked, key: Key[Any], why: str) -> None:
        if not written(sensor, key.name):
            self.faults.append(fault(sensor.at(key), f"is missing ({why})", key.reader.allowed))

    def _topic(self, id_: str, sensor: Checked) -> None:
        brokers = entries(self.root, schema.BROKERS)
        broker, topic, value = (sensor.maybe(key) for key in (schema.SENSOR_BROKER, schema.TOPIC, schema.VALUE))
        if broker is not None:
            refer(broker, sensor.at(schema.SENSOR_BROKER), self.root, schema.BROKERS, self.faults)
        self._missing(sensor, schema.TOPIC, "broker")
        _pointers(sensor, self.faults)
        if broker is None or topic is None or schema.VALUE.name in sensor.broken:
            return
        first = self.topics.setdefault((broker, topic, () if value is None else parts(value)), id_)
        if first != id_:
            problem = f"is heard already as sensor {first}: same broker, topic and value"
            self.faults.append(fault(sensor.at(schema.TOPIC), problem, "a topic or value of its own", topic))
        own = own_topic(self.root, brokers[broker]) if broker in brokers else None
        if own is not None and (topic == own or topic.startswith(own + "/")):
            problem = f"lies in gatewayd's own topic {own} at broker {broker}"
            self.faults.append(fault(sensor.at(schema.TOPIC), problem, "a topic of the sensor's own", topic))

    def _device(self, id_: str, sensor: Checked) -> None:
        radio, address = sensor.maybe(schema.SENSOR_RADIO), sensor.maybe(schema.ADDRESS)
        if radio is not None:
            refer(radio, sensor.at(schema.SENSOR_RADIO), self.root, schema.RADIOS, self.faults)
        self._missing(sensor, schema.ADDRESS, "radio")
        if not written(sensor, schema.FORMAT.name):
            self.faults.append(fault(sensor.at(schema.FORMAT), "is missing (radio)", _listed(ON_AIR)))
        form = self._format(sensor, ON_AIR, "is not heard by radio")
        if form is None:
            return
        for key, fits in OF_FORMAT:
            if written(sensor, key.name) and form not in fits:
                problem = f"has no use with format {form.value}"
                self.faults.append(fault(_spot(sensor, key), problem, f"with the format {_listed(fits)}"))
        rule = self._rule(sensor) if form is Format.BYTES else None
        right = not {schema.WHICH.name, schema.BYTES.name} & sensor.broken and (rule or form is not Format.BYTES)
        if address is not None and right:
            self._twin(id_, sensor, (address, form, measured(sensor), sensor.take(schema.WHICH), rule))
        self._passive(id_, sensor, form)

    def _format(self, sensor: Checked, fits: tuple[Format, ...], otherwise: str) -> Format | None:
        form = format_of(sensor)
        if form is None or form in fits:
            return form
        self.faults.append(fault(sensor.at(schema.FORMAT), otherwise, _listed(fits), form.value))
        return None

    def _rule(self, sensor: Checked) -> ByteRule | None:
        """Return the rule for the bytes, or None if it is missing or at fault."""
        if not written(sensor, schema.BYTES.name):
            problem = "is missing (format is bytes)"
            self.faults.append(fault(_spot(sensor, schema.BYTES), problem, ", ".join(schema.BYTES.names)))
            return None
        if schema.BYTES.name in sensor.broken or sensor.group(schema.BYTES).broken:
            return None
        try:
            return rule_of(sensor)
        except ValueError as error:
            self.faults.append(fault(_spot(sensor, schema.BYTES), str(error)))
            return None

    def _twin(self, id_: str, sensor: Checked, device: tuple[str, Format, Quantity, int, ByteRule | None]) -> None:
        """Find two sensors that would be one, and two keys of one device."""
        spot, address, form = sensor.at(schema.ADDRESS), device[0], device[1]
        first = self.devices.setdefault(device, id_)
        if first != id_:
            problem = f"is heard already as sensor {first}: same address, format and value"
            own = "an address of its own" if form is Format.TLM else f"an address or {_own(form)} of its own"
            self.faults.append(fault(spot, problem, own, address))
        if form is not Format.BTHOME or schema.KEY.name in sensor.broken:
            return
        first, key = self.keys.setdefault(address, (id_, sensor.maybe(schema.KEY)))
        if key != sensor.maybe(schema.KEY):
            problem = f"is not the key that sensor {first} has, which is the same device"
            self.faults.append(fault(sensor.at(schema.KEY), problem, "the same key at both", HIDDEN))

    def _passive(self, id_: str, sensor: Checked, form: Format) -> None:
        """Warn where silence could not be told from sameness: without a discovery, equal bytes are not passed on.

        The counters of Eddystone TLM and of a sealed frame change with every one. The number of an open BTHome frame
        may be left out, and of other bytes nothing is known. What is connected to is asked.
        """
        radio = entries(self.root, schema.RADIOS).get(sensor.maybe(schema.SENSOR_RADIO) or "")
        if radio is None or radio.maybe(schema.MODE) != "passive":
            return
        if form is Format.BYTES or (form is Format.BTHOME and not written(sensor, schema.KEY.name)):
            self.warnings.append(
                f"sensor {id_} may repeat the same bytes for hours, and its radio only listens (mode: passive), which "
                "leaves repeated bytes out: it would seem silent; mode: active hears it"
            )

    def _wire(self, id_: str, sensor: Checked) -> None:
        self._format(sensor, ON_WIRE, "is heard by radio and not read from a file")
        file = sensor.maybe(schema.FILE)
        if file is None:
            return
        first = self.files.setdefault(file, id_)
        if first != id_:
            problem = f"is read already as sensor {first}"
            self.faults.append(fault(sensor.at(schema.FILE), problem, "a file of its own", file))
        numbered = _NUMBERED.search(file)
        if numbered:
            self.warnings.append(
                f"sensor {id_}: the number in {numbered[1]} may be another after the next start, and the file that of "
                "another probe; write the path of its device with hwmon* instead of it"
            )


def _spot(sensor: Checked, key: Key[Any] | Group) -> Spot:
    return sensor.group(key).spot if isinstance(key, Group) else sensor.at(key)


def _listed(formats: tuple[Format, ...]) -> str:
    return ", ".join(form.value for form in formats)


def _own(form: Format) -> str:
    return schema.BYTES.name if form is Format.BYTES else schema.WHICH.name


def own_topic(root: Checked, broker: Checked) -> str | None:
    """Return where gatewayd says at a broker whether it is up, None if that is not known."""
    site = root.group(schema.SITE).maybe(schema.SITE_ID)
    return broker.maybe(schema.OWN_TOPIC) or (f"gatewayd/{site}" if site else None)


def _pointers(sensor: Checked, faults: list[Fault]) -> None:
    if schema.PAYLOAD.name in sensor.broken:
        return
    if sensor.take(schema.PAYLOAD) is PayloadForm.JSON:
        if schema.VALUE.name not in sensor.found and schema.VALUE.name not in sensor.broken:
            faults.append(fault(sensor.at(schema.VALUE), "is missing (payload is json)", schema.VALUE.reader.allowed))
        return
    for key in (schema.VALUE, schema.BATTERY, schema.TIME):
        if key.name in sensor.found:
            problem = "points into JSON, and the payload is a bare number"
            faults.append(fault(sensor.at(key), problem, "payload: json beside it", sensor.written(key)))

"""What a keeper may write about a device, one setting at a time."""

import pytest

from gatewayd.model.format import Format
from gatewayd.settings import device
from gatewayd.settings.readers import Reader

TAKEN: list[tuple[Reader[object], str, object]] = [
    (device.address, "a4:c1:38:0b:5e:21", "A4:C1:38:0B:5E:21"),
    (device.address, "00:11:22:33:44:55", "00:11:22:33:44:55"),  # all digits: YAML 1.1 reads a number on base 60
    (device.adapter, "First", "first"),
    (device.adapter, "dc:a6:32:00:00:01", "DC:A6:32:00:00:01"),
    (device.mode, "Passive", "passive"),
    (device.form, "bthome", Format.BTHOME),
    (device.form, "1-Wire", Format.ONE_WIRE),
    (device.key, "0123456789ABCDEFfedcba9876543210", "0123456789abcdeffedcba9876543210"),
    (device.which, "2", 2),
    (device.file, "/sys/bus/w1/devices/28-0123456789ab/w1_slave", "/sys/bus/w1/devices/28-0123456789ab/w1_slave"),
    (device.file, "/sys/d/hwmon/hwmon*/temp1_input", "/sys/d/hwmon/hwmon*/temp1_input"),
    (device.service, "0xFEAA", "feaa"),
    (device.service, "fcd2", "fcd2"),
    (device.service, "0000FCD2-0000-1000-8000-00805F9B34FB", "fcd2"),  # the same service, written out
    (device.service, "12345678-0000-1000-8000-00805F9B34FB", "12345678-0000-1000-8000-00805f9b34fb"),
    (device.service, "6E400001-B5A3-F393-E0A9-E50E24DCCA9E", "6e400001-b5a3-f393-e0a9-e50e24dcca9e"),
    (device.maker, "0x004C", 76),
    (device.maker, "65535", 65535),
    (device.raw, "0x8000", "32768"),
    (device.raw, "-32768", "-32768"),
    (device.factor, "0.01", 0.01),
    (device.factor, "-1e-2", -0.01),
    (device.addend, "\u221240", -40.0),
]

REFUSED: list[tuple[Reader[object], str, str]] = [
    (device.address, "A4C1380B5E21", "has no colons"),
    (device.address, "A4-C1-38-0B-5E-21", "has no colons"),
    (device.address, "A4:C1:38:0B:5E", "is not a Bluetooth address"),
    (device.address, "A4:C1:38:0B:5E:2G", "is not a Bluetooth address"),
    (device.address, "A4:C1:38:0B:5E:21\n", "is not a Bluetooth address"),
    (device.address, "00:00:00:00:00:00", "of no device"),
    (device.address, "ff:ff:ff:ff:ff:ff", "of no device"),
    (device.adapter, "hci0", "is not a Bluetooth address"),
    (device.mode, "aktive", "did you mean 'active'"),
    (device.form, "bthom", "did you mean 'bthome'"),
    (device.key, "0f" * 15, "is not a key"),
    (device.key, "0x" + "0f" * 15, "is not a key"),
    (device.which, "0", "is not such a number"),
    (device.read_every, "10 s", "out of range"),
    (device.file, "w1_slave", "does not begin with /"),
    (device.file, "/sys/**/temp1_input", "other than"),
    (device.file, "/sys/hwmon[01]/temp1_input", "other than"),
    (device.service, "FEAA1", "is not a service"),
    (device.maker, "70000", "is not the number of a maker"),
    (device.maker, "-1", "is not the number of a maker"),
    (device.raw, "1.5", "is not a whole number"),
    (device.raw, "٣", "is not a whole number"),
    (device.factor, "0", "every value the same"),
    (device.factor, "0,01", "a decimal point is expected"),
    (device.factor, "nan", "is not a number"),
    (device.addend, "1/2", "is not a number"),
]


@pytest.mark.parametrize(("reader", "text", "value"), TAKEN)
def test_reader_takes(reader: Reader[object], text: str, value: object) -> None:
    """Each reader takes what a keeper would copy from a device or its papers, and makes one form of it."""
    assert reader.parse(text) == value


@pytest.mark.parametrize(("reader", "text", "said"), REFUSED)
def test_reader_refuses(reader: Reader[object], text: str, said: str) -> None:
    """What is nearly right is refused with what is wrong about it."""
    with pytest.raises(ValueError, match=said):
        reader.parse(text)

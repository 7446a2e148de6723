"""Readers of what a keeper writes about a device: its address, key, format, file, and where its bytes lie."""

import re

from gatewayd.model.format import Format
from gatewayd.settings.readers import Reader, choice, span, whole
from gatewayd.settings.typed import FIRST_ADAPTER, Mode

# Assigned Numbers, section 3.4.1: a service of 16 bits stands for the full UUID that ends so
BASE_UUID = "-0000-1000-8000-00805f9b34fb"
ELEMENT_BYTES = 254  # longest data of one element: its length is one byte and counts the type (Core 5.4, Vol 3, C, 11)
NO_DEVICES = ("00:00:00:00:00:00", "FF:FF:FF:FF:FF:FF")


def _address(text: str) -> str:
    address = text.upper()
    if re.fullmatch(r"[0-9A-F]{2}([- .]?[0-9A-F]{2}){5}", address) and ":" not in address:
        raise ValueError("has no colons; write it with one after each two digits")
    if not re.fullmatch(r"[0-9A-F]{2}(:[0-9A-F]{2}){5}", address):
        raise ValueError("is not a Bluetooth address")
    if address in NO_DEVICES:
        raise ValueError("is the address of no device")
    return address


def _adapter(text: str) -> str:
    return FIRST_ADAPTER if text.lower() == FIRST_ADAPTER else _address(text)


def _key(text: str) -> str:
    if not re.fullmatch(r"[0-9a-fA-F]{32}", text):
        raise ValueError("is not a key")
    return text.lower()


def _service(text: str) -> str:
    plain = text.lower().removeprefix("0x")
    if re.fullmatch(r"[0-9a-f]{4}", plain):
        return plain
    if not re.fullmatch(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", plain):
        raise ValueError("is not a service")
    short = plain.removesuffix(BASE_UUID)
    return short[4:] if short != plain and short.startswith("0000") else plain


def _whole_or_hex(text: str) -> int:
    if re.fullmatch(r"0[xX][0-9a-fA-F]{1,8}", text):
        return int(text, 16)
    if re.fullmatch(r"-?\d{1,10}", text, re.ASCII):
        return int(text)
    raise ValueError("is not a whole number")


def _maker(text: str) -> int:
    number = _whole_or_hex(text)
    if not 0 <= number <= 0xFFFF:
        raise ValueError("is not the number of a maker")
    return number


def _raw(text: str) -> str:
    return str(_whole_or_hex(text))


def _decimal(text: str) -> float:
    plain = text.replace("\u2212", "-")
    if "," in plain:
        raise ValueError("has a comma; a decimal point is expected")
    if not re.fullmatch(r"[+-]?\d{1,12}(\.\d{1,12})?([eE][+-]?\d{1,2})?", plain, re.ASCII):
        raise ValueError("is not a number")
    return float(plain)


def _factor(text: str) -> float:
    number = _decimal(text)
    if number == 0:
        raise ValueError("would make every value the same")
    return number


def _file(text: str) -> str:
    if not text.startswith("/"):
        raise ValueError("does not begin with /")
    if "**" in text or re.search(r"[?\[]", text):
        raise ValueError("holds a sign for several files other than *")
    return text


_FORMATS = ", ".join(form.value for form in Format)
_MODES: dict[str, Mode] = {"active": "active", "passive": "passive"}

address: Reader[str] = Reader(_address, "a Bluetooth address with colons, like A4:C1:38:0B:5E:21")
adapter: Reader[str] = Reader(_adapter, f"{FIRST_ADAPTER}, or the adapter's own Bluetooth address with colons")
mode: Reader[Mode] = Reader(choice(_MODES), "active or passive")
form: Reader[Format] = Reader(choice({form.value: form for form in Format}), _FORMATS)
key: Reader[str] = Reader(_key, "32 hexadecimal digits, best as ${NAME}", 100)
which: Reader[int] = whole(1, 255)  # of no more elements could one advertisement be made
# Each reading takes a connection, for which the radio stops hearing the others a while, and wakes the device
read_every: Reader[int] = span("1 min", "1 day")
file: Reader[str] = Reader(_file, "the full path of the kernel's file; * may stand for a number that changes", 4096)
service: Reader[str] = Reader(_service, "four hexadecimal digits, like 0xFEAA, or a full UUID")
maker: Reader[int] = Reader(_maker, "a company's number from 0 to 65535, like 0x004C or 76")
least: Reader[int] = whole(1, ELEMENT_BYTES)
offset: Reader[int] = whole(0, ELEMENT_BYTES - 1)
width: Reader[int] = whole(1, 4)
order: Reader[str] = Reader(choice({"little": "little", "big": "big"}), "little or big")
factor: Reader[float] = Reader(_factor, "a number with a decimal point and not 0, like 0.01")
addend: Reader[float] = Reader(_decimal, "a number with a decimal point, like -40 or 273.15")
raw: Reader[str] = Reader(_raw, "a whole number, like -32768 or 0x8000")

"""Frames: every published row is read as written, each format goes to its reader, and no bytes raise."""

import csv
import json
import math
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode import bthome, characteristic, frame, tlm
from gatewayd.decode.frame import decode_frame
from gatewayd.decode.plausible import Trail, judge
from gatewayd.model.format import ByteRule, Format, Saying
from gatewayd.model.house import PayloadForm, PayloadRule
from gatewayd.model.reading import Decoded, Quality, Quantity, Undecodable, Value
from gatewayd.model.route import Secret
from gatewayd.sources.opener import make_opener
from tests import fuzz

DATA = Path(__file__).parent.parent / "data"
ROWS = {r["name"]: r for r in csv.DictReader((DATA / "wire_vectors.csv").read_text().splitlines())}
WIRED = {r["name"]: r for r in csv.DictReader((DATA / "onewire_checks.csv").read_text().splitlines())}
T, H, B, V = Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.BATTERY, Quantity.VOLTAGE

# What each row of the file says in words, as values. Told apart below: rows that hold no freezer quantity, rows that
# must be refused, and rows whose value plausibility must mark.
VALUES = {
    "sig temp 25.00": {T: 25.0},
    "sig temp -18.50": {T: -18.5},
    "sig temp -18.58": {T: -18.58},
    "sig temp -0.01": {T: -0.01},
    "sig temp 0": {T: 0.0},
    "sig humidity 67.64": {H: 67.64},
    "sig humidity max": {H: 100.0},
    "sig battery 90": {B: 90.0},
    "sig temp8 -18.0": {T: -18.0},
    "htm 36.4 C": {T: 36.4},
    "htm 36.97 C": {T: 36.97},
    "htm 34.79 C": {T: 34.79},
    "htm -18.5 C": {T: -18.5},
    "htm -19.90 C type body": {T: -19.9},
    "htm -1.3 F": {T: -18.5},
    "adv2 published example (service data)": {T: 25.0, H: 50.55},
    "adv2 enc published": {T: 25.06, H: 50.55},
    "adv2 enc own, counter 2": {B: 90.0, T: -18.4},
    "adv2 temp01 -18.50": {T: -18.5},
    "adv2 temp 0.1 -11.4": {T: -11.4},
    "adv2 temp int8 -18": {T: -18.0},
    "adv2 temp 0.35 -16.8": {T: -16.8},
    "adv2 two temperatures": {T: -18.5},
    "adv2 battery humidity packet": {B: 100.0, T: 22.48, H: 67.64},
    "adv2 humidity 8 bit": {H: 35.0},
    "adv2 voltage mV": {V: 3.074},
    "adv2 voltage 0.1": {V: 307.4},
    "adv2 door open": {Quantity.LID: 1.0},
    "adv2 opening closed": {Quantity.LID: 0.0},
    "adv2 power off": {Quantity.MAINS: 0.0},
    "adv2 power 69.14 W": {Quantity.POWER: 69.14},
    "adv2 trigger based": {T: -18.5},
    "adv2 unknown id in the middle": {T: -18.5},
    "adv2 moisture 16": {},
    "adv2 moisture 8": {},
    "adv2 device info only": {},
    "tlm -18.5": {V: 2.985, T: -18.5},
    "tlm 23.25": {V: 3.0, T: 23.25},
    "tlm -0.00390625": {V: 3.0, T: -0.00390625},
    "tlm no battery": {T: -18.0},
}
REFUSED = {
    "sig interval 60 s": characteristic.NOTHING.reason,  # no measurement; its number has a test of its own
    "htm NaN": characteristic.NO_NUMBER,
    "htm +INF": characteristic.NO_NUMBER,
    "htm -INF": characteristic.NO_NUMBER,
    "htm reserved": characteristic.NO_NUMBER,
    "htm short": characteristic.WRONG_LENGTH,
    "adv2 truncated": "the frame is cut short",
    "adv2 wrong version": bthome.VERSION_UNKNOWN.reason,
    "adv2 version 1 bits": bthome.VERSION_UNKNOWN.reason,
    "adv2 enc too short": bthome.CUT_SHORT.reason,
    "tlm short": tlm.MALFORMED.reason,
    "tlm unknown version": tlm.VERSION_UNKNOWN.reason,
}
MARKED = {
    "sig temp unknown": (T, Quality.UNKNOWN),
    "sig humidity over": (H, Quality.OUT_OF_RANGE),
    "sig humidity unknown": (H, Quality.OUT_OF_RANGE),
    "adv2 sentinel not defined 0x8000": (T, Quality.UNKNOWN),
    "tlm no temperature": (T, Quality.UNKNOWN),
}


def read_row(name: str) -> Decoded | Undecodable:
    """Read a row of the file, with the format that its name begins with."""
    payload = bytes.fromhex(ROWS[name]["hex"])
    if name.startswith(("sig", "htm")):
        uuid = next(u for start, u in fuzz.UUIDS.items() if name.startswith(f"{start} "))
        return decode_frame(Saying(Format.READ), characteristic.record(uuid, payload))
    if name.startswith("tlm"):
        return decode_frame(Saying(Format.TLM), payload)
    if not name.startswith("adv2 enc"):
        return decode_frame(Saying(Format.BTHOME), payload)
    told = re.match(r"key (\w+); MAC ([\w:]+);", ROWS[name]["expected"])
    key, address = told.groups() if told else ("0" * 32, "00:00:00:00:00:00")
    return decode_frame(Saying(Format.BTHOME, encrypted=True), payload, make_opener(Secret(key), address))


def test_every_row_is_tried() -> None:
    """No row of the file is left out."""
    assert {*VALUES, *REFUSED, *MARKED} == set(ROWS)


@pytest.mark.parametrize("name", VALUES)
def test_row_gives_its_values(name: str) -> None:
    """A row's bytes give exactly the values written beside them, and no others."""
    found = read_row(name)

    assert isinstance(found, Decoded), found
    assert {v.quantity: v.value for v in found.values} == VALUES[name]


@pytest.mark.parametrize("name", REFUSED)
def test_row_without_reading_is_refused(name: str) -> None:
    """A row that holds no reading says why."""
    assert read_row(name) == Undecodable(REFUSED[name])


@pytest.mark.parametrize("name", MARKED)
def test_row_that_cannot_be_true_is_marked(name: str) -> None:
    """A code for "not known" and a prohibited value come through raw, and plausibility does not call them good."""
    quantity, quality = MARKED[name]
    found = read_row(name)
    assert isinstance(found, Decoded), found
    value = next(v.value for v in found.values if v.quantity is quantity)

    assert judge(quantity, value, Trail(), 0) is quality


def test_rows_carry_their_counters() -> None:
    """Counters and packet ids of the rows are those written beside them."""
    counters = {
        name: found.counter
        for name in ROWS
        if isinstance(found := read_row(name), Decoded) and found.counter is not None
    }

    assert counters == {
        "adv2 enc published": 857870592,
        "adv2 enc own, counter 2": 2,
        "adv2 battery humidity packet": 27,
        "tlm -18.5": 4660,
        "tlm 23.25": 1,
        "tlm -0.00390625": 1,
        "tlm no temperature": 1,
        "tlm no battery": 1,
    }


def wire(answer: bytes, thousandths: int, verdict: str = "YES") -> bytes:
    """Write the text of the kernel's file for nine bytes of a probe."""
    shown = answer.hex(" ")
    return f"{shown} : crc={answer[8]:02x} {verdict}\n{shown} t={thousandths}\n".encode()


def probe(raw: int, byte6: int = 0x08) -> bytes:
    """Return the nine bytes in which a probe answers `raw` sixteenths of a degree."""
    eight = raw.to_bytes(2, "little") + bytes.fromhex("4b467fff") + bytes((byte6, 0x10))
    return eight + bytes((frame._crc8(eight),))


ONE_WIRE = Saying(Format.ONE_WIRE)


@pytest.mark.parametrize("name", [name for name in WIRED if name.startswith("w1_raw_")])
def test_wired_rows_are_read(name: str) -> None:
    """The raw number of a row gives its temperature, also where the kernel cut it to whole thousandths."""
    celsius = json.loads(WIRED[name]["input"])["temp_c"]
    found = decode_frame(ONE_WIRE, wire(probe(int(WIRED[name]["expected"], 16)), int(celsius * 1000)))

    assert isinstance(found, Decoded)
    assert [(v.quantity, v.value) for v in found.values] == [(T, celsius)]
    assert found.note == ""


@pytest.mark.parametrize(
    ("name", "thousandths", "celsius"), [("w1_power_on", 85000, 85.0), ("w1_low_power", 127937, 127.9375)]
)
def test_wired_fault_codes_are_told(name: str, thousandths: int, celsius: float) -> None:
    """An answer without a measurement comes through raw with a note, and plausibility does not call it good."""
    row = json.loads(WIRED[name]["input"])
    found = decode_frame(ONE_WIRE, wire(probe(int(row["raw"], 16), int(row["byte6"], 16)), thousandths))

    assert isinstance(found, Decoded)
    assert (found.values[0].value, found.note) == (celsius, frame.NOT_MEASURED)
    assert judge(T, celsius, Trail(), 0) is Quality.POWER_ON


def test_wired_check_sum_is_the_published_one() -> None:
    """The check sum of the power-on answer is the row's."""
    row = WIRED["w1_power_on_scratchpad"]
    eight = bytes.fromhex(row["input"].split(" +")[0])

    assert frame._crc8(eight) == int(row["expected"], 16)


def test_wired_zeros_are_no_zero_degrees() -> None:
    """Nine zero bytes have the right check sum (last row of the file) and are refused all the same."""
    assert WIRED["w1_all_zero_crc"]["expected"].startswith("0x00 = passes")
    assert frame._crc8(bytes(8)) == 0

    assert decode_frame(ONE_WIRE, wire(bytes(9), 0)) == frame.ALL_ZERO


def test_garbled_wire_is_refused() -> None:
    """With a wrong check sum the former temperature in the second line is not taken, whatever the verdict says."""
    good = probe(0xFEE0)
    assert decode_frame(ONE_WIRE, wire(good, -18000, "NO")) == frame.GARBLED
    assert decode_frame(ONE_WIRE, wire(bytes((good[0] ^ 1, *good[1:])), -18000)) == frame.GARBLED


def test_chip_that_counts_otherwise_is_believed() -> None:
    """Where the bytes are not sixteenths, the kernel's own thousandths count."""
    found = decode_frame(ONE_WIRE, wire(probe(0xFFDC), -18250))

    assert isinstance(found, Decoded)
    assert found.values[0].value == -18.25


@pytest.mark.parametrize(("text", "celsius"), [(b"-18250\n", -18.25), (b"0\n", 0.0), (b"  4500 ", 4.5)])
def test_chip_of_computer_is_read(text: bytes, celsius: float) -> None:
    """The kernel's thousandths of a degree become degrees."""
    found = decode_frame(Saying(Format.HWMON), text)

    assert isinstance(found, Decoded)
    assert [(v.quantity, v.value) for v in found.values] == [(T, celsius)]


@pytest.mark.parametrize("format_", [Format.ONE_WIRE, Format.HWMON])
def test_file_of_wire_must_be_one(format_: Format) -> None:
    """An empty file says that the probe did not answer, any other text that it is not the file."""
    assert decode_frame(Saying(format_), b" \n") == frame.NO_ANSWER
    assert decode_frame(Saying(format_), b"-18.5") == frame.NOT_THE_FILE
    assert decode_frame(Saying(format_), b"1" * 5000) == frame.NOT_THE_FILE


def test_mqtt_payload_goes_to_its_rule() -> None:
    """A payload rule is read as before, its values or its reason handed on."""
    found = decode_frame(PayloadRule(), b"-18.5")
    assert isinstance(found, Decoded)
    assert ([v.value for v in found.values], found.counter) == ([-18.5], None)
    assert isinstance(decode_frame(PayloadRule(), b""), Undecodable)


def test_byte_rule_goes_to_its_reader() -> None:
    """A sensor with a rule for its bytes is read by it."""
    found = decode_frame(Saying(Format.BYTES, rule=ByteRule(maker=0xFFFF, least=2, factor=0.01)), b"\xc6\xf8")

    assert isinstance(found, Decoded)
    assert found.values[0].value == -18.5


SAYINGS = [
    PayloadRule(),
    PayloadRule(PayloadForm.JSON, value="/t"),
    Saying(Format.BYTES, rule=ByteRule(service="181a", least=6, offset=4, width=2)),
    *(Saying(f, which=which) for f in Format if f is not Format.BYTES for which in (1, 2)),
]


@given(st.sampled_from(SAYINGS), st.binary(max_size=600), st.none() | st.integers(0, 0xFFFFFFFF), st.booleans())
def test_any_bytes_never_raise(saying: PayloadRule | Saying, data: bytes, last: int | None, opened: bool) -> None:
    """Whatever bytes come in whatever format, the answer is values or a reason."""
    found = decode_frame(saying, data, (lambda _i, _c, sealed: sealed) if opened else None, last)

    assert isinstance(found, Decoded | Undecodable)


def test_short_fuzz_round_finds_nothing() -> None:
    """Some ten thousand random and damaged frames raise nothing and give no value that is no number."""
    tally = fuzz.run(12_000, seed=20261125)

    assert tally.inputs == 12_000
    assert tally.read > 1000
    assert tally.refused > 1000


@pytest.mark.parametrize("answer", [None, Undecodable(""), Decoded((Value(T, math.nan),)), Decoded((), 1 << 32)])
def test_fuzz_sees_what_is_wrong(answer: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """The fuzz stops at an answer that must not be, and shows the input."""
    monkeypatch.setattr(fuzz, "decode_frame", lambda *_: answer)

    with pytest.raises(fuzz.Wrong, match="input "):
        fuzz.run(1, seed=1)


def test_fuzz_sees_what_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    """The fuzz stops at anything raised, with its name."""
    monkeypatch.setattr(fuzz, "decode_frame", lambda *_: b""[0])

    with pytest.raises(fuzz.Wrong, match="IndexError"):
        fuzz.run(1, seed=1)

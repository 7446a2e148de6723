"""BTHome v2: objects, repeats, encryption and the duties of whoever receives encrypted frames."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gatewayd.decode import bthome
from gatewayd.decode.bthome import THINGS, decode, spell
from gatewayd.model.format import Format, Saying
from gatewayd.model.reading import Decoded, Quantity, Undecodable

PLAIN = Saying(Format.BTHOME)
SEALED = Saying(Format.BTHOME, encrypted=True)
INSIDE = bytes.fromhex("02c6f8")  # -18.50 °C


def fake_opener(info: bytes, counter: bytes, sealed: bytes) -> bytes | None:
    """Open what ends in "okay" and nothing else; the real one has tests of its own."""
    assert len(info) == 1
    assert len(counter) == 4
    return sealed[:-4] if sealed[-4:] == b"okay" else None


def sealed(counter: int, inside: bytes = INSIDE, check: bytes = b"okay") -> bytes:
    """Return a frame that the fake opener opens."""
    return b"\x41" + inside + counter.to_bytes(4, "little") + check


def values(found: Decoded | Undecodable) -> list[tuple[Quantity, float]]:
    """Return the values of what must have been readable."""
    assert isinstance(found, Decoded), found
    return [(v.quantity, v.value) for v in found.values]


@pytest.mark.parametrize(("which", "celsius"), [(1, -18.5), (2, 2.9), (3, -18.0)])
def test_which_chooses_temperature(which: int, celsius: float) -> None:
    """Of several temperatures in a frame the settings choose one, counted in their order, whatever their step."""
    found = decode(Saying(Format.BTHOME, which=which), bytes.fromhex("4002c6f802220157ee"))

    assert values(found) == [(Quantity.TEMPERATURE, celsius)]


def test_missing_temperature_is_said() -> None:
    """A frame without the wanted temperature gives its other values and says so."""
    found = decode(Saying(Format.BTHOME, which=2), bytes.fromhex("40015a02c6f8"))

    assert values(found) == [(Quantity.BATTERY, 90.0)]
    assert isinstance(found, Decoded)
    assert "none with number 2" in found.note


def test_first_of_other_quantities_counts() -> None:
    """Of two humidities, lids or powers the first is taken, also when they are written in two ways."""
    found = decode(PLAIN, bytes.fromhex("40031027100011011a0024012e23"))

    assert values(found) == [(Quantity.HUMIDITY, 100.0), (Quantity.MAINS, 0.0), (Quantity.LID, 1.0)]


@pytest.mark.parametrize(
    ("frame", "quantity", "value"),
    [
        ("402d01", Quantity.LID, 1.0),
        ("402401", Quantity.MAINS, 1.0),
        ("405cfbffffff", Quantity.POWER, -0.05),
        ("405bffffffff02c6f8", Quantity.TEMPERATURE, -18.5),
    ],
)
def test_mapped_objects(frame: str, quantity: Quantity, value: float) -> None:
    """Window, plug and signed power come out as lid, mains and watts; what is of no use is stepped over."""
    assert values(decode(PLAIN, bytes.fromhex(frame))) == [(quantity, value)]


@pytest.mark.parametrize("id_", [i for i, thing in THINGS.items() if thing.quantity is not Quantity.TEMPERATURE])
def test_every_object_is_stepped_over(id_: int) -> None:
    """Behind any object of the table, of whatever length, the temperature is found."""
    length = THINGS[id_].length
    value = bytes(length) if length else b"\x03abc"
    found = decode(PLAIN, b"\x40" + bytes((id_,)) + value + INSIDE)

    assert (Quantity.TEMPERATURE, -18.5) in values(found)


def test_unknown_object_is_noted() -> None:
    """Reading stops at an unknown object, keeps what came before, and says so."""
    found = decode(PLAIN, bytes.fromhex("4002c6f8990102015a"))

    assert values(found) == [(Quantity.TEMPERATURE, -18.5)]
    assert isinstance(found, Decoded)
    assert "0x99" in found.note
    assert decode(PLAIN, b"\x40\x99") == Undecodable(found.note)


def test_command_of_unsure_length_stops() -> None:
    """A command, whose length depends on what it holds, never makes a temperature of what follows."""
    assert isinstance(decode(PLAIN, bytes.fromhex("403b0102c6f8")), Undecodable)


def test_cut_frame_keeps_what_came() -> None:
    """A frame that is cut keeps its whole objects, and its packet id makes it a sign of life."""
    found = decode(PLAIN, bytes.fromhex("40000702c6"))

    assert values(found) == []
    assert isinstance(found, Decoded)
    assert (found.counter, found.secured, found.note) == (7, False, "the frame is cut short")


@pytest.mark.parametrize(("info", "irregular"), [(0x40, False), (0x44, True), (0x5A, False), (0x5E, True)])
def test_information_byte(info: int, irregular: bool) -> None:
    """Bit 2 says irregular; the reserved bits 1, 3 and 4 change nothing."""
    found = decode(PLAIN, bytes((info,)) + INSIDE)

    assert isinstance(found, Decoded)
    assert found.irregular is irregular


def test_plain_frame_of_keyed_sensor_is_refused() -> None:
    """A plain frame in the name of a sensor that has a key is not believed."""
    frame = b"\x40" + INSIDE

    assert decode(SEALED, frame) == bthome.NOT_SEALED
    assert decode(PLAIN, frame, fake_opener) == bthome.NOT_SEALED


def test_encrypted_frame_needs_key() -> None:
    """An encrypted frame of a sensor without a key says that the key is wanted."""
    assert decode(PLAIN, sealed(1)) == bthome.NO_KEY
    assert decode(SEALED, sealed(1)) == bthome.NO_KEY


def test_encrypted_frame_gives_counter() -> None:
    """An opened frame gives its values and a secured counter, which wins over a packet id inside."""
    found = decode(SEALED, sealed(4711, b"\x00\x08" + INSIDE), fake_opener)

    assert values(found) == [(Quantity.TEMPERATURE, -18.5)]
    assert isinstance(found, Decoded)
    assert (found.counter, found.secured, found.rebooted) == (4711, True, False)


def test_opened_frame_without_values_counts() -> None:
    """An opened frame in which nothing can be read still moves the counter on."""
    found = decode(SEALED, sealed(12, b"\x99"), fake_opener, 11)

    assert isinstance(found, Decoded)
    assert (found.values, found.counter) == ((), 12)
    assert "0x99" in found.note


def test_frame_that_does_not_open() -> None:
    """A wrong check has a sentence of its own, so that it can be counted."""
    assert decode(SEALED, sealed(1, check=b"nope"), fake_opener) == bthome.NOT_OPENED


@pytest.mark.parametrize(
    ("last", "counter", "reason"),
    [
        (5000, 5000, bthome.REPEATED),
        (5000, 4999, bthome.REPLAYED),
        (5000, 100, bthome.REPLAYED),
        (50, 50, bthome.REPEATED),
    ],
)
def test_old_frame_is_refused(last: int, counter: int, reason: Undecodable) -> None:
    """A counter that does not rise is an old frame, and the key is not even tried."""

    def untouched(_info: bytes, _counter: bytes, _sealed: bytes) -> bytes | None:
        raise AssertionError("the key was tried")

    assert decode(SEALED, sealed(counter), untouched, last) == reason
    assert reason.reason.startswith("an old frame again")


@pytest.mark.parametrize(("last", "counter", "rebooted"), [(5000, 5001, False), (5000, 99, True), (60, 0, True)])
def test_counter_rises_or_begins_anew(last: int, counter: int, rebooted: bool) -> None:
    """A higher counter is believed; a fall only to below 100, as after a change of battery, and is told."""
    found = decode(SEALED, sealed(counter), fake_opener, last)

    assert isinstance(found, Decoded)
    assert (found.counter, found.rebooted) == (counter, rebooted)


def test_forged_restart_is_refused() -> None:
    """A low counter alone does not make a restart: the check must fit as well."""
    assert decode(SEALED, sealed(3, check=b"nope"), fake_opener, 5000) == bthome.NOT_OPENED


def test_empty_and_endless_frames() -> None:
    """No bytes, and more than an advertisement can hold, each have their sentence."""
    assert decode(PLAIN, b"") == bthome.EMPTY
    assert decode(PLAIN, b"\x40" + bytes(255)) == bthome.TOO_LONG


def test_spelling_shows_all() -> None:
    """For an onlooker every named object is told with value and unit, also what no freezer needs."""
    assert spell(bytes.fromhex("4014020c")) == [("moisture", 30.74, "%")]
    assert spell(bytes.fromhex("402f23")) == [("moisture", 35.0, "%")]
    assert spell(bytes.fromhex("40001b5303616263060799")) == [("packet", 27.0, ""), ("text", b"abc", "")]


@given(st.binary(max_size=300), st.integers(1, 5))
def test_spelling_and_reading_agree(data: bytes, which: int) -> None:
    """Any bytes are spelled without raising, and every value read is among those spelled."""
    told = [number for _, number, _ in spell(data)]
    found = decode(Saying(Format.BTHOME, which=which), data)

    if isinstance(found, Decoded):
        assert all(v.value in told for v in found.values)

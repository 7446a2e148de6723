"""The judge of traces can tell right from wrong, and a short traced run is right."""

import pytest

from tests.torture import trace

PORT, DOOR, WAL = 1883, "/run/door.sock", "/state/house.db-wal"
BROKER = f"<TCP:[127.0.0.1:40000->127.0.0.1:{PORT}]>"
COMMAND = f'<UNIX-STREAM:[7->8,"{DOOR}"]>'
STAMP = 1_764_000_000_123


def quoted(data: bytes) -> str:
    """Write bytes as strace does with -xx."""
    return '"' + "".join(f"\\x{byte:02x}" for byte in data) + '"'


def hear(mid: int = 9) -> str:
    """Return the line in which a reading arrives, MQTT 5."""
    topic, payload = b"house/shed-air", b'{"c": -18, "t": %d}' % STAMP
    body = len(topic).to_bytes(2) + topic + mid.to_bytes(2) + b"\x00" + payload
    packet = bytes([0x32, len(body)]) + body
    return f"10 recvfrom(8{BROKER}, {quoted(packet)}, 4096, 0, NULL, NULL) = {len(packet)}"


def answer(mid: int = 9) -> str:
    """Return the line in which it is acknowledged."""
    return f"10 sendto(8{BROKER}, {quoted(bytes([0x40, 2]) + mid.to_bytes(2))}, 4, 0, NULL, 0) = 4"


def write(needle: bytes) -> str:
    """Return the line in which a page with something on it is written to the log."""
    page = b"\x0d\x00" + needle + b"\x00\x01"
    return f"11 pwrite64(5<{WAL}>, {quoted(page)}, {len(page)}, 4096) = {len(page)}"


READING = STAMP.to_bytes(6)
SYNC = f"11 fdatasync(5<{WAL}>) = 0"
SYNC_BEGINS, SYNC_ENDS = f"11 fdatasync(5<{WAL}> <unfinished ...>", "11 <... fdatasync resumed>) = 0"


def judged(*lines: str) -> list[str]:
    """Return the faults of a trace."""
    return trace.Judge(PORT, DOOR).go(lines).faults


def test_stored_before_answered() -> None:
    """A reading that was written and synced before its acknowledgement left is right, also with calls interleaved."""
    assert judged(hear(), write(READING), SYNC, answer()) == []
    assert judged(hear(), write(READING), SYNC_BEGINS, SYNC_ENDS, answer()) == []


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ((hear(), answer(), write(READING), SYNC), "not even written"),
        ((hear(), write(READING), answer(), SYNC), "not forced"),
        ((hear(), write(READING), SYNC_BEGINS, answer(), SYNC_ENDS), "not forced"),
        ((hear(), SYNC_BEGINS, write(READING), SYNC_ENDS, answer()), "not forced"),
        ((hear(), write(b"another"), SYNC, answer()), "not even written"),
        ((hear(), write(READING), SYNC.replace("-wal", ""), answer()), "not forced"),
        ((hear(), write(READING), SYNC.replace("= 0", "= -1 EIO (Input/output error)"), answer()), "not forced"),
        ((hear(), write(READING), SYNC, answer(mid=10)), "not heard"),
    ],
)
def test_answered_too_soon(lines: tuple[str, ...], why: str) -> None:
    """An acknowledgement before the sync of the log that holds the reading has returned is found, and says why."""
    faults = judged(*lines)

    assert len(faults) == 1
    assert why in faults[0]


def test_order_answered_too_soon() -> None:
    """An order's answer is held to the same by its key."""
    ask = b'{"ask": "order", "verb": "acknowledge", "key": "k-7"}\n'
    done = b'{"done": true, "text": "acknowledged"}\n'
    asked = f"10 recvfrom(9{COMMAND}, {quoted(ask)}, 65536, 0, NULL, NULL) = {len(ask)}"
    answered = f"10 sendto(9{COMMAND}, {quoted(done)}, {len(done)}, 0, NULL, 0) = {len(done)}"

    assert judged(asked, write(b"k-7"), SYNC, answered) == []
    assert "not forced" in judged(asked, write(b"k-7"), answered, SYNC)[0]
    assert "not even written" in judged(asked, answered)[0]


def test_cut_text_is_refused() -> None:
    """A trace that leaves out bytes is refused rather than judged."""
    with pytest.raises(trace.Unreadable, match="-s is too small"):
        judged(f"11 pwrite64(5<{WAL}>, {quoted(b'abc')}..., 4096, 0) = 4096")


@pytest.mark.rig
@pytest.mark.slow  # a start under strace, and a command
def test_trace() -> None:
    """Every acknowledgement and every order's answer of a traced daemon leaves after the sync; the check can fail."""
    result = trace.run(seed=3, rounds=1)

    assert result.faults == []

"""Throw random and damaged frames of every format at the decoders: `python -m tests.fuzz --inputs 10000000 --seed 1`.

Every input must come back as values or as a reason; nothing may be raised, and no value may be NaN or endless. Prints
the rate, and how many inputs could be read. Exits with 1 and the offending bytes on the first failure.
"""

import argparse
import csv
import math
import random
import sys
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from gatewayd.decode import bthome, characteristic, guess
from gatewayd.decode.frame import decode_frame
from gatewayd.model.format import ByteRule, Format, Saying
from gatewayd.model.house import PayloadForm, PayloadRule
from gatewayd.model.reading import Decoded, Quantity, Undecodable
from gatewayd.model.route import Secret
from gatewayd.sources.opener import make_opener

KEY, ADDRESS = Secret("231d39c1d7cc1ab1aee224cd096db932"), "54:48:E6:8F:80:A5"  # the published example's
W1 = b"d8 fe 4b 46 7f ff 08 10 6d : crc=6d YES\nd8 fe 4b 46 7f ff 08 10 6d t=-18500\n"
DATA = Path(__file__).parent / "data" / "wire_vectors.csv"
READ, TLM, BTHOME = Saying(Format.READ), Saying(Format.TLM), Saying(Format.BTHOME)
ONE_WIRE, HWMON = Saying(Format.ONE_WIRE), Saying(Format.HWMON)
JSON = PayloadRule(PayloadForm.JSON, value="/t", battery="/b", time="/at")
WORDS = (b"-18.5", b'{"t": -18.5, "b": 90}', b'{"t": [1, {"a": null}]}', b"NaN", b"1e999", b"-18,5")


@dataclass
class Tally:
    """Count what the inputs became."""

    inputs: int = 0
    read: int = 0
    refused: int = 0
    reasons: set[str] = field(default_factory=set)


class Wrong(Exception):
    """Say which input did what it must not."""


UUIDS = {
    "sig temp": 0x2A6E,
    "sig temp8": 0x2B0D,
    "sig humidity": 0x2A6F,
    "sig battery": 0x2A19,
    "sig interval": 0x2A21,
    "htm": 0x2A1C,
}


def seeds() -> list[tuple[PayloadRule | Saying, bytes]]:
    """Return good frames of all formats with the settings that read them, to be damaged."""
    good: list[tuple[PayloadRule | Saying, bytes]] = [(ONE_WIRE, W1), (HWMON, b"-18500\n")]
    good += [(rule, word) for word in WORDS for rule in (PayloadRule(), JSON)]
    with DATA.open(newline="") as file:
        for row in csv.DictReader(file):
            name, frame = row["name"], bytes.fromhex(row["hex"])
            uuid = next((u for start, u in UUIDS.items() if name.startswith(f"{start} ")), None)
            if uuid is not None:
                good.append((READ, characteristic.record(0x2A6E, b"\xc6\xf8") + characteristic.record(uuid, frame)))
            else:
                good.append((TLM if name.startswith("tlm") else BTHOME, frame))
    return good


def sayings(rng: random.Random) -> list[PayloadRule | Saying]:
    """Return settings of every format, the byte rules by chance."""
    plain = [Saying(f) for f in Format if f is not Format.BYTES]
    rules = []
    for _ in range(12):
        width, offset = rng.randint(1, 4), rng.randint(0, 8)
        rule = ByteRule(
            maker=0xFFFF,
            least=offset + width + rng.randint(0, 3),
            offset=offset,
            width=width,
            signed=rng.random() < 0.5,
            order=rng.choice(("little", "big")),
            factor=rng.choice((1.0, 0.01, 1 / 256, 1e300, math.inf)),
            addend=rng.choice((0.0, -40.0, -math.inf)),
            unknown=(0, -1),
            highest=rng.choice((60.0, math.inf)),
        )
        rules.append(Saying(Format.BYTES, rule=rule))
    return [*plain, Saying(Format.BTHOME, which=2), Saying(Format.BTHOME, encrypted=True), *rules, PayloadRule(), JSON]


def damage(rng: random.Random, frame: bytes) -> bytes:
    """Return a frame with bytes changed, cut, doubled or added."""
    data = bytearray(frame)
    for _ in range(rng.randint(1, 3)):
        at = rng.randrange(len(data) + 1)
        what = rng.random()
        if what < 0.5 and at < len(data):
            data[at] = rng.getrandbits(8)
        elif what < 0.65:
            del data[at:]
        elif what < 0.8:
            data[at:at] = rng.randbytes(rng.randint(1, 4))
        else:
            data += data[at:]
    return bytes(data)


STARTS = ((BTHOME, b"\x40"), (BTHOME, b"\x41"), (BTHOME, b"\x44"), (TLM, b"\x20\x00"), (READ, b"\x2a\x6e\x02"))


def made(
    rng: random.Random, asked: list[PayloadRule | Saying], good: list[tuple[PayloadRule | Saying, bytes]]
) -> tuple[PayloadRule | Saying, bytes]:
    """Return one input: random bytes, random bytes behind a true beginning, or a damaged good frame."""
    what = rng.random()
    if what < 0.25:
        return rng.choice(asked), rng.randbytes(rng.randrange(40))
    if what < 0.27:
        return rng.choice(asked), rng.randbytes(rng.randrange(400))
    if what < 0.5:
        saying, start = rng.choice(STARTS)
        return saying, start + rng.randbytes(rng.randrange(30))
    saying, frame = rng.choice(good)
    if what < 0.6:
        saying = rng.choice(asked)
    return saying, damage(rng, frame)


def check(tally: Tally, found: object) -> None:
    """Count one answer; raise Wrong for one that must not be."""
    tally.inputs += 1
    if isinstance(found, Undecodable):
        tally.refused += 1
        tally.reasons.add(found.reason)
        if not found.reason:
            raise Wrong("a refusal without a reason")
        return
    if not isinstance(found, Decoded):
        raise Wrong(f"neither values nor a reason: {found!r}")
    tally.read += 1
    for value in found.values:
        if not isinstance(value.quantity, Quantity) or not math.isfinite(value.value):
            raise Wrong(f"a value that is no number: {found!r}")
    if found.counter is not None and not 0 <= found.counter < 1 << 32:
        raise Wrong(f"a counter out of all range: {found!r}")


def run(inputs: int, seed: int, told: Callable[[str], None] = lambda _: None) -> Tally:
    """Try `inputs` inputs from `seed`; raise Wrong, with the input in it, on the first failure."""
    rng = random.Random(seed)
    good, asked, tally = seeds(), sayings(rng), Tally()
    opener = make_opener(KEY, ADDRESS)

    def anything(_info: bytes, _counter: bytes, sealed: bytes) -> bytes | None:
        return sealed[:-4]  # as if every check fitted, so that the objects behind it are tried as well

    openers = (None, None, None, None, opener, anything)
    frames: list[bytes] = []
    for number in range(inputs):
        saying, frame = made(rng, asked, good)
        last = rng.choice((None, 0, 99, 5000, 0xFFFFFFFF))
        try:
            check(tally, decode_frame(saying, frame, rng.choice(openers), last))
            if number % 50 == 0:
                bthome.spell(frame)
                frames = [*frames[-5:], frame]
            if number % 5000 == 0:
                guess.candidates([*frames, frame], rng.choice((None, -18.0)), service="fcd2")
        except Exception as error:
            raise Wrong(f"{saying!r}, last {last}, input {frame.hex()}: {traceback.format_exc()}") from error
        if number % 1_000_000 == 999_999:
            told(f"{number + 1:,} inputs, nothing raised")
    return tally


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    began = time.monotonic()
    try:
        tally = run(asked.inputs, asked.seed, lambda text: print(text, flush=True))
    except Wrong as wrong:
        print(wrong, file=sys.stderr)
        return 1
    took = time.monotonic() - began
    print(f"{tally.inputs:,} inputs in {took:.0f} s, {tally.inputs / took:,.0f} a second, seed {asked.seed}")
    print(f"{tally.read:,} read, {tally.refused:,} refused for {len(tally.reasons)} reasons, nothing raised")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

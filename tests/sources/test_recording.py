"""Read recorded logs, all or nothing."""

from pathlib import Path

import pytest

from gatewayd.decode.payload import decode
from gatewayd.model.format import Format, Saying
from gatewayd.model.house import PayloadForm, PayloadRule, Sensor
from gatewayd.model.reading import Arrival, Undecodable
from gatewayd.sources.recording import Recording, RecordingError, parse_time, payload_of
from tests.sources.conftest import CELLAR, PORCH

WALL = 1_770_087_906_000  # 2026-02-03T04:05:06+01:00 less an hour: 03:05:06Z


def recording(folder: Path, text: str, name: str = "log.csv", *sensors: Sensor) -> Recording:
    """Write a log and return it as a recording."""
    path = folder / name
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    return Recording(path, sensors or (PORCH, CELLAR))


def faults(recorded: Recording) -> list[str]:
    """Return what is wrong with a recording."""
    with pytest.raises(RecordingError) as raised:
        next(recorded.lines())
    return raised.value.faults


def test_csv_payload(tmp_path: Path) -> None:
    """CSV with quoted payloads gives back the very bytes, whatever columns stand beside them."""
    log = (
        "time,sensor,note,payload\r\n"
        '2026-02-03T04:05:06+01:00,porch-air,x,"{""t"":\r\n-18.5}"\r\n'
        "1770087907.25,cellar-air,,-19\r\n"
    )

    lines = list(recording(tmp_path, log).lines())

    assert [(line.time, line.sensor.id, line.payload) for line in lines] == [
        (WALL, "porch-air", b'{"t":\r\n-18.5}'),
        (WALL + 1_250, "cellar-air", b"-19"),
    ]


def test_json_lines(tmp_path: Path) -> None:
    """A payload in JSON lines is text, or any value that stands for itself."""
    log = (
        '{"time": 1770087906, "sensor": "porch-air", "payload": "-18.5"}\n\n'
        '{"time": "2026-02-03T03:05:06Z", "sensor": "porch-air", "payload": {"t": -18.40, "b": null}}\n'
        '{"time": 1770087906.5, "sensor": "cellar-air", "payload": -19}\n'
    )

    lines = list(recording(tmp_path, log, "log.jsonl").lines())

    assert [line.payload for line in lines] == [b"-18.5", b'{"t":-18.4,"b":null}', b"-19"]
    assert [line.time - WALL for line in lines] == [0, 0, 500]


def test_any_bytes(tmp_path: Path) -> None:
    """Bytes that are not UTF-8 come through as they are: a payload may hold anything."""
    log = recording(tmp_path, "time,sensor,payload\n1770087906,porch-air,\udcff\x00x\n")

    assert next(log.lines()).payload == b"\xff\x00x"


@pytest.mark.parametrize("unit", ["°C", "°F", "K"])
@pytest.mark.parametrize("pointer", [None, "/t", "/air/0/a~1b"])
def test_temperature_decodes(tmp_path: Path, unit: str, pointer: str | None) -> None:
    """A temperature in °C becomes a payload that the sensor's own rule reads as that temperature."""
    rule = PayloadRule(PayloadForm.JSON if pointer else PayloadForm.NUMBER, pointer, unit=unit)
    sensor = Sensor("porch-air", "Porch chest", "shed", "house/porch", rule)
    log = recording(tmp_path, "time,sensor,temperature\n1770087906,porch-air,-18.4\n", "log.csv", sensor)

    values = decode(rule, next(log.lines()).payload)

    assert not isinstance(values, Undecodable)
    assert values[0].value == pytest.approx(-18.4, abs=1e-6)


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Every bad line is reported with its number and what is allowed, and none is played."""
    log = (
        "time,sensor,payload\n"
        "1770087906,porch-air,-18\n"
        "yesterday,porch-air,-18\n"
        "2026-02-03T04:05:06,porch-air,-18\n"
        "1770087906000,porch-air,-18\n"
        "1770087907,porch-airs,-18\n"
        "1770087907,porch-air\n"
        "1770087900,porch-air,-18\n"
    )

    assert faults(recording(tmp_path, log)) == [
        "line 3: 'yesterday' is not a time; write it like 2026-02-03T04:05:06+01:00 or as Unix seconds",
        "line 4: '2026-02-03T04:05:06' has no time zone; write it like 2026-02-03T04:05:06+01:00 or ...Z",
        "line 5: '1770087906000' is before 1970 or after 2169; are these milliseconds? Write seconds",
        "line 6: 'porch-airs' is not a sensor of this house; do you mean porch-air?",
        "line 7: it has 2 fields, the header has 3",
        "line 8: its time is before that of the line above; sort the file by time",
    ]


def test_json_faults(tmp_path: Path) -> None:
    """JSON lines that are not objects, or lack something, are told apart."""
    log = (
        '[1]\n{"time": 1, "sensor": "porch-air"}\n{"sensor": "porch-air", "payload": 1}\n{nonsense\nNaN\n'
        '{"time": 1, "sensor": "porch-air", "payload": "\\ud800"}\n'
    )

    problems = faults(recording(tmp_path, log, "log.jsonl"))

    assert [problem.split(":")[0] for problem in problems] == [f"line {n}" for n in range(1, 7)]
    assert problems[1:3] == ["line 2: it needs either a payload or a temperature", "line 3: it has no time"]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "there is no reading in it"),
        ("time,sensor,payload\n", "there is no reading in it"),
        ("when,sensor,payload\n1,porch-air,2\n", "it must name time, sensor and either payload or temperature"),
        ("time,sensor,payload,payload\n", "names a column twice"),
        ('time,sensor,payload\n1,porch-air,"-18\n', "it is not CSV"),
        ("time,sensor,temperature\n1,porch-air,cold\n", "is not a temperature in °C"),
    ],
)
def test_unusable(tmp_path: Path, text: str, problem: str) -> None:
    """A file without readings, header or sense is refused with a reason."""
    assert problem in faults(recording(tmp_path, text))[0]


def test_many_faults(tmp_path: Path) -> None:
    """Of thousands of faults a hundred are listed and all are counted."""
    with pytest.raises(RecordingError, match="and 2900 more") as raised:
        recording(tmp_path, "time,sensor,payload\n" + "x,porch-air,1\n" * 3_000).check()

    assert raised.value.count == 3_000


def test_moments(tmp_path: Path) -> None:
    """For a rehearsal each reading comes with the moment of its recording, live, from its sensor's source."""
    log = recording(tmp_path, "time,sensor,payload\n1770087906,porch-air,-18\n1770087916,porch-air,-17\n")

    (first, _), (second, heard) = log.moments()

    assert (first.wall, first.steady, second.wall, second.steady) == (WALL, 0, WALL + 10_000, 10_000)
    assert (heard.source, heard.sensor, heard.payload, heard.arrival, heard.at) == (
        "shed",
        "porch-air",
        b"-17",
        Arrival.LIVE,
        second,
    )


def test_parse_time_exact() -> None:
    """Fractions of a second are kept to the millisecond, without the rounding of a float."""
    assert (parse_time("1770087906.999"), parse_time("2026-02-03T03:05:06.999Z")) == (WALL + 999, WALL + 999)


def test_payload_of_bytes() -> None:
    """A sensor that is not heard as text cannot be played from temperatures."""
    with pytest.raises(ValueError, match="sends no text"):
        payload_of(Saying(Format.TLM), "-18")


def test_payload_of_plain_number() -> None:
    """A plain number in another unit is converted."""
    assert payload_of(PayloadRule(unit="°F"), "-18") == b"-0.4"

"""Loading: files into settings, the keeper's own and the one the pages write."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gatewayd.model.house import Kind, PayloadForm
from gatewayd.model.moment import DAY, MINUTE, SECOND
from gatewayd.model.priority import Priority
from gatewayd.model.route import MailRoute
from gatewayd.model.units import TemperatureUnit
from gatewayd.settings import places
from gatewayd.settings.faults import SettingsError
from gatewayd.settings.load import load
from tests.settings.conftest import SMALL, Faults, Load, changed

LOCAL = "host: localhost"


def test_small_house_is_built(load_text: Load, tmp_path: Path, settings_file: Path) -> None:
    """Ids, names made of ids, and the places of files come out as documented."""
    settings = load_text(SMALL)
    house, broker = settings.house, settings.brokers["house"]

    assert (house.id, house.name, house.units) == ("heron-lane", "Heron lane", TemperatureUnit.C)
    assert house.freezers["shed-chest"].name == "Shed chest"
    assert house.people["anna"].told_from is Priority.MEDIUM
    assert house.sources == {"house": "House"}
    assert (broker.port, broker.client_id, broker.own_topic) == (1883, "gatewayd-heron-lane", "gatewayd/heron-lane")
    assert (broker.window, broker.session_keep, broker.keepalive) == (20, 7 * DAY, 30 * SECOND)
    assert settings.storing.path == tmp_path / "state/house.db"
    assert settings.socket == tmp_path / "state/door.sock"
    assert settings.files == (settings_file,)
    assert settings.house_file == tmp_path / "state/house.yaml"


def test_every_setting_arrives(load_text: Load) -> None:
    """Each written value arrives in its own field."""
    text = changed("id: heron-lane", "id: heron-lane\n  name: Heron Lane\n  time_zone: America/Chicago\n  units: °F")
    text = text.replace(
        "    sensors: [shed-air]\n",
        "    sensors: [shed-air]\n    name: Trout\n    kind: upright\n    volume: 14 cu ft\n    place: shed\n"
        "    limits: {high: 5 °F, high_on_delay: 1 min, highhigh: 20 °F, highhigh_on_delay: 2 min, deadband: 2 °F,\n"
        "      off_delay: 3 min, unwatched: 4 min, unwatched_high: 5 min}\n",
    )
    text = text.replace(
        "topic: shed/air", "topic: a/b\n    payload: json\n    value: /v\n    battery: /b\n    time: /t\n    unit: K"
    )
    house = load_text(text).house
    freezer, rule = house.freezers["shed-chest"], house.sensors["shed-air"].payload
    limits = freezer.limits

    assert (house.name, house.zone, house.units) == ("Heron Lane", ZoneInfo("America/Chicago"), TemperatureUnit.F)
    assert (freezer.name, freezer.kind, freezer.place) == ("Trout", Kind.UPRIGHT, "shed")
    assert (rule.form, rule.value, rule.battery, rule.time, rule.unit) == (PayloadForm.JSON, "/v", "/b", "/t", "K")
    delays = (limits.high_on_delay, limits.highhigh_on_delay, limits.off_delay, limits.unwatched, limits.unwatched_high)
    assert [delay // MINUTE for delay in delays] == [1, 2, 3, 4, 5]


def test_fahrenheit_house(load_text: Load) -> None:
    """A limit in °F is a temperature, a deadband in °F a difference: 20 °F is -6.67 °C, 2 °F is 1.11 K."""
    limits = "    limits: {high: 10 °F, highhigh: 20 °F, deadband: 2 °F}\n    volume: 14 cu ft\n"
    freezer = load_text(changed("[shed-air]\n", "[shed-air]\n" + limits)).house.freezers["shed-chest"]

    # 10 °F = -12.2 °C: Maine 01-001 ch. 344, section 4 C; (°F - 32) / 1.8: NIST SP 811, appendix B.8
    assert freezer.limits.high == pytest.approx(-12.2, abs=0.05)
    assert freezer.limits.highhigh == pytest.approx(-6.67, abs=0.005)
    assert freezer.limits.deadband == pytest.approx(1.11, abs=0.005)
    assert freezer.volume == pytest.approx(396.4, abs=0.05)  # 1 cu ft = 2.831 685 E-02 m3: NIST SP 811, B.8


@pytest.mark.parametrize(("more", "port"), [("", 1883), ("\n    tls: yes", 8883), ("\n    tls: yes\n    port: 1", 1)])
def test_port_follows_tls(more: str, port: int, load_text: Load) -> None:
    """The broker's port follows TLS unless it is written."""
    assert load_text(changed(LOCAL, LOCAL + more)).brokers["house"].port == port


@pytest.mark.parametrize(("more", "port"), [("", 465), (", security: starttls", 587), (", port: 25", 25)])
def test_mail_port_follows_security(more: str, port: int, load_text: Load) -> None:
    """The mail server's port follows its security unless it is written."""
    way = load_text(changed("to: anna@example.org", "to: anna@example.org" + more)).routes["anna-mail"].way

    assert isinstance(way, MailRoute)
    assert way.port == port


def test_paths_count_from_their_file(load_text: Load, tmp_path: Path) -> None:
    """A certificate authority lies beside the file that names it, the database in the state folder."""
    (tmp_path / "ca.pem").write_text("-----BEGIN CERTIFICATE-----\n")
    text = changed(LOCAL, LOCAL + "\n    tls: yes\n    ca: ca.pem") + "socket: run/s\nstore: {path: data/h.db}\n"
    settings = load_text(text)

    assert settings.brokers["house"].ca == str(tmp_path / "ca.pem")
    assert settings.storing.path == tmp_path / "state/data/h.db"
    assert settings.socket == tmp_path / "run/s"


def test_house_file_is_merged(load_text: Load, tmp_path: Path) -> None:
    """What the pages wrote in house.yaml belongs to the house as if it stood in the keeper's file."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/house.yaml").write_text(
        "site: {units: °F}\nfreezers: {porch-chest: {sensors: [porch-air]}}\n"
        "sensors: {porch-air: {broker: house, topic: porch/air}}\n"
    )
    settings = load_text(SMALL)

    assert list(settings.house.freezers) == ["shed-chest", "porch-chest"]
    assert settings.house.units is TemperatureUnit.F
    assert settings.files[1:] == (tmp_path / "state/house.yaml",)


def test_same_setting_in_both_files_is_a_fault(faults_of: Faults, tmp_path: Path, settings_file: Path) -> None:
    """A setting that stands in both files is a fault in the second, which names the first; so is a whole broker."""
    (tmp_path / "state").mkdir()
    house_file = tmp_path / "state/house.yaml"
    house_file.write_text(
        "site:\n  id: other\nfreezers:\n  shed-chest:\n    sensors: []\nbrokers:\n  house:\n    tls: no\n"
    )
    found = faults_of(SMALL)

    assert [(fault.file, fault.line, fault.key) for fault in found] == [
        (house_file, 2, "site.id"),
        (house_file, 5, "freezers.shed-chest.sensors"),
        (house_file, 7, "brokers.house"),
    ]
    assert f"{settings_file}, line 5" in found[1].problem
    assert all(str(settings_file) in fault.problem for fault in found)


def test_house_file_adds_to_an_entry(load_text: Load, tmp_path: Path) -> None:
    """What the keeper's file does not say of a freezer, sensor or person, house.yaml may; the entry keeps its place."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/house.yaml").write_text(
        "freezers: {porch: {}, shed-chest: {name: Trout, limits: {high: -15 °C}, alarms: {lid-open: off}}}\n"
        "sensors: {shed-air: {name: Probe}}\npeople: {anna: {told_from: high}}\n"
    )
    text = changed("[shed-air]\n", "[shed-air]\n    limits: {deadband: 2 °C}\n")
    house = load_text(text).house
    limits = house.freezers["shed-chest"].limits

    assert list(house.freezers) == ["shed-chest", "porch"]
    assert (house.freezers["shed-chest"].name, limits.high, limits.deadband) == ("Trout", -15.0, 2.0)
    assert house.freezers["shed-chest"].alarms == {"lid-open": None}
    assert (house.sensors["shed-air"].name, house.people["anna"].told_from) == ("Probe", Priority.HIGH)
    assert house.people["anna"].routes == ("anna-mail",)


def test_fault_of_the_whole_names_the_file_that_has_it(faults_of: Faults, tmp_path: Path) -> None:
    """A limit of house.yaml that contradicts one of the keeper's file is a fault of the limits, with all its words."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/house.yaml").write_text("freezers:\n  shed-chest:\n    limits:\n      high: -5 °C\n")
    found = faults_of(changed("[shed-air]\n", "[shed-air]\n    limits: {highhigh: -8 °C}\n"))

    assert [(fault.key, "must be colder than highhigh" in fault.problem) for fault in found] == [
        ("freezers.shed-chest.limits", True)
    ]


def test_faults_of_both_files_come_together(faults_of: Faults, tmp_path: Path) -> None:
    """Mistakes of both files are reported at once, file by file."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/house.yaml").write_text("sits: {}\n")
    found = faults_of(SMALL + "stroe: {}\n")

    assert [(fault.file.name, fault.key) for fault in found] == [("gatewayd.yaml", "stroe"), ("house.yaml", "sits")]


def test_broken_file_hides_no_fault_of_the_other(faults_of: Faults, tmp_path: Path) -> None:
    """Where one file is no YAML, the mistakes of the other are told all the same, and nothing is said to be missing."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/house.yaml").write_text("freezers:\n  porch: {sensors: [gone]}\nsits: {}\n")
    found = faults_of("site:\n\tid: x\n")

    assert [(fault.file.name, fault.line) for fault in found] == [("gatewayd.yaml", 2), ("house.yaml", 3)]


def test_no_file_says_where_it_may_be(tmp_path: Path) -> None:
    """Without any settings the fault names every place that was looked at, and what to do."""
    with pytest.raises(SettingsError, match=r"/etc/gatewayd/gatewayd\.yaml") as caught:
        load((), env={"HOME": str(tmp_path)}, state_dir=tmp_path)

    assert "copy config/one-freezer.yaml" in str(caught.value)


def test_missing_file_is_a_fault(tmp_path: Path) -> None:
    """A file that was asked for and is not there is a fault."""
    with pytest.raises(SettingsError, match="No such file") as caught:
        load([tmp_path / "gone.yaml"], env={"HOME": "/"}, state_dir=tmp_path)

    assert [fault.line for fault in caught.value.faults] == [0]


def test_long_socket_is_a_fault(faults_of: Faults) -> None:
    """A path that is too long for a socket is a fault now, not a crash at the start."""
    (found,) = faults_of(f"socket: /{'x' * 107}\n" + SMALL)

    assert (found.line, found.key) == (1, "socket")


@pytest.mark.parametrize(("more", "warned"), [("", True), ("\n  time_zone: UTC", False)])
def test_unknown_zone_warns(more: str, warned: bool, load_text: Load, monkeypatch: pytest.MonkeyPatch) -> None:
    """A computer that does not know its zone warns, unless the keeper wrote one."""
    monkeypatch.setattr(places.local_zone, "__defaults__", (Path("/nowhere"),))
    warnings = load_text(changed("id: heron-lane", "id: heron-lane" + more)).warnings

    assert bool(warnings) is warned


def test_fault_of_house_file_is_told_once(faults_of: Faults, tmp_path: Path) -> None:
    """A setting that is wrong in house.yaml is at fault there, and not missing as well."""
    (tmp_path / "state").mkdir()
    (tmp_path / "state/house.yaml").write_text("site: {id: Heron Lane}\n")
    found = faults_of(changed("id: heron-lane", "name: Heron Lane"))

    assert [(fault.file.name, fault.key) for fault in found] == [("house.yaml", "site.id")]

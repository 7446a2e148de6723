"""What only the whole shows: references, contradictions, and what is allowed but surely not meant."""

import pytest

from tests.settings.conftest import SMALL, Faults, Load, changed

LOCAL = "host: localhost"
SENSOR = "    topic: shed/air\n"
FREEZER = "    sensors: [shed-air]\n"
MAIL = "{host: mail.example.org, from: a@example.org, to: anna@example.org}"

# what is written, instead of what; key and words of the one fault
CASES = [
    ("unknown sensor", "[shed-air]", "[shed-ar]", "freezers.shed-chest.sensors", "did you mean shed-air?"),
    ("unknown broker", "broker: house", "broker: hall", "sensors.shed-air.broker", "there is no broker 'hall'"),
    ("unknown route", "[anna-mail]", "[anna-male]", "people.anna.told_by", "did you mean anna-mail?"),
    ("route twice", "[anna-mail]", "[anna-mail, anna-mail]", "people.anna.told_by", "stands here twice"),
    ("two freezers", FREEZER, FREEZER + "  porch:\n" + FREEZER, "freezers.porch.sensors", "already in freezers.shed"),
    ("sensor twice", "[shed-air]", "[shed-air, shed-air]", "freezers.shed-chest.sensors", "already in"),
    (
        "limits crossed",
        FREEZER,
        FREEZER + "    limits: {high: -5 °C, highhigh: -10 °C}\n",
        "freezers.shed-chest.limits",
        "must be colder than highhigh",
    ),
    ("high over default", FREEZER, FREEZER + "    limits: {high: -5 °C}\n", "freezers.shed-chest.limits", "colder"),
    (
        "unwatched crossed",
        FREEZER,
        FREEZER + "    limits: {unwatched: 5 h}\n",
        "freezers.shed-chest.limits",
        "not longer than unwatched_high",
    ),
    (
        "slow sensor",
        SENSOR,
        SENSOR + "    reports_every: 2 h\n",
        "freezers.shed-chest.limits.unwatched",
        "report every 2 h",
    ),
    (
        "same topic",
        SENSOR,
        SENSOR + "  porch-air: {broker: house, topic: shed/air}\n",
        "sensors.porch-air.topic",
        "is heard already as sensor shed-air",
    ),
    ("json without value", SENSOR, SENSOR + "    payload: json\n", "sensors.shed-air.value", "is missing"),
    ("value without json", SENSOR, SENSOR + "    value: /t\n", "sensors.shed-air.value", "a bare number"),
    ("own topic", "topic: shed/air", "topic: gatewayd/heron-lane/x", "sensors.shed-air.topic", "gatewayd's own topic"),
    (
        "password in the clear",
        LOCAL,
        "host: broker.lan\n    user: u\n    password: hunter2",
        "brokers.house.password",
        "would travel to broker.lan in the clear",
    ),
    ("no user", LOCAL, LOCAL + "\n    password: hunter2", "brokers.house.password", "without a user"),
    ("two seats", LOCAL, LOCAL + "\n  hall: {host: LOCALHOST}", "brokers.hall", "throw each other out"),
    ("no way", f"mail: {MAIL}", "ca: x", "routes.anna-mail", "has neither url nor mail"),
    ("two ways", f"mail: {MAIL}", f"mail: {MAIL}\n    url: json://x", "routes.anna-mail", "has both"),
    ("mail user alone", "mail: {", "mail: {user: anna, ", "routes.anna-mail.mail.user", "without a password"),
    ("mail password", "mail: {", "mail: {password: hunter2, ", "routes.anna-mail.mail.password", "without a user"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after", "key", "said"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_contradiction_is_a_fault(before: str, after: str, key: str, said: str, faults_of: Faults) -> None:
    """Each contradiction between settings is a fault at the setting that must change."""
    found = [fault for fault in faults_of(changed(before, after)) if fault.key == key]

    assert len(found) == 1
    assert said in found[0].problem
    assert "hunter2" not in str(found[0])


def test_ca_must_fit(faults_of: Faults, tmp_path: object) -> None:
    """A certificate authority without TLS, that is missing, or that holds no certificate is a fault."""
    plain = faults_of(changed(LOCAL, LOCAL + "\n    ca: gatewayd.yaml"))
    missing = faults_of(changed(LOCAL, LOCAL + "\n    tls: yes\n    ca: ca.pem"))

    assert [fault.problem for fault in plain] == ["has no use without tls", "holds no certificate"]
    assert [(fault.key, fault.value) for fault in missing] == [("brokers.house.ca", "ca.pem")]


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "127.1.2.3", "'::1'", "broker.localhost"])
def test_password_may_stay_inside_computer(host: str, load_text: Load) -> None:
    """A password to a broker on the same computer needs no TLS."""
    text = changed(LOCAL, f"host: {host}\n    user: u\n    password: p")

    assert load_text(text).brokers["house"].password.reveal() == "p"


def test_two_probes_of_one_message(load_text: Load) -> None:
    """Two sensors may share a topic when they read different values of it."""
    text = changed(SENSOR, SENSOR + "    payload: json\n    value: /a\n")
    text = text.replace(
        "brokers:", "  shed-trout: {broker: house, topic: shed/air, payload: json, value: /b}\nbrokers:"
    )
    settings = load_text(text.replace("[shed-air]", "[shed-air, shed-trout]"))

    assert [sensor.payload.value for sensor in settings.house.sensors.values()] == ["/a", "/b"]


WARNINGS = [
    ("no sensors", FREEZER, "    name: Shed chest\n", "freezer shed-chest has no sensors"),
    ("in no freezer", FREEZER, "    name: Shed chest\n", "sensor shed-air is in no freezer"),
    ("no routes", "    told_by: [anna-mail]\n", "    name: Anna\n", "anna has no routes"),
    ("nobody", "    told_by: [anna-mail]\n", "    name: Anna\n", "there is nobody to tell"),
    ("lost minus", FREEZER, FREEZER + "    limits: {highhigh: 6 °C}\n", "highhigh 6 °C is above freezing"),
    ("no freezer", "  shed-chest:\n" + FREEZER, "", "no freezer is declared"),
]


@pytest.mark.parametrize(("before", "after", "said"), [w[1:] for w in WARNINGS], ids=[w[0] for w in WARNINGS])
def test_odd_house_is_a_warning(before: str, after: str, said: str, load_text: Load) -> None:
    """What is allowed but surely not meant loads, with a warning."""
    assert any(said in warning for warning in load_text(changed(before, after)).warnings)


def test_people_may_be_left_out(load_text: Load) -> None:
    """A house without people loads, and says that nobody is told."""
    warnings = load_text(SMALL[: SMALL.index("people:")]).warnings

    assert warnings == ("there is nobody to tell: alarms will only be kept in the log",)


@pytest.mark.parametrize(("kind", "minutes"), [("chest", 30), ("upright", 30), ("upright with automatic defrost", 60)])
def test_defrost_lengthens_the_delay(kind: str, minutes: int, load_text: Load) -> None:
    """HighHigh waits 30 min by default, and 60 where the freezer defrosts itself."""
    settings = load_text(changed(FREEZER, FREEZER + f"    kind: {kind}\n"))

    assert settings.house.freezers["shed-chest"].limits.highhigh_on_delay == minutes * 60_000


def test_written_delay_wins_over_kind(load_text: Load) -> None:
    """A delay that the keeper writes is kept, defrost or not."""
    more = "    kind: upright with automatic defrost\n    limits: {highhigh_on_delay: 30 min}\n"

    assert (
        load_text(changed(FREEZER, FREEZER + more)).house.freezers["shed-chest"].limits.highhigh_on_delay == 1_800_000
    )

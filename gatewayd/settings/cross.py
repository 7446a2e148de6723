"""Cross-check: what is right line by line and still cannot be meant. Works on whatever was read, faults or not."""

import difflib
from collections.abc import Callable, Iterator

from gatewayd.decode.payload import parts
from gatewayd.model.house import Kind, PayloadForm
from gatewayd.model.limits import Limits
from gatewayd.model.moment import MINUTE
from gatewayd.model.units import show_span
from gatewayd.settings import schema
from gatewayd.settings.check import Checked
from gatewayd.settings.faults import HIDDEN, Fault, Spot, fault
from gatewayd.settings.keys import Group, Key, ListKey
from gatewayd.settings.readers import is_loopback
from gatewayd.settings.typed import PLAIN_PORT, TLS_PORT

# Longer than the lid stands open or an automatic defrost lasts: warm air blown over the coil for half an hour
HIGHHIGH_WITH_DEFROST = 60 * MINUTE
MELTS = 0.0  # °C: above it, water is melting; a limit that warm is nearly always a lost minus sign


def entries(root: Checked, group: Group) -> dict[str, Checked]:
    """Return the entries of a section by id."""
    return root.group(group).groups


def cross(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    """Add the faults and warnings that only the whole shows."""
    _freezers(root, faults, warnings)
    _sensors(root, faults)
    _brokers(root, faults)
    _people(root, faults, warnings)
    _routes(root, faults)


def limits_of(freezer: Checked) -> Limits:
    """Build a freezer's limits; raise ValueError if they contradict each other."""
    found = freezer.group(schema.LIMITS)
    slow = freezer.maybe(schema.KIND) is Kind.UPRIGHT_AUTO_DEFROST
    delay = found.maybe(schema.HIGHHIGH_ON_DELAY)
    if delay is None:
        delay = HIGHHIGH_WITH_DEFROST if slow else Limits().highhigh_on_delay
    return Limits(
        high=found.take(schema.HIGH),
        high_on_delay=found.take(schema.HIGH_ON_DELAY),
        highhigh=found.take(schema.HIGHHIGH),
        highhigh_on_delay=delay,
        deadband=found.take(schema.DEADBAND),
        off_delay=found.take(schema.OFF_DELAY),
        unwatched=found.take(schema.UNWATCHED),
        unwatched_high=found.take(schema.UNWATCHED_HIGH),
    )


def broker_port(broker: Checked) -> int:
    """Return a broker's port."""
    return broker.maybe(schema.PORT) or (TLS_PORT if broker.take(schema.TLS) else PLAIN_PORT)


def _ids(entry: Checked, key: ListKey) -> Iterator[tuple[str, Spot]]:
    """Go through the ids of a list with the line of each."""
    found = entry.found.get(key.name)
    lines = found.lines if found else ()
    for wanted, line in zip(entry.ids(key), lines, strict=True):
        yield wanted, Spot(entry.spot.file, line, f"{entry.spot.key}.{key.name}")


def _refer(wanted: str, spot: Spot, root: Checked, group: Group, faults: list[Fault]) -> None:
    """Add a fault if there is no entry `wanted`; where the whole section is at fault, that one fault is enough."""
    known, what = entries(root, group), group.name.removesuffix("s")
    if wanted in known or group.name in root.broken:
        return
    near = difflib.get_close_matches(wanted, known, n=1)
    hint = f" (did you mean {near[0]}?)" if near else f"; add it under {group.name}"
    allowed = ", ".join(known) if known else ""
    faults.append(fault(spot, f"there is no {what} {wanted!r}{hint}", allowed, wanted))


def _freezers(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    sensors = entries(root, schema.SENSORS)
    homes: dict[str, Spot] = {}
    if not entries(root, schema.FREEZERS):
        warnings.append("no freezer is declared, so there is nothing to watch")
    for id_, freezer in entries(root, schema.FREEZERS).items():
        for wanted, spot in _ids(freezer, schema.FREEZER_SENSORS):
            _refer(wanted, spot, root, schema.SENSORS, faults)
            if wanted in homes:
                faults.append(fault(spot, f"sensor {wanted!r} is already in {homes[wanted].key}", value=wanted))
            homes.setdefault(wanted, spot)
        if not freezer.ids(schema.FREEZER_SENSORS) and schema.FREEZER_SENSORS.name not in freezer.broken:
            warnings.append(f"freezer {id_} has no sensors, so it is not watched")
        _limits(id_, freezer, sensors, faults, warnings)
    lonely = [id_ for id_ in sensors if id_ not in homes]
    warnings += [f"sensor {id_} is in no freezer, so it raises no alarm" for id_ in lonely]


def _limits(id_: str, freezer: Checked, sensors: dict[str, Checked], faults: list[Fault], warnings: list[str]) -> None:
    found = freezer.group(schema.LIMITS)
    if found.broken or {schema.LIMITS.name, schema.KIND.name} & freezer.broken:
        return
    try:
        limits = limits_of(freezer)
    except ValueError as error:
        first = next(iter(found.found.values()), None)
        faults.append(fault(Spot(found.spot.file, first.spot.line if first else 0, found.spot.key), str(error)))
        return
    for key, value in ((schema.HIGH, limits.high), (schema.HIGHHIGH, limits.highhigh)):
        if value > MELTS:
            written = found.written(key)
            warnings.append(f"freezer {id_}: {key.name} {written} is above freezing; is the minus sign missing?")
    probes = [sensors[wanted] for wanted in freezer.ids(schema.FREEZER_SENSORS) if wanted in sensors]
    pace = [probe.maybe(schema.REPORTS_EVERY) for probe in probes]
    known = [every for every in pace if every is not None]
    if known and len(known) == len(pace) and min(known) >= limits.unwatched:
        problem = (
            f"is {show_span(limits.unwatched)}, and its sensors report every {show_span(min(known))}: "
            "it would be unwatched between any two readings"
        )
        faults.append(fault(found.at(schema.UNWATCHED), problem, "a longer span"))


def _sensors(root: Checked, faults: list[Fault]) -> None:
    brokers = entries(root, schema.BROKERS)
    probes: dict[tuple[str, str, tuple[str, ...]], str] = {}
    for id_, sensor in entries(root, schema.SENSORS).items():
        broker, topic = sensor.maybe(schema.SENSOR_BROKER), sensor.maybe(schema.TOPIC)
        if broker is not None:
            _refer(broker, sensor.at(schema.SENSOR_BROKER), root, schema.BROKERS, faults)
        _pointers(sensor, faults)
        value = sensor.maybe(schema.VALUE)
        if broker is None or topic is None or schema.VALUE.name in sensor.broken:
            continue
        probe = (broker, topic, () if value is None else parts(value))
        if probe in probes:
            problem = f"is heard already as sensor {probes[probe]}: same broker, topic and value"
            faults.append(fault(sensor.at(schema.TOPIC), problem, "a topic or value of its own", topic))
        probes.setdefault(probe, id_)
        own = _own_topic(root, brokers[broker]) if broker in brokers else None
        if own is not None and (topic == own or topic.startswith(own + "/")):
            problem = f"lies in gatewayd's own topic {own} at broker {broker}"
            faults.append(fault(sensor.at(schema.TOPIC), problem, "a topic of the sensor's own", topic))


def _own_topic(root: Checked, broker: Checked) -> str | None:
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


def _brokers(root: Checked, faults: list[Fault]) -> None:
    site = root.group(schema.SITE).maybe(schema.SITE_ID)
    clients: dict[tuple[str, int, str], str] = {}
    for id_, broker in entries(root, schema.BROKERS).items():
        host, tls = broker.maybe(schema.HOST), schema.TLS.name in broker.broken or broker.take(schema.TLS)
        user, password = broker.maybe(schema.USER), broker.maybe(schema.PASSWORD)
        if password and not tls and host is not None and not is_loopback(host):
            problem = f"would travel to {host} in the clear"
            faults.append(fault(broker.at(schema.PASSWORD), problem, "tls: yes beside it", HIDDEN))
        if password and not user and schema.USER.name not in broker.broken:
            # a password without a user name is forbidden in 3.1.1 [MQTT-3.1.2-22], to which we may fall back
            problem = "stands without a user, which MQTT 3.1.1 forbids"
            faults.append(fault(broker.at(schema.PASSWORD), problem, "user beside it", HIDDEN))
        if schema.CA.name in broker.found and not tls:
            faults.append(fault(broker.at(schema.CA), "has no use without tls", "tls: yes beside it"))
        client = broker.maybe(schema.CLIENT_ID) or (f"gatewayd-{site}" if site else None)
        if host is None or client is None or schema.TLS.name in broker.broken:
            continue
        seat = (host.lower(), broker_port(broker), client)
        if seat in clients:
            problem = f"is broker {clients[seat]} once more, with the same client_id: they would throw each other out"
            faults.append(fault(broker.spot, problem, "another host, port or client_id"))
        clients.setdefault(seat, id_)


def _people(root: Checked, faults: list[Fault], warnings: list[str]) -> None:
    told = False
    for id_, person in entries(root, schema.PEOPLE).items():
        seen: set[str] = set()
        for wanted, spot in _ids(person, schema.TOLD_BY):
            _refer(wanted, spot, root, schema.ROUTES, faults)
            if wanted in seen:
                faults.append(fault(spot, f"route {wanted!r} stands here twice", value=wanted))
            seen.add(wanted)
        if not seen and schema.TOLD_BY.name not in person.broken:
            warnings.append(f"{id_} has no routes, so nothing is told to them")
        told = told or bool(seen) or schema.TOLD_BY.name in person.broken
    if not told:
        warnings.append("there is nobody to tell: alarms will only be kept in the log")


def _routes(root: Checked, faults: list[Fault]) -> None:
    for route in entries(root, schema.ROUTES).values():
        ways = [name for name in (schema.URL.name, schema.MAIL.name) if _written(route, name)]
        if len(ways) != 1:
            problem = "has both url and mail" if ways else "has neither url nor mail"
            faults.append(fault(route.spot, problem, "one of the two; a second way is a second route"))
        mail = route.group(schema.MAIL)
        user, password = schema.MAIL_USER, schema.MAIL_PASSWORD
        pairs: list[tuple[Key[str], Key[str]]] = [(user, password), (password, user)]
        for has, lacks in pairs:
            given, other = mail.maybe(has), mail.maybe(lacks)
            if given and not other and lacks.name not in mail.broken:
                shown = HIDDEN if has.secret else mail.written(has)
                faults.append(fault(mail.at(has), f"stands without a {lacks.name}", f"{lacks.name} beside it", shown))


def _written(entry: Checked, name: str) -> bool:
    return name in entry.found or name in entry.groups or name in entry.broken


def trust(root: Checked, faults: list[Fault], look: Callable[[Checked, Key[str]], str | None]) -> None:
    """Check that each named certificate authority can be used; `look` says what is wrong with one, or None."""
    places: list[tuple[Checked, Key[str]]] = [(broker, schema.CA) for broker in entries(root, schema.BROKERS).values()]
    places += [(route, schema.ROUTE_CA) for route in entries(root, schema.ROUTES).values()]
    for entry, key in places:
        problem = look(entry, key)
        if problem:
            faults.append(fault(entry.at(key), problem, "a PEM file that gatewayd may read", entry.written(key)))
